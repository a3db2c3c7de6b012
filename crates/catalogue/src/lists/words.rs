//! Lists as people type them: `U7 74LS138`, `U22-U25: 74LS166`, `74LS245: U4, U5`, `U21 6845; U22-U25 74ls166`.

use super::naming::letters_of;
use super::references::{is_reference, references};
use super::table::{Cell, Record, is_comment};

/// Records of two cells, references and a name; a line without a reference is one cell.
pub(crate) fn records(text: &str) -> Vec<Record> {
    let mut records = Vec::new();
    let mut start = 0;
    for line in text.split('\n') {
        if !is_comment(line) {
            let mut at = start;
            for item in line.split(';') {
                records.extend(record(item, at));
                at += item.len() + 1;
            }
        }
        start += line.len() + 1;
    }
    records
}

fn record(item: &str, start: usize) -> Option<Record> {
    let lead = item.len() - item.trim_start().len();
    let (item, start) = (item.trim(), start + lead);
    if item.is_empty() {
        return None;
    }
    let cell = |from: usize, to: usize| {
        let text = item[from..to].trim_matches([' ', '\t', ':', '=', ',']);
        let lead = item[from..to].find(text).unwrap_or(0);
        Cell {
            text: text.to_owned(),
            start: start + from + lead,
        }
    };
    let cells = match (leading(item), trailing(item)) {
        (Some(at), _) => vec![cell(0, at), cell(at, item.len())],
        (None, Some(at)) => vec![cell(at, item.len()), cell(0, at)],
        (None, None) => vec![cell(0, item.len())],
    };
    Some(Record { cells, start })
}

/// Where the references at the start of an item end; after a blank alone only one with the same letters goes on, as
/// `Z80` may well be what sits at `U1`.
fn leading(item: &str) -> Option<usize> {
    let first = letters_of(item);
    let mut end = None;
    for at in word_ends(item) {
        let word = item[..at].trim_end_matches([':', '=']);
        let last = word.split_whitespace().next_back().unwrap_or_default();
        let before = word[..word.len() - last.len()].trim_end();
        let joined = before.is_empty()
            || before.ends_with(JOINS)
            || before.ends_with(" to")
            || last.starts_with(JOINS);
        if references(word).is_ok() && (joined || letters_of(last) == first) {
            end = Some(at);
            if item[..at].ends_with([':', '=']) {
                break;
            }
        } else if !last.trim_matches(JOINS).is_empty() && last != "to" {
            break;
        }
    }
    end
}

/// What joins references.
const JOINS: [char; 8] = [',', '-', '–', '—', '+', '&', '/', '('];

/// Where the references at the end of an item begin; one at least must look like a reference by itself.
fn trailing(item: &str) -> Option<usize> {
    if let Some((name, list)) = item.split_once([':', '='])
        && references(list).is_ok_and(|read| !read.names.is_empty())
    {
        return Some(name.len() + 1);
    }
    let last = item.split_whitespace().next_back()?;
    let bare = last.split(['-', ',', '–']).next()?;
    if !is_reference(bare) || bare.starts_with(|letter: char| letter.is_ascii_digit()) {
        return None;
    }
    let starts = word_starts(item);
    let mut from = None;
    for at in starts.into_iter().rev().filter(|at| *at > 0) {
        if references(&item[at..]).is_ok() {
            from = Some(at);
        } else if !item[at..].starts_with(['-', '–']) {
            break;
        }
    }
    from
}

fn word_ends(item: &str) -> Vec<usize> {
    let letters: Vec<(usize, char)> = item.char_indices().collect();
    let mut ends: Vec<usize> = letters
        .windows(2)
        .filter(|pair| {
            !pair[0].1.is_whitespace() && pair[1].1.is_whitespace() || ":=".contains(pair[0].1)
        })
        .map(|pair| pair[1].0)
        .collect();
    ends.push(item.len());
    ends
}

fn word_starts(item: &str) -> Vec<usize> {
    let letters: Vec<(usize, char)> = item.char_indices().collect();
    let starts = letters
        .windows(2)
        .filter(|pair| pair[0].1.is_whitespace() && !pair[1].1.is_whitespace());
    std::iter::once(0)
        .chain(starts.map(|pair| pair[1].0))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(text: &str, expect: &[&[&str]]) {
        let records = records(text);
        let cells: Vec<Vec<&str>> = records
            .iter()
            .map(|record| record.cells.iter().map(|cell| cell.text.as_str()).collect())
            .collect();
        assert_eq!(
            cells,
            expect.iter().map(|row| row.to_vec()).collect::<Vec<_>>(),
            "{text}"
        );
        for cell in records.iter().flat_map(|record| &record.cells) {
            assert!(
                text[cell.start..].starts_with(&cell.text),
                "{text}: {cell:?}"
            );
        }
    }

    #[test]
    fn items() {
        check(
            "U7 74LS138\nU8  OG-1 gate array",
            &[&["U7", "74LS138"], &["U8", "OG-1 gate array"]],
        );
        check(
            "U21 6845; U22-U25 74ls166;",
            &[&["U21", "6845"], &["U22-U25", "74ls166"]],
        );
        check("U22 - U25, U30: 74LS166", &[&["U22 - U25, U30", "74LS166"]]);
        check("U4, U5\t74LS244", &[&["U4, U5", "74LS244"]]);
        check("74LS245: U4, U5", &[&["U4, U5", "74LS245"]]);
        check(
            "4 x 74LS245 U4 U5 U6 U9",
            &[&["U4 U5 U6 U9", "4 x 74LS245"]],
        );
        check("Video section", &[&["Video section"]]);
        check("U7", &[&["U7", ""]]);
        check("  U7 = 7805", &[&["U7", "7805"]]);
        check("U1 Z80", &[&["U1", "Z80"]]);
        check("U1 U2 TL072 U3", &[&["U1 U2", "TL072 U3"]]);
        check("U16-U23 (8) 4164", &[&["U16-U23 (8)", "4164"]]);
        check("X1 14.000 MHz", &[&["X1", "14.000 MHz"]]);
    }
}
