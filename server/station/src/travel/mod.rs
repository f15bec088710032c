//! A flight travels: out of one station as a flight file (`loftwatch-parcel`), into another, where it is a store of its own.
//!
//! What leaves is the flight's inputs, from the one that opened it to the last that it was made of, with the setup in force
//! then and what the crew told about it, and a digest of the outputs that come of them. What arrives is written into a
//! folder below `visitors` in the data folder, as a store that this program makes, and computed; the live store and its
//! engine never see it. So a visiting flight is listed, played, shown and exported by the same parts as one's own.

mod arrive;
mod compute;
mod pack;
#[cfg(test)]
mod tests;
mod visitors;

pub(crate) use arrive::{arrive, unpack};
pub(crate) use pack::{pack, to_file};
pub(crate) use visitors::{Visitors, home, shown, stores, tell, visitor_of};

use crate::failure::Failure;
use crate::store::StoreError;

/// Why a flight did not travel.
#[derive(Debug, thiserror::Error)]
pub(crate) enum NotTravelled {
    /// The file is wrong.
    #[error(
        "the flight file is refused: {0}\nnothing of it was kept\nhint: copy it anew from where it came; a file that was cut off or changed on its way shows so here"
    )]
    Wrong(#[from] loftwatch_parcel::Wrong),
    /// The outputs that come of it are not those that it tells.
    #[error(
        "the flight file is refused: its inputs come to other outputs (digest {found}) than it says ({told})\nnothing of it was kept\nhint: have it written anew where it came from"
    )]
    Other {
        /// What it says.
        told: String,
        /// What came out.
        found: String,
    },
    /// It is here already.
    #[error(
        "this flight was taken in already, as `{label}`\nnothing was changed\nhint: delete that one first, and start the station anew"
    )]
    Here {
        /// What it is called here.
        label: String,
    },
    /// It cannot be computed.
    #[error(
        "the flight file is refused: the engine cannot compute with what it holds\nnothing of it was kept\nhint: its setup may have been made by hand; have it written anew where it came from"
    )]
    Engine,
    /// There is no such flight.
    #[error("there is no flight {0} in this store\nhint: `loftwatch flights` lists what there is")]
    NoFlight(u32),
    /// The store failed.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// A file failed.
    #[error("{doing}: {source}")]
    File {
        /// What was being done.
        doing: &'static str,
        /// What the system said.
        source: std::io::Error,
    },
}

impl From<NotTravelled> for Failure {
    fn from(error: NotTravelled) -> Self {
        match error {
            NotTravelled::NoFlight(_) => Self::usage(error.to_string()),
            error => Self::data(error.to_string()),
        }
    }
}

impl NotTravelled {
    fn file(doing: &'static str) -> impl FnOnce(std::io::Error) -> Self {
        move |source| Self::File { doing, source }
    }

    fn sql(file: &std::path::Path, doing: &'static str) -> impl FnOnce(sqlx::Error) -> Self {
        let told = StoreError::sql(file, doing);
        move |source| Self::Store(told(source))
    }
}
