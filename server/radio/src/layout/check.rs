//! What can be wrong with a layout as told, before a byte comes in.

use super::{Field, Form, Layout, Stored, Unit, UnitError, slots};
use crate::meaning::Meaning;

/// Where in a layout a mistake is; indices count from 0.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Place {
    /// The field, if it is of one.
    pub field: Option<usize>,
    /// The bits of that field, if it is of those.
    pub bits: Option<usize>,
}

/// A mistake in a layout.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum LayoutProblem {
    /// Nothing to read.
    #[error("a layout needs at least one field")]
    NoFields,
    /// Too much to read.
    #[error("{count} fields; at most {most} are allowed")]
    TooManyFields {
        /// As told.
        count: usize,
        /// Most allowed.
        most: usize,
    },
    /// Columns that cannot be told apart.
    #[error("the separator is empty")]
    NoSeparator,
    /// A field lies past the end.
    #[error("`{field}` ends at byte {end}, past the layout's length of {length}")]
    PastEnd {
        /// The field's name.
        field: String,
        /// One past its last byte.
        end: usize,
        /// The layout's length.
        length: usize,
    },
    /// A width that does not exist.
    #[error(
        "`{field}` has a width of {bytes} bytes; integers have 1 to 8 (up to 16 if they hold bits), floating-point numbers 2, 4 or 8"
    )]
    Width {
        /// The field's name.
        field: String,
        /// As told.
        bytes: usize,
    },
    /// A field stored as text does in binary, or the other way round.
    #[error("`{field}` is stored in a way that this kind of layout does not have")]
    WrongForm {
        /// The field's name.
        field: String,
    },
    /// Two fields with one name.
    #[error("the name `{name}` is there twice")]
    SameName {
        /// The name.
        name: String,
    },
    /// Two fields with one meaning.
    #[error("`{meaning}` is meant twice{}", channel.as_ref().map(|channel| format!(" for `{channel}`")).unwrap_or_default())]
    SameMeaning {
        /// The meaning.
        meaning: &'static str,
        /// The channel, if the meaning has one.
        channel: Option<String>,
    },
    /// A meaning that is of a channel, without one.
    #[error("`{meaning}` needs a channel: whose is it?")]
    NoChannel {
        /// The meaning.
        meaning: &'static str,
    },
    /// A channel for a meaning that has none.
    #[error("`{meaning}` has no channel")]
    NeedlessChannel {
        /// The meaning.
        meaning: &'static str,
    },
    /// The unit does not fit.
    #[error(transparent)]
    Unit(#[from] UnitError),
    /// Worked-out unit conversion that is not the declared unit's.
    #[error("`{field}` is converted otherwise than its unit `{unit}` says")]
    Conversion {
        /// The field's name.
        field: String,
        /// The unit.
        unit: String,
    },
    /// A scale or offset that makes no number.
    #[error("`{field}` has a scale of {scale} and an offset of {offset}")]
    Scale {
        /// The field's name.
        field: String,
        /// As told.
        scale: f64,
        /// As told.
        offset: f64,
    },
    /// Bits in something that is no integer.
    #[error("`{field}` is no integer: it has no bits")]
    BitsOfNoInteger {
        /// The field's name.
        field: String,
    },
    /// Bits that the field does not have.
    #[error("`{name}` takes bits {from} to {to}; `{field}` has 0 to {last}")]
    BitsPastEnd {
        /// The bits' name.
        name: String,
        /// First.
        from: usize,
        /// Last.
        to: usize,
        /// The field's name.
        field: String,
        /// The field's last bit.
        last: usize,
    },
    /// Bits that are used twice.
    #[error("`{name}` takes bits that `{other}` has taken")]
    BitsOverlap {
        /// The bits' name.
        name: String,
        /// Whose they were.
        other: String,
    },
    /// A value that is named twice.
    #[error("value {value} is named twice")]
    ValueTwice {
        /// The value.
        value: i64,
    },
    /// A raw value that the field cannot have.
    #[error("`{field}` can never be {value}")]
    Never {
        /// The field's name.
        field: String,
        /// As told for `is` or `missing`.
        value: f64,
    },
    /// A repeat that cannot be.
    #[error("`{field}` stands {count} times; 1 to {most} are possible")]
    Count {
        /// The field's name.
        field: String,
        /// As told.
        count: u16,
        /// Most.
        most: u16,
    },
    /// The count is not told by an earlier, plain number.
    #[error("`{field}` is counted by something that is no earlier field with a plain whole number")]
    CountFrom {
        /// The field's name.
        field: String,
    },
    /// Neighbours of one group that do not go together.
    #[error("`{field}` does not stand as often as its neighbours in group `{group}`, which may be {most}")]
    Group {
        /// The field's name.
        field: String,
        /// The group.
        group: String,
        /// Most neighbours.
        most: usize,
    },
    /// Differences of something that is no integer.
    #[error("`{field}` and its differences must both be integers, the differences no wider")]
    Delta {
        /// The field's name.
        field: String,
    },
    /// Values of several instants without the time between, or with one that is none.
    #[error("`{field}` stands several times and means `{meaning}`: the time from one to the next is needed")]
    NoEvery {
        /// The field's name.
        field: String,
        /// What it means.
        meaning: &'static str,
    },
    /// The time from one value to the next is none.
    #[error("`{field}`: {every_s} s from one value to the next; more than 0 and at most 60 are possible")]
    Every {
        /// The field's name.
        field: String,
        /// As told.
        every_s: f64,
    },
    /// What a packet says once, said several times.
    #[error("`{meaning}` can be there once only, not in a row")]
    OnceOnly {
        /// The meaning.
        meaning: &'static str,
    },
    /// A repeat in a form that cannot have it.
    #[error("`{field}` is repeated in a way that this kind of layout does not have")]
    RepeatForm {
        /// The field's name.
        field: String,
    },
    /// The expected rate is not one.
    #[error("a rate of {rate_hz} Hz; more than 0 and at most 10000 is expected")]
    Rate {
        /// As told.
        rate_hz: f64,
    },
}

/// Most fields in a layout. A frame of 1024 bytes holds no more single bytes.
const MOST_FIELDS: usize = 1024;

impl Meaning {
    /// Whether it is of a deployment channel.
    pub const fn has_channel(self) -> bool {
        matches!(self, Self::Continuity | Self::Armed | Self::Commanded | Self::Fired)
    }

    /// Whether a layout may mean it once only. What is free may be there as often as one likes.
    const fn is_single(self) -> bool {
        !matches!(self, Self::Free | Self::Temperature | Self::BatteryVoltage | Self::SaysFreed)
    }
}

impl Layout {
    /// All mistakes with their places, none if it can be used.
    pub fn check(&self) -> Vec<(Place, LayoutProblem)> {
        let mut found = Found { problems: Vec::new(), meant: Vec::new(), names: Vec::new() };
        let whole = Place::default();
        let fields = self.fields();
        if fields.is_empty() {
            found.add(whole, LayoutProblem::NoFields);
        }
        if fields.len() > MOST_FIELDS {
            found.add(whole, LayoutProblem::TooManyFields { count: fields.len(), most: MOST_FIELDS });
        }
        if let Some(rate_hz) = self.rate_hz.filter(|rate| !(*rate > 0.0 && *rate <= 10_000.0)) {
            found.add(whole, LayoutProblem::Rate { rate_hz });
        }
        let form = self.form.inner();
        found.repeats(fields, form);
        for (index, field) in fields.iter().enumerate() {
            let place = Place { field: Some(index), bits: None };
            found.field(place, field);
            let binary = !matches!(field.stored, Stored::Number | Stored::Text);
            match form {
                Form::Text { .. } if binary && !matches!(field.stored, Stored::Skip(_)) => {
                    found.add(place, LayoutProblem::WrongForm { field: field.name.clone() });
                }
                Form::Keyed { .. } if binary => {
                    found.add(place, LayoutProblem::WrongForm { field: field.name.clone() });
                }
                Form::Binary { .. } if !binary => {
                    found.add(place, LayoutProblem::WrongForm { field: field.name.clone() });
                }
                Form::Binary { length: Some(length), .. } => {
                    let end = super::binary::least(&fields[..=index]);
                    if end > *length {
                        let field = field.name.clone();
                        found.add(place, LayoutProblem::PastEnd { field, end, length: *length });
                    }
                }
                _ => {}
            }
        }
        if matches!(form, Form::Text { separator, .. } if separator.is_empty()) {
            found.add(whole, LayoutProblem::NoSeparator);
        }
        found.problems
    }
}

/// Gathers what is wrong.
struct Found<'a> {
    problems: Vec<(Place, LayoutProblem)>,
    meant: Vec<(Meaning, Option<&'a str>)>,
    names: Vec<&'a str>,
}

/// Most times that a field may stand in a row. A frame of 1024 bytes holds no more single bytes.
const MOST_REPEATS: u16 = 1024;

impl<'a> Found<'a> {
    /// Fields that stand several times.
    fn repeats(&mut self, fields: &[Field], form: &Form) {
        for (index, field) in fields.iter().enumerate() {
            let Some(repeat) = &field.repeat else { continue };
            let place = Place { field: Some(index), bits: None };
            let name = || field.name.clone();
            if repeat.count == 0 || repeat.count > MOST_REPEATS {
                self.add(
                    place,
                    LayoutProblem::Count { field: name(), count: repeat.count, most: MOST_REPEATS },
                );
            }
            let keyed = matches!(form, Form::Keyed { .. });
            let binary = matches!(form, Form::Binary { .. });
            let in_row = keyed && (repeat.group.is_some() || repeat.count_from.is_some());
            if in_row || (!binary && repeat.delta.is_some()) {
                self.add(place, LayoutProblem::RepeatForm { field: name() });
            }
            if let Some(from) = repeat.count_from {
                let counter = fields[..index].get(usize::from(from));
                let plain = |field: &Field| {
                    field.repeat.is_none()
                        && field.is_plain()
                        && field.scale == 1.0
                        && field.offset == 0.0
                        && field.si_scale == 1.0
                        && field.si_offset == 0.0
                        && field.missing.is_none()
                        && matches!(field.stored, Stored::Unsigned(1..=8) | Stored::Number)
                };
                let all: std::collections::BTreeSet<u16> =
                    fields.iter().filter_map(|field| field.repeat.as_ref()?.count_from).collect();
                if !counter.is_some_and(plain) || all.len() > slots::MOST_COUNTERS {
                    self.add(place, LayoutProblem::CountFrom { field: name() });
                }
            }
            if let Some(delta) = repeat.delta {
                let width = |stored| match stored {
                    Stored::Unsigned(bytes @ 1..=8) | Stored::Signed(bytes @ 1..=8) => Some(bytes),
                    _ => None,
                };
                let fits = width(delta).zip(width(field.stored)).is_some_and(|(of, whole)| of <= whole);
                if !fits {
                    self.add(place, LayoutProblem::Delta { field: name() });
                }
            }
            if let Some(group) = &repeat.group {
                let before = index.checked_sub(1).and_then(|at| fields[at].repeat.as_ref());
                let odd = before.is_some_and(|before| {
                    before.group.as_ref() == Some(group)
                        && (before.count != repeat.count || before.count_from != repeat.count_from)
                });
                if odd || slots::end_of_group(fields, index) - index > slots::MOST_IN_GROUP {
                    let most = slots::MOST_IN_GROUP;
                    self.add(place, LayoutProblem::Group { field: name(), group: group.clone(), most });
                }
            }
            self.several(place, field, repeat.every_s);
        }
    }

    /// What is meant by a field that stands several times.
    fn several(&mut self, place: Place, field: &Field, every_s: Option<f64>) {
        let meanings = || std::iter::once(field.meaning).chain(field.bits.iter().map(|bits| bits.meaning));
        let once = |meaning: &Meaning| {
            matches!(
                meaning,
                Meaning::Sequence | Meaning::OnboardTime | Meaning::Transmitter | Meaning::RestartCount
            )
        };
        if let Some(meaning) = meanings().find(once) {
            self.add(place, LayoutProblem::OnceOnly { meaning: meaning.name() });
        }
        match every_s {
            Some(every_s) if !(every_s > 0.0 && every_s <= 60.0) => {
                self.add(place, LayoutProblem::Every { field: field.name.clone(), every_s });
            }
            None => {
                if let Some(meaning) = meanings().find(|meaning| meaning.is_single()) {
                    let (field, meaning) = (field.name.clone(), meaning.name());
                    self.add(place, LayoutProblem::NoEvery { field, meaning });
                }
            }
            Some(_) => {}
        }
    }

    fn add(&mut self, place: Place, problem: LayoutProblem) {
        self.problems.push((place, problem));
    }

    fn field(&mut self, place: Place, field: &'a Field) {
        let name = || field.name.clone();
        let bytes = field.stored.bytes();
        if matches!(field.stored, Stored::Skip(_)) {
            return;
        }
        self.name(place, &field.name);
        match field.stored {
            Stored::Unsigned(9..=16) if !field.bits.is_empty() => {}
            Stored::Unsigned(1..=8)
            | Stored::Signed(1..=8)
            | Stored::Float(2 | 4 | 8)
            | Stored::Chars(1..)
            | Stored::Number
            | Stored::Text => {}
            _ => self.add(place, LayoutProblem::Width { field: name(), bytes }),
        }
        if !(field.scale.is_finite() && field.offset.is_finite()) || field.scale == 0.0 {
            let (scale, offset) = (field.scale, field.offset);
            self.add(place, LayoutProblem::Scale { field: name(), scale, offset });
        }
        if !matches!(field.stored, Stored::Text | Stored::Chars(_)) {
            match Unit::conversion(field.meaning, &field.unit) {
                Ok(unit) if unit.scale != field.si_scale || unit.offset != field.si_offset => {
                    self.add(place, LayoutProblem::Conversion { field: name(), unit: field.unit.clone() });
                }
                Ok(_) => {}
                Err(error) => self.add(place, error.into()),
            }
        }
        for value in [field.is, field.missing].into_iter().flatten() {
            if !can_be(field.stored, value) {
                self.add(place, LayoutProblem::Never { field: name(), value });
            }
        }
        self.meaning(place, field.meaning, field.channel.as_deref());
        self.values(place, &field.values);
        self.bits(place, field);
    }

    fn bits(&mut self, place: Place, field: &'a Field) {
        if field.bits.is_empty() {
            return;
        }
        let last = match field.stored {
            Stored::Unsigned(bytes) | Stored::Signed(bytes) => (usize::from(bytes) * 8).saturating_sub(1),
            Stored::Number => 52,
            _ => {
                self.add(place, LayoutProblem::BitsOfNoInteger { field: field.name.clone() });
                return;
            }
        };
        let mut taken: Vec<(u128, &str)> = Vec::new();
        for (index, bits) in field.bits.iter().enumerate() {
            let place = Place { bits: Some(index), ..place };
            self.name(place, &bits.name);
            let (from, width) = (usize::from(bits.bit), usize::from(bits.width));
            if width == 0 || width > 63 || from + width - 1 > last {
                let to = (from + width).saturating_sub(1);
                let (name, field) = (bits.name.clone(), field.name.clone());
                self.add(place, LayoutProblem::BitsPastEnd { name, from, to, field, last });
                continue;
            }
            let mask = ((1_u128 << width) - 1) << from;
            if let Some((_, other)) = taken.iter().find(|(other, _)| other & mask != 0) {
                self.add(
                    place,
                    LayoutProblem::BitsOverlap { name: bits.name.clone(), other: (*other).to_owned() },
                );
            }
            taken.push((mask, &bits.name));
            if !(bits.scale.is_finite() && bits.offset.is_finite()) || bits.scale == 0.0 {
                let (scale, offset) = (bits.scale, bits.offset);
                self.add(place, LayoutProblem::Scale { field: bits.name.clone(), scale, offset });
            }
            match Unit::conversion(bits.meaning, &bits.unit) {
                Ok(unit) if unit.scale != bits.si_scale || unit.offset != bits.si_offset => {
                    let (field, unit) = (bits.name.clone(), bits.unit.clone());
                    self.add(place, LayoutProblem::Conversion { field, unit });
                }
                Ok(_) => {}
                Err(error) => self.add(place, error.into()),
            }
            self.meaning(place, bits.meaning, bits.channel.as_deref());
            self.values(place, &bits.values);
        }
    }

    fn name(&mut self, place: Place, name: &'a str) {
        if self.names.contains(&name) {
            self.add(place, LayoutProblem::SameName { name: name.to_owned() });
        }
        self.names.push(name);
    }

    fn meaning(&mut self, place: Place, meaning: Meaning, channel: Option<&'a str>) {
        if meaning.has_channel() && channel.is_none() {
            self.add(place, LayoutProblem::NoChannel { meaning: meaning.name() });
        } else if !meaning.has_channel()
            && meaning != Meaning::Free
            && meaning.is_single()
            && channel.is_some()
        {
            self.add(place, LayoutProblem::NeedlessChannel { meaning: meaning.name() });
        }
        if meaning.is_single() && self.meant.contains(&(meaning, channel)) {
            let channel = channel.map(str::to_owned);
            self.add(place, LayoutProblem::SameMeaning { meaning: meaning.name(), channel });
        }
        self.meant.push((meaning, channel));
    }

    fn values(&mut self, place: Place, values: &[(i64, String)]) {
        for (index, (value, _)) in values.iter().enumerate() {
            if values[..index].iter().any(|(other, _)| other == value) {
                self.add(place, LayoutProblem::ValueTwice { value: *value });
            }
        }
    }
}

/// Whether a field can hold a raw value.
fn can_be(stored: Stored, value: f64) -> bool {
    let whole = value == libm::trunc(value);
    match stored {
        Stored::Unsigned(bytes @ 1..=8) => {
            whole && value >= 0.0 && value <= libm::exp2(8.0 * f64::from(bytes)) - 1.0
        }
        Stored::Signed(bytes @ 1..=8) => {
            let half = libm::exp2(8.0 * f64::from(bytes) - 1.0);
            whole && value >= -half && value < half
        }
        Stored::Float(_) => true,
        Stored::Number => value.is_finite(),
        Stored::Unsigned(_) | Stored::Signed(_) | Stored::Skip(_) | Stored::Text | Stored::Chars(_) => false,
    }
}

#[cfg(test)]
#[path = "check/tests.rs"]
mod tests;
