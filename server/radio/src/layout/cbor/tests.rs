use proptest::prelude::*;

use super::*;

fn bytes(hex: &str) -> Vec<u8> {
    (0..hex.len()).step_by(2).map(|at| u8::from_str_radix(&hex[at..at + 2], 16).unwrap()).collect()
}

/// A map whose key "x" has this item.
fn under_x(hex: &str) -> Vec<u8> {
    bytes(&format!("a16178{hex}"))
}

// RFC 8949, appendix A, from memory.

#[test]
fn numbers_of_the_appendix() {
    for (hex, number) in [
        ("00", 0.0),
        ("17", 23.0),
        ("1818", 24.0),
        ("1903e8", 1000.0),
        ("1a000f4240", 1_000_000.0),
        ("1b000000e8d4a51000", 1_000_000_000_000.0),
        ("1bffffffffffffffff", 18_446_744_073_709_551_615.0),
        ("3bffffffffffffffff", -18_446_744_073_709_551_616.0),
        ("20", -1.0),
        ("3863", -100.0),
        ("3903e7", -1000.0),
        ("f90000", 0.0),
        ("f93c00", 1.0),
        ("fb3ff199999999999a", 1.1),
        ("f93e00", 1.5),
        ("f97bff", 65504.0),
        ("fa47c35000", 100_000.0),
        ("fa7f7fffff", 3.402_823_466_385_288_6e38),
        ("fb7e37e43c8800759c", 1.0e300),
        ("f90001", 5.960_464_477_539_063e-8),
        ("f90400", 0.000_061_035_156_25),
        ("f9c400", -4.0),
        ("fbc010666666666666", -4.1),
        ("f97c00", f64::INFINITY),
        ("c11a514b67b0", 1_363_896_240.0),
    ] {
        let item = under_x(hex);
        assert!(is_well_formed(&item), "{hex}");
        assert_eq!(find(&item, "x", None), Some(Scalar::Number(number)), "{hex}");
    }
}

#[test]
fn other_items_of_the_appendix() {
    assert_eq!(find(&under_x("f4"), "x", None), Some(Scalar::Flag(false)));
    assert_eq!(find(&under_x("f5"), "x", None), Some(Scalar::Flag(true)));
    assert_eq!(find(&under_x("f6"), "x", None), Some(Scalar::Null));
    assert_eq!(find(&under_x("6449455446"), "x", None), Some(Scalar::Text("IETF".into())));
    assert_eq!(
        find(&under_x("7f657374726561646d696e67ff"), "x", None),
        Some(Scalar::Text("streaming".into()))
    );
    assert_eq!(find(&under_x("4401020304"), "x", None), Some(Scalar::Other("a string of bytes")));
    // {1: 2, 3: 4}
    assert_eq!(find(&bytes("a201020304"), "3", None), Some(Scalar::Number(4.0)));
    // {"a": 1, "b": [2, 3]}, and the same of indefinite length
    for hex in ["a26161016162820203", "bf61610161629f0203ffff"] {
        assert!(is_well_formed(&bytes(hex)));
        assert_eq!(find(&bytes(hex), "a", None), Some(Scalar::Number(1.0)));
        assert_eq!(find(&bytes(hex), "b.1", None), Some(Scalar::Number(3.0)));
        assert_eq!(find(&bytes(hex), "b", Some(0)), Some(Scalar::Number(2.0)));
        assert_eq!(find(&bytes(hex), "b", Some(2)), None);
        assert_eq!(find(&bytes(hex), "c", None), None);
    }
    // [_ 1, [2, 3], [_ 4, 5]] and {_ "Fun": true, "Amt": -2}
    assert_eq!(find(&bytes("9f018202039f0405ffff"), "2.1", None), Some(Scalar::Number(5.0)));
    assert_eq!(find(&bytes("bf6346756ef563416d7421ff"), "Amt", None), Some(Scalar::Number(-2.0)));
}

#[test]
fn what_is_not_well_formed() {
    // RFC 8949, appendix F, from memory: too little input, reserved information, a break where none may be, pieces of
    // another type, an odd map.
    for hex in [
        "18",
        "19",
        "1b01",
        "38",
        "58",
        "78",
        "98",
        "9a01ff00",
        "b8",
        "d8",
        "f818",
        "f900",
        "41",
        "61",
        "81",
        "8200",
        "a1",
        "a20102",
        "a100",
        "a2000000",
        "c0",
        "9f",
        "9f8100",
        "bf01020102",
        "5f4100",
        "7f6100",
        "1c",
        "1d",
        "1e",
        "3c",
        "5c",
        "7c",
        "9c",
        "bc",
        "dc",
        "fc",
        "f800",
        "f81f",
        "5f00ff",
        "5f6100ff",
        "7f4100ff",
        "ff",
        "81ff",
        "8200ff",
        "a1ff",
        "a100ff",
        "9f81ff",
        "bf00ff",
        "1f",
        "3f",
        "df",
    ] {
        assert!(!is_well_formed(&bytes(hex)), "{hex}");
        assert!(!is_well_formed(&under_x(hex)), "{hex}");
    }
    assert!(!is_well_formed(&under_x("00").repeat(2)), "two items");
    assert!(!is_well_formed(&bytes("01")), "no map");
    let nested = |depth: usize| bytes(&format!("{}00", "81".repeat(depth)));
    assert!(is_well_formed(&nested(20)) && !is_well_formed(&nested(10_000)));
    // A count that would take all memory.
    assert!(!is_well_formed(&bytes("9bffffffffffffffff00")));
    assert!(!is_well_formed(&bytes("bb7fffffffffffffff0000")));
}

#[derive(Clone, Debug)]
enum Item {
    Number(f64),
    Integer(i64),
    Text(String),
    Flag(bool),
    Array(Vec<Item>, bool),
    Map(Vec<(String, Item)>, bool),
    Tagged(Box<Item>),
}

fn put_head(out: &mut Vec<u8>, major: u8, value: u64) {
    match value {
        0..=23 => out.push(major << 5 | value as u8),
        24..=0xff => out.extend([major << 5 | 0x18, value as u8]),
        0x100..=0xffff => {
            out.push(major << 5 | 0x19);
            out.extend((value as u16).to_be_bytes());
        }
        _ => {
            out.push(major << 5 | 0x1b);
            out.extend(value.to_be_bytes());
        }
    }
}

fn put(out: &mut Vec<u8>, item: &Item) {
    match item {
        Item::Number(number) => {
            out.push(0xfb);
            out.extend(number.to_be_bytes());
        }
        Item::Integer(value) if *value < 0 => put_head(out, 1, !*value as u64),
        Item::Integer(value) => put_head(out, 0, *value as u64),
        Item::Text(text) => {
            put_head(out, 3, text.len() as u64);
            out.extend(text.bytes());
        }
        Item::Flag(flag) => out.push(0xf4 + u8::from(*flag)),
        Item::Array(items, open) => {
            if *open {
                out.push(0x9f);
            } else {
                put_head(out, 4, items.len() as u64);
            }
            for item in items {
                put(out, item);
            }
            out.extend(open.then_some(0xff));
        }
        Item::Map(items, open) => {
            if *open {
                out.push(0xbf);
            } else {
                put_head(out, 5, items.len() as u64);
            }
            for (key, item) in items {
                put(out, &Item::Text(key.clone()));
                put(out, item);
            }
            out.extend(open.then_some(0xff));
        }
        Item::Tagged(item) => {
            put_head(out, 6, 1000);
            put(out, item);
        }
    }
}

fn any_map() -> impl Strategy<Value = Item> {
    let leaf = prop_oneof![
        any::<f64>().prop_filter("equal to itself", |n| !n.is_nan()).prop_map(Item::Number),
        any::<i64>().prop_map(Item::Integer),
        ".{0,30}".prop_map(Item::Text),
        any::<bool>().prop_map(Item::Flag),
    ];
    let tree = leaf.prop_recursive(4, 30, 6, |inner| {
        prop_oneof![
            (prop::collection::vec(inner.clone(), 0..5), any::<bool>())
                .prop_map(|(all, open)| Item::Array(all, open)),
            (prop::collection::btree_map("[a-z]{1,3}", inner.clone(), 0..5), any::<bool>())
                .prop_map(|(map, open)| Item::Map(map.into_iter().collect(), open)),
            inner.prop_map(|item| Item::Tagged(Box::new(item))),
        ]
    });
    (prop::collection::btree_map("[a-z]{1,3}", tree, 1..5), any::<bool>())
        .prop_map(|(map, open)| Item::Map(map.into_iter().collect(), open))
}

fn compare(bytes: &[u8], path: &str, item: &Item) -> Result<(), TestCaseError> {
    let below = |key: &str| if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
    let expected = match item {
        Item::Map(map, _) => return map.iter().try_for_each(|(key, item)| compare(bytes, &below(key), item)),
        Item::Array(all, _) => {
            return all
                .iter()
                .enumerate()
                .try_for_each(|(at, item)| compare(bytes, &below(&at.to_string()), item));
        }
        Item::Tagged(item) => return compare(bytes, path, item),
        Item::Number(number) => Scalar::Number(*number),
        Item::Integer(value) => Scalar::Number(*value as f64),
        Item::Text(text) => Scalar::Text(text.as_str().into()),
        Item::Flag(flag) => Scalar::Flag(*flag),
    };
    prop_assert_eq!(find(bytes, path, None), Some(expected), "{}", path);
    Ok(())
}

proptest! {
    #[test]
    fn what_is_written_is_found_and_no_part_of_it_is_whole(map in any_map()) {
        let mut bytes = Vec::new();
        put(&mut bytes, &map);
        prop_assert!(is_well_formed(&bytes));
        compare(&bytes, "", &map)?;
        for end in 0..bytes.len() {
            prop_assert!(!is_well_formed(&bytes[..end]));
        }
    }

    #[test]
    fn no_bytes_panic(bytes: Vec<u8>, path in "[a-z0-9.]{0,8}") {
        let _ = is_well_formed(&bytes);
        let _ = find(&bytes, &path, Some(1));
        let _ = find(&[&[0xa1, 0x61, b'a'], &bytes[..]].concat(), "a.1", None);
    }
}
