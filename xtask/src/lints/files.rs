//! The files of the repository, as git lists them: tracked ones and new ones, without what is ignored.

use std::fs;
use std::path::Path;
use std::process::Command;

use anyhow::{Context, Result, bail};

/// All files, sorted by path.
pub(crate) struct Files(pub(crate) Vec<File>);

/// One file.
pub(crate) struct File {
    /// Path from the root, with `/`.
    pub(crate) path: String,
    /// What is in it.
    pub(crate) bytes: Vec<u8>,
}

impl Files {
    /// Reads the files below the root.
    pub(crate) fn of(root: &Path) -> Result<Files> {
        let output = Command::new("git")
            .args([
                "ls-files",
                "-z",
                "--cached",
                "--others",
                "--exclude-standard",
            ])
            .current_dir(root)
            .output()
            .context("`git` did not start; install it and put it on the PATH")?;
        if !output.status.success() {
            let message = String::from_utf8_lossy(&output.stderr);
            bail!("`git ls-files` failed: {}", message.trim());
        }
        let mut paths: Vec<&str> = std::str::from_utf8(&output.stdout)
            .context("expected file names in UTF-8")?
            .split_terminator('\0')
            // listed by git but deleted in the working tree
            .filter(|path| root.join(path).is_file())
            .collect();
        paths.sort_unstable();
        paths.dedup();
        let read = |path: &str| {
            let bytes =
                fs::read(root.join(path)).with_context(|| format!("cannot read `{path}`"))?;
            Ok(File {
                path: path.to_owned(),
                bytes,
            })
        };
        Ok(Files(paths.into_iter().map(read).collect::<Result<_>>()?))
    }

    /// The file at a path.
    pub(crate) fn get(&self, path: &str) -> Option<&File> {
        self.0.iter().find(|file| file.path == path)
    }

    /// Files below a folder, of one kind.
    pub(crate) fn below<'a>(
        &'a self,
        folder: &str,
        ending: &'a str,
    ) -> impl Iterator<Item = &'a File> {
        let folder = format!("{folder}/");
        self.0
            .iter()
            .filter(move |file| file.path.starts_with(&folder) && file.path.ends_with(ending))
    }

    /// All Rust sources.
    pub(crate) fn rust(&self) -> impl Iterator<Item = &File> {
        self.0.iter().filter(|file| file.path.ends_with(".rs"))
    }
}

impl File {
    /// The text, where the file is one.
    pub(crate) fn text(&self) -> Option<&str> {
        std::str::from_utf8(&self.bytes)
            .ok()
            .filter(|text| !text.contains('\0'))
    }

    /// The text of a source; broken UTF-8 is the compiler's to report.
    pub(crate) fn source(&self) -> &str {
        self.text().unwrap_or_default()
    }
}

#[cfg(test)]
pub(crate) mod tests {
    //! Files written inline, for the lints' own tests.
    use super::*;

    /// Files from pairs of path and text.
    pub(crate) fn files(pairs: &[(&str, &str)]) -> Files {
        let file = |&(path, text): &(&str, &str)| File {
            path: path.to_owned(),
            bytes: text.into(),
        };
        Files(pairs.iter().map(file).collect())
    }

    #[test]
    fn files_are_found_by_folder_and_ending() {
        let files = files(&[("a/x.rs", ""), ("a/y.toml", ""), ("ab/z.rs", "")]);
        let below: Vec<_> = files.below("a", ".rs").map(|file| &file.path[..]).collect();
        assert_eq!(below, ["a/x.rs"]);
        assert_eq!(files.rust().count(), 2);
        assert!(files.get("ab/z.rs").is_some());
    }
}
