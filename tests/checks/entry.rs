//! Coming into the row: what an approach and a frame that is set before the tools are lowered take away.

use rowroom::model::controller::Kind;
use rowroom::model::driver::Driver;
use rowroom::model::setup::Setup;
use rowroom::scenario::{Scenario, starter};
use rowroom::sim::pass::Pass;

const SPEED_M_S: f64 = 2.0;
const JUMP_M: f64 = 0.06;

/// A machine without any noise that leaves the headland turn beside the line.
fn beside_the_line(approach_m: f64) -> Setup {
    let mut setup = Setup::plausible();
    setup.run.length_m = 30.0;
    setup.run.entry_offset_m = JUMP_M;
    setup.run.approach_m = approach_m;
    setup.rows.wander.sd = 0.0;
    setup.camera.appearance.sd = 0.0;
    setup.camera.roll_ground_sd_rad = 0.0;
    let Driver::Hand(hand) = &mut setup.driver else {
        panic!("nobody steers");
    };
    (hand.seeing.sd, hand.steering.sd) = (0.0, 0.0);
    setup
}

/// Axle's offset and tool error at the moment of lowering, m.
fn at_lowering(setup: &Setup, kind: Kind) -> (f64, f64, f64) {
    let pass = Pass::drive(setup, 5, 3, SPEED_M_S);
    let shift = pass.shift(setup, kind);
    let path = &pass.path;
    let errors: Vec<f64> = (0..path.station_m.len())
        .map(|tick| shift.shift_m[tick] - path.wanted_m(tick))
        .collect();
    let lowered_s = path.lowered_s;
    // The tool line is then at the beginning of the row; a cosine of the heading and an interpolation: less than a millimetre.
    let station_m = path.at(&path.station_m, lowered_s) - setup.tools.tool_line_m;
    assert!(station_m.abs() < 1e-3, "{station_m}");
    (
        lowered_s,
        path.at(&path.axle_m, lowered_s),
        path.at(&errors, lowered_s),
    )
}

/// A driver without reaction time on a steering without lag is y'' + 2 c y' + 2 c² y = 0, c = v/d: from an offset y0 on, along the
/// line, y = y0 exp(-c t)(cos c t + sin c t). The command is held over a step of 20 ms, as if it came half of
/// that late, with c = 0.25 1/s: 4e-3 of y0.
#[test]
fn analytic_the_driver_takes_the_entry_offset_out_along_the_approach() {
    for approach_m in [0.0, 4.0, 10.0, 20.0] {
        let mut setup = beside_the_line(approach_m);
        setup.tractor.steer_lag_s = 0.0;
        setup.tractor.steer_rate_rad_s = 10.0;
        let Driver::Hand(hand) = &mut setup.driver else {
            panic!("nobody steers");
        };
        hand.reaction_s = 0.0;
        let turned = SPEED_M_S / hand.preview_m(SPEED_M_S);
        let (lowered_s, axle_m, _) = at_lowering(&setup, Kind::Locked);
        assert!((lowered_s - approach_m / SPEED_M_S) <= setup.camera.frame_s);
        let ct = turned * lowered_s;
        let wanted_m = JUMP_M * (-ct).exp() * (ct.cos() + ct.sin());
        assert!(
            (axle_m - wanted_m).abs() < 4e-3 * JUMP_M,
            "{approach_m} m: {axle_m} {wanted_m}"
        );
    }
}

/// A frame that is centred until the tools are down starts beside the row by all that the drive has left; one that follows over the
/// approach is on it by then. After 3 s, ten times the delays of camera and valve, a tenth of the error may be left.
#[test]
fn prop_a_frame_set_before_lowering_starts_on_the_row() {
    for kind in [
        Kind::OnOff,
        Kind::Pid,
        Kind::LagCompensated,
        Kind::LagCompensatedYaw,
    ] {
        let mut setup = beside_the_line(6.0);
        let (_, _, centred_m) = at_lowering(&setup, kind);
        setup.run.follows_before_lowering = true;
        let (_, _, following_m) = at_lowering(&setup, kind);
        // The switch of an on-off valve leaves what it does not see: up to the point at which it starts.
        let left_m = match kind {
            Kind::OnOff => setup.controllers.on_off.unwrap().on_m,
            _ => 0.1 * centred_m.abs(),
        };
        assert!(centred_m.abs() > 0.03, "{kind:?}: {centred_m}");
        assert!(following_m.abs() < left_m, "{kind:?}: {following_m}");
    }
}

/// The keys reach the machine; a logged pass, which begins at lowering, has no approach.
#[test]
fn regress_approach_and_following_are_read_and_refused_before_a_logged_pass() {
    let no_files = |_: &str| Err(std::io::ErrorKind::NotFound.into());
    let parse = |text: &str, log| Scenario::parse(text, "x.toml", &no_files, log);
    let lifted = "# while_lifted = \"centred\"";
    let text = starter().replace(lifted, "while_lifted = \"following\"\napproach = \"5 m\"");
    let run = parse(&text, None).unwrap().nominal().run;
    assert!(run.follows_before_lowering);
    assert_eq!(run.approach_m, 5.0);
    assert_eq!(run.controller_starts_s(3.0), run.start_delay_s);

    let run = parse(&starter(), None).unwrap().nominal().run;
    assert!(!run.follows_before_lowering);
    assert_eq!(run.approach_m, 0.0);
    assert_eq!(run.controller_starts_s(3.0), 3.0 + run.start_delay_s);

    let text = include_str!("../../scenarios/replayed_pass.toml");
    let text = text.replace("[pass]", "[pass]\napproach = \"5 m\"");
    let points: String = (0..=130).map(|i| format!("{i},0.01\n")).collect();
    let log = format!("distance_m,offset_m\n{points}");
    let refused = parse(&text, Some((&log, "log.csv"))).unwrap_err();
    let told = "pass.approach = \"5 m\" does not go with [driver.replay]: a logged pass begins at lowering";
    assert!(refused.to_string().contains(told), "{refused}");
}
