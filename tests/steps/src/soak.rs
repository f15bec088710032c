//! placeholder
pub(crate) fn run(_arguments: &[String]) -> Result<(), String> {
    Ok(())
}
