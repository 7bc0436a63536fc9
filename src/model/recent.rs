//! The newest entries of a growing list.

/// A list that keeps its newest entries only, in the room of those: a pass asks for what lies a few dead times back, and all that it ever
/// noted would push its tables out of the nearest cache. Entries keep their numbers from the beginning.
#[derive(Clone, Debug)]
pub struct Recent<T> {
    room: Vec<T>,
    /// Number of entries so far.
    len: usize,
}

impl<T: Copy + Default> Recent<T> {
    /// An empty list that keeps at least this many of its newest entries.
    pub fn of(newest: usize) -> Self {
        Self {
            // A power of two, so that going round is a mask and no division.
            room: vec![T::default(); newest.next_power_of_two()],
            len: 0,
        }
    }

    /// Number of entries so far, those no longer kept included.
    #[inline(always)]
    pub fn len(&self) -> usize {
        self.len
    }

    /// True before the first entry.
    #[inline(always)]
    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// Adds an entry.
    #[inline(always)]
    pub fn push(&mut self, entry: T) {
        let round = self.room.len() - 1;
        self.room[self.len & round] = entry;
        self.len += 1;
    }

    /// The entry of that number, which must be there and kept.
    #[inline(always)]
    pub fn at(&self, number: usize) -> &T {
        debug_assert!(number < self.len && self.len - number <= self.room.len());
        &self.room[number & (self.room.len() - 1)]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Own arithmetic: as many as asked for are there under their numbers, however often the room was gone round.
    #[test]
    fn prop_the_newest_entries_keep_their_numbers() {
        for newest in [1, 2, 3, 5, 8, 9] {
            let mut list = Recent::of(newest);
            assert!(list.is_empty());
            for number in 0..100_usize {
                list.push(number * number);
                assert_eq!(list.len(), number + 1);
                for kept in (number + 1).saturating_sub(newest)..=number {
                    assert_eq!(*list.at(kept), kept * kept);
                }
            }
        }
    }
}
