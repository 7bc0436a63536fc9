//! The frame stays centred: the baseline.

use super::law::{Arrival, Asked, Law};
use super::linear::{Feedback, Lead, Linear, ShiftResponse};
use super::{Controller, Lack, ValveKind};
use crate::model::sampled::Frequency;
use crate::model::setup::Setup;
use crate::model::vector::Lanes;

/// No control.
#[derive(Clone, Copy, Debug)]
pub struct Control;

impl Controller for Control {
    const NAME: &'static str = "locked";
    const LOOP: &'static str = "";
    const VALVE: Option<ValveKind> = None;
    type Law<const N: usize> = Still;

    fn lacks(_: &Setup) -> Option<Lack> {
        None
    }

    fn law<const N: usize>(_: &Setup, _: f64) -> Option<Still> {
        Some(Still)
    }

    fn linear(_: &Setup, _: f64) -> Option<Box<dyn Linear>> {
        // q = 0 is linear too: its error budget is the one that every other controller is held against.
        Some(Box::new(Still))
    }

    fn feedback(_: &Setup, _: f64, _: f64) -> Option<Feedback> {
        None
    }

    fn lead(_: &Setup, _: f64) -> Option<Lead> {
        None
    }
}

/// Asks for nothing.
#[derive(Clone, Copy, Debug)]
pub struct Still;

impl<const N: usize> Law<N> for Still {
    #[inline(always)]
    fn command(&mut self, _: &Arrival<'_, N>) -> Asked<N> {
        Asked::default()
    }

    #[inline(always)]
    fn applied(&mut self, _: f64, _: Lanes<N>) {}
}

impl Linear for Still {
    fn response(&self, _: &Frequency) -> ShiftResponse {
        ShiftResponse::NONE
    }

    fn standing_m(&self, _: f64) -> f64 {
        0.0
    }
}
