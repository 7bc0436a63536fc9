//! What follows from a study for those who ask.
