//! References as people list them: `U22-U25, U30`, `IC1 IC2`, `R1..R4 (4)`.

use crate::range::{MOST_MEMBERS, expand_range, split_number};

/// What a cell of references says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct References {
    /// Each position, in the order of the cell.
    pub names: Vec<String>,
    /// How many there should be, where the cell says so.
    pub count: Option<usize>,
}

/// Reads references; the error is what is there instead, and what to do.
///
/// # Errors
/// If a word is neither a reference, a range of them nor their number, or if there is no reference at all.
pub fn references(cell: &str) -> Result<References, (String, String)> {
    let mut read = References::default();
    let plain = plain_ranges(cell);
    let separators = |letter: char| letter.is_whitespace() || ",;/+&".contains(letter);
    let words: Vec<&str> = plain
        .split(separators)
        .filter(|word| !word.is_empty())
        .collect();
    for word in words.iter().copied() {
        if let Some(range) = range(word) {
            read.names.extend(range?);
        } else if is_reference(word) {
            read.names.push(word.to_uppercase());
        } else if let Some(count) = count(word, words.len() == 1) {
            read.count = Some(count);
        } else {
            let hint = "write references such as `U7`, `U22-U25, U30`".to_owned();
            return Err((format!("`{}`", short(word)), hint));
        }
    }
    if !read.names.is_empty() {
        return Ok(read);
    }
    Err(match read.count {
        Some(count) => (
            format!("the quantity {count}"),
            "the columns may be in another order than their heading says".to_owned(),
        ),
        None => ("nothing".to_owned(), "name the position".to_owned()),
    })
}

/// Writes references, three or more that follow each other as a range.
#[must_use]
pub fn print_references<S: AsRef<str>>(names: &[S]) -> String {
    let mut words: Vec<String> = Vec::new();
    let mut at = 0;
    while at < names.len() {
        let run = run(&names[at..]);
        if run >= 3 {
            let (first, last) = (names[at].as_ref(), names[at + run - 1].as_ref());
            words.push(format!("{first}-{last}"));
            at += run;
        } else {
            words.push(names[at].as_ref().to_owned());
            at += 1;
        }
    }
    words.join(", ")
}

/// How many of the first names follow each other.
fn run<S: AsRef<str>>(names: &[S]) -> usize {
    let Some((prefix, first)) = names.first().and_then(|name| split_number(name.as_ref())) else {
        return 1;
    };
    let follows = |(number, name): (u32, &S)| {
        let next = first.checked_add(number);
        split_number(name.as_ref()) == next.map(|next| (prefix, next))
    };
    (0..MOST_MEMBERS)
        .zip(names)
        .take_while(|&(number, name)| follows((number, name)))
        .count()
}

/// One position: letters and a number, perhaps with a hyphen between or a letter behind; or a place on a grid as `7C`.
pub(crate) fn is_reference(word: &str) -> bool {
    let digit = |letter: char| letter.is_ascii_digit();
    let letters = word.find(|letter: char| !letter.is_alphabetic());
    let Some(letters) = letters.filter(|&at| word[..at].chars().count() <= 6) else {
        return false;
    };
    let rest = &word[letters..];
    let number = if letters > 0 {
        rest.strip_prefix('-').unwrap_or(rest)
    } else {
        rest
    };
    let digits = number.find(|letter| !digit(letter)).unwrap_or(number.len());
    let behind = number[digits..].to_uppercase();
    let one_letter = behind.len() == 1 && behind.chars().all(|letter| letter.is_ascii_alphabetic());
    if letters == 0 {
        return (1..=2).contains(&digits) && one_letter && !VALUE_LETTERS.contains(&behind);
    }
    (1..=4).contains(&digits) && (behind.is_empty() || one_letter)
}

/// Letters that stand behind the number of a value or a quantity: `10k`, `47u`, `5V`, `4x`.
const VALUE_LETTERS: &str = "FKMNPRUVWX";

/// Dashes, dots and words between two ends of a range as one hyphen.
fn plain_ranges(cell: &str) -> String {
    let dashed = cell
        .replace(['–', '—', '−', '‐', '‑', '…'], "-")
        .replace("..", "-")
        .replace(" to ", "-");
    let mut plain = dashed;
    while plain.contains(" -") || plain.contains("- ") || plain.contains("--") {
        plain = plain
            .replace(" -", "-")
            .replace("- ", "-")
            .replace("--", "-");
    }
    plain
}

/// `U22-U25` and `U22-25` written out; nothing if the word is no range.
fn range(word: &str) -> Option<Result<Vec<String>, (String, String)>> {
    let word = word.to_uppercase();
    let (from, to) = word.split_once('-')?;
    let (prefix, _) = split_number(from)?;
    let full = if to.chars().all(|letter| letter.is_ascii_digit()) && !to.is_empty() {
        format!("{from}-{prefix}{to}")
    } else {
        word.clone()
    };
    Some(expand_range(&full).ok_or_else(|| {
        let hint = format!(
            "write it from the first to the last, as `U22-U25`, at most {MOST_MEMBERS} of them"
        );
        (format!("the range `{}`", short(&word)), hint)
    }))
}

/// `x4`, `4x`, `(4)`, and `4` where nothing else stands.
fn count(word: &str, alone: bool) -> Option<usize> {
    let bare = word.trim_matches(|letter| "()[]xX×*".contains(letter));
    bare.parse()
        .ok()
        .filter(|_| word.len() <= 8 && (alone || bare != word))
}

fn short(word: &str) -> String {
    word.chars().take(40).flat_map(char::escape_debug).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn check(cell: &str, names: &str, count: Option<usize>) {
        let read = references(cell).unwrap_or_else(|error| panic!("{cell}: {error:?}"));
        assert_eq!(
            (read.names.join(" ").as_str(), read.count),
            (names, count),
            "{cell}"
        );
    }

    fn refused(cell: &str, found: &str) {
        assert_eq!(
            references(cell).map_err(|(found, _)| found),
            Err(found.to_owned()),
            "{cell}"
        );
    }

    #[test]
    fn cells() {
        check("U7", "U7", None);
        check("u7", "U7", None);
        check("U22-U25, U30", "U22 U23 U24 U25 U30", None);
        check("U22-25", "U22 U23 U24 U25", None);
        check("U22 – U24;U30", "U22 U23 U24 U30", None);
        check("U22..U24", "U22 U23 U24", None);
        check("U22 to U24", "U22 U23 U24", None);
        check("R1 R2/R3", "R1 R2 R3", None);
        check("U16-U23 (8)", "U16 U17 U18 U19 U20 U21 U22 U23", Some(8));
        check("4x U1, U2, U3, U4", "U1 U2 U3 U4", Some(4));
        check("IC12A", "IC12A", None);
        check("VR-1", "VR-1", None);
        check("7C, 12H", "7C 12H", None);
    }

    #[test]
    fn no_references() {
        refused("", "nothing");
        refused(" , ", "nothing");
        refused("4", "the quantity 4");
        refused("4x", "the quantity 4");
        refused("U21 6845", "`6845`");
        refused("74LS245", "`74LS245`");
        refused("U", "`U`");
        refused("U22-", "the range `U22-`");
        refused("U25-U22", "the range `U25-U22`");
        refused("U1-R4", "the range `U1-R4`");
        refused("U1-U9999", "the range `U1-U9999`");
        refused("10k", "`10k`");
    }

    #[test]
    fn printed() {
        let check = |names: &[&str], text: &str| assert_eq!(print_references(names), text);
        check(&["U22", "U23", "U24", "U25", "U30"], "U22-U25, U30");
        check(&["U1", "U2", "R3"], "U1, U2, R3");
        check(&["7C", "VR-1"], "7C, VR-1");
        check(&[], "");
    }

    proptest! {
        #[test]
        fn any_cell_is_read_or_refused(cell in "\\PC{0,40}") {
            _ = references(&cell);
        }

        #[test]
        fn printed_and_read(runs in prop::collection::vec(("[A-Z]{1,3}", 1u32..900, 1u32..9), 1..6)) {
            let names: Vec<String> = runs
                .iter()
                .flat_map(|(letters, first, many)| (*first..first + many).map(move |n| format!("{letters}{n}")))
                .collect();
            let read = references(&print_references(&names)).expect("good references");
            prop_assert_eq!(read.names, names);
        }
    }
}
