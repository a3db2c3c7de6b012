//! From bytes to text: byte order marks, UTF-16, and the old code page of table programs.

use super::Refused;

/// The text, its line ends made one, and what is to be said about how it was read.
pub(super) fn text(bytes: &[u8]) -> Result<(String, Option<String>), Refused> {
    let (text, note) = match bytes {
        [0xEF, 0xBB, 0xBF, rest @ ..] => (utf8(rest)?, None),
        [0xFF, 0xFE, rest @ ..] => (utf16(rest, u16::from_le_bytes)?, Some("UTF-16")),
        [0xFE, 0xFF, rest @ ..] => (utf16(rest, u16::from_be_bytes)?, Some("UTF-16")),
        [_, 0, _, 0, ..] => (utf16(bytes, u16::from_le_bytes)?, Some("UTF-16")),
        [0, _, 0, _, ..] => (utf16(bytes, u16::from_be_bytes)?, Some("UTF-16")),
        _ => match std::str::from_utf8(bytes) {
            Ok(text) => (text.to_string(), None),
            Err(_) => (code_page(bytes), Some("the Windows code page 1252")),
        },
    };
    let text = text.replace("\r\n", "\n").replace('\r', "\n");
    if let Some(at) = text.find(|c: char| c.is_control() && !matches!(c, '\n' | '\t')) {
        let line = text[..at].matches('\n').count() + 1;
        return Err(Refused {
            line,
            why: "expected text, found a control character; save it as a text file".to_string(),
        });
    }
    Ok((text, note.map(|note| format!("The text is {note}."))))
}

fn utf8(bytes: &[u8]) -> Result<String, Refused> {
    std::str::from_utf8(bytes)
        .map(str::to_string)
        .map_err(|error| {
            let before = &bytes[..error.valid_up_to()];
            Refused {
                line: before.split(|byte| *byte == b'\n').count(),
                why: "expected UTF-8 as its first bytes promise, found other bytes; save it again as UTF-8"
                    .to_string(),
            }
        })
}

fn utf16(bytes: &[u8], unit: fn([u8; 2]) -> u16) -> Result<String, Refused> {
    let units: Vec<u16> = bytes
        .chunks_exact(2)
        .map(|pair| unit([pair[0], pair[1]]))
        .collect();
    let mut text = String::new();
    for piece in char::decode_utf16(units) {
        text.push(piece.map_err(|_| Refused {
            line: text.matches('\n').count() + 1,
            why: "expected UTF-16, found half a character; save it as UTF-8".to_string(),
        })?);
    }
    if bytes.len() % 2 == 1 {
        return Err(Refused {
            line: text.matches('\n').count() + 1,
            why: "expected UTF-16, found an odd number of bytes; save it as UTF-8".to_string(),
        });
    }
    Ok(text)
}

/// Characters of the code page 1252 at 0x80 to 0x9F; the rest is as in Unicode. From memory.
const UPPER: [char; 32] = [
    '€', '\u{81}', '‚', 'ƒ', '„', '…', '†', '‡', 'ˆ', '‰', 'Š', '‹', 'Œ', '\u{8d}', 'Ž', '\u{8f}',
    '\u{90}', '‘', '’', '“', '”', '•', '–', '—', '˜', '™', 'š', '›', 'œ', '\u{9d}', 'ž', 'Ÿ',
];

fn code_page(bytes: &[u8]) -> String {
    let one = |&byte: &u8| match byte {
        0x80..=0x9F => UPPER[usize::from(byte - 0x80)],
        _ => char::from(byte),
    };
    bytes.iter().map(one).collect()
}
