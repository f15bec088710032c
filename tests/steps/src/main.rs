//! Build and test steps.
fn main() {}
