//! Parts of the model, each held against what is published of it alone.

use rowroom::farm::fieldwork::{axle_w, draft_n};
use rowroom::farm::{Shank, Texture};
use rowroom::linear::spectrum::gauss_markov;
use rowroom::linear::vehicle::axle_response;
use rowroom::model::driver::Driver;
use rowroom::model::setup::Setup;
use rowroom::scenario::{FIELD_PASSES, Scenario};

use crate::predict::Field;
use crate::trial::{Measured, What};

/// What one field gives.
pub fn values(scenario: &Scenario, seed: u64, field: u64, measured: &Measured) -> Field {
    let setup = scenario.draw(seed, field * FIELD_PASSES);
    match measured.quantity {
        What::ValveRise => vec![valve_rise_s(&setup)],
        What::PlantScatter => vec![setup.plants.scatter_sd_m],
        What::SteeringPeak => {
            let speeds = measured.speeds_m_s();
            speeds
                .iter()
                .map(|&speed| steering_peak_hz(&setup, speed))
                .collect()
        }
        What::ReceiverSd => {
            let speeds = measured.speeds_m_s();
            speeds
                .iter()
                .map(|&speed| receiver_sd_m(&setup, speed))
                .collect()
        }
        other => panic!("{other:?} is no part"),
    }
}

/// Rise of a first-order lag from 10 to 90 %.
fn valve_rise_s(setup: &Setup) -> f64 {
    let valve = setup.hydraulics.proportional.expect("a proportional valve");
    9f64.ln() * valve.spool_lag_s
}

/// Where the power of the steering angle over frequency is greatest, of what the eye and the hand do together.
fn steering_peak_hz(setup: &Setup, speed_m_s: f64) -> f64 {
    let Driver::Hand(hand) = &setup.driver else {
        panic!("no hand steers");
    };
    let density = |hz: f64| {
        let w = 2.0 * std::f64::consts::PI * hz;
        let response = axle_response(setup, speed_m_s, w).expect("a hand");
        // The angle is the lateral acceleration of the path over v^2 / L.
        let angle = w * w * setup.tractor.wheelbase_m / (speed_m_s * speed_m_s);
        let seeing = gauss_markov(hand.seeing.sd, hand.seeing.reach / speed_m_s, w);
        let steering = gauss_markov(hand.steering.sd, hand.steering.reach, w);
        angle
            * angle
            * (response.seeing.norm_sqr() * seeing + response.steering.norm_sqr() * steering)
    };
    let places = (1..=400).map(|i| 0.0025 * f64::from(i));
    places
        .max_by(|a, b| density(*a).total_cmp(&density(*b)))
        .expect("places")
}

/// What a receiver that steers a tractor along a line tells of its offset from the line: true offset and the receiver's own quick noise.
/// The tractor steers its number towards 0, so the two are not independent. Slow drift it cannot see.
fn receiver_sd_m(setup: &Setup, speed_m_s: f64) -> f64 {
    let Driver::SatelliteLine(line) = &setup.driver else {
        panic!("no satellite steers");
    };
    let [receiver, _] = line.noises(speed_m_s);
    // Even steps of the logarithm of frequency, 0.001 to 1000 rad/s: below and above is nothing of a noise over some seconds.
    let (steps, decades) = (6000, 6.0);
    let of = |i: i32| {
        let w = 10f64.powf(-3.0 + decades * (f64::from(i) + 0.5) / f64::from(steps));
        let response = axle_response(setup, speed_m_s, w).expect("a line");
        let told = (response.receiver + 1.0).norm_sqr();
        told * gauss_markov(receiver.sd, receiver.reach, w) * w
    };
    let step = decades * 10f64.ln() / f64::from(steps);
    ((0..steps).map(of).sum::<f64>() * step / std::f64::consts::PI).sqrt()
}

/// Power of the pull of six rows at the corners of what is told: depth, speed, soil and kind of shank.
pub fn pull_power_w() -> Vec<Field> {
    let mut all = Vec::new();
    for texture in [Texture::Fine, Texture::Medium, Texture::Coarse] {
        for shank in [Shank::STine, Shank::CShank, Shank::NoTill] {
            for depth_m in [0.025, 0.051] {
                let speeds_m_s = [5.0 / 3.6, 8.0 / 3.6];
                let power = |v| axle_w(draft_n(texture, shank, 6, depth_m, v), v, 0.72);
                all.push(speeds_m_s.map(power).to_vec());
            }
        }
    }
    all
}
