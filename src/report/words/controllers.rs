//! What people call the controllers. A new one is said here or the crate does not compile.

use crate::model::controller::Kind;

/// A controller in words.
pub struct Spoken {
    /// In a heading or a column: "PID".
    pub title: &'static str,
    /// Beside a line of a drawing, short.
    pub short: &'static str,
    /// As the one of its kind: "a PID".
    pub one: &'static str,
    /// As this machine's: "the PID".
    pub this: &'static str,
    /// As what steers: "the PID controller".
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
            short: "locked",
            one: "a locked frame",
            this: "Locked frame",
            steering: "the frame locked",
            parts: "no camera: the frame stays locked",
            way: "",
        },
        Kind::OnOff => &Spoken {
            title: "On-off valve",
            short: "on-off",
            one: "an on-off valve",
            this: "On-off valve",
            steering: "the on-off valve",
            parts: "a row camera and a valve that opens and closes",
            way: "a control that switches the valve",
        },
        Kind::Pid => &Spoken {
            title: "PID",
            short: "PID",
            one: "a PID",
            this: "the PID",
            steering: "the PID controller",
            parts: "a row camera and a proportional valve",
            way: "a control that corrects the error it sees",
        },
        Kind::LagCompensated => &Spoken {
            title: "Lag-compensated",
            short: "lag-comp.",
            one: "lag compensation",
            this: "the lag compensation",
            steering: "the lag-compensated controller",
            parts: "a row camera, a proportional valve and a position sensor on the side-shift",
            way: "a control that waits until the row it saw has come to the tools",
        },
        Kind::LagCompensatedYaw => &Spoken {
            title: "Lag-comp. + yaw rate",
            short: "lag + yaw rate",
            one: "lag compensation with yaw rate",
            this: "the lag compensation with yaw rate",
            steering: "the lag-compensated controller and yaw rate",
            parts: "a row camera, a proportional valve, a position sensor on the side-shift and a yaw-rate sensor",
            way: "a control that waits until the row it saw has come to the tools and knows how the machine turned meanwhile",
        },
    }
}
