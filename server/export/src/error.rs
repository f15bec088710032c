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
    Parquet(#[from] parquet::errors::ParquetError),
    /// The PDF could not be made.
    #[error("the PDF could not be made: {0}")]
    Pdf(String),
    /// The log of the vehicle cannot be used as declared.
    #[error("{0}")]
    Log(String),
}
