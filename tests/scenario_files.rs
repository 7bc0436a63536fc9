//! The scenarios that ship, the starter file, the schema and the texts of errors.

use rowroom::scenario::{Scenario, starter};

fn no_files(_: &str) -> std::io::Result<String> {
    Err(std::io::ErrorKind::NotFound.into())
}

#[test]
fn analytic_the_starter_file_is_a_scenario() {
    let scenario = Scenario::parse(&starter(), "starter.toml", &no_files, None);
    assert_eq!(scenario.unwrap().nominal().rows.offset_m.len(), 4);
}
