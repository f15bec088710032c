//! The key that both ends of a relay share: a file with at least 32 characters that nobody else knows.

use std::io::Write as _;
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use base64::Engine as _;

use crate::failure::Failure;

/// Fewest characters: with 32 of hexadecimal digits, 128 bits.
const FEWEST: usize = 32;

/// The key in a file; blanks about it do not count.
pub(crate) fn read(file: &Path) -> Result<Vec<u8>, String> {
    let shown = file.display();
    let text = std::fs::read(file).map_err(|error| {
        format!("the key file `{shown}` cannot be read: {error}; `loftwatch key FILE` makes one")
    })?;
    let key = text.trim_ascii();
    if key.len() < FEWEST {
        return Err(format!(
            "the key file `{shown}` holds {} characters where at least {FEWEST} are needed; `loftwatch key FILE` makes one",
            key.len()
        ));
    }
    Ok(key.to_vec())
}

/// Makes a file with a new key, for its owner alone.
pub(crate) fn make(file: &Path) -> Result<(), Failure> {
    let failed = |error: std::io::Error| {
        Failure::usage(format!(
            "the key file `{}` was not made: {error}\nnothing was changed\nhint: choose another name",
            file.display()
        ))
    };
    let mut key = [0; 32];
    getrandom::fill(&mut key).map_err(|error| Failure::other(format!("no random numbers: {error}")))?;
    let text = base64::engine::general_purpose::STANDARD.encode(key);
    let mut out =
        std::fs::OpenOptions::new().write(true).create_new(true).mode(0o600).open(file).map_err(failed)?;
    writeln!(out, "{text}").and_then(|()| out.sync_all()).map_err(failed)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        #[test]
        fn any_file_is_a_key_or_is_told_what_it_lacks(bytes in prop::collection::vec(any::<u8>(), 0..100)) {
            let folder = tempfile::tempdir().unwrap();
            let file = folder.path().join("key");
            std::fs::write(&file, &bytes).unwrap();
            match read(&file) {
                Ok(key) => prop_assert!(key.len() >= FEWEST && key == bytes.trim_ascii()),
                Err(why) => prop_assert!(bytes.trim_ascii().len() < FEWEST && why.contains("loftwatch key")),
            }
        }
    }

    #[test]
    fn a_key_is_made_once_for_its_owner_alone() {
        use std::os::unix::fs::PermissionsExt as _;
        let folder = tempfile::tempdir().unwrap();
        let (one, other) = (folder.path().join("one"), folder.path().join("other"));
        make(&one).unwrap();
        make(&other).unwrap();
        assert_eq!(read(&one).unwrap().len(), 44);
        assert_ne!(read(&one), read(&other));
        assert_eq!(std::fs::metadata(&one).unwrap().permissions().mode() & 0o777, 0o600);
        let before = read(&one);
        assert!(make(&one).unwrap_err().to_string().contains("nothing was changed"));
        assert_eq!(read(&one), before);
    }

    #[test]
    fn a_short_key_and_a_missing_one_are_told() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("key");
        assert!(read(&file).unwrap_err().contains("loftwatch key"));
        std::fs::write(&file, "  too short \n").unwrap();
        assert!(read(&file).unwrap_err().contains("9 characters"));
    }
}
