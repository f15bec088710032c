//! What stands on a page: lines, filled shapes and words. Colours are names by meaning, as on the pages.

use super::face::{fitted, lines, weight};

/// A colour.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Ink {
    Full,
    Soft,
    Rule,
    Grid,
    Band90,
    Band50,
    Blue,
    Green,
    Purple,
    Act,
    Paper,
}

impl Ink {
    pub(super) const fn rgb(self) -> [u8; 3] {
        match self {
            Self::Full => [0x15, 0x13, 0x0f],
            Self::Soft => [0x4d, 0x47, 0x3d],
            Self::Rule => [0x8b, 0x84, 0x74],
            Self::Grid => [0xd6, 0xcf, 0xbf],
            Self::Band90 => [0xe9, 0xe4, 0xd8],
            Self::Band50 => [0xd0, 0xc9, 0xb9],
            Self::Blue => [0x00, 0x72, 0xb2],
            Self::Green => [0x00, 0x9e, 0x73],
            Self::Purple => [0xaa, 0x4a, 0x86],
            Self::Act => [0x9e, 0x0b, 0x1b],
            Self::Paper => [0xff, 0xff, 0xff],
        }
    }
}

/// Series are told apart by dash as well as by colour.
pub(super) const SERIES: [(Ink, &[f64]); 4] = [
    (Ink::Full, &[]),
    (Ink::Blue, &[5.0, 2.0]),
    (Ink::Green, &[7.0, 2.0, 1.5, 2.0]),
    (Ink::Purple, &[2.0, 2.0]),
];

/// Where a text stands to its point.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Anchor {
    Left,
    Middle,
    Right,
}

/// One thing on a page.
#[derive(Clone, Debug)]
pub(super) enum Mark {
    Line { points: Vec<[f64; 2]>, width: f64, ink: Ink, dash: Vec<f64> },
    Shape { points: Vec<[f64; 2]>, ink: Ink },
    Dot { at: [f64; 2], radius: f64, ink: Ink, hollow: bool },
    Text { at: [f64; 2], size: f64, bold: bool, ink: Ink, text: String },
}

/// A page.
#[derive(Clone, Debug, Default)]
pub(super) struct Drawing {
    pub(super) marks: Vec<Mark>,
}

impl Drawing {
    pub(super) fn line(&mut self, points: &[[f64; 2]], width: f64, ink: Ink, dash: &[f64]) {
        // Gaps are NaN: each stretch is a line of its own.
        for stretch in points.split(|point| !(point[0].is_finite() && point[1].is_finite())) {
            if stretch.len() >= 2 {
                self.marks.push(Mark::Line { points: stretch.to_vec(), width, ink, dash: dash.to_vec() });
            }
        }
    }

    pub(super) fn shape(&mut self, points: Vec<[f64; 2]>, ink: Ink) {
        if points.len() >= 3 {
            self.marks.push(Mark::Shape { points, ink });
        }
    }

    pub(super) fn dot(&mut self, at: [f64; 2], radius: f64, ink: Ink, hollow: bool) {
        self.marks.push(Mark::Dot { at, radius, ink, hollow });
    }

    /// Words at a point, which is on their base line.
    pub(super) fn text(&mut self, at: [f64; 2], size: f64, bold: bool, ink: Ink, anchor: Anchor, text: &str) {
        let text: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        let width = weight(bold).width(&text, size);
        let x = match anchor {
            Anchor::Left => at[0],
            Anchor::Middle => at[0] - width / 2.0,
            Anchor::Right => at[0] - width,
        };
        if !text.is_empty() {
            self.marks.push(Mark::Text { at: [x, at[1]], size, bold, ink, text });
        }
    }

    /// Words from a point on, cut to a width.
    pub(super) fn words(&mut self, at: [f64; 2], size: f64, bold: bool, ink: Ink, width: f64, text: &str) {
        self.text(at, size, bold, ink, Anchor::Left, &fitted(text, size, bold, width));
    }

    /// A paragraph, at most so many lines; gives the height that it took.
    #[expect(
        clippy::too_many_arguments,
        reason = "place, face and room of a paragraph; a struct of them would be made at each call"
    )]
    pub(super) fn paragraph(
        &mut self,
        at: [f64; 2],
        size: f64,
        bold: bool,
        ink: Ink,
        width: f64,
        most: usize,
        text: &str,
    ) -> f64 {
        let all = lines(text, size, bold, width);
        let leading = size * 1.32;
        for (row, line) in all.iter().take(most).enumerate() {
            let cut = row + 1 == most && all.len() > most;
            let line = if cut { fitted(&format!("{line} …"), size, bold, width) } else { line.clone() };
            self.text([at[0], at[1] + leading * row as f64], size, bold, ink, Anchor::Left, &line);
        }
        leading * all.len().min(most) as f64
    }
}
