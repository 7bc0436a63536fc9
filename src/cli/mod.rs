//! The terminal: arguments in, files and a short answer out.

mod args;
mod compare;
mod design;
mod failure;
mod field;
mod folder;
mod learn;
mod merge;
mod paint;
mod pass;
mod progress;
mod study;
mod sweep;

use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use clap::Parser;
use clap::error::{ContextKind, ContextValue, ErrorKind};

use args::{Cli, Command, Page, Schema, SchemaOf, Starter};
use failure::Failure;
use folder::Folder;
use rowroom::report::File;
use rowroom::scenario::short_starter;

/// Does what the command line asks for.
pub fn run() -> ExitCode {
    let command = match Cli::try_parse() {
        Ok(cli) => cli.command,
        Err(told) => return told_by_the_parser(&told),
    };
    progress::catch_interrupt();
    let done = match command {
        None => study::demo(),
        Some(Command::Study(asked)) => study::file(&asked),
        Some(Command::Merge(asked)) => merge::run(&asked),
        Some(Command::Pass(asked)) => pass::run(&asked),
        Some(Command::Compare(asked)) => compare::run(&asked),
        Some(Command::Sweep(asked)) => sweep::run(&asked),
        Some(Command::Design(asked)) => design::run(&asked),
        Some(Command::Learn(asked)) => learn::run(&asked),
        Some(Command::Field(asked)) => field::run(&asked),
        Some(Command::Starter(asked)) => starter(&asked),
        Some(Command::Page(asked)) => page(&asked),
        Some(Command::Schema(asked)) => schema(&asked),
    };
    ended(done)
}

fn ended(done: Result<(), Failure>) -> ExitCode {
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(failure) => {
            paint::err(&format!("{}\n", failure.text));
            ExitCode::from(failure.code)
        }
    }
}

/// Help, the version, or a mistake on the command line, which is repeated there with whatever was typed.
fn told_by_the_parser(told: &clap::Error) -> ExitCode {
    if told.use_stderr() {
        paint::err(&told.render().to_string());
        paint::err(&file_without_command(told));
        return ExitCode::from(u8::try_from(told.exit_code()).unwrap_or(2));
    }
    ended(printed(told.print()))
}

/// What to type where a file stands in place of the command.
fn file_without_command(told: &clap::Error) -> String {
    let named = match (told.kind(), told.get(ContextKind::InvalidSubcommand)) {
        (ErrorKind::InvalidSubcommand, Some(ContextValue::String(named))) => named,
        _ => return String::new(),
    };
    let is_scenario = Path::new(named)
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("toml"));
    match is_scenario {
        true => format!("\nTo study that scenario: rowroom study {named}\n"),
        false => String::new(),
    }
}

fn starter(asked: &Starter) -> Result<(), Failure> {
    let name = asked.file.display();
    let text = match asked.full {
        true => rowroom::scenario::starter(),
        false => short_starter(asked.crop, asked.driver, asked.units),
    };
    new_file(&asked.file, &text)?;
    print(&format!(
        "{name} is written. Edit it, then run: rowroom study {name}\n"
    ))
}

fn page(asked: &Page) -> Result<(), Failure> {
    new_file(&asked.out, &rowroom::page::file::page())?;
    let name = asked.out.display();
    print(&format!(
        "{name} is written: the whole tool on one page. A double click opens it, from a stick or out of a mail too\n"
    ))?;
    open(asked.open, &asked.out);
    Ok(())
}

/// Writes a file that somebody named; what is there already is never touched.
fn new_file(path: &Path, text: &str) -> Result<(), Failure> {
    let name = path.display();
    folder::write_new(path, text.as_bytes()).map_err(|error| {
        Failure::run(match error.kind() {
            io::ErrorKind::AlreadyExists => {
                format!("{name} is there already and was not touched: name another file")
            }
            _ => format!("{name} could not be written: {error}"),
        })
    })
}

fn schema(asked: &Schema) -> Result<(), Failure> {
    let schema = match asked.of {
        SchemaOf::Scenario => rowroom::scenario::schema(),
        SchemaOf::Results => rowroom::results::schema(),
    };
    print_data(&format!("{schema:#}\n"))
}

/// Prints words to standard output, in colour on a terminal.
fn print(text: &str) -> Result<(), Failure> {
    printed(paint::out(text))
}

/// Prints data to standard output, byte for byte.
fn print_data(text: &str) -> Result<(), Failure> {
    let mut out = io::stdout().lock();
    printed(out.write_all(text.as_bytes()).and_then(|()| out.flush()))
}

/// A reader that has seen enough is no failure.
fn printed(done: io::Result<()>) -> Result<(), Failure> {
    match done {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(Failure::run(format!(
            "the answer could not be printed: {error}"
        ))),
        _ => Ok(()),
    }
}

/// Opens a report in whatever shows such files here. That it cannot be opened fails no run.
fn open(asked: bool, file: &Path) {
    if asked && let Err(error) = opener::open(file) {
        paint::err(&format!(
            "note: {} could not be opened: {error}; open it yourself\n",
            file.display()
        ));
    }
}

/// `reports/<file stem>` under the current folder; never the folder above it, whatever the file is called.
fn default_folder(file: &Path) -> PathBuf {
    let stem = file.file_stem().unwrap_or_default();
    let dots = stem.as_encoded_bytes().iter().all(|&byte| byte == b'.');
    Path::new("reports").join(if dots { "study".as_ref() } else { stem })
}

/// Tables and pages by name, pictures by number.
fn where_they_lie(folder: &Folder, files: &[File]) -> String {
    let (pictures, others): (Vec<&str>, Vec<&str>) = files
        .iter()
        .map(|file| file.name.as_str())
        .partition(|name| name.ends_with(".svg"));
    let plural = if pictures.len() == 1 { "" } else { "s" };
    format!(
        "Files in {}: {} and {} picture{plural} (SVG)\n",
        folder.path().display(),
        others.join(", "),
        pictures.len()
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn regress_no_name_leads_out_of_the_reports() {
        for (file, folder) in [
            ("leeks.toml", "leeks"),
            ("../a/leeks.toml", "leeks"),
            ("..", "study"),
            ("...toml", "study"),
            ("", "study"),
            ("/", "study"),
        ] {
            let wanted = Path::new("reports").join(folder);
            assert_eq!(default_folder(Path::new(file)), wanted, "{file}");
        }
    }
}
