//! The archive of map tiles that a crew brings: one file in the PMTiles format, version 3 (the specification at
//! github.com/protomaps/PMTiles, `spec/v3`), of which pages read ranges. Nothing of it is understood here but its beginning.

use std::fs::File;
use std::io::Read as _;
use std::path::Path;

use crate::failure::Failure;

/// A file of the format begins with its name in seven bytes and the version in one.
const BEGINNING: &[u8; 8] = b"PMTiles\x03";

/// Looks whether a file is such an archive.
pub(crate) fn check(file: &Path) -> Result<(), Failure> {
    let name = file.display();
    let mut beginning = [0; 8];
    let read = File::open(file).and_then(|mut file| file.read_exact(&mut beginning));
    match read {
        Ok(()) if &beginning == BEGINNING => Ok(()),
        Ok(()) => Err(Failure::usage(format!(
            "`{name}` is no map archive: it does not begin as a PMTiles file of version 3 does\nhint: `pmtiles convert` makes one of MBTiles and of older versions"
        ))),
        Err(error) => Err(Failure::usage(format!("`{name}` cannot be read as a map archive: {error}"))),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn any_file_is_taken_or_refused_by_its_beginning(
            bytes in prop_oneof![
                prop::collection::vec(any::<u8>(), 0..200),
                prop::collection::vec(any::<u8>(), 0..20).prop_map(|rest| [&BEGINNING[..], &rest[..]].concat()),
            ],
        ) {
            let folder = tempfile::tempdir().unwrap();
            let file = folder.path().join("map.pmtiles");
            std::fs::write(&file, &bytes).unwrap();
            prop_assert_eq!(check(&file).is_ok(), bytes.starts_with(BEGINNING));
        }
    }

    #[test]
    fn only_an_archive_of_that_version_is_taken() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("map.pmtiles");
        assert!(check(&file).unwrap_err().to_string().contains("cannot be read"));
        for (bytes, taken) in [(&b"PMTiles\x03..."[..], true), (b"PMTiles\x02...", false), (b"PNG", false)] {
            std::fs::write(&file, bytes).unwrap();
            assert_eq!(check(&file).is_ok(), taken, "{bytes:?}");
        }
    }
}
