//! Files of the operating system, read whole and never without a limit.

use std::fs;
use std::io::{self, Read};
use std::path::Path;

use crate::quote::escaped;

/// Most bytes of a scenario file (assumed: a commented one with every key has about 30 KiB).
pub const SCENARIO_BYTES: u64 = 4 << 20;

/// Most bytes of a file of points (assumed: a million points of about 60 bytes).
pub const POINTS_BYTES: u64 = 64 << 20;

/// Most bytes of the results of a study (assumed: 400 settings have about 1 MiB).
pub const RESULTS_BYTES: u64 = 64 << 20;

/// Most bytes of passes so far or of a part: they hold the files of the scenario too.
pub const SAVED_BYTES: u64 = 3 * POINTS_BYTES;

/// Why a file cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum FileError {
    /// The system refuses.
    #[error("{file}: cannot be read: {source}")]
    Read {
        /// File as the caller named it.
        file: String,
        /// What the system said.
        source: io::Error,
    },
    /// A folder, a device, a pipe or a socket.
    #[error("{file}: is {found}; the name of a file is wanted")]
    NoFile {
        /// File as the caller named it.
        file: String,
        /// What it is, with its article.
        found: &'static str,
    },
    /// Larger than anything useful.
    #[error("{file}: is larger than {}, the most that is read of such a file", size(*.most_bytes))]
    TooLarge {
        /// File as the caller named it.
        file: String,
        /// Most bytes.
        most_bytes: u64,
    },
    /// No text, or text in another encoding.
    #[error(
        "{file}:{line}:{column}: the byte 0x{byte:02X} here is no UTF-8 text; save the file as UTF-8"
    )]
    NotUtf8 {
        /// File as the caller named it.
        file: String,
        /// Line, from 1.
        line: usize,
        /// Column in characters, from 1.
        column: usize,
        /// The first byte that is wrong.
        byte: u8,
    },
}

impl From<FileError> for io::Error {
    fn from(error: FileError) -> io::Error {
        match error {
            FileError::Read { source, .. } => source,
            error => io::Error::new(io::ErrorKind::InvalidData, error),
        }
    }
}

/// The text of a file of at most `most_bytes`. Devices and pipes, which need not end, are never opened.
pub fn read_text(path: &Path, most_bytes: u64) -> Result<String, FileError> {
    let file = || shown(path);
    let refused = |source| FileError::Read {
        file: file(),
        source,
    };
    let kind = fs::metadata(path).map_err(refused)?;
    if !kind.is_file() {
        return Err(FileError::NoFile {
            file: file(),
            found: if kind.is_dir() {
                "a folder"
            } else {
                "a device or a pipe"
            },
        });
    }
    let mut bytes = Vec::new();
    fs::File::open(path)
        .and_then(|open| {
            open.take(most_bytes.saturating_add(1))
                .read_to_end(&mut bytes)
        })
        .map_err(refused)?;
    if bytes.len() as u64 > most_bytes {
        return Err(FileError::TooLarge {
            file: file(),
            most_bytes,
        });
    }
    String::from_utf8(bytes).map_err(|error| {
        let (good, bad) = error.as_bytes().split_at(error.utf8_error().valid_up_to());
        let line = good.iter().filter(|byte| **byte == b'\n').count() + 1;
        let last = good.rsplit(|byte| *byte == b'\n').next().unwrap_or(&[]);
        FileError::NotUtf8 {
            file: file(),
            line,
            column: String::from_utf8_lossy(last).chars().count() + 1,
            byte: bad.first().copied().unwrap_or(0),
        }
    })
}

/// The name as a message has it: one of blanks alone would not be seen.
fn shown(path: &Path) -> String {
    let name = escaped(&path.display().to_string());
    if name.trim().is_empty() {
        format!("\"{name}\"")
    } else {
        name
    }
}

fn size(bytes: u64) -> String {
    if bytes.is_multiple_of(1 << 20) {
        format!("{} MiB", bytes >> 20)
    } else {
        format!("{bytes} bytes")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(bytes: &[u8], most_bytes: u64) -> String {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("field.toml");
        fs::write(&path, bytes).unwrap();
        let told = match read_text(&path, most_bytes) {
            Ok(text) => text,
            Err(error) => error.to_string(),
        };
        told.replace(&path.display().to_string(), "FILE")
    }

    #[test]
    fn regress_a_text_is_read_up_to_its_limit() {
        assert_eq!(told("naïve\n".as_bytes(), 7), "naïve\n");
        assert_eq!(
            told(b"12345678", 7),
            "FILE: is larger than 7 bytes, the most that is read of such a file"
        );
        let large = vec![b' '; (1 << 20) + 1];
        assert_eq!(
            told(&large, 1 << 20),
            "FILE: is larger than 1 MiB, the most that is read of such a file"
        );
    }

    #[test]
    fn regress_the_first_byte_that_is_no_utf_8_is_named() {
        assert_eq!(
            told(b"name = \"a\"\nna\xC3\xAFve caf\xE9\n\xFF", 100),
            "FILE:2:10: the byte 0xE9 here is no UTF-8 text; save the file as UTF-8"
        );
        assert_eq!(
            told(b"\xFF\xFEn\0", 100),
            "FILE:1:1: the byte 0xFF here is no UTF-8 text; save the file as UTF-8"
        );
    }

    #[test]
    fn regress_a_folder_is_refused_and_a_missing_file_is_told_as_missing() {
        let folder = tempfile::tempdir().unwrap();
        let error = read_text(folder.path(), 10).unwrap_err();
        assert!(
            error
                .to_string()
                .ends_with("is a folder; the name of a file is wanted")
        );
        let blank = read_text(Path::new(" "), 10).unwrap_err().to_string();
        assert!(blank.starts_with("\" \": cannot be read"), "{blank}");
        let error = read_text(&folder.path().join("none"), 10).unwrap_err();
        assert!(matches!(&error, FileError::Read { .. }));
        assert_eq!(io::Error::from(error).kind(), io::ErrorKind::NotFound);
    }

    /// Opening the pipe would wait for a writer, reading the device would never end.
    #[cfg(unix)]
    #[test]
    fn regress_a_device_and_a_pipe_are_never_opened() {
        let folder = tempfile::tempdir().unwrap();
        let pipe = folder.path().join("pipe");
        let made = std::process::Command::new("mkfifo").arg(&pipe).status();
        assert!(made.unwrap().success());
        for path in [Path::new("/dev/zero"), &pipe] {
            let error = read_text(path, u64::MAX).unwrap_err().to_string();
            assert!(error.ends_with("is a device or a pipe; the name of a file is wanted"));
        }
    }
}
