//! The folder of a study: opened before the run, held against others while it runs, filled at its end, whole or not at all.

use std::fs::{self, TryLockError};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use rowroom::files::{FileError, RESULTS_BYTES, SAVED_BYTES, read_text};
use rowroom::report::File;
use serde::Deserialize;

/// Name of the file that marks a folder as a study's.
pub const MARK: &str = "results.json";

/// Name of the file that a stopped study goes on from.
pub const SO_FAR: &str = "so_far.json";

/// Whose results a folder may hold.
#[derive(Clone, Debug)]
pub struct Owner {
    /// Name of the scenario.
    pub scenario: String,
    /// Hash of the scenario and of the files it reads.
    pub sha256: String,
    /// Seed.
    pub seed: u64,
    /// Passes that the new results may have at most; a finished study with more of them stays.
    pub most_passes: u64,
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
    /// It holds a finished study with more passes.
    #[error(
        "{} holds a finished study of {theirs} passes, and this one may take {most} at most: nothing was changed. Ask for at least as many \
         with --passes, name another folder with --out, or delete that one",
        .folder.display()
    )]
    MorePasses {
        /// The folder.
        folder: PathBuf,
        /// Passes of the study that it holds.
        theirs: u64,
        /// Passes of the new one at most.
        most: u64,
    },
    /// Another run is at work in it.
    #[error("{} is in use by another run: nothing was changed. Wait for its end, or name another folder with --out", .folder.display())]
    InUse {
        /// The folder.
        folder: PathBuf,
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

/// An open folder, in which no other run writes the same files. Dropped empty, it disappears again if this run made it.
pub struct Folder {
    path: PathBuf,
    made: Vec<PathBuf>,
    owner: Option<Owner>,
    lock: Option<Lock>,
}

impl Folder {
    /// Opens or makes a folder for the results of `owner`.
    ///
    /// It must be empty or hold earlier results of the same scenario and seed; folders inside it do not count.
    pub fn for_study(path: &Path, owner: Owner) -> Result<Folder, FolderError> {
        let mut folder = Folder::open(path, "")?;
        folder.owner = Some(owner);
        folder.check()?;
        Ok(folder)
    }

    /// Opens or makes a folder for files whose names begin with `stem` (empty: for all), and tries whether files can be made in it.
    /// What a killed run left of such files goes.
    pub fn open(path: &Path, stem: &str) -> Result<Folder, FolderError> {
        let unusable = |source| FolderError::Unusable {
            folder: path.to_owned(),
            source,
        };
        // Noted before they are made: only these may go again.
        let made = path
            .ancestors()
            .take_while(|part| !part.as_os_str().is_empty() && !part.exists())
            .map(Path::to_owned)
            .collect();
        let mut folder = Folder {
            path: path.to_owned(),
            made,
            owner: None,
            lock: None,
        };
        fs::create_dir_all(path).map_err(unusable)?;
        // Locked before anything is removed: half-written files may be those of a run at work.
        folder.lock = match Lock::take(path, stem) {
            Ok(lock) => lock,
            Err(TryLockError::WouldBlock) => {
                return Err(FolderError::InUse {
                    folder: path.to_owned(),
                });
            }
            Err(TryLockError::Error(source)) => return Err(unusable(source)),
        };
        for name in folder.names().map_err(unusable)? {
            if Part::is_of(&name, stem) {
                fs::remove_file(path.join(name)).map_err(unusable)?;
            }
        }
        // Better found out now than after hours of passes.
        let probe = Part::beside(path, "probe");
        write_new(&probe.0, &[]).map_err(unusable)?;
        Ok(folder)
    }

    /// Where it is.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Text of a file in it; `None` without the file.
    pub fn read(&self, name: &str) -> Result<Option<String>, FileError> {
        match read_text(&self.path.join(name), SAVED_BYTES) {
            Ok(text) => Ok(Some(text)),
            Err(FileError::Read { source, .. }) if source.kind() == io::ErrorKind::NotFound => {
                Ok(None)
            }
            Err(error) => Err(error),
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

    /// Whether the owner may write here.
    fn check(&self) -> Result<(), FolderError> {
        let Some(owner) = &self.owner else {
            return Ok(());
        };
        let Some(found) = self.found()? else {
            return Ok(());
        };
        let most = owner.most_passes;
        if found.seed != owner.seed || found.scenario.sha256 != owner.sha256 {
            let same_words = found.scenario.name == owner.scenario && found.seed == owner.seed;
            Err(FolderError::OtherResults {
                folder: self.path.clone(),
                theirs: found.scenario.name,
                seed: found.seed,
                differs: if same_words {
                    ", but the scenario file, a file it reads or what was --set has changed since"
                } else {
                    ""
                },
            })
        } else if found.complete && found.passes > most {
            Err(FolderError::MorePasses {
                folder: self.path.clone(),
                theirs: found.passes,
                most,
            })
        } else {
            Ok(())
        }
    }

    /// True if it holds a finished study.
    pub fn is_finished(&self) -> Result<bool, FolderError> {
        Ok(self.found()?.is_some_and(|found| found.complete))
    }

    /// What it holds of a study; an error if it holds something else.
    fn found(&self) -> Result<Option<Found>, FolderError> {
        let unusable = |source| FolderError::Unusable {
            folder: self.path.clone(),
            source,
        };
        let Some(stranger) = self.first_file().map_err(unusable)? else {
            return Ok(None);
        };
        let mark = self.path.join(MARK);
        let not_ours = |name: String| FolderError::NotOurs {
            folder: self.path.clone(),
            name,
        };
        if !mark.exists() {
            return Err(not_ours(stranger));
        }
        read_text(&mark, RESULTS_BYTES)
            .ok()
            .and_then(|text| serde_json::from_str(&text).ok())
            .map(Some)
            .ok_or_else(|| not_ours(MARK.to_owned()))
    }

    /// Name of the first file in it, if any; folders, and what other runs or a stopped one have there, do not count.
    fn first_file(&self) -> io::Result<Option<String>> {
        let counts = |name: &String| !name.starts_with(HIDDEN) && name != SO_FAR;
        Ok(self.names()?.into_iter().filter(counts).min())
    }

    /// Names of the files in it.
    fn names(&self) -> io::Result<Vec<String>> {
        let mut names = Vec::new();
        for entry in fs::read_dir(&self.path)? {
            let entry = entry?;
            if !entry.file_type()?.is_dir() {
                names.push(entry.file_name().to_string_lossy().into_owned());
            }
        }
        Ok(names)
    }

    /// Writes all files aside, then renames them into place: on an error while writing, the folder is as it was.
    /// The mark of a study goes last.
    pub fn fill(&self, files: &[File]) -> Result<(), FolderError> {
        self.fill_with(files, write_new)
    }

    /// The same, but a file that is there already must have the same bytes.
    pub fn add(&self, files: &[File]) -> Result<(), FolderError> {
        for file in files {
            let path = self.path.join(&file.name);
            let there = read_text(&path, u64::MAX).map(String::into_bytes);
            if path.exists() && there.ok().as_deref() != Some(&file.bytes[..]) {
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
        // Only the mark says that a study is here: it must not come before what it speaks of.
        parts.sort_by_key(|(_, file)| file.ends_with(MARK));
        // Somebody without a lock may have been here since the folder was opened.
        self.check()?;
        for (part, file) in parts {
            fs::rename(&part.0, &file).map_err(|source| FolderError::Place { file, source })?;
        }
        Ok(())
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        // The lock's own file keeps the folder from being empty.
        self.lock = None;
        // Fails, as it should, on a folder that is not empty.
        for made in &self.made {
            if fs::remove_dir(made).is_err() {
                break;
            }
        }
    }
}

/// Names of files that a run has for itself begin like this.
const HIDDEN: &str = ".rowroom-";

/// A file that is locked as long as a run writes files of some names in a folder; it goes with the run, and the system frees it where the
/// run is killed.
struct Lock {
    file: PathBuf,
    _held: fs::File,
}

impl Lock {
    /// `None` where the file system knows no locks.
    fn take(folder: &Path, stem: &str) -> Result<Option<Lock>, TryLockError> {
        let file = folder.join(format!("{HIDDEN}lock{stem}"));
        let mut options = fs::OpenOptions::new();
        let options = options.create(true).truncate(false).write(true);
        let held = options.open(&file).map_err(TryLockError::Error)?;
        match held.try_lock() {
            Err(TryLockError::Error(error)) if error.kind() == io::ErrorKind::Unsupported => {
                let _ = fs::remove_file(&file);
                return Ok(None);
            }
            done => done?,
        }
        // Between opening and locking its last holder may have removed it, and then it locks nothing.
        if file.exists() {
            Ok(Some(Lock { file, _held: held }))
        } else {
            Err(TryLockError::WouldBlock)
        }
    }
}

impl Drop for Lock {
    fn drop(&mut self) {
        let _ = fs::remove_file(&self.file);
    }
}

/// Writes a file that must not exist yet, never through a link, and waits until the disk has it; on an error none is left.
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
    const TAIL: &str = ".part";

    fn beside(folder: &Path, name: &str) -> Part {
        // Where the system knows no locks, two runs still do not write into one file.
        let id = std::process::id();
        Part(folder.join(format!("{HIDDEN}{id}-{name}{}", Part::TAIL)))
    }

    /// True if it is on its way to a name that begins with `stem`.
    fn is_of(name: &str, stem: &str) -> bool {
        name.strip_prefix(HIDDEN)
            .and_then(|rest| rest.strip_suffix(Part::TAIL)?.split_once('-'))
            .is_some_and(|(_, name)| name.starts_with(stem))
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
    passes: u64,
    complete: bool,
}

#[derive(Deserialize)]
struct FoundScenario {
    name: String,
    sha256: String,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ours() -> Owner {
        Owner {
            scenario: "Leeks".into(),
            sha256: "aa".into(),
            seed: 1,
            most_passes: 100,
        }
    }

    fn results(name: &str, sha256: &str, seed: u64) -> String {
        format!(
            r#"{{"scenario":{{"name":"{name}","sha256":"{sha256}"}},"seed":{seed},"passes":100,"complete":true}}"#
        )
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
        let folder = Folder::for_study(place.path(), ours()).unwrap();
        let old = results("Leeks", "aa", 1);
        let earlier = [file(MARK, &old), file("a.svg", "old picture")];
        folder.fill(&earlier).unwrap();
        let later = [file("a.svg", "new picture"), file(MARK, "{}")];
        let error = folder
            .fill_with(&later, |path, bytes| {
                let full = path.to_string_lossy().contains(MARK);
                let room = if full { bytes.len() / 2 } else { bytes.len() };
                write_new(path, &bytes[..room])?;
                if full {
                    Err(io::Error::from(io::ErrorKind::StorageFull))
                } else {
                    Ok(())
                }
            })
            .unwrap_err();
        assert!(matches!(error, FolderError::Write { .. }), "{error}");
        assert!(error.to_string().contains(MARK), "{error}");
        drop(folder);
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
        drop(Folder::for_study(&deep, ours()).unwrap());
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
            let error = Folder::for_study(place.path(), ours())
                .err()
                .unwrap()
                .to_string();
            assert!(error.contains(message), "{error}");
            assert_eq!(names(place.path()), [MARK]);
            assert_eq!(fs::read_to_string(place.path().join(MARK)).unwrap(), text);
        }
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join("letter.txt"), "mine").unwrap();
        let error = Folder::for_study(place.path(), ours())
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
        assert!(Folder::for_study(place.path(), ours()).is_ok());
    }

    #[test]
    fn regress_a_finished_study_is_not_replaced_by_fewer_passes() {
        let place = tempfile::tempdir().unwrap();
        fs::write(place.path().join(MARK), results("Leeks", "aa", 1)).unwrap();
        let fewer = Owner {
            most_passes: 99,
            ..ours()
        };
        let error = Folder::for_study(place.path(), fewer).err().unwrap();
        assert!(error.to_string().contains("100 passes"), "{error}");
        assert!(Folder::for_study(place.path(), ours()).is_ok());
    }

    #[test]
    fn regress_two_runs_do_not_share_a_folder_but_parts_do() {
        let place = tempfile::tempdir().unwrap();
        let first = Folder::for_study(place.path(), ours()).unwrap();
        let second = Folder::for_study(place.path(), ours());
        assert!(matches!(second, Err(FolderError::InUse { .. })));
        drop(first);
        drop(Folder::for_study(place.path(), ours()).unwrap());
        let one = Folder::open(place.path(), "part_1_of_2.json").unwrap();
        drop(Folder::open(place.path(), "part_2_of_2.json").unwrap());
        assert!(Folder::open(place.path(), "part_1_of_2.json").is_err());
        drop(one);
        assert_eq!(names(place.path()), Vec::<String>::new());
    }

    /// Results of another seed that came while the study ran: the system may know no locks, or somebody may have copied them.
    #[test]
    fn regress_the_folder_is_checked_again_before_it_is_filled() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::for_study(place.path(), ours()).unwrap();
        let theirs = results("Leeks", "aa", 2);
        fs::write(place.path().join(MARK), &theirs).unwrap();
        let error = folder.fill(&[file(MARK, "{}")]).unwrap_err();
        assert!(matches!(error, FolderError::OtherResults { .. }), "{error}");
        let kept = fs::read_to_string(place.path().join(MARK)).unwrap();
        assert_eq!(kept, theirs);
    }

    #[test]
    fn regress_what_a_killed_run_left_goes_and_nothing_else() {
        let place = tempfile::tempdir().unwrap();
        let left = [
            ".rowroom-123-results.json.part",
            ".rowroom-9-part_1_of_2.json.part",
        ];
        let ours_alone = ".rowroom-notes.txt";
        for name in left.iter().chain([&ours_alone]) {
            fs::write(place.path().join(name), "half").unwrap();
        }
        drop(Folder::open(place.path(), "part_2_of_2.json").unwrap());
        assert_eq!(names(place.path()).len(), 3);
        drop(Folder::open(place.path(), "part_1_of_2.json").unwrap());
        assert_eq!(names(place.path()), [left[0], ours_alone]);
        drop(Folder::for_study(place.path(), ours()).unwrap());
        assert_eq!(names(place.path()), [ours_alone]);
    }

    /// A link in the place of the file on its way: what it points at stays as it is.
    #[cfg(unix)]
    #[test]
    fn regress_nothing_is_written_through_a_link() {
        let place = tempfile::tempdir().unwrap();
        let precious = place.path().join("precious.txt");
        fs::write(&precious, "mine").unwrap();
        let inside = place.path().join("reports");
        let folder = Folder::open(&inside, "").unwrap();
        let on_its_way = Part::beside(&inside, "a.svg");
        std::os::unix::fs::symlink(&precious, &on_its_way.0).unwrap();
        assert!(folder.fill(&[file("a.svg", "picture")]).is_err());
        assert_eq!(fs::read_to_string(&precious).unwrap(), "mine");
    }

    #[test]
    fn regress_a_file_of_a_pass_is_replaced_by_itself_alone() {
        let place = tempfile::tempdir().unwrap();
        let folder = Folder::open(place.path(), "pass").unwrap();
        folder.add(&[file("pass.csv", "1")]).unwrap();
        folder.add(&[file("pass.csv", "1")]).unwrap();
        assert!(matches!(
            folder.add(&[file("pass.csv", "2")]),
            Err(FolderError::OtherFile { .. })
        ));
        assert_eq!(fs::read(place.path().join("pass.csv")).unwrap(), b"1");
    }
}
