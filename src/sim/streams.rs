//! The random streams of a pass: each derived from (seed, pass) alone, one per source. The engine draws from [`super::deviates`].

use rand::SeedableRng;
use rand_chacha::ChaCha8Rng;

/// What a stream is used for. The numbers are part of the reproducibility of results: never reuse one.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u64)]
pub enum Source {
    /// Distributed parameters of the scenario.
    Parameters = 0,
    /// Planter wander, one substream per planter pass (0 to 7).
    RowWander = 1,
    /// Joining and unit setting errors of the planter.
    PlanterErrors = 9,
    /// Setting errors of the cutting edges.
    ToolErrors = 10,
    /// Stations, gaps and scatter of the plants.
    Plants = 11,
    /// The driver's seeing error.
    Seeing = 12,
    /// The driver's steering error.
    Steering = 13,
    /// Satellite receiver noise.
    Receiver = 14,
    /// Satellite receiver drift.
    Drift = 15,
    /// Sway of the implement.
    Sway = 16,
    /// Row appearance.
    Appearance = 17,
    /// White camera noise.
    CameraWhite = 18,
    /// Camera roll.
    Roll = 19,
    /// Blind stretches.
    Blind = 20,
    /// Outliers.
    Outliers = 21,
    /// Phase of the first frame.
    FramePhase = 22,
    /// Yaw-rate sensor noise.
    YawSensor = 23,
    /// Position sensor noise, the same draws for every controller.
    PositionSensor = 24,
}

/// Streams set aside for each pass.
pub const PER_PASS: u64 = 64;

/// The stream of one source in one pass by ChaCha8, for what is drawn once a pass: the parameters of a scenario. `part` picks one of
/// several equal sources.
pub fn stream(seed: u64, pass: u64, source: Source, part: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(
        pass.wrapping_mul(PER_PASS)
            .wrapping_add(source as u64 + part),
    );
    rng
}
