//! Random choices. A case is (seed, number) and depends on nothing else.

use rand::{Rng, SeedableRng};
use rand_chacha::ChaCha8Rng;

/// The dice of one case.
pub struct Dice(ChaCha8Rng);

impl Dice {
    /// The dice of a case.
    pub fn new(seed: u64, number: u64) -> Dice {
        let mut rng = ChaCha8Rng::seed_from_u64(seed);
        rng.set_stream(number);
        Dice(rng)
    }

    /// Any number.
    pub fn any(&mut self) -> u64 {
        self.0.next_u64()
    }

    /// A number below `end`, 0 if there is none.
    pub fn below(&mut self, end: usize) -> usize {
        (self.any() % end.max(1) as u64) as usize
    }

    /// A number from `first` to `last`.
    pub fn from(&mut self, first: usize, last: usize) -> usize {
        first + self.below(last - first + 1)
    }

    /// A number from 0 up to 1.
    pub fn share(&mut self) -> f64 {
        self.below(1 << 30) as f64 / f64::from(1 << 30)
    }

    /// True once in so many times.
    pub fn once_in(&mut self, times: usize) -> bool {
        self.below(times) == 0
    }

    /// One of several.
    pub fn of<T: Copy>(&mut self, items: &[T]) -> T {
        items[self.below(items.len())]
    }
}
