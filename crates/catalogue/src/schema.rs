//! The tables and keys of a profile file, described once: editors' schemas are made from it, and a test holds the reader to it.

/// One table of a profile file.
#[derive(Debug, Clone, Copy)]
pub struct TableShape {
    /// Its name, by which keys refer to it.
    pub name: &'static str,
    /// Its keys.
    pub keys: &'static [KeyShape],
}

/// One key of a table.
#[derive(Debug, Clone, Copy)]
pub struct KeyShape {
    /// The key.
    pub name: &'static str,
    /// What it holds.
    pub value: ValueShape,
    /// It must be there.
    pub needed: bool,
    /// What it means, in a sentence.
    pub about: &'static str,
}

/// What a key holds.
#[derive(Debug, Clone, Copy)]
pub enum ValueShape {
    /// A text.
    Text,
    /// A name of one word, without dots, commas and quotes.
    Name,
    /// One of these words.
    Word(&'static [&'static str]),
    /// A text, or a list of texts.
    Texts,
    /// A number.
    Number,
    /// A chance, as a number or a word.
    Chance,
    /// Minutes, as a number or a text such as `8 min`.
    Minutes,
    /// Yes or no.
    Flag,
    /// So many numbers.
    Numbers(usize),
    /// One table of this name.
    Table(&'static str),
    /// A table of this name, or a list of them.
    Tables(&'static str),
    /// Texts and tables of this name, one or a list.
    TextsOrTables(&'static str),
    /// A text by each key of one's own.
    TextByName,
    /// A chance by each key of one's own.
    ChanceByName,
    /// A quantity with its unit, or a number in the base unit.
    Quantity,
}

use ValueShape::{
    Chance, ChanceByName, Flag, Minutes, Name, Number, Numbers, Quantity, Table, Tables, Text,
    TextByName, Texts, TextsOrTables, Word,
};

const fn must(name: &'static str, value: ValueShape, about: &'static str) -> KeyShape {
    KeyShape {
        name,
        value,
        needed: true,
        about,
    }
}

const fn may(name: &'static str, value: ValueShape, about: &'static str) -> KeyShape {
    KeyShape {
        name,
        value,
        needed: false,
        about,
    }
}

/// The words for chances.
#[must_use]
pub fn chance_words() -> Vec<&'static str> {
    crate::fields::CHANCE_WORDS
        .iter()
        .map(|&(word, _)| word)
        .collect()
}

/// Every table of a profile file; the first is the file itself.
pub const PROFILE_TABLES: &[TableShape] = &[
    TableShape {
        name: "profile",
        keys: &[
            must("board", Table("board"), "The board itself."),
            may("rail", Tables("rail"), "Supply rails."),
            may("block", Tables("block"), "Sections of the board."),
            may(
                "outside",
                Tables("outside"),
                "Things that belong to no board and serve many.",
            ),
            may("part", Tables("part"), "Positions on the board."),
            may(
                "event",
                Tables("event"),
                "What in a machine's past brings faults together.",
            ),
            may("function", Tables("function"), "What the board must do."),
            may("check", Tables("check"), "What can be done to learn."),
        ],
    },
    TableShape {
        name: "board",
        keys: &[
            must("id", Name, "Identifier, as typed on the command line."),
            may("title", Text, "What a person calls the board."),
            may(
                "unmodelled",
                Chance,
                "Chance of a fault that this file does not know.",
            ),
            may(
                "derive",
                Flag,
                "Whether devices and roles bring their functions and checks; true if left out.",
            ),
            may(
                "at_times",
                Flag,
                "Whether what devices do only at times or only warm is derived, too; true if left out.",
            ),
            may(
                "chances",
                Chance,
                "What the usual chances of the parts are multiplied by; 1 if left out.",
            ),
            may(
                "without",
                Texts,
                "Modes, functions, checks and events of devices and roles that this board does not take.",
            ),
        ],
    },
    TableShape {
        name: "rail",
        keys: &[
            must("name", Text, "Name in one word, such as +5V."),
            must("volts", Number, "Nominal voltage."),
            may(
                "tolerance",
                Number,
                "Relative: 0.05 is 5 per cent either way.",
            ),
            may("fed_by", Texts, "Parts that make the rail."),
            may("leak", Chance, "Chance that it fails for no known reason."),
            may(
                "breaks",
                Chance,
                "Chance that a low rail breaks what is derived to need it; 1 if not said.",
            ),
        ],
    },
    TableShape {
        name: "block",
        keys: &[
            must("id", Name, "Identifier."),
            may("title", Text, "Title for people."),
        ],
    },
    TableShape {
        name: "outside",
        keys: &[
            must("id", Name, "Identifier."),
            may("title", Text, "Title for people."),
            may(
                "serves",
                Texts,
                "Rails and functions that fail when it is bad.",
            ),
            must("chance", Chance, "Chance that it is bad."),
        ],
    },
    TableShape {
        name: "part",
        keys: &[
            must("ref", Name, "Reference, or a range such as U16-U23."),
            may("title", Text, "What it is, for people."),
            may("block", Text, "The block it belongs to."),
            may(
                "device",
                Text,
                "A device of the catalogue: pins, limits, modes, role.",
            ),
            may(
                "role",
                Text,
                "What it does on the board, where no device says so.",
            ),
            may(
                "like",
                Text,
                "A device with the same pins and supplies, for a part that is a whole block.",
            ),
            may(
                "of",
                Text,
                "The part, or the block, that this is a piece of.",
            ),
            may(
                "share",
                Number,
                "Its share of the faults of that part, beside those of the other pieces.",
            ),
            may(
                "mount",
                Word(&["socket", "soldered", "plug"]),
                "How it sits.",
            ),
            may("optional", Flag, "The board works without it."),
            may(
                "mode",
                Tables("mode"),
                "Ways to be bad; they replace the device's own.",
            ),
            may(
                "area",
                Numbers(4),
                "x, y, width, height on the drawing in millimetres.",
            ),
            may(
                "step",
                Numbers(2),
                "From one of a range to the next in millimetres.",
            ),
        ],
    },
    TableShape {
        name: "mode",
        keys: &[
            must("id", Name, "Identifier within the part."),
            may("title", Text, "What is wrong, for people."),
            must("chance", Chance, "Chance at take-in, before events."),
            may(
                "where",
                Word(&["chip", "place"]),
                "Goes with the chip, or stays with the board.",
            ),
            may("spoils", Tables("spoil"), "What else it pulls down."),
            may("spares", Texts, "Functions of this part that still work."),
            may("shows", Chance, "Chance to show at one power-up."),
            may("after", Minutes, "Shows only once on for so long."),
            may(
                "cured_by",
                Table("cures"),
                "Acts that cure a mode of the place.",
            ),
            may(
                "rail",
                Word(&["low", "high"]),
                "How it harms a rail that its part feeds.",
            ),
        ],
    },
    TableShape {
        name: "spoil",
        keys: &[
            may("function", Text, "The function it pulls down."),
            may("rail", Text, "The rail it pulls down."),
            may("chance", Chance, "With which chance."),
        ],
    },
    TableShape {
        name: "cures",
        keys: &[
            may("reseat", Chance, "By pulling and pressing in again."),
            may("resolder", Chance, "By resoldering."),
            may("clean", Chance, "By cleaning."),
        ],
    },
    TableShape {
        name: "event",
        keys: &[
            must("id", Name, "Identifier."),
            may("title", Text, "What happened, for people."),
            must("chance", Chance, "Chance that it happened."),
            may(
                "scope",
                Word(&["machine", "lot"]),
                "Each machine for itself, or a lot together.",
            ),
            may("causes", Tables("cause"), "Modes it strikes."),
        ],
    },
    TableShape {
        name: "cause",
        keys: &[
            must("mode", Text, "A mode as U1.dead."),
            must("chance", Chance, "With which chance."),
        ],
    },
    TableShape {
        name: "function",
        keys: &[
            must("id", Name, "Identifier."),
            may(
                "each",
                Texts,
                "One for each of these parts: {part} is its reference, {n} its number from 0, which the id ends in.",
            ),
            may("title", Text, "What must happen, for people."),
            may("leak", Chance, "Chance that it fails for no known reason."),
            may(
                "needs",
                TextsOrTables("need"),
                "Parts, rails and functions it needs.",
            ),
        ],
    },
    TableShape {
        name: "need",
        keys: &[
            may("mode", Text, "A mode as U1.weak."),
            may("function", Text, "A function."),
            may("rail", Text, "A rail, or one side of it."),
            may("chance", Chance, "Chance that it breaks the function."),
        ],
    },
    TableShape {
        name: "check",
        keys: &[
            must("id", Name, "Identifier, as typed."),
            may(
                "each",
                Texts,
                "One for each of these parts: {part} is its reference, {n} its number from 0, which the id ends in.",
            ),
            may("minutes", Minutes, "Minutes once set up."),
            may("false_pass", Chance, "Chance to pass although it fails."),
            may("false_fail", Chance, "Chance to fail although it works."),
            may(
                "blunder",
                Chance,
                "Chance of a wrong point or range in a session.",
            ),
            may(
                "requires",
                Texts,
                "Functions without which it cannot be done.",
            ),
            may("harms", Tables("harm"), "What it may harm."),
            may("at", Texts, "Where to probe: U1.6."),
            may("outcomes", TextByName, "What it can show, with titles."),
            may(
                "tells",
                TextsOrTables("row"),
                "The function it tells of, or rows of which the first that applies decides.",
            ),
            may("aliases", Texts, "Other words by which it may be typed."),
            may(
                "set_up",
                Texts,
                "Set-ups it needs, paid once for all that share them.",
            ),
            may("title", Text, "Title for people."),
            may("how", Text, "What to do, in a sentence."),
            may("caution", Text, "Said before it, where work can hurt."),
            may("limits", Table("limits"), "A reading decides by these."),
            may(
                "repeats",
                Word(&["same", "anew"]),
                "Whether its error comes again when it is repeated.",
            ),
        ],
    },
    TableShape {
        name: "harm",
        keys: &[
            must("when", Text, "It harms while this fails."),
            must("mode", Text, "The mode it gives: U9.dead."),
            must("chance", Chance, "With which chance."),
        ],
    },
    TableShape {
        name: "row",
        keys: &[
            may("fails", Texts, "All of these fail."),
            may("otherwise", Flag, "None of the rows above applies."),
            must("shows", ChanceByName, "Chance of each outcome."),
        ],
    },
    TableShape {
        name: "limits",
        keys: &[
            must(
                "quantity",
                Text,
                "What is measured: voltage, frequency, time.",
            ),
            may("low", Quantity, "The least that is good."),
            may("high", Quantity, "The most that is good."),
        ],
    },
];
