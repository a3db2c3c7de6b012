//! Bytes as other programs write them: UTF-8 or UTF-16, any line ends.

use crate::problem::Problem;
use crate::source::{MOST_BYTES, Source, decode};

/// How a text was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Encoding {
    /// UTF-8, with or without a mark at its start.
    Utf8,
    /// UTF-16 of either byte order.
    Utf16,
}

/// A text as one program reads it, with what was strange about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListText {
    /// The text, its lines ended by `\n` alone.
    pub text: String,
    /// How it was written.
    pub encoding: Encoding,
    /// Its lines ended as on Windows or old Macs.
    pub foreign_ends: bool,
}

/// Reads bytes as text.
///
/// # Errors
/// One problem, if the bytes are no text, or too many.
pub fn decode_list(bytes: &[u8], file: &str) -> Result<ListText, Problem> {
    if bytes.len() > 2 * MOST_BYTES {
        let found = format!("{} bytes", bytes.len());
        let expected = format!("a list of at most {} bytes", 2 * MOST_BYTES);
        return Err(problem(file, (1, 1), expected, found, None));
    }
    let (raw, encoding) = match byte_order(bytes) {
        Some(order) => (utf16(bytes, order, file)?, Encoding::Utf16),
        None => (decode(bytes, file)?.to_owned(), Encoding::Utf8),
    };
    let raw = raw.strip_prefix('\u{feff}').unwrap_or(&raw);
    let text = raw.replace("\r\n", "\n").replace('\r', "\n");
    let foreign_ends = raw.contains('\r');
    let control = |letter: char| letter.is_control() && letter != '\n' && letter != '\t';
    if let Some(at) = text.find(control) {
        let found = text[at..].chars().next().map(u32::from).unwrap_or_default();
        let hint = Some("is this a text? save the list as CSV".to_owned());
        let place = Source::new(file, &text).place(at);
        let found = format!("the control character U+{found:04X}");
        return Err(problem(file, place, "text".to_owned(), found, hint));
    }
    Ok(ListText {
        text,
        encoding,
        foreign_ends,
    })
}

fn problem(
    file: &str,
    (line, column): (usize, usize),
    expected: String,
    found: String,
    hint: Option<String>,
) -> Problem {
    Problem {
        file: file.to_owned(),
        line,
        column,
        found,
        expected,
        hint,
    }
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Order {
    LittleFirst,
    BigFirst,
}

/// The byte order of UTF-16, by its mark, or by the zero bytes of plain letters.
fn byte_order(bytes: &[u8]) -> Option<Order> {
    match bytes {
        [0xff, 0xfe, ..] => Some(Order::LittleFirst),
        [0xfe, 0xff, ..] => Some(Order::BigFirst),
        [first, 0, second, 0, ..] if *first != 0 && *second != 0 => Some(Order::LittleFirst),
        [0, first, 0, second, ..] if *first != 0 && *second != 0 => Some(Order::BigFirst),
        _ => None,
    }
}

fn utf16(bytes: &[u8], order: Order, file: &str) -> Result<String, Problem> {
    let (pairs, odd) = bytes.as_chunks::<2>();
    let units = pairs.iter().map(|&pair| match order {
        Order::LittleFirst => u16::from_le_bytes(pair),
        Order::BigFirst => u16::from_be_bytes(pair),
    });
    let mut text = String::with_capacity(pairs.len());
    for letter in char::decode_utf16(units) {
        match letter {
            Ok(letter) => text.push(letter),
            Err(lone) => {
                let found = format!("the lone surrogate {:04x}", lone.unpaired_surrogate());
                let place = Source::new(file, &text).place(text.len());
                return Err(problem(file, place, "UTF-16".to_owned(), found, None));
            }
        }
    }
    if odd.is_empty() {
        return Ok(text);
    }
    let place = Source::new(file, &text).place(text.len());
    let hint = Some("the file may have been cut off".to_owned());
    let found = "half a character at its end".to_owned();
    Err(problem(file, place, "UTF-16".to_owned(), found, hint))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(bytes: &[u8], text: &str, encoding: Encoding, foreign_ends: bool) {
        let expect = ListText {
            text: text.to_owned(),
            encoding,
            foreign_ends,
        };
        assert_eq!(decode_list(bytes, "list"), Ok(expect));
    }

    fn refused(bytes: &[u8], problem: &str) {
        let error = decode_list(bytes, "list").expect_err("no text");
        assert_eq!(error.to_string(), problem);
    }

    fn little(text: &str) -> Vec<u8> {
        text.encode_utf16().flat_map(u16::to_le_bytes).collect()
    }

    #[test]
    fn texts() {
        check(b"U1\nU2", "U1\nU2", Encoding::Utf8, false);
        check(b"U1\r\nU2\r\n", "U1\nU2\n", Encoding::Utf8, true);
        check(b"U1\rU2", "U1\nU2", Encoding::Utf8, true);
        check("\u{feff}10 µF".as_bytes(), "10 µF", Encoding::Utf8, false);
        check(
            &little("\u{feff}10 µF\r\n"),
            "10 µF\n",
            Encoding::Utf16,
            true,
        );
        check(&little("U1;x"), "U1;x", Encoding::Utf16, false);
        let big: Vec<u8> = "\u{feff}U1"
            .encode_utf16()
            .flat_map(u16::to_be_bytes)
            .collect();
        check(&big, "U1", Encoding::Utf16, false);
        check(b"", "", Encoding::Utf8, false);
    }

    #[test]
    fn no_texts() {
        refused(
            b"U1\n\xb5F",
            "list:2:1: expected text in UTF-8, found byte `0xb5` at offset 3; hint: save the file as UTF-8",
        );
        refused(
            b"U1\nU\x002",
            "list:2:2: expected text, found the control character U+0000; hint: is this a text? save the list as CSV",
        );
        let mut cut = little("\u{feff}U1\nU2");
        cut.pop();
        refused(
            &cut,
            "list:2:2: expected UTF-16, found half a character at its end; hint: the file may have been cut off",
        );
    }
}
