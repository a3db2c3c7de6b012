//! A parts list: its layout is guessed, then every line is held to it.

use std::collections::BTreeMap;

use super::columns::{Column, Meaning, by_content, heading, mount_by_content};
use super::decode::{Encoding, decode_list};
use super::naming::{Namer, letters_of};
use super::references::{is_reference, print_references, references};
use super::table::{Record, Separator, records};
use super::words;
use crate::library::Library;
use crate::problem::{Problem, Problems, shown};
use crate::profile::Mount;
use crate::source::Source;

/// Lines above a heading that may be a title.
const MOST_TITLE_LINES: usize = 8;

/// A parts list, understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PartsList {
    /// How it was understood.
    pub layout: Layout,
    /// What sits where, in the order of the list.
    pub parts: Vec<ListedPart>,
    /// Lines that name no part.
    pub left_out: Vec<LeftOut>,
}

/// How a list was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// How the text was written.
    pub encoding: Encoding,
    /// Its lines ended as on Windows.
    pub foreign_ends: bool,
    /// What stands between its cells.
    pub separator: Separator,
    /// The line of its heading, if it has one.
    pub heading: Option<usize>,
    /// Its columns.
    pub columns: Vec<Column>,
}

/// One position of a list.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct ListedPart {
    /// Reference: `U7`.
    pub reference: String,
    /// What is written beside it: `SN74LS245N`.
    pub value: String,
    /// What it is for, where the list says so.
    pub title: Option<String>,
    /// Its block, where the list says so.
    pub block: Option<String>,
    /// How it sits, where the list says so.
    pub mount: Option<Mount>,
    /// Its line.
    pub line: usize,
}

/// A line that names no part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LeftOut {
    /// Its line.
    pub line: usize,
    /// What stands there.
    pub text: String,
    /// Why it is left out.
    pub why: String,
}

/// Reads a parts list; `file` is only named in problems.
///
/// # Errors
/// Every line that cannot be understood; then nothing of the list is given.
///
/// # Example
/// ```
/// let library = catalogue::Library::built_in();
/// let list = catalogue::parse_parts_list(b"U22-U25, U30: SN74LS166N", "list", library).unwrap();
/// assert_eq!(list.parts.len(), 5);
/// let problems = catalogue::parse_parts_list(b"Ref;Value\nU1;Z80A\n4;74LS00", "list", library).unwrap_err();
/// assert!(problems[0].to_string().starts_with("list:3:1: expected references such as `U7`, found the quantity 4"));
/// ```
pub fn parse_parts_list(
    bytes: &[u8],
    file: &str,
    library: &Library,
) -> Result<PartsList, Vec<Problem>> {
    let text = decode_list(bytes, file).map_err(|problem| vec![problem])?;
    let source = Source::new(file, &text.text);
    let mut problems = Problems::new(&source);
    let namer = Namer::new(library);
    let Some(found) = best_trial(&text.text, &namer) else {
        let expected =
            "a parts list: positions with what sits there, such as `U7 74LS138` on each line";
        let found = match text.text.trim() {
            "" => "an empty text".to_owned(),
            other => shown(other.lines().next().unwrap_or_default()),
        };
        problems.add(&(0..0), expected, found);
        return Err(problems.finish());
    };
    if let Some(open) = found.open {
        let hint = Some("the list may have been cut off".to_owned());
        problems.add_with(&(open..open), "a closing quote", "none to the end", hint);
        return Err(problems.finish());
    }
    let layout = Layout {
        encoding: text.encoding,
        foreign_ends: text.foreign_ends,
        separator: found.separator,
        heading: found
            .heading
            .map(|at| source.place(found.records[at].start).0),
        columns: found.columns.clone(),
    };
    let mut reader = Reader {
        namer: &namer,
        trial: &found,
        problems: &mut problems,
        seen: BTreeMap::new(),
        list: PartsList {
            layout,
            parts: Vec::new(),
            left_out: Vec::new(),
        },
    };
    reader.read();
    let list = reader.list;
    if problems.is_empty() {
        Ok(list)
    } else {
        Err(problems.finish())
    }
}

/// A parts list as text that [`parse_parts_list`] reads back: semicolons, one line for each run of alike positions.
#[must_use]
pub fn print_parts_list(parts: &[ListedPart]) -> String {
    let mut text = String::from("reference;value;title;block;mount\n");
    let alike = |one: &ListedPart, other: &ListedPart| {
        (&one.value, &one.title, &one.block, one.mount)
            == (&other.value, &other.title, &other.block, other.mount)
    };
    for run in parts.chunk_by(alike) {
        let names: Vec<&str> = run.iter().map(|part| part.reference.as_str()).collect();
        let first = &run[0];
        let cells = [
            print_references(&names),
            first.value.clone(),
            first.title.clone().unwrap_or_default(),
            first.block.clone().unwrap_or_default(),
            first.mount.map(mount_words).unwrap_or_default().to_owned(),
        ];
        let cells: Vec<String> = cells.iter().map(|cell| quoted(cell)).collect();
        text.push_str(&cells.join(";"));
        text.push('\n');
    }
    text
}

/// A cell, in quotes where it needs them.
fn quoted(cell: &str) -> String {
    if cell.contains([';', '"', '\n', '#']) || cell.starts_with("//") {
        format!("\"{}\"", cell.replace('"', "\"\""))
    } else {
        cell.to_owned()
    }
}

fn mount_words(mount: Mount) -> &'static str {
    match mount {
        Mount::Socket => "socket",
        Mount::Soldered => "soldered",
        Mount::Plug => "plug",
    }
}

/// A list as read with one separator.
struct Trial {
    separator: Separator,
    records: Vec<Record>,
    /// Where a quote begins that is never closed.
    open: Option<usize>,
    heading: Option<usize>,
    columns: Vec<Column>,
    /// Records in which a position and what sits there are seen.
    good: usize,
}

impl Trial {
    fn column(&self, meaning: Meaning) -> Option<usize> {
        self.columns
            .iter()
            .position(|column| column.meaning == meaning)
    }

    /// The records below the heading.
    fn data(&self) -> &[Record] {
        &self.records[self.heading.map_or(0, |at| at + 1)..]
    }
}

/// The separator with which most lines make sense.
fn best_trial(text: &str, namer: &Namer<'_>) -> Option<Trial> {
    use Separator::{Bar, Comma, Semicolon, Tab, Words};
    let trials = [Tab, Semicolon, Bar, Comma, Words].into_iter();
    let trials = trials.filter_map(|separator| trial(text, separator, namer));
    // A heading is the surest sign; then the share of good lines, for separators leave different numbers of records.
    let rank = |trial: &Trial| {
        let share = 1000 * trial.good / trial.data().len().max(1);
        (trial.heading.is_some(), share)
    };
    let mut best: Option<Trial> = None;
    for trial in trials {
        if best.as_ref().is_none_or(|best| rank(&trial) > rank(best)) {
            best = Some(trial);
        }
    }
    best
}

fn trial(text: &str, separator: Separator, namer: &Namer<'_>) -> Option<Trial> {
    let (records, open) = match separator.letter() {
        Some(letter) => records(text, letter),
        None => (words::records(text), None),
    };
    let titles = records.iter().take(MOST_TITLE_LINES).enumerate();
    let found = titles
        .filter(|_| separator != Separator::Words)
        .find_map(|(at, record)| Some((at, heading(record)?)));
    let (heading, mut columns) = match found {
        Some((at, columns)) => (Some(at), columns),
        None if separator == Separator::Words => (None, word_columns()),
        None => (None, by_content(&records, namer)?),
    };
    let data = &records[heading.map_or(0, |at| at + 1)..];
    mount_by_content(&mut columns, data);
    let mut trial = Trial {
        separator,
        records,
        open,
        heading,
        columns,
        good: 0,
    };
    let of_references = trial.column(Meaning::Reference)?;
    let of_values = trial.column(Meaning::Value)?;
    let good = |record: &&Record| {
        let (names, value) = (record.text(of_references), record.text(of_values));
        // A value that begins with the letters of the references is one more of them, cut off by the wrong separator.
        let more = is_reference(value.split([' ', ':', '-', ',']).next().unwrap_or_default())
            && letters_of(value) == letters_of(names);
        references(names).is_ok() && !value.is_empty() && !more
    };
    trial.good = trial.data().iter().filter(good).count();
    (trial.good > 0 || trial.heading.is_some()).then_some(trial)
}

fn word_columns() -> Vec<Column> {
    let column = |meaning| Column {
        heading: String::new(),
        meaning,
    };
    vec![column(Meaning::Reference), column(Meaning::Value)]
}

struct Reader<'r, 's> {
    namer: &'r Namer<'r>,
    trial: &'r Trial,
    problems: &'r mut Problems<'s>,
    /// The line on which each position was named.
    seen: BTreeMap<String, usize>,
    list: PartsList,
}

impl Reader<'_, '_> {
    fn read(&mut self) {
        let below = self.trial.heading.map_or(0, |at| at);
        for title in &self.trial.records[..below] {
            self.leave_out(title, "stands above the heading");
        }
        for record in self.trial.data() {
            self.record(record);
        }
    }

    fn line(&self, record: &Record) -> usize {
        self.problems.source().place(record.start).0
    }

    fn leave_out(&mut self, record: &Record, why: &str) {
        let texts = record.cells.iter().map(|cell| cell.text.as_str());
        let texts: Vec<&str> = texts.filter(|text| !text.is_empty()).collect();
        self.list.left_out.push(LeftOut {
            line: self.line(record),
            text: texts.join(" "),
            why: why.to_owned(),
        });
    }

    fn text<'c>(&self, record: &'c Record, meaning: Meaning) -> &'c str {
        self.trial
            .column(meaning)
            .map_or("", |column| record.text(column))
    }

    fn record(&mut self, record: &Record) {
        let Some(record) = self.whole(record) else {
            return;
        };
        let record = &record;
        let (of_references, value) = (
            self.text(record, Meaning::Reference),
            self.text(record, Meaning::Value),
        );
        if of_references.is_empty() {
            self.leave_out(record, "names no position");
            return;
        }
        let read = match references(of_references) {
            Ok(read) => read,
            Err((found, hint)) => {
                self.refuse(
                    record,
                    Meaning::Reference,
                    "references such as `U7`",
                    &found,
                    Some(hint),
                );
                return;
            }
        };
        if !self.count_holds(record, read.names.len(), read.count) {
            return;
        }
        for reference in read.names {
            self.position(record, reference, value);
        }
    }

    /// The record with as many cells as the heading has, or nothing, with a problem told or the line left out.
    fn whole(&mut self, record: &Record) -> Option<Record> {
        let mut record = record.clone();
        let width = self.trial.columns.len();
        if self.trial.separator == Separator::Words {
            return self.whole_words(record);
        }
        let of_references = self.trial.column(Meaning::Reference)?;
        // References with commas between them and no quotes about them.
        while record.cells.len() > width {
            let next = record
                .cells
                .get(of_references + 1)
                .map(|cell| cell.text.clone())?;
            if references(record.text(of_references)).is_err() || references(&next).is_err() {
                break;
            }
            let joined = format!("{}, {next}", record.text(of_references));
            record.cells[of_references].text = joined;
            record.cells.remove(of_references + 1);
        }
        let said = record
            .cells
            .iter()
            .rposition(|cell| !cell.text.is_empty())
            .map_or(0, |last| last + 1);
        if said > width {
            let found = format!("{said}");
            let hint = Some("put quotes around a cell that holds the separator".to_owned());
            self.refuse_at(
                record.start,
                &format!("{width} cells as in the heading"),
                &found,
                hint,
            );
            return None;
        }
        let needed = self.trial.column(Meaning::Value)?.max(of_references) + 1;
        let lone = said == 1 && references(record.text(0)).is_err();
        if lone && begins_with_reference(record.text(0)) {
            let hint = Some("the other lines have another separator".to_owned());
            let found = shown(record.text(0));
            self.refuse_at(record.start, "a line like the others", &found, hint);
            return None;
        }
        if lone && record.text(0).parse::<u32>().is_err() {
            self.leave_out(
                &record,
                "is one cell alone, taken as a heading of what follows",
            );
            return None;
        }
        if record.cells.len() < needed {
            let hint = Some("the list may have been cut off".to_owned());
            let found = match record.cells.len() {
                1 => "one cell".to_owned(),
                several => format!("{several} cells"),
            };
            self.refuse_at(record.start, "a whole line", &found, hint);
            return None;
        }
        Some(record)
    }

    /// A typed item: references and a name, in either order.
    fn whole_words(&mut self, mut record: Record) -> Option<Record> {
        if record.cells.len() == 1 {
            if record
                .text(0)
                .contains(|letter: char| letter.is_ascii_digit())
            {
                let hint = Some("write the position first, then what sits there".to_owned());
                let found = shown(record.text(0));
                self.refuse_at(record.start, "a position and what sits there", &found, hint);
            } else {
                self.leave_out(
                    &record,
                    "names no position, taken as a heading of what follows",
                );
            }
            return None;
        }
        let known = |text: &str| self.namer.guess("U", text).id().is_some();
        // `Z80 U1`: either may be a reference, and one is a device.
        if references(record.text(1)).is_ok() && known(record.text(0)) && !known(record.text(1)) {
            record.cells.swap(0, 1);
        }
        Some(record)
    }

    /// The quantity, where there is one, is the number of positions.
    fn count_holds(&mut self, record: &Record, positions: usize, told: Option<usize>) -> bool {
        let written = self.text(record, Meaning::Quantity);
        let count = match (told, written) {
            (told, "") => told,
            (_, written) => match written.trim_matches(['x', 'X', '×', ' ']).parse() {
                Ok(count) => Some(count),
                Err(_) => {
                    let hint = Some(
                        "the columns may be in another order than their heading says".to_owned(),
                    );
                    self.refuse(
                        record,
                        Meaning::Quantity,
                        "a quantity",
                        &shown(written),
                        hint,
                    );
                    return false;
                }
            },
        };
        let Some(count) = count.filter(|&count| count != positions) else {
            return true;
        };
        let expected = format!("as many positions as the quantity {count} says");
        let found = if positions == 1 {
            "one".to_owned()
        } else {
            positions.to_string()
        };
        self.refuse(record, Meaning::Reference, &expected, &found, None);
        false
    }

    fn position(&mut self, record: &Record, reference: String, value: &str) {
        let line = self.line(record);
        if let Some(why) = self.namer.skipped(&reference) {
            let text = format!("{reference} {value}").trim_end().to_owned();
            let why = format!("is {why}");
            self.list.left_out.push(LeftOut { line, text, why });
            return;
        }
        if value.is_empty() && self.namer.guess(&reference, value).id().is_none() {
            let expected = format!("what sits at {reference}");
            let hint = Some("the list may have been cut off".to_owned());
            self.refuse(record, Meaning::Value, &expected, "nothing", hint);
            return;
        }
        if let Some(first) = self.seen.insert(reference.clone(), line) {
            let found = format!("`{reference}` again");
            let hint = Some(format!("it is at line {first} too"));
            self.refuse(
                record,
                Meaning::Reference,
                "each position once",
                &found,
                hint,
            );
            return;
        }
        let told = |meaning| {
            Some(self.text(record, meaning))
                .filter(|text| !text.is_empty())
                .map(str::to_owned)
        };
        let sits = told(Meaning::Mount);
        let mount = sits.as_deref().and_then(read_mount);
        if let (Some(sits), None) = (sits, mount) {
            self.refuse(
                record,
                Meaning::Mount,
                "`socket`, `soldered` or `plug`",
                &shown(&sits),
                None,
            );
            return;
        }
        let part = ListedPart {
            value: value.to_owned(),
            title: told(Meaning::Title),
            block: told(Meaning::Block).map(|block| block.to_lowercase()),
            mount,
            reference,
            line,
        };
        self.list.parts.push(part);
    }

    fn refuse(
        &mut self,
        record: &Record,
        meaning: Meaning,
        expected: &str,
        found: &str,
        hint: Option<String>,
    ) {
        let column = self.trial.column(meaning).unwrap_or(0);
        let start = record
            .cells
            .get(column)
            .map_or(record.start, |cell| cell.start);
        self.refuse_at(start, expected, found, hint);
    }

    fn refuse_at(&mut self, start: usize, expected: &str, found: &str, hint: Option<String>) {
        self.problems
            .add_with(&(start..start), expected, found, hint);
    }
}

/// The text is a position and more after some separator.
fn begins_with_reference(text: &str) -> bool {
    let cut = text.split_once([';', ',', '\t', '|']);
    cut.is_some_and(|(first, _)| references(first).is_ok())
}

/// How a part sits, by a word or by yes and no under `socket`.
fn read_mount(text: &str) -> Option<Mount> {
    match text.to_lowercase().as_str() {
        "socket" | "socketed" | "yes" | "y" | "x" => Some(Mount::Socket),
        "soldered" | "no" | "n" => Some(Mount::Soldered),
        "plug" | "plugged" => Some(Mount::Plug),
        _ => None,
    }
}
