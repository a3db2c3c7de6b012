//! A page of text: a heading, paragraphs, and ledger lines (a figure right-aligned, a hairline, a sentence).
//!
//! A sheet is built from views and knows no terminal; [`Sheet::render`] wraps it to a width and adds colour if asked.

use std::fmt::Write as _;

/// Who speaks, or how loudly. Colour is only ever an addition: the words say it all.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Voice {
    /// Worked out by the program.
    Plain,
    /// Worked out, and what the line is about.
    Strong,
    /// The form's own words.
    Soft,
    /// Entered by hand.
    Hand,
    /// Not as it should be.
    Bad,
    /// In doubt.
    Doubt,
}

impl Voice {
    fn code(self) -> Option<&'static str> {
        match self {
            Voice::Plain => None,
            Voice::Strong => Some("1"),
            Voice::Soft => Some("2"),
            Voice::Hand => Some("35"),
            Voice::Bad => Some("31"),
            Voice::Doubt => Some("33"),
        }
    }
}

/// A run of words in several voices.
#[derive(Debug, Clone, Default)]
pub(crate) struct Phrase(Vec<(Voice, String)>);

impl Phrase {
    /// Adds words in a voice, as they stand: spaces between runs are the caller's. What would steer a terminal is shown as a mark.
    pub(crate) fn say(mut self, voice: Voice, text: impl Into<String>) -> Phrase {
        let steers = |c: char| c.is_control() && c != '\n';
        let text = text.into().replace(steers, "\u{fffd}");
        if !text.is_empty() {
            self.0.push((voice, text));
        }
        self
    }

    /// Adds another phrase, as it stands.
    pub(crate) fn and(mut self, other: Phrase) -> Phrase {
        self.0.extend(other.0);
        self
    }

    /// No words at all.
    pub(crate) fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}

impl<T: Into<String>> From<T> for Phrase {
    fn from(text: T) -> Phrase {
        Phrase::default().say(Voice::Plain, text)
    }
}

/// Words in a voice.
pub(crate) fn say(voice: Voice, text: impl Into<String>) -> Phrase {
    Phrase::default().say(voice, text)
}

/// One ledger line: a figure, a sentence, and what stands under it.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    figure: Phrase,
    lines: Vec<Phrase>,
}

impl Row {
    /// A figure and its sentence.
    pub(crate) fn new(figure: impl Into<Phrase>, sentence: impl Into<Phrase>) -> Row {
        Row {
            figure: figure.into(),
            lines: vec![sentence.into()],
        }
    }

    /// Adds a line under the sentence, if it says anything.
    pub(crate) fn under(mut self, phrase: impl Into<Phrase>) -> Row {
        let phrase = phrase.into();
        if !phrase.is_empty() {
            self.lines.push(phrase);
        }
        self
    }
}

#[derive(Debug, Clone)]
enum Block {
    Heading(String),
    Label(String),
    Text(Phrase),
    Row(Row),
    Rule,
    Gap,
}

/// What a page is printed on.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Paper {
    /// Columns to use.
    pub(crate) width: usize,
    /// Colour may be added.
    pub(crate) colour: bool,
}

/// A page of text.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sheet {
    blocks: Vec<Block>,
}

impl Sheet {
    /// The heading: the answer.
    pub(crate) fn heading(&mut self, text: impl Into<String>) {
        self.blocks.push(Block::Heading(text.into()));
    }

    /// A label over a group of lines, with a gap before it.
    pub(crate) fn label(&mut self, text: impl Into<String>) {
        self.gap();
        self.blocks.push(Block::Label(text.into()));
    }

    /// A paragraph; an empty one is left out.
    pub(crate) fn text(&mut self, phrase: impl Into<Phrase>) {
        let phrase = phrase.into();
        if !phrase.is_empty() {
            self.blocks.push(Block::Text(phrase));
        }
    }

    /// A ledger line.
    pub(crate) fn row(&mut self, row: Row) {
        self.blocks.push(Block::Row(row));
    }

    /// A rule above a sum.
    pub(crate) fn rule(&mut self) {
        self.blocks.push(Block::Rule);
    }

    /// An empty line; several make one.
    pub(crate) fn gap(&mut self) {
        if !matches!(self.blocks.last(), None | Some(Block::Gap)) {
            self.blocks.push(Block::Gap);
        }
    }

    /// Puts another sheet below this one.
    pub(crate) fn append(&mut self, other: Sheet) {
        self.gap();
        self.blocks.extend(other.blocks);
    }

    /// The page as text. All figures of a sheet share one column, so its hairlines meet.
    pub(crate) fn render(&self, paper: Paper) -> String {
        let figures = self.blocks.iter().filter_map(|block| match block {
            Block::Row(row) => Some(length(&row.figure)),
            _ => None,
        });
        let column = figures.max().unwrap_or(0).max(6);
        let mut out = String::new();
        for block in &self.blocks {
            match block {
                Block::Heading(text) => {
                    lines(&mut out, &say(Voice::Strong, text.as_str()), "", paper)
                }
                Block::Label(text) => lines(&mut out, &say(Voice::Soft, text.as_str()), "", paper),
                Block::Text(phrase) => lines(&mut out, phrase, "", paper),
                Block::Row(row) => row_lines(&mut out, row, column, paper),
                Block::Rule => _ = writeln!(out, " {} ┼─────", "─".repeat(column)),
                Block::Gap => out.push('\n'),
            }
        }
        out.replace('\u{a0}', " ")
    }
}

fn length(phrase: &Phrase) -> usize {
    phrase.0.iter().map(|(_, text)| text.chars().count()).sum()
}

fn row_lines(out: &mut String, row: &Row, column: usize, paper: Paper) {
    let blank = format!(" {:column$} │ ", "");
    let first = {
        let pad = column - length(&row.figure);
        let mut figure = String::new();
        for (voice, text) in &row.figure.0 {
            paint(&mut figure, *voice, text, paper);
        }
        format!(" {:pad$}{figure} │ ", "")
    };
    let mut lead = first.as_str();
    for phrase in &row.lines {
        for line in wrap(phrase, paper.width.saturating_sub(column + 4)) {
            out.push_str(lead);
            print_line(out, &line, paper);
            lead = &blank;
        }
    }
}

fn lines(out: &mut String, phrase: &Phrase, lead: &str, paper: Paper) {
    for line in wrap(phrase, paper.width.saturating_sub(lead.chars().count())) {
        out.push_str(lead);
        print_line(out, &line, paper);
    }
}

fn print_line(out: &mut String, line: &Phrase, paper: Paper) {
    for (voice, text) in &line.0 {
        paint(out, *voice, text, paper);
    }
    let end = out.trim_end_matches(' ').len();
    out.truncate(end);
    out.push('\n');
}

fn paint(out: &mut String, voice: Voice, text: &str, paper: Paper) {
    match voice.code().filter(|_| paper.colour) {
        Some(code) => _ = write!(out, "\u{1b}[{code}m{text}\u{1b}[0m"),
        None => out.push_str(text),
    }
}

/// Breaks a phrase at its spaces; a no-break space holds, a word longer than the width stands alone.
fn wrap(phrase: &Phrase, width: usize) -> Vec<Phrase> {
    let mut done = Vec::new();
    let mut line = Phrase::default();
    for word in words(phrase) {
        let free = !line.is_empty();
        if free && length(&line) + 1 + length(&word) > width {
            done.push(std::mem::take(&mut line));
        }
        join(&mut line, word);
    }
    if !line.is_empty() || done.is_empty() {
        done.push(line);
    }
    done
}

fn words(phrase: &Phrase) -> Vec<Phrase> {
    let mut words = vec![Phrase::default()];
    for (voice, text) in &phrase.0 {
        for (nth, piece) in text.split([' ', '\n', '\t']).enumerate() {
            if nth > 0 {
                words.push(Phrase::default());
            }
            if !piece.is_empty() {
                let last = words.last_mut().expect("one word at least");
                last.0.push((*voice, piece.to_owned()));
            }
        }
    }
    words.retain(|word| !word.is_empty());
    words
}

fn join(line: &mut Phrase, word: Phrase) {
    for (nth, (voice, piece)) in word.0.into_iter().enumerate() {
        let space = nth == 0 && !line.is_empty();
        match line.0.last_mut() {
            Some((last, text)) if *last == voice => {
                if space {
                    text.push(' ');
                }
                text.push_str(&piece);
            }
            Some((_, text)) => {
                if space {
                    text.push(' ');
                }
                line.0.push((voice, piece));
            }
            None => line.0.push((voice, piece)),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use expect_test::{Expect, expect};

    fn sample() -> Sheet {
        let mut sheet = Sheet::default();
        sheet.heading("The program runs, the picture stays black: most likely U9.");
        sheet.label("Suspects");
        sheet.row(
            Row::new(
                "63\u{a0}%",
                say(Voice::Strong, "U9, the video controller, is dead")
                    .say(Voice::Plain, " (was 41\u{a0}%)."),
            )
            .under(say(
                Voice::Soft,
                "Black with three voices asks for it; the reseat did not help.",
            )),
        );
        sheet.row(Row::new(
            "3\u{a0}%",
            "Something this profile does not know.",
        ));
        sheet.rule();
        sheet.row(Row::new("66\u{a0}%", "both"));
        sheet
    }

    fn check(width: usize, colour: bool, expect: Expect) {
        expect.assert_eq(
            &sample()
                .render(Paper { width, colour })
                .replace('\u{1b}', "^"),
        );
    }

    #[test]
    fn nothing_steers_the_terminal() {
        let mut sheet = Sheet::default();
        sheet.text("1 from a\x07\x1b[31m, 5");
        let paper = Paper {
            width: 80,
            colour: false,
        };
        assert_eq!(sheet.render(paper), "1 from a\u{fffd}\u{fffd}[31m, 5\n");
    }

    #[test]
    fn wide() {
        check(
            80,
            false,
            expect![[r#"
            The program runs, the picture stays black: most likely U9.

            Suspects
               63 % │ U9, the video controller, is dead (was 41 %).
                    │ Black with three voices asks for it; the reseat did not help.
                3 % │ Something this profile does not know.
             ────── ┼─────
               66 % │ both
        "#]],
        );
    }

    #[test]
    fn narrow() {
        check(
            36,
            false,
            expect![[r#"
            The program runs, the picture stays
            black: most likely U9.

            Suspects
               63 % │ U9, the video controller,
                    │ is dead (was 41 %).
                    │ Black with three voices
                    │ asks for it; the reseat
                    │ did not help.
                3 % │ Something this profile
                    │ does not know.
             ────── ┼─────
               66 % │ both
        "#]],
        );
    }

    #[test]
    fn coloured() {
        check(
            80,
            true,
            expect![[r#"
            ^[1mThe program runs, the picture stays black: most likely U9.^[0m

            ^[2mSuspects^[0m
               63 % │ ^[1mU9, the video controller, is dead ^[0m(was 41 %).
                    │ ^[2mBlack with three voices asks for it; the reseat did not help.^[0m
                3 % │ Something this profile does not know.
             ────── ┼─────
               66 % │ both
        "#]],
        );
    }

    #[test]
    fn no_line_is_wider_than_the_paper() {
        for width in 20..100 {
            let text = sample().render(Paper {
                width,
                colour: false,
            });
            for line in text.lines() {
                let long = line.split_once("│ ").map_or(line, |(_, right)| right);
                assert!(
                    line.chars().count() <= width || !long.contains(' '),
                    "{width}: {line}"
                );
            }
        }
    }
}
