//! Seconds that a million fixes take, in each kind of log: read, split into passes, and their wander fitted.

use std::fmt::Write as _;
use std::time::Instant;

use rowroom::field::log::{Logs, Quality};
use rowroom::field::{How, tracks};

const FIXES: usize = 1_000_000;

/// East and north (m) of a tractor on passes of 400 m with turns between them, 0.25 m from fix to fix.
fn place(i: usize) -> [f64; 2] {
    let (pass, i) = (i / 1640, i % 1640);
    let there = pass.is_multiple_of(2);
    let (x, y) = if i < 1600 {
        let x = 0.25 * i as f64;
        (
            x,
            0.03 * ((0.31 * x + pass as f64).sin() + (0.73 * x + 2.0 * pass as f64).sin()),
        )
    } else {
        let angle = core::f64::consts::PI * (i - 1600) as f64 / 40.0;
        (400.0 + 3.0 * angle.sin(), 1.5 - 1.5 * angle.cos())
    };
    [if there { x } else { 400.0 - x }, 3.0 * pass as f64 + y]
}

fn degrees(i: usize) -> [f64; 2] {
    let [x, y] = place(i);
    [52.1 + y / 111_260.0, 9.1 + x / 68_680.0]
}

fn nmea() -> String {
    let mut text = String::new();
    for i in 0..FIXES {
        let [latitude, longitude] = degrees(i).map(|d| 100.0 * d.trunc() + 60.0 * d.fract());
        let s = i / 10;
        let body = format!(
            "GPGGA,{:02}{:02}{:02}.{}0,{latitude:.7},N,{longitude:012.7},E,4,12,0.8,80.0,M,45.0,M,,",
            s / 3600 % 24,
            s / 60 % 60,
            s % 60,
            i % 10
        );
        let sum = body.bytes().fold(0, |sum, byte| sum ^ byte);
        let _ = write!(text, "${body}*{sum:02X}\r\n");
    }
    text
}

fn gpx() -> String {
    let mut text = "<gpx><trk><trkseg>\n".to_owned();
    for i in 0..FIXES {
        let [latitude, longitude] = degrees(i);
        let _ = writeln!(
            text,
            "<trkpt lat=\"{latitude:.9}\" lon=\"{longitude:.9}\"></trkpt>"
        );
    }
    text + "</trkseg></trk></gpx>"
}

fn csv() -> String {
    let mut text = "time;x_m;y_m\n".to_owned();
    for i in 0..FIXES {
        let [x, y] = place(i);
        let _ = writeln!(text, "{:.1};{x:.4};{y:.4}", 0.1 * i as f64);
    }
    text
}

fn main() {
    for (name, text) in [("NMEA 0183", nmea()), ("GPX", gpx()), ("CSV", csv())] {
        let start = Instant::now();
        let mut logs = Logs::default();
        if let Err(error) = logs.read(text.as_bytes(), name) {
            println!("{error}");
            return;
        }
        let read_s = start.elapsed().as_secs_f64();
        let how = How {
            quality: Some(Quality::Fixed),
            ..How::default()
        };
        let found = tracks(&logs, &how);
        let sd_m = found.wander.and_then(|wander| wander.sd_m.value);
        println!(
            "{name}: {} fixes, {read_s:.2} s to read, {:.2} s in all, {} passes, wander {sd_m:?} m",
            logs.fixes.len(),
            start.elapsed().as_secs_f64(),
            found.passes.len()
        );
    }
}
