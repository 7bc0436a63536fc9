//! The command `rowroom`: studies, single passes and starter scenarios from the terminal.

mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
