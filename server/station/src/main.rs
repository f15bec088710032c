//! The loftwatch program.
fn main() {}
