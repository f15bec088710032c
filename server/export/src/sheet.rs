//! The flight sheet: two pages to pin to a wall or to hand to the range's officers, as PDF, and the same as one HTML page that
//! needs nothing beside it.
//!
//! Both are made of one drawing (`draw::Drawing`): points, lines and words at places. Layout is by hand, in points (1/72
//! inch), from the top left corner.

mod chart;
mod draw;
mod face;
mod html;
mod pages;
mod pdf;

use crate::ExportError;
use crate::audit::Audits;
use crate::path::Path;
use crate::units::Units;
use crate::wanted::Paper;

/// Where a piece lies.
#[derive(Clone, Debug, PartialEq)]
pub struct Piece {
    /// Name of the body.
    pub body: String,
    /// Where, in words: `451 m from the pad at 042° true, 029° by compass`.
    pub way: String,
    /// WGS84, degrees.
    pub place: Option<[f64; 2]>,
    /// Whether it is known to be down.
    pub down: bool,
    /// Charges that are not confirmed fired.
    pub live: Vec<String>,
}

/// What the sheet is made of.
#[derive(Clone, Debug)]
pub struct Sheet<'a> {
    /// Path and events.
    pub path: &'a Path,
    /// The audits.
    pub audits: &'a Audits,
    /// The pieces.
    pub pieces: &'a [Piece],
    /// What a compass shows there, in words.
    pub compass: &'a str,
    /// The setup as told: what it is about, and in words.
    pub setup: &'a [(String, String)],
    /// Units.
    pub units: Units,
    /// Paper.
    pub paper: Paper,
}

impl Sheet<'_> {
    /// As PDF.
    pub fn pdf(&self) -> Result<Vec<u8>, ExportError> {
        pdf::write(&pages::pages(self), self.size(), &self.title())
    }

    /// As one HTML page.
    pub fn html(&self) -> String {
        html::write(&pages::pages(self), self.size(), &self.title())
    }

    /// Width and height, points.
    const fn size(&self) -> [f64; 2] {
        match self.paper {
            Paper::A4 => [595.28, 841.89],
            Paper::Letter => [612.0, 792.0],
        }
    }

    fn title(&self) -> String {
        format!("Flight {}: {}", self.path.flight.number, self.path.flight.title())
    }
}
