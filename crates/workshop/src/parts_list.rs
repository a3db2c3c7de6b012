//! A parts list taken into a board's file: shown first, written only when told to.

use std::collections::BTreeMap;

use catalogue::{
    Addition, Choices, Column, Encoding, Guess, How, Layout, Meaning, PartsList, Separator,
    TakenPart, print_references, references,
};
use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    own_board::OwnBoard,
    told::{Told, ToldLine},
    words::{counted, listed, quoted},
    workshop::Result,
};

/// What to do with a parts list.
#[derive(Debug, Clone, Default)]
pub struct ReadParts {
    /// The list's name, for messages.
    pub name: String,
    /// Devices for names that mean nothing to the catalogue: `OV-2=6845`.
    pub devices: Vec<String>,
    /// Blocks of positions: `video: U21 U22-U25`.
    pub blocks: Vec<String>,
    /// Write it.
    pub take: bool,
}

/// A parts list as it was understood, and whether it was taken.
#[derive(Debug, Clone, Serialize)]
pub struct PartsRead {
    /// Board id.
    pub board: String,
    /// The board's file.
    pub file: String,
    /// New parts.
    pub parts: usize,
    /// New parts whose device the catalogue does not know.
    pub unknown: usize,
    /// The file was written.
    pub taken: bool,
    /// How it was understood, in sentences.
    pub says: Told,
}

impl Workshop {
    /// Reads a parts list for a board of the workshop, and writes its parts into the board's file if asked.
    ///
    /// # Errors
    /// If the board has no file, the list cannot be understood, or the file cannot be written; then nothing was written.
    pub fn read_parts(&self, board: &str, bytes: &[u8], request: &ReadParts) -> Result<PartsRead> {
        let state = self.fresh()?.state();
        let library = &state.folder.library;
        let own = OwnBoard::find(self.dir(), &state.folder, board)?;
        let list =
            catalogue::parse_parts_list(bytes, &request.name, library).map_err(|problems| {
                crate::own_board::refused(&problems, "mend the list and try again")
            })?;
        let choices = choices(request, &list)?;
        let added = catalogue::add_parts(&own.text, &own.name, &list, &choices, library).map_err(
            |problems| {
                crate::own_board::refused(&problems, "mend the board's file, then try again")
            },
        )?;
        let take = request.take && !added.new.is_empty();
        if take {
            own.write(&added.text)?;
        }
        Ok(PartsRead {
            says: says(&own, &list, &added, take),
            board: added.profile.id.clone(),
            file: own.name,
            parts: added.new.len(),
            unknown: unknown(&added).count(),
            taken: take,
        })
    }
}

/// What was said beside the list.
fn choices(request: &ReadParts, list: &PartsList) -> Result<Choices> {
    let mut choices = Choices::default();
    for typed in &request.devices {
        let Some((name, device)) = typed.split_once('=') else {
            let message = format!(
                "expected a name and a device such as `OV-2=6845`, found {}",
                quoted(typed)
            );
            return Err(Error::new(ErrorKind::Usage, message));
        };
        let name = name.trim();
        if !list
            .parts
            .iter()
            .any(|part| part.value.eq_ignore_ascii_case(name))
        {
            let message = format!(
                "expected a name of the list before `=`, found {}",
                quoted(name)
            );
            return Err(Error::new(ErrorKind::NotFound, message).hint("write it as the list does"));
        }
        choices
            .devices
            .insert(name.to_lowercase(), device.trim().to_lowercase());
    }
    for typed in &request.blocks {
        let found = typed
            .split_once(':')
            .and_then(|(block, names)| Some((block.trim(), references(names).ok()?)));
        let Some((block, names)) = found else {
            let message = format!(
                "expected a block and positions such as `video: U21 U22-U25`, found {}",
                quoted(typed)
            );
            return Err(Error::new(ErrorKind::Usage, message));
        };
        let block = block.to_lowercase();
        choices
            .blocks
            .extend(names.names.into_iter().map(|name| (name, block.clone())));
    }
    Ok(choices)
}

fn unknown(added: &Addition) -> impl Iterator<Item = &TakenPart> {
    added.new.iter().filter(|part| part.guess.id().is_none())
}

fn says(own: &OwnBoard, list: &PartsList, added: &Addition, taken: bool) -> Told {
    let many = counted(added.new.len(), "part", "parts");
    let mut told = Told::new(match (added.new.len(), taken) {
        (0, _) => format!("Nothing new for {} in this list.", added.profile.id),
        (_, true) => format!("{} went into {}.", crate::words::capital(&many), own.name),
        (1, false) => format!(
            "One part would go into {}; nothing is written yet.",
            own.name
        ),
        (_, false) => format!(
            "{} would go into {}; nothing is written yet.",
            crate::words::capital(&many),
            own.name
        ),
    });
    told.say(layout_words(&list.layout));
    if let Some(columns) = column_words(&list.layout.columns) {
        told.say(columns);
    }
    told.section(
        "New",
        runs(added.new.iter().filter(|part| part.guess.id().is_some())),
    );
    told.section(
        "Unknown to the catalogue, taken with a mode `dead` of their own, or with those of their block",
        runs(unknown(added)),
    );
    told.section(
        "Said otherwise by the board, and left as it is",
        differences(added),
    );
    let known = print_references(&added.known);
    let already = ToldLine::new(known, "is there already, with the same device.");
    told.section(
        "Known",
        if added.known.is_empty() {
            Vec::new()
        } else {
            vec![already]
        },
    );
    let left = list.left_out.iter().map(|left| {
        ToldLine::new(
            format!("line {}", left.line),
            format!("{} {}.", quoted(&left.text), left.why),
        )
    });
    told.section("Left out", left.collect());
    told.section("To do", to_do(own, added));
    told
}

/// How the text was understood.
fn layout_words(layout: &Layout) -> String {
    let how = match layout.separator {
        Separator::Tab => "a table with tabs",
        Separator::Semicolon => "a table with semicolons",
        Separator::Comma => "a table with commas",
        Separator::Bar => "a table with upright bars",
        Separator::Words => "typed lines: positions, then what sits there",
    };
    let mut words = format!("Read as {how}");
    if layout.encoding == Encoding::Utf16 {
        words.push_str(", in UTF-16");
    }
    if layout.foreign_ends {
        words.push_str(", with Windows line ends");
    }
    words + "."
}

/// What each column was taken as.
fn column_words(columns: &[Column]) -> Option<String> {
    let taken: Vec<String> = columns
        .iter()
        .enumerate()
        .filter(|(_, column)| column.meaning != Meaning::Nothing)
        .map(|(index, column)| {
            let name = if column.heading.is_empty() {
                format!("column {}", index + 1)
            } else {
                quoted(&column.heading)
            };
            format!("{name} is {}", meaning_words(column.meaning))
        })
        .collect();
    let ignored = columns
        .iter()
        .filter(|column| column.meaning == Meaning::Nothing && !column.heading.is_empty());
    let ignored: Vec<String> = ignored.map(|column| quoted(&column.heading)).collect();
    let words = crate::words::capital(&listed(&taken, "and"));
    if ignored.is_empty() {
        return Some(format!("{words}."));
    }
    Some(format!("{words}; {} is not read.", listed(&ignored, "and")))
}

fn meaning_words(meaning: Meaning) -> &'static str {
    match meaning {
        Meaning::Reference => "the position",
        Meaning::Value => "what sits there",
        Meaning::Quantity => "how many, which is checked",
        Meaning::Block => "the block",
        Meaning::Mount => "how it sits",
        Meaning::Title => "what it is for",
        Meaning::Nothing => "not read",
    }
}

/// Parts as lines, alike ones together.
fn runs<'p>(parts: impl Iterator<Item = &'p TakenPart>) -> Vec<ToldLine> {
    let mut runs: BTreeMap<usize, Vec<&TakenPart>> = BTreeMap::new();
    let mut keys: Vec<(&str, &str)> = Vec::new();
    for part in parts {
        let key = (part.value.as_str(), part.block.as_str());
        let index = keys
            .iter()
            .position(|known| *known == key)
            .unwrap_or_else(|| {
                keys.push(key);
                keys.len() - 1
            });
        runs.entry(index).or_default().push(part);
    }
    runs.into_values().map(|run| run_line(&run)).collect()
}

fn run_line(run: &[&TakenPart]) -> ToldLine {
    let names: Vec<&str> = run.iter().map(|part| part.reference.as_str()).collect();
    let first = run[0];
    let block = match &first.of {
        Some(whole) => format!("a piece of {whole}, in block {}", first.block),
        None => format!("block {}", first.block),
    };
    let (sentence, under) = match &first.guess {
        Guess::Device { device, how } => {
            let (value, title) = (&first.value, &first.title);
            let sentence = match how {
                How::Own if value.eq_ignore_ascii_case(device) => format!("{device}: {title}."),
                How::Own | How::Told => format!("{value} is {device}: {title}."),
                How::OtherName => format!("{value} is another name of {device}: {title}."),
                How::Relative => {
                    format!("{value} is not in the catalogue; its relative {device} is: {title}.")
                }
                How::Kind if value.is_empty() => {
                    format!("{device}, by the letters of the position.")
                }
                How::Kind => format!("{value}: {device}, by the letters of the position."),
            };
            (sentence, block)
        }
        Guess::Unknown { near, why } => {
            let near: Vec<String> = near.iter().map(|name| quoted(name)).collect();
            let hint = match (why, near.as_slice()) {
                (Some(why), _) => why.clone(),
                (None, []) => "nothing in the catalogue is called like it".to_owned(),
                (None, near) => format!("nearest are {}", listed(near, "and")),
            };
            (format!("{}: {hint}.", first.value), block)
        }
    };
    ToldLine::new(print_references(&names), sentence).under(under)
}

fn differences(added: &Addition) -> Vec<ToldLine> {
    let line = |different: &catalogue::Different| {
        let sentence = format!(
            "is {} in the list, line {}, and {} on the board.",
            different.listed, different.line, different.has
        );
        ToldLine::new(different.reference.clone(), sentence)
    };
    added.different.iter().map(line).collect()
}

/// What a person should still say.
fn to_do(own: &OwnBoard, added: &Addition) -> Vec<ToldLine> {
    let mut lines = Vec::new();
    if !added.without_block.is_empty() {
        let sentence = "in no block, so no function needs them: say `--block \"video: U21 U22-U25\"`, or move them in the file.";
        lines.push(ToldLine::new(
            print_references(&added.without_block),
            sentence,
        ));
    }
    for (rail, parts) in &added.rails {
        let sentence = format!(
            "is wanted by {} and is no rail of the board: write a `[[rail]]`.",
            print_references(parts)
        );
        lines.push(ToldLine::new(rail.clone(), sentence));
    }
    if added.bare && !added.new.is_empty() {
        let sentence = format!(
            "{} says `derive = false`, so the parts bring modes but no functions and checks.",
            own.name
        );
        lines.push(ToldLine::new("", sentence));
    }
    let named: Vec<String> = unknown(added)
        .map(|part| part.value.clone())
        .take(1)
        .collect();
    if let Some(name) = named.first() {
        let sentence = format!(
            "If you know what {} is, say `--as \"{name}=DEVICE\"`.",
            quoted(name)
        );
        lines.push(ToldLine::new("", sentence));
    }
    lines
}
