//! Rust sources without their comments and literals, so that a word in prose is not taken for code.

use std::iter::Peekable;
use std::str::Chars;

/// The code with each comment, string and character literal replaced by a space; lines stay where they are.
pub(crate) fn code_only(source: &str) -> String {
    let mut chars = source.chars().peekable();
    let mut code = String::with_capacity(source.len());
    while let Some(char) = chars.next() {
        match (char, chars.peek()) {
            ('/', Some('/')) => line_comment(&mut chars),
            ('/', Some('*')) => block_comment(&mut chars, &mut code),
            ('"', _) => string(&mut chars, &mut code),
            ('r', Some('"' | '#')) if !in_word(&code, true) => raw_string(&mut chars, &mut code),
            ('\'', _) => quote(&mut chars, &mut code),
            _ => code.push(char),
        }
    }
    code
}

/// Whether the code has this identifier, as a whole word.
pub(crate) fn has_word(code: &str, word: &str) -> bool {
    positions(code, word).next().is_some()
}

/// Line numbers, from 1, at which this text stands and does not begin or end inside a longer word.
pub(crate) fn lines_with<'a>(code: &'a str, word: &'a str) -> impl Iterator<Item = usize> + 'a {
    positions(code, word).map(|start| 1 + code[..start].matches('\n').count())
}

fn positions<'a>(code: &'a str, word: &'a str) -> impl Iterator<Item = usize> + 'a {
    code.match_indices(word)
        .map(|(start, _)| start)
        .filter(move |&start| {
            let after = code[start + word.len()..].chars().next();
            let ends = !word.ends_with(is_word_char) || !after.is_some_and(is_word_char);
            ends && !in_word(&code[..start], false)
        })
}

fn is_word_char(char: char) -> bool {
    char.is_alphanumeric() || char == '_'
}

/// Whether the code ends inside a word; `b` and `c` alone are prefixes of a literal, where that is asked.
fn in_word(code: &str, prefixes: bool) -> bool {
    let code = match code.strip_suffix(['b', 'c']) {
        Some(before) if prefixes && !before.ends_with(is_word_char) => before,
        _ => code,
    };
    code.ends_with(is_word_char)
}

fn line_comment(chars: &mut Peekable<Chars>) {
    while chars.peek().is_some_and(|&char| char != '\n') {
        chars.next();
    }
}

fn block_comment(chars: &mut Peekable<Chars>, code: &mut String) {
    code.push(' ');
    chars.next();
    let mut depth = 1;
    while depth > 0 {
        match (chars.next(), chars.peek()) {
            (Some('/'), Some('*')) => {
                chars.next();
                depth += 1;
            }
            (Some('*'), Some('/')) => {
                chars.next();
                depth -= 1;
            }
            (Some('\n'), _) => code.push('\n'),
            (Some(_), _) => {}
            (None, _) => return,
        }
    }
}

fn string(chars: &mut Peekable<Chars>, code: &mut String) {
    code.push(' ');
    while let Some(char) = chars.next() {
        match char {
            '"' => return,
            '\\' => {
                keep_line(chars.next(), code);
            }
            _ => keep_line(Some(char), code),
        }
    }
}

fn raw_string(chars: &mut Peekable<Chars>, code: &mut String) {
    let mut fence = String::from("\"");
    while chars.peek() == Some(&'#') {
        chars.next();
        fence.push('#');
    }
    if chars.peek() != Some(&'"') {
        // a raw identifier such as `r#type`
        code.push(' ');
        return;
    }
    chars.next();
    code.push(' ');
    let mut inside = String::new();
    for char in chars.by_ref() {
        keep_line(Some(char), code);
        inside.push(char);
        if inside.ends_with(&fence) {
            return;
        }
    }
}

/// A character literal is dropped, a lifetime stays.
fn quote(chars: &mut Peekable<Chars>, code: &mut String) {
    let mut ahead = chars.clone();
    match (ahead.next(), ahead.next()) {
        (Some('\\'), escaped) => {
            code.push(' ');
            chars.next();
            // `'\''` and `'\u{1b}'`
            let mut last = escaped;
            chars.next();
            while last.is_some() && chars.peek().is_some_and(|&char| char != '\n') {
                last = chars.next().filter(|&char| char != '\'');
            }
        }
        (Some(_), Some('\'')) => {
            code.push(' ');
            chars.nth(1);
        }
        _ => code.push('\''),
    }
}

fn keep_line(char: Option<char>, code: &mut String) {
    if char == Some('\n') {
        code.push('\n');
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(source: &str, expect: &str) {
        assert_eq!(code_only(source), expect, "{source}");
    }

    #[test]
    fn comments_go() {
        check("a // b\nc", "a \nc");
        check("/// println!\nx", "\nx");
        check("a /* b /* c */ d */ e", "a   e");
        check("/* one\ntwo */ x", " \n x");
        check("a / b", "a / b");
        check("/* open", " ");
    }

    #[test]
    fn literals_go() {
        check(r#"f("a // b", c)"#, "f( , c)");
        check(r#"f("say \"so\" \\", c)"#, "f( , c)");
        check("\"one\ntwo\" x", " \n x");
        check("\"one \\\n  two\" x", " \n x");
        check(r##"r"a" b"##, "  b");
        check(r###"r#"a "quoted" b"# c"###, "  c");
        check(r##"br#"a"# c"##, "b  c");
        check("var\"x\"", "var ");
        check("r#type + 1", " type + 1");
        check("\"open", " ");
    }

    #[test]
    fn characters_and_lifetimes() {
        check("'a' b", "  b");
        check("'\"' b", "  b");
        check(r"'\'' b", "  b");
        check(r"'\\' b", "  b");
        check(r"'\u{1b}' b", "  b");
        check("b'x' c", "b  c");
        check("&'a str", "&'a str");
        check("<'a, 'b>", "<'a, 'b>");
        check("'outer: loop {}", "'outer: loop {}");
    }

    #[test]
    fn words_are_whole() {
        assert!(has_word("use toml::Table;", "toml"));
        assert!(!has_word("use toml_parser::Table;", "toml"));
        assert!(!has_word("use mytoml::Table;", "toml"));
        assert_eq!(
            lines_with("a\nprintln!()\neprintln!()", "println!").collect::<Vec<_>>(),
            [2]
        );
    }
}
