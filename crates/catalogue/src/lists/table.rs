//! A text as records of cells, by one separator, with quotes as spreadsheets write them.

/// What stands between the cells of a list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Separator {
    /// A tab.
    Tab,
    /// A semicolon.
    Semicolon,
    /// A comma.
    Comma,
    /// An upright bar.
    Bar,
    /// References and names one after the other, as people write them.
    Words,
}

impl Separator {
    pub(crate) fn letter(self) -> Option<char> {
        match self {
            Self::Tab => Some('\t'),
            Self::Semicolon => Some(';'),
            Self::Comma => Some(','),
            Self::Bar => Some('|'),
            Self::Words => None,
        }
    }
}

/// One cell.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Cell {
    /// What it says, quotes off, ends trimmed.
    pub(crate) text: String,
    /// Where it begins.
    pub(crate) start: usize,
}

/// One record: a line, or several where a quoted cell holds line ends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Record {
    pub(crate) cells: Vec<Cell>,
    pub(crate) start: usize,
}

impl Record {
    /// The cell's text, or nothing where the record is short.
    pub(crate) fn text(&self, column: usize) -> &str {
        self.cells.get(column).map_or("", |cell| &cell.text)
    }

    /// Nothing is written in it.
    pub(crate) fn is_empty(&self) -> bool {
        self.cells.iter().all(|cell| cell.text.is_empty())
    }
}

/// Records of a text, empty ones and comments left out; the offset of a quote that is never closed, if there is one.
pub(crate) fn records(text: &str, separator: char) -> (Vec<Record>, Option<usize>) {
    let mut reader = Reader {
        text,
        at: 0,
        separator,
    };
    let mut records = Vec::new();
    while reader.at < text.len() {
        if reader.comment() {
            continue;
        }
        match reader.record() {
            Ok(record) if record.is_empty() => {}
            Ok(record) => records.push(record),
            Err(open) => return (records, Some(open)),
        }
    }
    (records, None)
}

/// A line that is a remark.
pub(crate) fn is_comment(line: &str) -> bool {
    let line = line.trim_start();
    line.starts_with("//")
        || line.starts_with('#')
            && !line.starts_with("#;")
            && !line.starts_with("#,")
            && !line.starts_with("#\t")
}

struct Reader<'t> {
    text: &'t str,
    at: usize,
    separator: char,
}

impl Reader<'_> {
    fn rest(&self) -> &str {
        &self.text[self.at..]
    }

    fn comment(&mut self) -> bool {
        let line = self.rest().split('\n').next().unwrap_or_default();
        let comment = is_comment(line);
        if comment {
            self.at = (self.at + line.len() + 1).min(self.text.len());
        }
        comment
    }

    /// Reads to the end of the record; the error is where an open quote begins.
    fn record(&mut self) -> Result<Record, usize> {
        let start = self.at;
        let mut cells = Vec::new();
        loop {
            cells.push(self.cell()?);
            match self.rest().chars().next() {
                Some(letter) if letter == self.separator => self.at += letter.len_utf8(),
                Some(_) => {
                    self.at += 1;
                    break;
                }
                None => break,
            }
        }
        Ok(Record { cells, start })
    }

    /// Reads one cell up to its separator or line end.
    fn cell(&mut self) -> Result<Cell, usize> {
        let blank = |letter: char| letter == ' ' || letter == '\u{a0}';
        let start = self.at
            + self
                .rest()
                .find(|letter| !blank(letter))
                .unwrap_or(self.rest().len());
        if self.text[start..].starts_with('"') {
            return self.quoted(start);
        }
        let ends = |letter: char| letter == self.separator || letter == '\n';
        let end = self
            .rest()
            .find(ends)
            .map_or(self.text.len(), |at| self.at + at);
        let text = self.text[self.at..end].trim().to_owned();
        self.at = end;
        Ok(Cell {
            text,
            start: start.min(end),
        })
    }

    /// Reads a cell in quotes; a doubled quote stands for one.
    fn quoted(&mut self, start: usize) -> Result<Cell, usize> {
        let mut text = String::new();
        let mut at = start + 1;
        loop {
            let rest = &self.text[at..];
            let Some(quote) = rest.find('"') else {
                return Err(start);
            };
            text.push_str(&rest[..quote]);
            at += quote + 1;
            if !self.text[at..].starts_with('"') {
                break;
            }
            text.push('"');
            at += 1;
        }
        // What stands between the closing quote and the separator belongs to the cell too.
        let ends = |letter: char| letter == self.separator || letter == '\n';
        let end = self.text[at..]
            .find(ends)
            .map_or(self.text.len(), |more| at + more);
        text.push_str(self.text[at..end].trim_end());
        self.at = end;
        Ok(Cell {
            text: text.trim().replace('\n', " "),
            start,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, separator: char, expect: &[&[&str]]) {
        let (records, open) = records(text, separator);
        let cells: Vec<Vec<&str>> = records
            .iter()
            .map(|record| record.cells.iter().map(|cell| cell.text.as_str()).collect())
            .collect();
        assert_eq!(
            (cells, open),
            (expect.iter().map(|row| row.to_vec()).collect(), None),
            "{text}"
        );
    }

    #[test]
    fn cells() {
        check("a;b\nc;d\n", ';', &[&["a", "b"], &["c", "d"]]);
        check("a\tb", '\t', &[&["a", "b"]]);
        check("\n \na, b ,c\n\n", ',', &[&["a", "b", "c"]]);
        check("# no\n// no\na;", ';', &[&["a", ""]]);
        check("\"U1, U2\",74LS00", ',', &[&["U1, U2", "74LS00"]]);
        check("\"say \"\"no\"\"\";x", ';', &[&["say \"no\"", "x"]]);
        check(
            "\"two\nlines\";x\ny;z",
            ';',
            &[&["two lines", "x"], &["y", "z"]],
        );
        check("3\" disk;x", ';', &[&["3\" disk", "x"]]);
        check("#;Ref\n1;U1", ';', &[&["#", "Ref"], &["1", "U1"]]);
    }

    #[test]
    fn an_open_quote() {
        assert_eq!(records("a;b\n\"c;d\n", ';').1, Some(4));
    }
}
