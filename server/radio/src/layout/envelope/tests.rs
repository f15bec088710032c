use proptest::prelude::*;

use super::*;

fn any(carrier: Carrier) -> Envelope {
    Envelope { carrier, from: None }
}

/// The two addresses of the example in AX.25 2.2, chapter 3 (from memory): NJ7P, and N7LEM as the last one.
const ADDRESSES: [u8; 14] =
    [0x9c, 0x94, 0x6e, 0xa0, 0x40, 0x40, 0xe0, 0x9c, 0x6e, 0x98, 0x8a, 0x9a, 0x40, 0x61];

#[test]
fn addresses_as_the_specification_shifts_them() {
    let frame = [&ADDRESSES[..], &[0x03, 0xf0], b"hello"].concat();
    let opened = any(Carrier::Ax25).open(&frame).unwrap();
    assert_eq!((opened.destination.as_str(), opened.source.as_str()), ("NJ7P", "N7LEM"));
    assert_eq!(opened.content, b"hello");
    let polled = [&ADDRESSES[..], &[0x13, 0xf0], b"hello"].concat();
    assert!(any(Carrier::Ax25).open(&polled).is_some());
    // 3E is a supervisory frame of the example: no UI frame.
    let other = [&ADDRESSES[..], &[0x3e, 0xf0], b"hello"].concat();
    assert_eq!(any(Carrier::Ax25).open(&other), None);
    for end in 0..16 {
        assert_eq!(any(Carrier::Ax25).open(&frame[..end]), None, "{end}");
    }
}

#[test]
fn a_source_that_is_told_is_the_only_one() {
    let line = b"N0CALL-11>APRS,WIDE2-1:text : and more";
    let from = |name: &str| Envelope { carrier: Carrier::Monitor, from: Some(name.to_owned()) };
    assert_eq!(from("n0call-11").open(line).unwrap().content, b"text : and more");
    assert_eq!(from("N0CALL").open(line), None);
    assert_eq!(from("N0CALL-0").open(b"N0CALL>X:a").unwrap().content, b"a");
    for bad in
        [&b"N0CALL-11 APRS:x"[..], b"N0CALL>APRS", b">APRS:x", b"N0CALL>:x", b"N0 CALL>APRS:x", b"\xff>A:x"]
    {
        assert_eq!(any(Carrier::Monitor).open(bad), None, "{bad:?}");
    }
}

proptest! {
    #[test]
    fn what_is_packed_is_opened(calls in prop::collection::vec(("[A-Z0-9]{1,6}", 0..16_u8), 2..=10), content: Vec<u8>) {
        let mut frame = Vec::new();
        for (at, (call, number)) in calls.iter().enumerate() {
            frame.extend(format!("{call:6}").bytes().map(|byte| byte << 1));
            frame.push(0x60 | number << 1 | u8::from(at + 1 == calls.len()));
        }
        frame.extend([0x03, 0xf0]);
        frame.extend(&content);
        let opened = any(Carrier::Ax25).open(&frame).unwrap();
        let name = |(call, number): &(String, u8)| if *number == 0 { call.clone() } else { format!("{call}-{number}") };
        prop_assert_eq!(opened.destination, name(&calls[0]));
        prop_assert_eq!(opened.source, name(&calls[1]));
        prop_assert_eq!(opened.content, &content[..]);
    }

    #[test]
    fn no_bytes_panic(bytes: Vec<u8>) {
        let _ = any(Carrier::Ax25).open(&bytes);
        let _ = any(Carrier::Monitor).open(&bytes);
    }
}
