//! Who sees how far a study is, and may stop it.

use super::saved::Saved;

/// Who watches a study.
pub trait Watch: Sync {
    /// So many passes of at most so many are done.
    fn passes_done(&self, done: u64, of: u64);
    /// The passes are simulated, all of them or as many as there was time for; what follows from them comes next. A moment to keep
    /// them. False: the study ends here.
    fn simulated(&self, _so_far: &Saved, _complete: bool) -> bool {
        true
    }
    /// This share of the answers that follow from a study is worked out. It is reckoned with the work that was expected: they may end
    /// somewhat below or above 1.
    fn answers_done(&self, _share: f64) {}
    /// True once the study should stop: after the blocks that are on their way.
    fn stop(&self) -> bool;
}

/// Nobody watches.
pub struct Unwatched;

impl Watch for Unwatched {
    fn passes_done(&self, _done: u64, _of: u64) {}
    fn stop(&self) -> bool {
        false
    }
}
