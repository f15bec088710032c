//! What can be wrong with a flight file.

/// Why it is refused.
#[derive(Debug, thiserror::Error)]
pub enum Wrong {
    /// It cannot be read on.
    #[error("the file cannot be read: {0}")]
    Read(#[from] std::io::Error),
    /// It ends too early.
    #[error("the file ends in the middle of {0}: it was cut off on its way")]
    Cut(&'static str),
    /// It is something else.
    #[error("this is no flight file: it does not begin as one")]
    Foreign,
    /// Its line ends were changed on the way.
    #[error("the file was changed on its way as if it were text")]
    AsText,
    /// A newer program wrote it.
    #[error("the file is of version {found}, this program knows {known}: a newer Loftwatch wrote it")]
    Newer {
        /// Its version.
        found: u16,
        /// What is known.
        known: u16,
    },
    /// A section holds other bytes than were written.
    #[error("section {section} ({name}) is damaged: its SHA-256 is not the one that was written with it")]
    Digest {
        /// Which, from 1.
        section: u64,
        /// Its name.
        name: String,
    },
    /// The whole is not as it was written.
    #[error("the file is damaged: its sections are whole, but not those that were written together")]
    Whole,
    /// A section cannot be unpacked.
    #[error("section {section} ({name}) cannot be unpacked: {why}")]
    Packed {
        /// Which, from 1.
        section: u64,
        /// Its name.
        name: String,
        /// Why.
        why: &'static str,
    },
    /// A section where another one belongs.
    #[error("section {section} is `{found}`, expected {expected}")]
    Order {
        /// Which, from 1.
        section: u64,
        /// What stands there.
        found: String,
        /// What belongs there.
        expected: &'static str,
    },
    /// Something is larger than it may be.
    #[error("{what} is {found}, at most {most} is taken")]
    TooLarge {
        /// What.
        what: &'static str,
        /// What was found.
        found: u64,
        /// What is taken.
        most: u64,
    },
    /// What was decoded makes no sense.
    #[error("{place}: {why}")]
    Meaning {
        /// Where.
        place: String,
        /// Why.
        why: String,
    },
    /// There is more after the end.
    #[error("the file goes on after its end")]
    More,
}

impl Wrong {
    pub(crate) fn meaning(place: impl Into<String>, why: impl Into<String>) -> Self {
        Self::Meaning { place: place.into(), why: why.into() }
    }
}
