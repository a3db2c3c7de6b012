//! Rules for data files and for text of any kind.

use super::Finding;
use super::files::{File, Files};

/// Where the knowledge and the demo live.
const DATA_FOLDERS: [&str; 2] = ["catalogue", "examples"];

/// The beginnings of places that exist on one machine only.
const PRIVATE_PLACES: [&str; 5] = [
    concat!("/", "work/"),
    concat!("/", "root/"),
    concat!("/", "home/"),
    concat!("/", "Users/"),
    concat!("C:", "\\Users\\"),
];

/// Data files are UTF-8 with LF line ends, on every system.
pub(crate) fn data_files(files: &Files) -> Vec<Finding> {
    let mut findings = Vec::new();
    for file in DATA_FOLDERS
        .iter()
        .flat_map(|folder| files.below(folder, ".toml"))
    {
        let mut report = |line: usize, found: &str, advice: &str| {
            findings.push(Finding::new(format!("{}:{line}", file.path), found, advice));
        };
        if let Err(error) = std::str::from_utf8(&file.bytes) {
            let line = line_of(&file.bytes, error.valid_up_to());
            report(line, "not UTF-8", "save the file as UTF-8");
        }
        if file.bytes.starts_with("\u{feff}".as_bytes()) {
            report(1, "a byte order mark", "save the file without it");
        }
        if let Some(position) = file.bytes.iter().position(|&byte| byte == b'\r') {
            report(
                line_of(&file.bytes, position),
                "a CR",
                "save the file with LF line ends",
            );
        }
        if file.bytes.last().is_some_and(|&byte| byte != b'\n') {
            report(
                line_of(&file.bytes, file.bytes.len()),
                "no line end",
                "end the last line",
            );
        }
    }
    findings
}

/// No file speaks of a place that exists on one machine only.
pub(crate) fn absolute_paths(files: &Files) -> Vec<Finding> {
    files
        .0
        .iter()
        .filter_map(|file| Some((file, file.text()?)))
        .flat_map(in_text)
        .collect()
}

fn in_text((file, text): (&File, &str)) -> Vec<Finding> {
    let mut findings = Vec::new();
    for (index, line) in text.lines().enumerate() {
        for place in PRIVATE_PLACES
            .iter()
            .filter(|place| names_place(line, place))
        {
            findings.push(Finding::new(
                format!("{}:{}", file.path, index + 1),
                format!("`{place}`, a place of one machine"),
                "write the path from the root of the repository",
            ));
        }
    }
    findings
}

/// Whether the place begins a path there, rather than standing in the middle of one.
fn names_place(line: &str, place: &str) -> bool {
    line.match_indices(place).any(|(start, _)| {
        let before = line[..start].chars().next_back();
        !before.is_some_and(|char| char.is_alphanumeric() || "._-~}>)".contains(char))
    })
}

fn line_of(bytes: &[u8], position: usize) -> usize {
    1 + bytes[..position]
        .iter()
        .filter(|&&byte| byte == b'\n')
        .count()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::lints::files::tests::files;

    fn check_data(path: &str, bytes: &[u8], expect: &[&str]) {
        let files = Files(vec![File {
            path: path.to_owned(),
            bytes: bytes.to_vec(),
        }]);
        let found: Vec<_> = data_files(&files)
            .into_iter()
            .map(|finding| format!("{} {}", finding.place, finding.found))
            .collect();
        assert_eq!(found, expect, "{path}");
    }

    #[test]
    fn data() {
        check_data("catalogue/a.toml", "a = \"é\"\n".as_bytes(), &[]);
        check_data("catalogue/a.toml", b"", &[]);
        check_data(
            "catalogue/a.toml",
            b"a = 1\nb = \"\xe9\"\n",
            &["catalogue/a.toml:2 not UTF-8"],
        );
        check_data(
            "examples/x/a.toml",
            b"a = 1\r\n",
            &["examples/x/a.toml:1 a CR"],
        );
        check_data(
            "examples/x/a.toml",
            b"a = 1",
            &["examples/x/a.toml:1 no line end"],
        );
        check_data(
            "catalogue/a.toml",
            b"\xef\xbb\xbfa = 1\n",
            &["catalogue/a.toml:1 a byte order mark"],
        );
        check_data("crates/x/a.toml", b"a = 1\r\n", &[]);
    }

    #[test]
    fn paths() {
        let check = |text: &str, expect: usize| {
            let text = text.replace('@', "/");
            assert_eq!(
                absolute_paths(&files(&[("a.md", &text)])).len(),
                expect,
                "{text}"
            );
        };
        check("see @work@main", 1);
        check("see `@home@ada@notes`", 1);
        check("x = \"@root@.cargo\"", 1);
        check("first\n@Users@ada", 1);
        check(concat!("C:", "\\Users\\ada"), 1);
        check("crates@work@src", 0);
        check("the @workshop@ folder", 0);
        check(".@home@x", 0);
        check("@usr@bin@python3", 0);
    }
}
