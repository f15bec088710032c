//! Which of a link's layouts takes a payload; and if none does, why: the reason of the layout that comes nearest.

use super::decoded::{Complaint, Decoded};
use super::{Encoding, Form, Layout, json};

/// Why no layout takes a payload.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum Misfit {
    /// None comes near.
    #[error("no layout fits its {bytes} bytes")]
    NoLayout {
        /// How long the payload is.
        bytes: usize,
    },
    /// A line of a layout that was cut, or of which a column was hit.
    #[error("{0}")]
    Column(Complaint),
    /// Text that ceases to be JSON.
    #[error("no JSON from byte {at} on of {bytes}")]
    NoJson {
        /// Where it ceases to be, from 0.
        at: usize,
        /// How long the payload is.
        bytes: usize,
    },
    /// A good packet of a sender that the setup does not want.
    #[error("from {source_name}, not taken")]
    NotTaken {
        /// The sender's call sign.
        source_name: String,
    },
}

impl Misfit {
    /// A short, stable name for counting, like [`crate::Wrong::reason`].
    pub const fn reason(&self) -> &'static str {
        match self {
            Self::NoLayout { .. } => "no layout",
            Self::Column(Complaint::MissingColumns { .. }) => "missing column",
            Self::Column(_) => "no number",
            Self::NoJson { .. } => "no json",
            Self::NotTaken { .. } => NOT_TAKEN,
        }
    }
}

/// The reason of a good packet that is somebody else's: no wrong frame.
pub const NOT_TAKEN: &str = "not taken";

/// The first layout that takes a payload, by its place among those given, and what the payload holds.
pub fn take<'a>(
    layouts: impl IntoIterator<Item = &'a Layout>,
    payload: &[u8],
) -> Result<(usize, Decoded), Misfit> {
    let mut nearest: Option<Misfit> = None;
    // A better reason takes the place of a worse one; of two alike the first layout's holds.
    let mut near = |misfit: Misfit| {
        if nearest.as_ref().is_none_or(|known| rank(&misfit) > rank(known)) {
            nearest = Some(misfit);
        }
    };
    let mut all_json = true;
    for (index, layout) in layouts.into_iter().enumerate() {
        all_json &= matches!(layout.form.inner(), Form::Keyed { encoding: Encoding::Json, .. });
        if layout.matches(payload) {
            let decoded = layout.decode(payload);
            match layout.form.damage(&decoded) {
                None => return Ok((index, decoded)),
                Some(complaint) => near(Misfit::Column(complaint.clone())),
            }
        } else if let Some(misfit) = layout.form.misfit(payload) {
            near(misfit);
        }
    }
    // What does not even begin like an object may be meant as something else.
    let nearest = nearest.filter(|near| all_json || !matches!(near, Misfit::NoJson { at: 0, .. }));
    Err(nearest.unwrap_or(Misfit::NoLayout { bytes: payload.len() }))
}

const fn rank(misfit: &Misfit) -> u8 {
    match misfit {
        Misfit::NoLayout { .. } => 0,
        Misfit::NoJson { .. } => 1,
        Misfit::NotTaken { .. } => 2,
        Misfit::Column(_) => 3,
    }
}

impl Form {
    /// What shows that a line was cut or hit: only an empty column says "no value". Columns at the end that no field
    /// names do not: a setup may read the first few of many.
    fn damage<'a>(&self, decoded: &'a Decoded) -> Option<&'a Complaint> {
        if !matches!(self.inner(), Self::Text { .. }) {
            return None;
        }
        decoded.complaints.iter().find(|complaint| {
            matches!(
                complaint,
                Complaint::MissingColumns { .. } | Complaint::NotANumber { .. } | Complaint::NotFinite { .. }
            )
        })
    }

    /// Why a payload is none of this form, if more can be said than that.
    fn misfit(&self, payload: &[u8]) -> Option<Misfit> {
        match self {
            Self::Aprs { envelope, .. } | Self::In { envelope, .. } => {
                envelope.foreign(payload).map(|source_name| Misfit::NotTaken { source_name })
            }
            Self::Keyed { encoding: Encoding::Json, .. } => {
                let at = json::ends_badly(payload)?;
                Some(Misfit::NoJson { at, bytes: payload.len() })
            }
            _ => None,
        }
    }
}

#[cfg(test)]
#[path = "taken/tests.rs"]
mod tests;
