//! The file's tree of values, walked so that one wrong field does not hide the next.
//!
//! Each told value is a [`Field`]: absent, wrong (already noted) or there, with the place that a mistake about
//! it points at. [`told!`] writes a struct of fields, its list of keys and its reader.

use std::ops::Range;

use toml::Spanned;
use toml::de::DeValue;

use crate::mistake::clean;
use crate::notes::Notes;

/// Where something stands in the file.
#[derive(Clone, Debug, Default)]
pub(crate) struct Place {
    /// Dotted key.
    pub(crate) key: String,
    /// Bytes of the file.
    pub(crate) span: Range<usize>,
}

impl Place {
    /// The place of a key below this one, which stands at `span`.
    pub(crate) fn below(&self, key: &str, span: Range<usize>) -> Self {
        let dotted =
            if self.key.is_empty() { clean(key, 60) } else { format!("{}.{}", self.key, clean(key, 60)) };
        Self { key: dotted, span }
    }
}

/// A value and where it stands.
#[derive(Clone, Debug)]
pub(crate) struct At<T> {
    pub(crate) value: T,
    pub(crate) at: Place,
}

/// A key as told.
#[derive(Clone, Debug)]
pub(crate) enum Field<T> {
    /// Not in the file; the place is where it would stand.
    Absent(Place),
    /// There, but of a wrong type: noted.
    Wrong(Place),
    /// There.
    Is(At<T>),
}

impl<T> Field<T> {
    /// The value, if there.
    pub(crate) fn get(&self) -> Option<&At<T>> {
        if let Self::Is(at) = self { Some(at) } else { None }
    }
    /// Where it stands or would stand.
    pub(crate) fn place(&self) -> &Place {
        match self {
            Self::Absent(place) | Self::Wrong(place) => place,
            Self::Is(at) => &at.at,
        }
    }
    /// The key, if its value is of a wrong type.
    pub(crate) fn wrong(&self) -> Option<&str> {
        if let Self::Wrong(place) = self { Some(&place.key) } else { None }
    }
    /// Whether the key is not in the file.
    pub(crate) fn absent(&self) -> bool {
        matches!(self, Self::Absent(_))
    }
}

impl<T> Field<Vec<T>> {
    /// The elements; none if absent or wrong.
    pub(crate) fn list(&self) -> &[T] {
        self.get().map_or(&[], |at| &at.value)
    }
}

/// What can be read from a value of the file. `None`: wrong, and noted.
pub(crate) trait FromFile: Sized {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self>;
}

/// Reads one key of a table.
pub(crate) fn field<T: FromFile>(
    table: &Spanned<DeValue<'_>>,
    owner: &Place,
    key: &str,
    notes: &mut Notes,
) -> Field<T> {
    let Some(value) = table.get_ref().as_table().and_then(|t| t.get(key)) else {
        return Field::Absent(owner.below(key, owner.span.clone()));
    };
    let place = owner.below(key, value.span());
    match T::from_file(value, &place, notes) {
        Some(value) => Field::Is(At { value, at: place }),
        None => Field::Wrong(place),
    }
}

/// What a value is, in words, for "found".
pub(crate) fn described(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(s) => format!("the text \"{}\"", clean(s, 60)),
        DeValue::Integer(i) => format!("the whole number {}", clean(&i.to_string(), 60)),
        DeValue::Float(f) => format!("the number {}", clean(f.as_str(), 60)),
        DeValue::Boolean(b) => format!("{b}"),
        DeValue::Datetime(d) => format!("the date or time {d}"),
        DeValue::Array(a) => format!("a list of {}", a.len()),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

fn whole(value: &DeValue<'_>) -> Option<i64> {
    let integer = value.as_integer()?;
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

impl FromFile for f64 {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let number = match value.get_ref() {
            DeValue::Float(float) => float.as_str().parse().ok(),
            other => whole(other).map(|i| i as Self),
        };
        let found = number.filter(|n: &Self| n.is_finite());
        if found.is_none() {
            let hint = match value.get_ref() {
                DeValue::String(text) => crate::mixup::number_in_text(&place.key, text),
                _ => None,
            };
            notes.refuse(place, "a number", described(value.get_ref()), hint);
        }
        found
    }
}

impl FromFile for i64 {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let found = whole(value.get_ref());
        if found.is_none() {
            notes.refuse(place, "a whole number", described(value.get_ref()), None);
        }
        found
    }
}

impl FromFile for bool {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let found = value.get_ref().as_bool();
        if found.is_none() {
            notes.refuse(place, "true or false, without quotes", described(value.get_ref()), None);
        }
        found
    }
}

impl FromFile for String {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let found = value.get_ref().as_str().map(ToOwned::to_owned);
        if found.is_none() {
            notes.refuse(place, "text in quotes", described(value.get_ref()), None);
        }
        found
    }
}

impl FromFile for [f64; 2] {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let elements: Vec<_> = value.get_ref().as_array().into_iter().flatten().collect();
        if let [first, second] = elements.as_slice() {
            let first = f64::from_file(first, &Place { span: first.span(), ..place.clone() }, notes);
            let second = f64::from_file(second, &Place { span: second.span(), ..place.clone() }, notes);
            return Some([first?, second?]);
        }
        notes.refuse(place, "two numbers, [a, b]", described(value.get_ref()), None);
        None
    }
}

/// The greatest number of elements of any list in the file.
const LONGEST_LIST: usize = 2000;

impl<T: FromFile> FromFile for Vec<At<T>> {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let Some(array) = value.get_ref().as_array() else {
            let hint =
                value.get_ref().is_table().then(|| format!("write it with two brackets: [[{}]]", place.key));
            notes.refuse(place, "a list", described(value.get_ref()), hint);
            return None;
        };
        if array.len() > LONGEST_LIST {
            notes.refuse(place, format!("at most {LONGEST_LIST} of them"), array.len().to_string(), None);
            return None;
        }
        let mut all = Self::new();
        for (index, element) in array.iter().enumerate() {
            let name =
                element.get_ref().as_table().and_then(|t| t.get("name")).and_then(|n| n.get_ref().as_str());
            let key = match name {
                Some(name) if !name.trim().is_empty() => format!("{}[{}]", place.key, clean(name, 40)),
                _ => format!("{}[{}]", place.key, index + 1),
            };
            let at = Place { key, span: element.span() };
            if let Some(value) = T::from_file(element, &at, notes) {
                all.push(At { value, at });
            }
        }
        Some(all)
    }
}

/// Names of values: `{ 0 = "pad", 1 = "up" }`.
#[derive(Clone, Debug)]
pub(crate) struct Names(pub(crate) Vec<(i64, String)>);

impl FromFile for Names {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        let Some(table) = value.get_ref().as_table() else {
            notes.refuse(
                place,
                "a table such as { 0 = \"pad\", 1 = \"up\" }",
                described(value.get_ref()),
                None,
            );
            return None;
        };
        let mut names = Vec::new();
        for (key, name) in table {
            let raw = key.get_ref().parse().ok();
            if raw.is_none() {
                let at = place.below(key.get_ref(), key.span());
                notes.refuse(
                    &at,
                    "a whole number before the =",
                    format!("`{}`", clean(key.get_ref(), 40)),
                    None,
                );
            }
            let word = String::from_file(name, &place.below(key.get_ref(), name.span()), notes);
            if let (Some(raw), Some(word)) = (raw, word) {
                names.push((raw, word));
            }
        }
        names.sort_by_key(|&(raw, _)| raw);
        Some(Self(names))
    }
}

/// A length: a word for frames with a sync word, a number of bytes for fixed frames.
#[derive(Clone, Debug)]
pub(crate) enum Length {
    Word(String),
    Bytes(i64),
}

impl FromFile for Length {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        match value.get_ref() {
            DeValue::String(word) => Some(Self::Word(word.to_string())),
            DeValue::Integer(_) => i64::from_file(value, place, notes).map(Self::Bytes),
            other => {
                notes.refuse(
                    place,
                    "a number of bytes, or \"u8\", \"u16le\" or \"u16be\"",
                    described(other),
                    None,
                );
                None
            }
        }
    }
}

/// What a value must be: a number, or text.
#[derive(Clone, Debug)]
pub(crate) enum Is {
    Number(f64),
    Text(String),
}

impl FromFile for Is {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        match value.get_ref() {
            DeValue::String(text) => Some(Self::Text(text.to_string())),
            DeValue::Integer(_) | DeValue::Float(_) => f64::from_file(value, place, notes).map(Self::Number),
            other => {
                notes.refuse(place, "a number, or text in quotes", described(other), None);
                None
            }
        }
    }
}

/// How often a field stands: a number, or the name of the field that says it.
#[derive(Clone, Debug)]
pub(crate) enum Count {
    Times(i64),
    By(String),
}

impl FromFile for Count {
    fn from_file(value: &Spanned<DeValue<'_>>, place: &Place, notes: &mut Notes) -> Option<Self> {
        match value.get_ref() {
            DeValue::String(name) => Some(Self::By(name.to_string())),
            DeValue::Integer(_) => i64::from_file(value, place, notes).map(Self::Times),
            other => {
                let expected = "how often it stands, or the name of the field that says so";
                notes.refuse(place, expected, described(other), None);
                None
            }
        }
    }
}

/// A struct of told fields: `field as "key": Type`, read from a table; unknown keys are noted.
macro_rules! told {
    ($($(#[$doc:meta])* $name:ident { $($field:ident as $key:literal: $type:ty,)* })*) => {$(
        $(#[$doc])*
        #[derive(Clone, Debug)]
        pub(crate) struct $name {
            $(pub(crate) $field: $crate::tree::Field<$type>,)*
        }
        impl $name {
            /// The keys that the table may hold.
            pub(crate) const KEYS: &[&str] = &[$($key,)*];
        }
        impl $crate::tree::FromFile for $name {
            fn from_file(
                value: &toml::Spanned<toml::de::DeValue<'_>>,
                place: &$crate::tree::Place,
                notes: &mut $crate::notes::Notes,
            ) -> Option<Self> {
                notes.keys(value, place, Self::KEYS)?;
                Some(Self {
                    $($field: $crate::tree::field(value, place, $key, notes),)*
                })
            }
        }
    )*};
}
pub(crate) use told;
