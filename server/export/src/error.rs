//! What can go wrong while something is handed out.

/// An error of this crate.
#[derive(Debug, thiserror::Error)]
pub enum ExportError {
    /// What was asked for cannot be; says what can.
    #[error("{0}")]
    Wanted(String),
    /// The file or the stream could not be written.
    #[error("it could not be written: {0}")]
    Io(#[from] std::io::Error),
    /// A stored row is not what this program stores.
    #[error("a stored row could not be read: {0}")]
    Row(#[from] serde_json::Error),
    /// The Parquet writer refused.
    #[error("the Parquet file could not be written: {0}")]
    Parquet(parquet::errors::ParquetError),
    /// The PDF could not be made.
    #[error("the PDF could not be made: {0}")]
    Pdf(String),
    /// The log of the vehicle cannot be used as declared.
    #[error("{0}")]
    Log(String),
}

impl From<parquet::errors::ParquetError> for ExportError {
    /// A disk that takes no more is told as such, whichever writer met it.
    fn from(error: parquet::errors::ParquetError) -> Self {
        if let parquet::errors::ParquetError::External(inner) = &error
            && let Some(io) = inner.downcast_ref::<std::io::Error>()
        {
            return Self::Io(std::io::Error::new(io.kind(), io.to_string()));
        }
        Self::Parquet(error)
    }
}
