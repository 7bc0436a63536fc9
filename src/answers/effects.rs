//! What a change does to the plants cut at one setting, on the same passes.

use super::changes::Step;
use super::speed::is_stable_with;
use super::trial::{Ask, Cell, Stopped, Trials, as_it_is};
use crate::model::controller::Kind;
use crate::model::setup::Setup;
use crate::results::answers::Effect;

/// Runs at one setting, and what the machine does there as it stands.
pub struct AtSetting<'a> {
    trials: &'a Trials<'a>,
    setup: &'a Setup,
    kind: Kind,
    speed_m_s: f64,
    clearance_m: f64,
    passes: u64,
    base: Cell,
}

impl<'a> AtSetting<'a> {
    /// Runs the machine as it stands.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn new(
        trials: &'a Trials<'a>,
        setup: &'a Setup,
        kind: Kind,
        (speed_m_s, clearance_m): (f64, f64),
        passes: u64,
    ) -> Result<Self, Stopped> {
        let ask = Ask {
            passes,
            speeds_m_s: &[speed_m_s],
            kinds: &[kind],
            clearances_m: &[clearance_m],
        };
        let base = trials.run(&ask, &as_it_is)?.cell(0, 0).clone();
        Ok(Self {
            trials,
            setup,
            kind,
            speed_m_s,
            clearance_m,
            passes,
            base,
        })
    }

    /// Runs it with a change; `None` where that makes a loop unstable.
    ///
    /// # Errors
    ///
    /// The watch stopped it.
    pub fn with(&self, step: &Step) -> Result<Option<Effect>, Stopped> {
        if !is_stable_with(
            self.setup,
            &|setup, v| step.apply(setup, v),
            self.kind,
            self.speed_m_s,
        ) {
            return Ok(None);
        }
        let ask = Ask {
            passes: self.passes,
            speeds_m_s: &[self.speed_m_s],
            kinds: &[self.kind],
            clearances_m: &[self.clearance_m],
        };
        let changed = self
            .trials
            .run(&ask, &|setup| step.apply(setup, self.speed_m_s))?;
        let changed = changed.cell(0, 0);
        let estimate = changed.estimates()[0];
        let difference = changed.less(&self.base, 0);
        Ok(Some(Effect {
            change: step.change,
            passes: self.passes,
            cut: estimate.share(),
            difference,
        }))
    }
}
