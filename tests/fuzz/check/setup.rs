//! What must hold for any text as a setup file: a setup, or a report that can be drawn and whose places lie in it.

use loftwatch_radio::electronics::{Packets, header, sheet};
use loftwatch_setup::{changes, read};

/// Reads the bytes as a setup file and as the thrust curve that it may name.
pub(crate) fn setup(data: &[u8]) {
    let text = String::from_utf8_lossy(data);
    let read_it = || read(&text, "setup.toml", &mut |_: &str| Ok(text.to_string()));
    match read_it() {
        Ok(setup) => {
            assert!(setup.plan.vehicle.liftoff_mass_kg.value > 0.0 && setup.plan.vehicle.diameter_m > 0.0);
            assert!(!setup.plan.motors.is_empty() && !setup.plan.bodies.is_empty());
            assert!(setup.plan.bodies.iter().all(|body| body.mass_kg.value > 0.0));
            assert!(setup.plan.bodies[0].parent.is_none());
            for layout in &setup.layouts {
                assert!(layout.check().is_empty(), "{:?}", layout.check());
            }
            for link in &setup.links {
                assert!(link.framing.check().is_empty(), "{:?}", link.framing.check());
                let layouts = link.layouts.iter().map(|index| &setup.layouts[*index]).collect();
                let packets = Packets { link: &link.name, framing: &link.framing, layouts };
                // A header, or a reason in words; nothing told may end a comment of it.
                if let Ok(text) = header(&packets) {
                    assert_eq!(text.matches("/*").count(), text.matches("*/").count(), "{text}");
                }
                assert!(!sheet(&packets).is_empty());
            }
            assert!(
                changes(&setup, &setup).is_empty(),
                "a setup differs from itself: some figure is no number"
            );
            assert!(read_it().is_ok_and(|again| again == setup));
        }
        Err(report) => {
            let lines = text.matches('\n').count() + 1;
            assert!(!report.mistakes.is_empty());
            assert!(report.mistakes.iter().all(|m| (1..=lines).contains(&m.line) && m.column >= 1));
            assert!(report.to_string().contains("nothing of it was taken"));
        }
    }
}
