//! Things in order, thinned evenly once there are too many.

/// Of many, one in so many.
#[derive(Clone, Debug)]
pub(crate) struct Thinned<T> {
    kept: Vec<T>,
    /// Most that are kept.
    most: usize,
    /// One in so many is kept.
    every: usize,
    seen: usize,
}

impl<T> Thinned<T> {
    /// None yet, and never more than so many.
    pub(crate) const fn new(most: usize) -> Self {
        Self { kept: Vec::new(), most, every: 1, seen: 0 }
    }

    /// Takes the next.
    pub(crate) fn take(&mut self, next: T) {
        if self.seen.is_multiple_of(self.every) {
            self.kept.push(next);
        }
        self.seen += 1;
        if self.kept.len() > self.most {
            let mut index = 0;
            self.kept.retain(|_| {
                index += 1;
                index % 2 == 1
            });
            self.every *= 2;
        }
    }

    /// Those that are kept.
    pub(crate) fn kept(&self) -> &[T] {
        &self.kept
    }

    /// The same, by value.
    pub(crate) fn into_kept(self) -> Vec<T> {
        self.kept
    }
}
