//! The words of results: all that is typed in them, said in English for terminal and pages.

pub mod controllers;
pub mod quantities;
pub mod reasons;
pub mod warnings;
