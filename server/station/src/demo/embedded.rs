//! The demo flights that are built into the program.

/// A demo flight.
#[derive(Debug)]
pub(super) struct Embedded {
    /// The name to ask for.
    pub(super) name: &'static str,
    /// `setup.toml` and what it names.
    pub(super) files: &'static [(&'static str, &'static str)],
    /// The recording: JSON Lines, gzip.
    pub(super) recording: &'static [u8],
}

/// Made by build.rs from the folder `demo-data`.
static ALL: &[Embedded] = &include!(concat!(env!("OUT_DIR"), "/demos.rs"));

/// Finds a flight by its name.
pub(super) fn find(name: &str) -> Result<&'static Embedded, String> {
    ALL.iter().find(|demo| demo.name == name).ok_or_else(|| {
        let names: Vec<&str> = ALL.iter().map(|demo| demo.name).collect();
        format!("there is no demo flight `{name}`\nhint: there are {}", names.join(", "))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_demo_has_a_setup_and_a_recording_that_can_be_read() {
        assert!(find("tall-order").is_ok());
        assert!(find("nothing").unwrap_err().contains("tall-order"));
        for demo in ALL {
            assert!(demo.files.iter().any(|(name, _)| *name == "setup.toml"), "{}", demo.name);
            assert!(super::super::player::read(demo).unwrap().len() > 100, "{}", demo.name);
        }
    }
}
