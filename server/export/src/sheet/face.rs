//! The type: Atkinson Hyperlegible Next, two weights, with digits of one width. `fonts/make.py` cut both from the pages' own font
//! (SIL Open Font License 1.1, `fonts/OFL.txt`).

use std::sync::LazyLock;

use skrifa::instance::{LocationRef, Size};
use skrifa::{FontRef, MetadataProvider as _};

pub(super) const REGULAR: &[u8] = include_bytes!("../../fonts/atkinson-hyperlegible-next-regular.ttf");
pub(super) const BOLD: &[u8] = include_bytes!("../../fonts/atkinson-hyperlegible-next-bold.ttf");

/// What stands for a character that the font lacks.
const LACKING: char = '\u{fffd}';

/// A weight, measured.
pub(super) struct Weight {
    font: Option<FontRef<'static>>,
}

static WEIGHTS: LazyLock<[Weight; 2]> =
    LazyLock::new(|| [REGULAR, BOLD].map(|data| Weight { font: FontRef::new(data).ok() }));

/// Regular or bold.
pub(super) fn weight(bold: bool) -> &'static Weight {
    &WEIGHTS[usize::from(bold)]
}

impl Weight {
    /// Glyph and advance of a character, in parts of the size.
    pub(super) fn glyph(&self, c: char) -> (u32, f32) {
        let Some(font) = &self.font else { return (0, 0.5) };
        let charmap = font.charmap();
        let glyph = charmap.map(c).or_else(|| charmap.map(LACKING)).unwrap_or_default();
        let advance = font.glyph_metrics(Size::new(1.0), LocationRef::default()).advance_width(glyph);
        (glyph.to_u32(), advance.unwrap_or(0.5))
    }

    /// Width of a text at a size.
    pub(super) fn width(&self, text: &str, size: f64) -> f64 {
        text.chars().map(|c| f64::from(self.glyph(c).1)).sum::<f64>() * size
    }
}

/// A text in lines that fit a width.
pub(super) fn lines(text: &str, size: f64, bold: bool, width: f64) -> Vec<String> {
    let weight = weight(bold);
    let mut lines: Vec<String> = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let longer = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if weight.width(&longer, size) <= width {
            line = longer;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        // A word that is longer than the line is cut.
        for c in word.chars() {
            if weight.width(&format!("{line}{c}"), size) > width && !line.is_empty() {
                lines.push(std::mem::take(&mut line));
            }
            line.push(c);
        }
    }
    if !line.is_empty() {
        lines.push(line);
    }
    lines
}

/// A text that fits a width, with dots where it was cut.
pub(super) fn fitted(text: &str, size: f64, bold: bool, width: f64) -> String {
    let weight = weight(bold);
    let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
    if weight.width(&text, size) <= width {
        return text;
    }
    let mut cut = String::new();
    for c in text.chars() {
        if weight.width(&format!("{cut}{c}…"), size) > width {
            break;
        }
        cut.push(c);
    }
    cut.push('…');
    cut
}
