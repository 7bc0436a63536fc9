//! Threads that do the same work side by side; where there are none, as in a browser, the caller does it alone.

/// The machine gave no threads.
#[derive(Debug, thiserror::Error)]
#[error("no worker threads: {0}")]
pub struct NoThreads(String);

/// Some threads.
#[cfg(feature = "program")]
pub(crate) struct Workers(rayon::ThreadPool);

#[cfg(feature = "program")]
impl Workers {
    /// So many; `None`: as many as the machine has cores.
    pub fn new(threads: Option<usize>) -> Result<Self, NoThreads> {
        let mut builder = rayon::ThreadPoolBuilder::new();
        if let Some(threads) = threads {
            builder = builder.num_threads(threads);
        }
        let pool = builder.build();
        pool.map(Self).map_err(|error| NoThreads(error.to_string()))
    }

    /// Lets each of them do this, and gives what each of them found.
    pub fn each<T: Send>(&self, work: impl Fn() -> T + Sync) -> Vec<T> {
        self.0.broadcast(|_| work())
    }
}

/// The caller.
#[cfg(not(feature = "program"))]
pub(crate) struct Workers;

#[cfg(not(feature = "program"))]
impl Workers {
    /// The one there is.
    pub fn new(_threads: Option<usize>) -> Result<Self, NoThreads> {
        Ok(Self)
    }

    /// Does this once.
    pub fn each<T: Send>(&self, work: impl Fn() -> T + Sync) -> Vec<T> {
        vec![work()]
    }
}
