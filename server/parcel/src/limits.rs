//! How much of everything a flight file may hold.

/// The file, bytes. A flight of four bodies at 20 Hz takes about 15 MB an hour before packing.
pub const MOST_FILE_BYTES: u64 = 256 * 1024 * 1024;
/// All sections, unpacked, bytes: a file that unpacks to more was made to fill a disk.
pub const MOST_UNPACKED_BYTES: u64 = 1024 * 1024 * 1024;
/// One section, unpacked, bytes: so much memory a reader takes at once.
pub const MOST_SECTION_BYTES: u64 = 4 * 1024 * 1024;
/// Inputs.
pub const MOST_INPUTS: u64 = 20_000_000;
/// Bytes of one input: a link reads at most 64 KiB in one piece, a setup as JSON is smaller than this.
pub const MOST_INPUT_BYTES: usize = 2 * 1024 * 1024;
/// A name of a link, bytes.
pub(crate) const MOST_NAME_BYTES: usize = 512;
/// Latest instant, ns since 1970: the year 2100. An engine counts in signed 64 bits, which reach further.
pub(crate) const LATEST_NS: i64 = 4_102_444_800_000_000_000;
/// Longest time from the first input to the last, ns: a month on the pad.
pub(crate) const LONGEST_NS: i64 = 31 * 86_400 * 1_000_000_000;
