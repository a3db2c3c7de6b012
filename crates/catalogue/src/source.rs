//! A text with its name, and its reading as TOML with the place of every key and value.

use std::ops::Range;

use toml::de::DeTable;

use crate::problem::{Problem, Problems, shown};

/// Bytes from and to.
pub(crate) type Span = Range<usize>;

/// A larger file is no knowledge about a board.
pub(crate) const MOST_BYTES: usize = 1 << 20;

/// Syntax errors told of one file.
const MOST_SYNTAX_ERRORS: usize = 20;

/// A text with the name of its file.
#[derive(Debug)]
pub(crate) struct Source<'s> {
    pub(crate) file: &'s str,
    pub(crate) text: &'s str,
    line_starts: Vec<usize>,
}

impl<'s> Source<'s> {
    pub(crate) fn new(file: &'s str, text: &'s str) -> Self {
        let ends = text
            .bytes()
            .enumerate()
            .filter(|&(_, byte)| byte == b'\n')
            .map(|(at, _)| at + 1);
        let line_starts = std::iter::once(0).chain(ends).collect();
        Self {
            file,
            text,
            line_starts,
        }
    }

    /// Line and column of a byte offset, both from 1; the column counts characters.
    pub(crate) fn place(&self, offset: usize) -> (usize, usize) {
        let offset = offset.min(self.text.len());
        let line = self.line_starts.partition_point(|&start| start <= offset);
        let start = self.line_starts[line - 1];
        let column = self.text.as_bytes()[start..offset]
            .iter()
            .filter(|&&byte| byte & 0xc0 != 0x80)
            .count();
        (line, column + 1)
    }

    /// The text between two offsets.
    pub(crate) fn slice(&self, span: &Span) -> &'s str {
        self.text.get(span.clone()).unwrap_or_default()
    }
}

/// The bytes as text, or the place of the first byte that is no UTF-8.
pub(crate) fn decode<'b>(bytes: &'b [u8], file: &str) -> Result<&'b str, Problem> {
    let error = match std::str::from_utf8(bytes) {
        Ok(text) => return Ok(text),
        Err(error) => error,
    };
    let offset = error.valid_up_to();
    let before = std::str::from_utf8(&bytes[..offset]).unwrap_or_default();
    let (line, column) = Source::new(file, before).place(offset);
    let hint = match bytes {
        [0xff, 0xfe, ..] | [0xfe, 0xff, ..] => "the file looks like UTF-16; save it as UTF-8",
        _ => "save the file as UTF-8",
    };
    Err(Problem {
        file: file.to_owned(),
        line,
        column,
        found: format!("byte `0x{:02x}` at offset {offset}", bytes[offset]),
        expected: "text in UTF-8".to_owned(),
        hint: Some(hint.to_owned()),
    })
}

/// Reads a text as TOML, as far as that goes; syntax errors are taken down and mark the problems as `broken`.
pub(crate) fn read_toml<'s>(problems: &mut Problems<'s>) -> Option<DeTable<'s>> {
    let text = problems.source().text;
    if text.len() > MOST_BYTES {
        problems.broken = true;
        problems.add(
            &(0..0),
            format!("a file of at most {MOST_BYTES} bytes"),
            format!("{} bytes", text.len()),
        );
        return None;
    }
    let (table, errors) = DeTable::parse_recoverable(text);
    for error in errors.iter().take(MOST_SYNTAX_ERRORS) {
        problems.broken = true;
        let span = error.span().unwrap_or(text.len()..text.len());
        let (expected, found) = syntax_words(error.message(), problems.source().slice(&span));
        problems.add(&span, expected, found);
    }
    if errors.len() > MOST_SYNTAX_ERRORS {
        let hint = format!(
            "{} more syntax errors follow; is this a TOML file?",
            errors.len() - MOST_SYNTAX_ERRORS
        );
        let span = errors[MOST_SYNTAX_ERRORS]
            .span()
            .unwrap_or(text.len()..text.len());
        problems.add_with(&span, "valid TOML", "text that is none", Some(hint));
    }
    Some(table.into_inner())
}

/// The parser's message in the words of this house.
fn syntax_words(message: &str, text: &str) -> (String, String) {
    let found = match text.lines().next() {
        None | Some("") => "end of line or file".to_owned(),
        Some(line) => shown(line),
    };
    match message.split_once(", expected ") {
        Some((what, "nothing")) => (format!("valid TOML ({what})"), found),
        Some((what, expected)) => (format!("{expected} ({what})"), found),
        None => (format!("valid TOML ({message})"), found),
    }
}
