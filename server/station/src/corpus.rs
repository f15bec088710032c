//! Replays the corpus of the fuzz targets for what the station itself reads from outside, each file as it is and cut short.

fn replay(target: &str, fewest: usize, check: fn(&[u8])) {
    let folder = format!("{}/../../tests/fuzz/corpus/{target}", env!("CARGO_MANIFEST_DIR"));
    let mut files = 0;
    for file in std::fs::read_dir(&folder).unwrap_or_else(|error| panic!("{folder}: {error}")) {
        let bytes = std::fs::read(file.unwrap().path()).unwrap();
        for length in 0..=bytes.len() {
            check(&bytes[..length]);
        }
        files += 1;
    }
    assert!(files >= fewest, "{folder} holds {files} files");
}

#[test]
fn what_came_over_relays() {
    replay("relay", 6, crate::relay::check::relay);
}

#[test]
fn what_came_over_sockets() {
    replay("frames", 5, crate::web::corpus::frames);
}

#[test]
fn what_pages_sent() {
    replay("messages", 11, crate::messages::check::messages);
}
