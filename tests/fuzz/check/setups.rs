//! Setups for targets that need some: of two demo flights, with every kind of thing that a setup can tell between them.

use loftwatch_engine::Setup;
use loftwatch_setup::read;

/// The setups; the first has two links.
pub(crate) fn setups() -> Vec<Setup> {
    let motor = include_str!("../../../demo-data/two-stage/motor.csv");
    let told = [
        include_str!("../../../demo-data/tall-order/setup.toml"),
        include_str!("../../../demo-data/two-stage/setup.toml"),
    ];
    let setup =
        |text: &&str| read(text, "setup.toml", &mut |_: &str| Ok(motor.to_owned())).expect("a right setup");
    told.iter().map(setup).collect()
}
