//! The folder of a study: opened before the run, filled at its end, whole or not at all.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use rowroom::report::File;
use serde::Deserialize;

/// Name of the file that marks a folder as a study's.
pub const MARK: &str = "results.json";

/// Name of the file that a stopped study goes on from.
pub const SO_FAR: &str = "so_far.json";

/// Whose results a folder may hold.
pub struct Owner<'a> {
    /// Name of the scenario.
    pub scenario: &'a str,
    /// Hash of the scenario and of the files it reads.
    pub sha256: &'a str,
    /// Seed.
    pub seed: u64,
}

/// Why a folder was not opened or filled.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// It cannot be made, read or written to.
    #[error("the folder {} cannot be used: {source}. Name another one with --out", .folder.display())]
    Unusable {
        /// The folder.
        folder: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// It holds other results.
    #[error(
        "{} holds results of \"{theirs}\" with seed {seed}{differs}: nothing was changed. Name another folder with --out, or delete that one",
        .folder.display()
    )]
    OtherResults {
        /// The folder.
        folder: PathBuf,
        /// Scenario of the results it holds.
        theirs: String,
        /// Seed of the results it holds.
        seed: u64,
        /// What differs if name and seed do not.
        differs: &'static str,
    },
    /// It holds files that no study wrote.
    #[error(
        "{} holds files that are no results of a study (for instance {name}): nothing was changed. Name a new or empty folder with --out",
        .folder.display()
    )]
    NotOurs {
        /// The folder.
        folder: PathBuf,
        /// One of the files.
        name: String,
    },
    /// It holds a file of the same name with other content.
    #[error(
        "{} is there already and differs (another scenario, seed or version made it): nothing was changed. Name another folder with --out, or delete that file",
        .file.display()
    )]
    OtherFile {
        /// The file.
        file: PathBuf,
    },
    /// A file could not be written; the folder is as it was.
    #[error("{} could not be written: {source}. Nothing in the folder was changed", .file.display())]
    Write {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: io::Error,
    },
    /// A complete file could not be put in its place.
    #[error(
        "{} could not be put in its place: {source}. Other files of the folder may be new already: run the command again",
        .file.display()
    )]
    Place {
        /// The file.
        file: PathBuf,
        /// What the system says.
        source: io::Error,
    },
}

/// An open folder. Dropped empty, it disappears again if this run made it.
pub struct Folder {
    path: PathBuf,
    made: Vec<PathBuf>,
}

impl Folder {
    /// Opens or makes a folder for the results of `owner`.
    ///
    /// It must be empty or hold earlier results of the same scenario and seed; folders inside it do not count.
    pub fn for_study(path: &Path, owner: &Owner) -> Result<Folder, FolderError> {
        let folder = Folder::open(path)?;
        folder.check(owner)?;
        Ok(folder)
    }

    /// Opens or makes a folder and tries whether files can be made in it.
    pub fn open(path: &Path) -> Result<Folder, FolderError> {
        let unusable = |source| FolderError::Unusable {
            folder: path.to_owned(),
            source,
        };
        let made = path
            .ancestors()
            .take_while(|part| !part.as_os_str().is_empty() && !part.exists())
            .map(Path::to_owned)
            .collect();
        let folder = Folder {
            path: path.to_owned(),
            made,
        };
        fs::create_dir_all(path).map_err(unusable)?;
        let probe = Part::beside(path, "probe");
        write(&probe.0, &[]).map_err(unusable)?;
        Ok(folder)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Text of a file in it; `None` without the file.
    pub fn read(&self, name: &str) -> Result<Option<String>, FolderError> {
        match fs::read_to_string(self.path.join(name)) {
            Ok(text) => Ok(Some(text)),
            Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(None),
            Err(source) => Err(FolderError::Unusable {
                folder: self.path.clone(),
                source,
            }),
        }
    }

    /// Removes a file from it, if it is there.
    pub fn remove(&self, name: &str) -> Result<(), FolderError> {
        match fs::remove_file(self.path.join(name)) {
            Err(source) if source.kind() != io::ErrorKind::NotFound => Err(FolderError::Unusable {
                folder: self.path.clone(),
                source,
            }),
            _ => Ok(()),
        }
    }

    fn check(&self, owner: &Owner) -> Result<(), FolderError> {
        let unusable = |source| FolderError::Unusable {
            folder: self.path.clone(),
            source,
        };
        let Some(stranger) = self.first_file().map_err(unusable)? else {
            return Ok(());
        };
        let mark = self.path.join(MARK);
        let not_ours = |name: String| FolderError::NotOurs {
            folder: self.path.clone(),
            name,
        };
        if !mark.exists() {
            return Err(not_ours(stranger));
        }
        let text = fs::read(&mark).map_err(unusable)?;
        let found: Found = serde_json::from_slice(&text).map_err(|_| not_ours(MARK.to_owned()))?;
        if found.scenario.sha256 == owner.sha256 && found.seed == owner.seed {
            return Ok(());
        }
        let same_words = found.scenario.name == owner.scenario && found.seed == owner.seed;
        Err(FolderError::OtherResults {
            folder: self.path.clone(),
            theirs: found.scenario.name,
            seed: found.seed,
            differs: if same_words {
                ", but the scenario file or a file it reads has changed since"
            } else {
                ""
            },
        })
    }

    /// Name of the first file in it, if any; folders, and what a killed or stopped run left, do not count.
    fn first_file(&self) -> io::Result<Option<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            let name = entry.file_name().to_string_lossy().into_owned();
            if !entry.file_type()?.is_dir() && !Part::is_name(&name) && name != SO_FAR {
                names.push(name);
            }
        }
        Ok(names.into_iter().min())
    }

    /// Writes all files aside, then renames them into place: on an error while writing, the folder is as it was.
    /// The mark of a study goes last.
    pub fn fill(&self, files: &[File]) -> Result<(), FolderError> {
        self.fill_with(files, write)
    }

    /// The same, but a file that is there already must have the same bytes.
    pub fn add(&self, files: &[File]) -> Result<(), FolderError> {
        for file in files {
            let path = self.path.join(&file.name);
            if path.exists() && fs::read(&path).ok().as_deref() != Some(&file.bytes[..]) {
                return Err(FolderError::OtherFile { file: path });
            }
        }
        self.fill(files)
    }

    fn fill_with(
        &self,
        files: &[File],
        write: impl Fn(&Path, &[u8]) -> io::Result<()>,
    ) -> Result<(), FolderError> {
        let mut parts = Vec::with_capacity(files.len());
        for file in files {
            let part = Part::beside(&self.path, &file.name);
            write(&part.0, &file.bytes).map_err(|source| FolderError::Write {
                file: self.path.join(&file.name),
                source,
            })?;
            parts.push((part, self.path.join(&file.name)));
        }
        parts.sort_by_key(|(_, file)| file.ends_with(MARK));
        for (part, file) in parts {
            fs::rename(&part.0, &file).map_err(|source| FolderError::Place { file, source })?;
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // Fails, as it should, on a folder that is not empty.
        for made in &self.made {
            if fs::remove_dir(made).is_err() {
                break;
            }
        }
    }
}

/// Writes a new file whole and waits until the disk has it.
fn write(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = fs::File::create(path)?;
    file.write_all(bytes)?;
    file.sync_all()
}

/// Writes a file that must not exist yet; on an error none is left.
pub fn write_new(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let mut file = fs::File::create_new(path)?;
    let written = file.write_all(bytes).and_then(|()| file.sync_all());
    if written.is_err() {
        let _ = fs::remove_file(path);
    }
    written
}

/// A file on its way, removed when dropped (after a rename there is nothing left to remove).
struct Part(PathBuf);

impl Part {
    const HEAD: &str = ".rowroom-";
    const TAIL: &str = ".part";

    fn beside(folder: &Path, name: &str) -> Part {
        let id = std::process::id();
        Part(folder.join(format!("{}{id}-{name}{}", Part::HEAD, Part::TAIL)))
    }

    fn is_name(name: &str) -> bool {
        name.starts_with(Part::HEAD) && name.ends_with(Part::TAIL)
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.0);
    }
}

/// What is read of results that lie in a folder.
#[derive(Deserialize)]
struct Found {
    scenario: FoundScenario,
    seed: u64,
}

#[derive(Deserialize)]
struct FoundScenario {
    name: String,
    sha256: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    const OURS: Owner = Owner {
        scenario: "Leeks",
        sha256: "aa",
        seed: 1,
    };

    fn results(name: &str, sha256: &str, seed: u64) -> String {
        format!(r#"{{"scenario":{{"name":"{name}","sha256":"{sha256}"}},"seed":{seed}}}"#)
    }

    fn file(name: &str, text: &str) -> File {
        File {
            name: name.to_owned(),
            bytes: text.as_bytes().to_vec(),
        }
    }

    fn names(folder: &Path) -> Vec<String> {
        let mut names: Vec<String> = fs::read_dir(folder)
            .unwrap()
            .map(|entry| entry.unwrap().file_name().into_string().unwrap())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn regress_a_full_disk_leaves_the_old_files_whole() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::for_study(place.path(), &OURS).unwrap();
        let old = results("Leeks", "aa", 1);
        let earlier = [file(MARK, &old), file("a.svg", "old picture")];
        folder.fill(&earlier).unwrap();
        let later = [file("a.svg", "new picture"), file(MARK, "{}")];
        let error = folder
            .fill_with(&later, |path, bytes| {
                let full = path.to_string_lossy().contains(MARK);
                let room = if full { bytes.len() / 2 } else { bytes.len() };
                write(path, &bytes[..room])?;
                if full {
                    Err(io::Error::from(io::ErrorKind::StorageFull))
                } else {
                    Ok(())
                }
            })
            .unwrap_err();
        assert!(matches!(error, FolderError::Write { .. }), "{error}");
        assert!(error.to_string().contains(MARK), "{error}");
        assert_eq!(names(place.path()), ["a.svg", MARK]);
        assert_eq!(
            fs::read(place.path().join("a.svg")).unwrap(),
            b"old picture"
        );
        assert_eq!(fs::read_to_string(place.path().join(MARK)).unwrap(), old);
    }

    #[test]
    fn regress_a_folder_made_for_nothing_goes_again() {
        let place = tempfile::tempdir().unwrap();
        let deep = place.path().join("reports").join("field");
        drop(Folder::for_study(&deep, &OURS).unwrap());
        assert_eq!(names(place.path()), Vec::<String>::new());
    }

    #[test]
    fn regress_a_folder_of_another_study_is_refused() {
        let cases = [
            (results("Beet", "bb", 1), "\"Beet\" with seed 1:"),
            (results("Leeks", "aa", 2), "\"Leeks\" with seed 2:"),
            (results("Leeks", "bb", 1), "has changed since"),
            ("[1, 2]".to_owned(), "no results of a study"),
        ];
        for (text, message) in cases {
            let place = tempfile::tempdir().unwrap();
            fs::write(place.path().join(MARK), &text).unwrap();
            let error = Folder::for_study(place.path(), &OURS)
                .err()
                .unwrap()
                .to_string();
            assert!(error.contains(message), "{error}");
            assert_eq!(names(place.path()), [MARK]);
            assert_eq!(fs::read_to_string(place.path().join(MARK)).unwrap(), text);
        }
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("letter.txt"), "mine").unwrap();
        let error = Folder::for_study(place.path(), &OURS)
            .err()
            .unwrap()
            .to_string();
        assert!(error.contains("letter.txt"), "{error}");
    }

    #[test]
    fn regress_the_same_study_may_be_written_again() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join(MARK), results("Leeks", "aa", 1)).unwrap();
        fs::create_dir(place.path().join("passes")).unwrap();
        assert!(Folder::for_study(place.path(), &OURS).is_ok());
    }

    #[test]
    fn regress_a_file_of_a_pass_is_replaced_by_itself_alone() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::open(place.path()).unwrap();
        folder.add(&[file("pass.csv", "1")]).unwrap();
        folder.add(&[file("pass.csv", "1")]).unwrap();
        assert!(matches!(
            folder.add(&[file("pass.csv", "2")]),
            Err(FolderError::OtherFile { .. })
        ));
        assert_eq!(fs::read(place.path().join("pass.csv")).unwrap(), b"1");
    }
}
