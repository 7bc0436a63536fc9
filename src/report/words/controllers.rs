//! What people call the controllers. A new one is said here or the crate does not compile.

use crate::model::controller::Kind;

/// A controller in words.
pub struct Spoken {
    /// In a heading or a column: "PID".
    pub title: &'static str,
    /// For somebody who does not know the words of control: "Camera, proportional valve".
    pub plain: &'static str,
    /// Beside a line of a drawing, short.
    pub short: &'static str,
    /// As the one of its kind: "a PID".
    pub one: &'static str,
    /// As this machine's: "the PID".
    pub this: &'static str,
    /// As what steers: "the frame steered by camera, proportional valve".
    pub steering: &'static str,
    /// Parts that it needs, in words of the field.
    pub parts: &'static str,
    /// Its way of control without the words of control engineers; empty if it does nothing.
    pub way: &'static str,
}

/// The words of a controller.
pub fn spoken(kind: Kind) -> &'static Spoken {
    match kind {
        Kind::Locked => &Spoken {
            title: "Locked frame",
            plain: "Frame locked",
            short: "locked",
            one: "a locked frame",
            this: "Locked frame",
            steering: "the frame locked",
            parts: "no camera: the frame stays locked",
            way: "",
        },
        Kind::OnOff => &Spoken {
            title: "On-off valve",
            plain: "Camera, on-off valve",
            short: "on-off",
            one: "an on-off valve",
            this: "On-off valve",
            steering: "the frame steered by camera, on-off valve",
            parts: "a row camera and a valve that opens and closes",
            way: "a control that switches the valve",
        },
        Kind::Pid => &Spoken {
            title: "PID",
            plain: "Camera, proportional valve",
            short: "PID",
            one: "a PID",
            this: "the PID",
            steering: "the frame steered by camera, proportional valve",
            parts: "a row camera and a proportional valve",
            way: "a control that corrects the error it sees",
        },
        Kind::LagCompensated => &Spoken {
            title: "Lag-compensated",
            plain: "Camera, delay allowed for",
            short: "lag-comp.",
            one: "lag compensation",
            this: "the lag compensation",
            steering: "the frame steered by camera, delay allowed for",
            parts: "a row camera, a proportional valve and a position sensor on the side-shift",
            way: "a control that waits until the row it saw has come to the tools",
        },
        Kind::LagCompensatedYaw => &Spoken {
            title: "Lag-comp. + yaw rate",
            plain: "Camera, delay and turns allowed for",
            short: "lag + yaw rate",
            one: "lag compensation with yaw rate",
            this: "the lag compensation with yaw rate",
            steering: "the frame steered by camera, delay and turns allowed for",
            parts: "a row camera, a proportional valve, a position sensor on the side-shift and a yaw-rate sensor",
            way: "a control that waits until the row it saw has come to the tools and knows how the machine turned meanwhile",
        },
    }
}
