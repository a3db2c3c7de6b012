//! Offers as they come: a cart copied off a page, a file of a table program, a few typed breaks.
//!
//! No shop's layout is known by name. [`read_pasted`] guesses what the columns are from their headings and from the shapes
//! of the numbers, says what it took them for, and keeps what it does not understand out, line by line.
//! [`read_typed`] reads one offer the way it is said: `4164-150ns 8 at 3.40`.

mod columns;
mod decode;
mod line;
mod numbers;
mod split;
mod table;

pub use columns::Role;
pub use line::read_typed;

use std::fmt;

use units::Currency;

use crate::request::Break;

/// Longest text taken.
const LONGEST: usize = 2_000_000;

/// What was understood of a pasted text.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Pasted {
    /// What each column was taken for; none if the lines were read as sentences.
    pub columns: Vec<Column>,
    /// A price or more for each name.
    pub rows: Vec<Row>,
    /// How the text was read, in words.
    pub notes: Vec<String>,
    /// What was kept out, line by line.
    pub refused: Vec<Refused>,
    /// The currency that the text names.
    pub currency: Option<Currency>,
}

/// A column and what it was taken for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its heading, or `column 2`.
    pub heading: String,
    /// What it was taken for.
    pub role: Role,
}

/// One thing offered.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Row {
    /// Line of the text, from 1.
    pub line: usize,
    /// The vendor's number or code, if one stands there.
    pub code: String,
    /// The vendor's words.
    pub name: String,
    /// Sold in multiples of this, if said.
    pub pack: Option<u32>,
    /// At least so many, if said.
    pub least: Option<u32>,
    /// So many are in stock, if said.
    pub stock: Option<u32>,
    /// Unit prices, rising `from`.
    pub breaks: Vec<Break>,
    /// The text lists all breaks; else only the price at one quantity is known.
    pub whole: bool,
    /// What looks like a slip and was taken all the same.
    pub doubt: Option<String>,
}

/// A line that was kept out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refused {
    /// Line of the text, from 1.
    pub line: usize,
    /// What is wrong with it.
    pub why: String,
}

impl fmt::Display for Refused {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.why)
    }
}

/// How to read a pasted text.
#[derive(Debug, Clone, Copy)]
pub struct Paste<'a> {
    /// The vendor's currency; a sign such as `$` that several currencies use is taken for it.
    pub currency: Currency,
    /// What the columns are, if the guess is not to be used: `code, name, quantity, each, -`.
    pub columns: Option<&'a str>,
}

/// Reads a table or a list of lines.
///
/// ```
/// use purchasing::{Paste, read_pasted};
/// let how = Paste { currency: units::Currency::EUR, columns: None };
/// let read = read_pasted(b"Article;Quantity;Price\r\n74LS245;3;0,95\r\n", how);
/// assert_eq!((read.rows[0].name.as_str(), read.rows[0].breaks[0].from), ("74LS245", 3));
/// ```
pub fn read_pasted(bytes: &[u8], how: Paste<'_>) -> Pasted {
    let mut pasted = Pasted::default();
    if bytes.len() > LONGEST {
        pasted.refuse(
            1,
            format!("expected at most 2 MB, found {} bytes", bytes.len()),
        );
        return pasted;
    }
    let text = match decode::text(bytes) {
        Ok((text, note)) => {
            pasted.notes.extend(note);
            text
        }
        Err(refused) => {
            pasted.refused.push(refused);
            return pasted;
        }
    };
    match split::table(&text) {
        Ok(Some(cells)) => table::read(&mut pasted, &cells, how),
        Ok(None) => line::read_lines(&mut pasted, &text, how),
        Err(refused) => pasted.refused.push(refused),
    }
    pasted.finish();
    pasted
}

impl Pasted {
    fn refuse(&mut self, line: usize, why: impl Into<String>) {
        self.refused.push(Refused {
            line,
            why: why.into(),
        });
    }

    /// Joins rows of one name into one offer, and looks for slips.
    fn finish(&mut self) {
        let mut joined: Vec<Row> = Vec::new();
        for row in std::mem::take(&mut self.rows) {
            let same = |one: &&mut Row| one.name == row.name && one.code == row.code;
            match joined.iter_mut().find(same) {
                Some(one) => one.join(row),
                None => joined.push(row),
            }
        }
        for row in &mut joined {
            row.doubt = row.doubt.take().or_else(|| dearer(&row.breaks));
        }
        self.rows = joined;
        self.refused.sort_by_key(|refused| refused.line);
    }
}

impl Row {
    fn join(&mut self, other: Row) {
        for level in other.breaks {
            match self
                .breaks
                .binary_search_by_key(&level.from, |one| one.from)
            {
                Ok(at) if self.breaks[at] != level => {
                    self.doubt = Some(format!(
                        "two prices for {}, {} and {}; the last one is taken",
                        level.from, self.breaks[at].each, level.each
                    ));
                    self.breaks[at] = level;
                }
                Ok(_) => {}
                Err(at) => self.breaks.insert(at, level),
            }
        }
        self.pack = other.pack.or(self.pack);
        self.least = other.least.or(self.least);
        self.stock = other.stock.or(self.stock);
        self.whole |= other.whole;
    }
}

/// A break that asks more for each piece than a smaller quantity does.
pub(crate) fn dearer(breaks: &[Break]) -> Option<String> {
    let pair = breaks.windows(2).find(|pair| pair[1].each > pair[0].each)?;
    Some(format!(
        "{} cost {} each, more than {} at {}; look whether that is a slip",
        pair[1].from, pair[1].each, pair[0].from, pair[0].each
    ))
}
