//! How the program ends when it cannot go on: a message for a person and an exit code.

use std::fmt;

use crate::store::StoreError;

/// A reason to end.
#[derive(Debug)]
pub(crate) struct Failure {
    /// See `loftwatch --help`.
    pub(crate) code: u8,
    message: String,
}

impl Failure {
    /// The command line or the setup file is wrong.
    pub(crate) fn usage(message: impl Into<String>) -> Self {
        Self { code: 2, message: message.into() }
    }

    /// The data cannot be used.
    pub(crate) fn data(message: impl Into<String>) -> Self {
        Self { code: 3, message: message.into() }
    }

    /// A port or an address cannot be used.
    pub(crate) fn port(message: impl Into<String>) -> Self {
        Self { code: 4, message: message.into() }
    }

    /// Anything else.
    pub(crate) fn other(message: impl Into<String>) -> Self {
        Self { code: 1, message: message.into() }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.message)
    }
}

impl From<StoreError> for Failure {
    fn from(error: StoreError) -> Self {
        Self::data(error.to_string())
    }
}
