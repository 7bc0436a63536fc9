//! What is left out, and cautions: makers' manuals, local rules and licensed practice come first, everywhere.

/// What the simulation leaves out, for report and README alike.
pub const LEFT_OUT: [&str; 9] = [
    "soil that pushes plants or is thrown onto them",
    "plants that bend away, and leaves across the row",
    "plants that are buried, and roots torn beyond the protected radius",
    "plants under the tyres",
    "tools that bend or ride out of the ground",
    "wheels that slip in a changing way, springing tyres and swinging masses, so fast swerves are not covered",
    "rows that the camera takes for one another",
    "oil that warms during work",
    "a driver who learns or tires",
];

/// Under every report.
pub const STUDY: [&str; 6] = [
    "A simulated speed is not a permission. The makers' manuals, local rules and licensed practice come first, and so does what you see \
     behind you in the field.",
    "Oil under pressure cuts through skin. Relieve pressure, also in accumulators, before a line is opened, and never feel for a leak by hand.",
    "The frame moves sideways by itself, and a camera can start it. Keep people away from it, and from between tractor and implement, while \
     it is switched on.",
    "Check that the lift switch really stops the shifting when the implement is up.",
    "On a slope the implement hangs downhill and a shifted frame moves the centre of mass. Keep to the makers' limits for slopes.",
    "Try a new setting slowly on a short stretch, get down, and look at the plants.",
];

/// For somebody who may buy or hire the machine.
pub const CUSTOMER: [&str; 4] = [
    "The speed comes out of a computation. It is not a permission and no promise: the makers' manuals, local rules and what you see \
     behind you in the field come first.",
    "The frame moves sideways by itself. Nobody stands near it, or between tractor and implement, while it is switched on.",
    "Its oil is under pressure and can cut through skin. Leave repairs to people who are trained for them.",
    "On a slope keep to the makers' limits. Start slowly on a short stretch, get down, and look at the plants.",
];

/// For whoever sets the tools.
pub const WORKSHOP: [&str; 6] = [
    "The makers' manuals of tractor and implement and local rules come first; this sheet replaces none of them.",
    "Block the implement on stands before anybody works on or under it: never trust the tractor's lift. Engine off, brake on, key out.",
    "The frame moves by itself as soon as camera or lift switch say so. Switch the steering off and secure the frame before you reach in.",
    "Oil under pressure cuts through skin. Relieve the pressure, also in accumulators, before a line is opened, and never feel for a leak by hand.",
    "Nobody stands near the machine or between tractor and implement when it is switched on or tried out.",
    "On a side slope a shifted frame moves the centre of mass. Keep to the makers' limits for slopes.",
];
