//! A list of fixed room on the stack that serialises as a list: nothing is allocated in a step.

use serde::de::{SeqAccess, Visitor};
use serde::ser::SerializeSeq;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// Something that can fill unused room.
pub(crate) trait Blank: Copy {
    const BLANK: Self;
}

/// Up to `ROOM` items.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shelf<T, const ROOM: usize> {
    items: [T; ROOM],
    len: usize,
}

impl<T: Blank, const ROOM: usize> Shelf<T, ROOM> {
    pub(crate) const fn new() -> Self {
        Self { items: [T::BLANK; ROOM], len: 0 }
    }
    pub(crate) fn clear(&mut self) {
        self.len = 0;
    }
    /// Adds at the end; says whether there was room.
    pub(crate) fn push(&mut self, item: T) -> bool {
        if self.len == ROOM {
            return false;
        }
        self.items[self.len] = item;
        self.len += 1;
        true
    }
    /// Adds at the end, dropping the first when full.
    pub(crate) fn roll(&mut self, item: T) {
        if self.len == ROOM {
            self.items.copy_within(1.., 0);
            self.len -= 1;
        }
        self.push(item);
    }
    pub(crate) fn retain(&mut self, mut keep: impl FnMut(&T) -> bool) {
        let mut to = 0;
        for from in 0..self.len {
            if keep(&self.items[from]) {
                self.items[to] = self.items[from];
                to += 1;
            }
        }
        self.len = to;
    }
}

impl<T, const ROOM: usize> core::ops::Deref for Shelf<T, ROOM> {
    type Target = [T];
    fn deref(&self) -> &[T] {
        &self.items[..self.len]
    }
}

impl<T, const ROOM: usize> core::ops::DerefMut for Shelf<T, ROOM> {
    fn deref_mut(&mut self) -> &mut [T] {
        &mut self.items[..self.len]
    }
}

impl<T: Serialize, const ROOM: usize> Serialize for Shelf<T, ROOM> {
    fn serialize<S: Serializer>(&self, s: S) -> Result<S::Ok, S::Error> {
        let mut seq = s.serialize_seq(Some(self.len))?;
        for item in &self.items[..self.len] {
            seq.serialize_element(item)?;
        }
        seq.end()
    }
}

struct Fill<T, const ROOM: usize>(core::marker::PhantomData<T>);

impl<'de, T: Blank + Deserialize<'de>, const ROOM: usize> Visitor<'de> for Fill<T, ROOM> {
    type Value = Shelf<T, ROOM>;
    fn expecting(&self, f: &mut core::fmt::Formatter<'_>) -> core::fmt::Result {
        write!(f, "a list of at most {ROOM}")
    }
    fn visit_seq<A: SeqAccess<'de>>(self, mut seq: A) -> Result<Self::Value, A::Error> {
        let mut shelf = Shelf::new();
        while let Some(item) = seq.next_element()? {
            if !shelf.push(item) {
                return Err(serde::de::Error::invalid_length(ROOM + 1, &self));
            }
        }
        Ok(shelf)
    }
}

impl<'de, T: Blank + Deserialize<'de>, const ROOM: usize> Deserialize<'de> for Shelf<T, ROOM> {
    fn deserialize<De: Deserializer<'de>>(d: De) -> Result<Self, De::Error> {
        d.deserialize_seq(Fill::<T, ROOM>(core::marker::PhantomData))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    impl Blank for u8 {
        const BLANK: Self = 0;
    }

    #[test]
    fn keeps_the_newest_and_its_order() {
        let mut s: Shelf<u8, 3> = Shelf::new();
        for i in 1..=4 {
            s.roll(i);
        }
        assert_eq!(&s[..], [2, 3, 4]);
        s.retain(|v| *v != 3);
        let text = serde_json::to_string(&s).unwrap();
        assert_eq!(text, "[2,4]");
        let back: Shelf<u8, 3> = serde_json::from_str(&text).unwrap();
        assert_eq!(&back[..], [2, 4]);
        assert!(serde_json::from_str::<Shelf<u8, 1>>(&text).is_err());
    }
}
