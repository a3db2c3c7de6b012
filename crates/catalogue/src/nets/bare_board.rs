//! Test records of bare boards in fixed columns, as in IPC-D-356 and its revision A.

use std::collections::BTreeMap;

use super::{Net, NetPin, Netlist};
use crate::lists::decode_list;
use crate::problem::{Problem, Problems, shown};
use crate::source::Source;

/// Everything of one file.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BareBoard {
    /// Number of remarks.
    pub comments: usize,
    /// Number of parameters.
    pub parameters: usize,
    /// Number of records of outlines, conductors and continuations, which are not read further.
    pub others: usize,
    /// Long names, by the short one that stands for each.
    pub long_names: BTreeMap<String, String>,
    /// Test records in the order of the file.
    pub records: Vec<TestRecord>,
}

/// One place that is tested.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TestRecord {
    /// Its line.
    pub line: usize,
    /// What kind of place it is.
    pub operation: Operation,
    /// The net, long names put in; none where the label is blank.
    pub net: Option<String>,
    /// The part; none for a via.
    pub reference: Option<String>,
    /// The part's pin.
    pub pin: String,
    /// It is a via.
    pub via: bool,
    /// It is no end of its net.
    pub midpoint: bool,
    /// The hole, in the file's units.
    pub hole: Option<u32>,
    /// Whether the hole is plated.
    pub plated: Option<bool>,
    /// From where it can be touched: 0 is both sides, 1 the top.
    pub access: Option<u32>,
    /// Where, in the file's units.
    pub place: (i32, i32),
}

/// Kinds of tested places.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Operation {
    /// 317: through the board.
    Through,
    /// 327: on the surface.
    Surface,
    /// 367: a hole without plating.
    Unplated,
}

/// A label that means no net.
const NOT_CONNECTED: &str = "N/C";

/// Whether bytes look like such records.
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    let Ok(text) = decode_list(bytes, "") else {
        return false;
    };
    let lines = text.text.lines().filter(|line| !line.trim().is_empty());
    let first = lines.clone().next().unwrap_or_default();
    let record = |line: &str| {
        ["317", "327", "367"]
            .iter()
            .any(|operation| line.starts_with(operation))
    };
    (first.starts_with("C ") || first.starts_with("P ") || record(first))
        && lines.clone().any(record)
}

/// Reads test records; `file` is only named in problems.
///
/// # Errors
/// Every record that cannot be understood, and a file that has no end.
pub fn parse_bare_board(bytes: &[u8], file: &str) -> Result<BareBoard, Vec<Problem>> {
    let text = decode_list(bytes, file)
        .map_err(|problem| vec![problem])?
        .text;
    let source = Source::new(file, &text);
    let mut problems = Problems::new(&source);
    let mut board = BareBoard::default();
    let mut start = 0;
    let mut ended = false;
    for (number, line) in (1..).zip(text.split('\n')) {
        let at = start..start + line.len();
        start += line.len() + 1;
        let line = line.trim_end();
        match line.get(..3) {
            _ if line.is_empty() => {}
            Some("999") => ended = true,
            Some("317" | "327" | "367") => {
                if let Some(record) =
                    read_record(line, number, at.start, &board.long_names, &mut problems)
                {
                    board.records.push(record);
                }
            }
            _ if line.starts_with('C') => board.comments += 1,
            _ if line.starts_with('P') => {
                board.parameters += 1;
                board.long_names.extend(long_name(line));
            }
            Some(code) if code.chars().all(|letter| letter.is_ascii_digit()) => board.others += 1,
            _ => problems.add(&at, "a record such as `317` or a remark `C`", shown(line)),
        }
    }
    if !ended {
        let hint = Some("the file may have been cut off".to_owned());
        let end = text.trim_end().len();
        problems.add_with(&(end..end), "a last record `999`", "none", hint);
    }
    if problems.is_empty() {
        Ok(board)
    } else {
        Err(problems.finish())
    }
}

/// `P  NNAME1 A_REALLY_LONG_NAME`.
fn long_name(line: &str) -> Option<(String, String)> {
    let mut words = line.split_whitespace().skip(1);
    let short = words.next().filter(|word| word.starts_with("NNAME"))?;
    Some((short.to_owned(), words.next()?.to_owned()))
}

/// The columns from and to, counted from 1, ends trimmed; empty where the line is shorter.
fn columns(line: &str, from: usize, to: usize) -> &str {
    let end = to.min(line.len());
    line.get(from - 1..end.max(from - 1))
        .unwrap_or_default()
        .trim()
}

fn read_record(
    line: &str,
    number: usize,
    start: usize,
    long_names: &BTreeMap<String, String>,
    problems: &mut Problems<'_>,
) -> Option<TestRecord> {
    let mut wrong = |column: usize, expected: &str, found: &str| {
        let at = start + column - 1;
        problems.add(&(at..at), expected, shown(found));
    };
    if !line.is_ascii() {
        wrong(1, "plain letters", line);
        return None;
    }
    let place = |from: usize, sign: &str| {
        let text = columns(line, from + 1, from + 7);
        (columns(line, from, from) == sign)
            .then(|| text.trim_start_matches('+').parse::<i32>().ok())
            .flatten()
    };
    let (Some(x), Some(y)) = (place(42, "X"), place(50, "Y")) else {
        wrong(
            42,
            "a place such as `X  14900Y   1450` in columns 42 to 57",
            columns(line, 42, 57),
        );
        return None;
    };
    let hole = match (columns(line, 33, 33), columns(line, 34, 37)) {
        ("D", digits) => match digits.parse() {
            Ok(hole) => Some(hole),
            Err(_) => {
                wrong(34, "the hole's size in columns 34 to 37", digits);
                return None;
            }
        },
        _ => None,
    };
    let access = (columns(line, 39, 39) == "A")
        .then(|| columns(line, 40, 41).parse().ok())
        .flatten();
    let net = columns(line, 4, 17);
    let reference = columns(line, 21, 26);
    let via = reference == "VIA";
    Some(TestRecord {
        line: number,
        operation: match columns(line, 1, 3) {
            "317" => Operation::Through,
            "327" => Operation::Surface,
            _ => Operation::Unplated,
        },
        net: (!net.is_empty()).then(|| {
            long_names
                .get(net)
                .cloned()
                .unwrap_or_else(|| net.to_owned())
        }),
        reference: (!reference.is_empty() && !via).then(|| reference.to_owned()),
        pin: columns(line, 28, 31).to_owned(),
        via,
        midpoint: columns(line, 32, 32) == "M",
        hole,
        plated: hole.map(|_| columns(line, 38, 38) == "P"),
        access,
        place: (x, y),
    })
}

impl BareBoard {
    /// The nets: pins of parts by the labels of their records, in the order of the file.
    #[must_use]
    pub fn nets(&self) -> Netlist {
        let mut nets = Netlist::default();
        let mut index: BTreeMap<&str, usize> = BTreeMap::new();
        for record in &self.records {
            let Some(name) = record.net.as_deref().filter(|name| *name != NOT_CONNECTED) else {
                continue;
            };
            let at = *index.entry(name).or_insert_with(|| {
                nets.nets.push(Net {
                    name: name.to_owned(),
                    pins: Vec::new(),
                });
                nets.nets.len() - 1
            });
            let Some(reference) = &record.reference else {
                continue;
            };
            let pin = NetPin {
                reference: reference.clone(),
                pin: record.pin.clone(),
                line: record.line,
            };
            let pins = &mut nets.nets[at].pins;
            if !pins
                .iter()
                .any(|known| known.reference == pin.reference && known.pin == pin.pin)
            {
                pins.push(pin);
            }
        }
        nets
    }
}
