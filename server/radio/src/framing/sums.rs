//! Whether lines come with checksums, where the setup leaves it open.
//!
//! A line that was cut may have lost its checksum with its end, and look whole: `962.10*4A` cut to `962.1`. So where a
//! transmitter is known to add checksums, a line without one is damaged. It is known by several lines in a row, so that
//! neither one damaged line nor one that ends like a checksum by chance settles it; and given up after as many, as the
//! transmitter may have got another program. Who sends some with and some without is never held to it.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Cut, Framing, LineChecksum};

/// Lines in a row that settle it. Common practice, no source: a second or less of most telemetry.
const SETTLED: u8 = 8;

/// What is known of one link's lines, by the name of their layout.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Sums(BTreeMap<String, Known>);

impl Sums {
    /// What is said of a line that must be damaged.
    pub const MISSING: &str = "no checksum, where the lines before had one";

    /// Takes note of a frame that a layout takes. False if it must be damaged: it has no checksum, and should.
    pub fn note(&mut self, framing: &Framing, layout: &str, checked: bool) -> bool {
        framing.cut != Cut::Lines { checksum: LineChecksum::Optional }
            || self.0.entry(layout.to_owned()).or_default().note(checked)
    }
}

/// What is known of the lines of one layout.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Known {
    expected: bool,
    /// Lines in a row that say otherwise.
    otherwise: u8,
}

impl Known {
    /// Takes note of a line that is good as far as it goes. False if it must be damaged: it has no checksum, and should.
    fn note(&mut self, checked: bool) -> bool {
        if checked == self.expected {
            self.otherwise = 0;
            return true;
        }
        self.otherwise += 1;
        if self.otherwise == SETTLED {
            *self = Self { expected: checked, otherwise: 0 };
            // The last of those that gave it up is taken again, the last of those that settled it is good anyway.
            return true;
        }
        checked
    }
}

#[cfg(test)]
mod tests {
    use super::Known;

    fn notes(lines: &str) -> String {
        let mut sums = Known::default();
        lines.bytes().map(|line| if sums.note(line == b'*') { '+' } else { 'x' }).collect()
    }

    #[test]
    fn eight_lines_with_a_checksum_make_it_needed() {
        assert_eq!(notes("********.*.."), "++++++++x+xx");
        assert_eq!(notes("*******."), "++++++++");
    }

    #[test]
    fn some_with_and_some_without_are_all_taken() {
        assert_eq!(notes("***.***.***.***."), "++++++++++++++++");
        assert_eq!(notes("................*."), "++++++++++++++++++");
    }

    #[test]
    fn eight_lines_without_give_it_up() {
        assert_eq!(notes("********.........*."), "++++++++xxxxxxx++++");
    }
}
