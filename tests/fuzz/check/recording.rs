//! What must hold for any lines of a recording: an input or a sentence with the line's number, and time never goes back.
//! The first byte says how many links there are.

use loftwatch_engine::{Recording, Setup, What};

/// Panics if something does not hold.
pub(crate) fn recording(data: &[u8], two_links: &Setup) {
    let [which, text @ ..] = data else { return };
    let mut setup = two_links.clone();
    setup.links.truncate(usize::from(which % 3));
    let mut reader = Recording::new(&setup);
    let (mut number, mut last_ns) = (0, i64::MIN);
    // As the station reads it: by lines, each with its end, whatever they hold.
    for (line, bytes) in (1_u64..).zip(text.split_inclusive(|byte| *byte == b'\n')) {
        match reader.line(&String::from_utf8_lossy(bytes)) {
            Ok(None) => {}
            Ok(Some(input)) => {
                number += 1;
                assert_eq!(input.number, number);
                assert!(input.t_ns >= last_ns && input.utc_ns >= 0);
                last_ns = input.t_ns;
                let What::Bytes { link, .. } = &input.what else { panic!("{input:?}") };
                assert!(setup.links.iter().any(|known| known.name == *link));
            }
            Err(error) => assert!(error.to_string().starts_with(&format!("line {line} of the recording"))),
        }
        assert_eq!(reader.line_number(), line);
    }
}
