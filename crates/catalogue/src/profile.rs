//! The board profile as the rest of the house sees it: every name resolved, every default filled in.
//!
//! Names stay strings: a profile has at most a few hundred of them and each is printed sooner or later.
//! A `Profile` that came out of [`crate::parse_profile`] holds these invariants: ids are unique, every name used
//! exists, functions form an acyclic graph, chances lie in 0..=1 and the modes of one kind of one part add up to at most 1.

use std::collections::BTreeMap;

use units::Limits;

/// The knowledge about one board revision.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Profile {
    /// Identifier, as typed on the command line: `ostrel-8-r2`.
    pub id: String,
    /// What a person calls the board.
    pub title: String,
    /// Chance that a machine has a fault this profile does not know.
    pub unmodelled: f64,
    /// Supply rails.
    pub rails: Vec<Rail>,
    /// Sections of the board.
    pub blocks: Vec<Block>,
    /// Things that belong to no board and serve many.
    pub outside: Vec<Outside>,
    /// Positions on the board.
    pub parts: Vec<Part>,
    /// What in a machine's or a lot's past brings faults together.
    pub events: Vec<Event>,
    /// What the board must do.
    pub functions: Vec<Function>,
    /// What can be done to learn.
    pub checks: Vec<Check>,
    /// Parts that were taken to pieces, with the parts that stand for them now.
    pub pieces: BTreeMap<String, Vec<String>>,
}

/// A supply rail: two functions, present and not high.
#[derive(Debug, Clone, PartialEq)]
pub struct Rail {
    /// Name as written everywhere: `+5V`.
    pub name: String,
    /// Nominal voltage in volts.
    pub volts: f64,
    /// Relative tolerance: 0.05 is ± 5 %.
    pub tolerance: f64,
    /// References of the parts that make the rail.
    pub fed_by: Vec<String>,
    /// Chance that `present` fails for no known reason.
    pub leak: f64,
}

/// A section of the board.
#[derive(Debug, Clone, PartialEq)]
pub struct Block {
    /// Identifier: `video`.
    pub id: String,
    /// Title for people.
    pub title: String,
}

/// A thing outside the board that may be shared: own supply, monitor, lead, keyboard.
#[derive(Debug, Clone, PartialEq)]
pub struct Outside {
    /// Identifier: `brick`.
    pub id: String,
    /// Title for people.
    pub title: String,
    /// Rails (their `present`) and functions that fail when it is bad.
    pub serves: Vec<Target>,
    /// Chance that it is bad.
    pub chance: f64,
}

/// One position on the board.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Reference: `U7`.
    pub reference: String,
    /// What it is, for people: `video controller`.
    pub title: String,
    /// The block it belongs to.
    pub block: String,
    /// Catalogue device, where one is named.
    pub device: Option<String>,
    /// How it sits on the board.
    pub mount: Mount,
    /// The board works without it.
    pub optional: bool,
    /// Ways in which the chip or its place can be bad; a part without place modes ends in an implicit `joint` of chance 0.
    pub modes: Vec<Mode>,
    /// Where it lies on the board drawing: x, y, width, height in millimetres from the upper left corner.
    pub area: Option<[f64; 4]>,
}

/// How a part sits on the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Mount {
    /// In a socket.
    Socket,
    /// Soldered in.
    Soldered,
    /// On a plug or connector; counts as socketed.
    Plug,
}

/// Whether a mode goes with the chip or stays with the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Site {
    /// Goes with the chip's mark.
    Chip,
    /// Socket, joint, contact: stays.
    Place,
}

/// One way in which a part can be bad.
#[derive(Debug, Clone, PartialEq)]
pub struct Mode {
    /// Identifier within the part: `dead`.
    pub id: String,
    /// Title for people: `does nothing`.
    pub title: String,
    /// Chance at take-in, before events.
    pub chance: f64,
    /// Chip or place.
    pub site: Site,
    /// What else it pulls down.
    pub spoils: Vec<Spoil>,
    /// Functions that still work although they need this part.
    pub spares: Vec<String>,
    /// Chance to show at one power-up; 1 is always.
    pub shows: f64,
    /// Minutes of being on before it shows; 0 is at once.
    pub after_minutes: f64,
    /// What cures it, place modes only.
    pub cured_by: CuredBy,
    /// For a part that feeds a rail: which of the rail's two functions this mode fails.
    pub rail: RailFault,
}

/// Chance with which an act cures a place mode.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct CuredBy {
    /// By pulling and pressing in again.
    pub reseat: f64,
    /// By resoldering.
    pub resolder: f64,
    /// By cleaning.
    pub clean: f64,
}

/// How a mode of a feeding part harms its rail.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RailFault {
    /// The rail is low or absent: its `present` fails.
    Low,
    /// The rail runs too high: its `high` fails.
    High,
}

/// Something a mode pulls down beside the functions that need its part.
#[derive(Debug, Clone, PartialEq)]
pub struct Spoil {
    /// What it pulls down; a rail means its `present`.
    pub target: Target,
    /// With which chance.
    pub chance: f64,
}

/// A function, or one or both functions of a rail.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Target {
    /// A function by its id.
    Function(String),
    /// A rail by its name.
    Rail(String, RailSide),
}

/// Which of a rail's two functions.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RailSide {
    /// Both: fails if either fails.
    Whole,
    /// Present.
    Present,
    /// Not high.
    High,
}

/// What brings faults together.
#[derive(Debug, Clone, PartialEq)]
pub struct Event {
    /// Identifier: `overvoltage`.
    pub id: String,
    /// Title for people.
    pub title: String,
    /// Chance that it happened.
    pub chance: f64,
    /// One for each machine, or one shared by all machines of a lot.
    pub scope: Scope,
    /// Modes it strikes.
    pub causes: Vec<Cause>,
}

/// Whom an event concerns.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// Each machine for itself.
    Machine,
    /// All machines of a lot together.
    Lot,
}

/// A mode struck by an event.
#[derive(Debug, Clone, PartialEq)]
pub struct Cause {
    /// The part's reference.
    pub part: String,
    /// The mode's id.
    pub mode: String,
    /// With which chance.
    pub chance: f64,
}

/// What the board must do.
#[derive(Debug, Clone, PartialEq)]
pub struct Function {
    /// Identifier: `clock`.
    pub id: String,
    /// Title for people: `the clock reaches the CPU`.
    pub title: String,
    /// What it needs.
    pub needs: Vec<Need>,
    /// Chance that it fails for no known reason.
    pub leak: f64,
}

/// One thing a function needs.
#[derive(Debug, Clone, PartialEq)]
pub enum Need {
    /// A part: each of its modes breaks the function with chance 1, less what the mode spares.
    Part(String),
    /// One mode with a chance; replaces the chance that [`Need::Part`] of the same function gives this mode.
    Mode {
        /// The part's reference.
        part: String,
        /// The mode's id.
        mode: String,
        /// With which chance it breaks the function.
        chance: f64,
    },
    /// Another function or a rail, which breaks this one with a chance when it fails.
    Target {
        /// What is needed.
        target: Target,
        /// With which chance its failing breaks this function.
        chance: f64,
    },
}

/// Something done to learn.
#[derive(Debug, Clone, PartialEq)]
pub struct Check {
    /// Identifier, as typed: `cpu-clock`.
    pub id: String,
    /// Other words by which it may be typed: `clock`, `+5v`.
    pub aliases: Vec<String>,
    /// Title for people: `Clock at the CPU`.
    pub title: String,
    /// What to do, in a sentence.
    pub how: String,
    /// Caution shown before it, where work can hurt.
    pub caution: Option<String>,
    /// Minutes it takes once set up.
    pub minutes: f64,
    /// Set-ups it needs: `lid-off`, `powered`, `oscilloscope`.
    pub set_up: Vec<String>,
    /// Functions without which it cannot be done.
    pub requires: Vec<Target>,
    /// What it may harm.
    pub harms: Vec<Harm>,
    /// Where to probe: `U1.6`.
    pub at: Vec<String>,
    /// Its outcomes in order; `pass` and `fail` unless it has a table.
    pub outcomes: Vec<Outcome>,
    /// How the outcomes depend on functions.
    pub tells: Tells,
    /// Chance of a wrong point or range in a session.
    pub blunder: f64,
    /// Limits, if a reading decides.
    pub limits: Option<Limits>,
    /// Its error repeats within an epoch.
    pub repeats_same: bool,
}

/// A possible outcome of a check.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Outcome {
    /// One word: `black`.
    pub id: String,
    /// For people: `blank, black`.
    pub title: String,
}

/// How the outcomes of a check depend on functions.
#[derive(Debug, Clone, PartialEq)]
pub enum Tells {
    /// Outcome 0 is `pass`, 1 is `fail`.
    Target {
        /// What it tells of.
        target: Target,
        /// Chance to pass although it fails.
        false_pass: f64,
        /// Chance to fail although it works.
        false_fail: f64,
    },
    /// The first row whose functions all fail decides; the last row has none.
    Rows(Vec<Row>),
}

/// One row of an outcome table.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// All of these fail; empty in the `otherwise` row.
    pub fails: Vec<Target>,
    /// Chance of each outcome, in the order of the check's outcomes.
    pub shows: Vec<f64>,
}

/// Harm a check may do.
#[derive(Debug, Clone, PartialEq)]
pub struct Harm {
    /// It harms if this fails at that look.
    pub when: Target,
    /// Part whose chip is harmed.
    pub part: String,
    /// Mode it gets.
    pub mode: String,
    /// With which chance.
    pub chance: f64,
}

impl Profile {
    /// The part at this position.
    #[must_use]
    pub fn part(&self, reference: &str) -> Option<&Part> {
        self.parts.iter().find(|part| part.reference == reference)
    }

    /// The parts that a name stands for now: itself, or its pieces.
    #[must_use]
    pub fn now(&self, reference: &str) -> Vec<String> {
        let whole = || vec![reference.to_owned()];
        self.pieces.get(reference).cloned().unwrap_or_else(whole)
    }

    /// The check with this id.
    #[must_use]
    pub fn check(&self, id: &str) -> Option<&Check> {
        self.checks.iter().find(|check| check.id == id)
    }

    /// The function with this id.
    #[must_use]
    pub fn function(&self, id: &str) -> Option<&Function> {
        self.functions.iter().find(|function| function.id == id)
    }

    /// The rail with this name.
    #[must_use]
    pub fn rail(&self, name: &str) -> Option<&Rail> {
        self.rails.iter().find(|rail| rail.name == name)
    }

    /// Positions in the order of the file, by block.
    #[must_use]
    pub fn parts_by_block(&self) -> BTreeMap<&str, Vec<&Part>> {
        let mut blocks: BTreeMap<&str, Vec<&Part>> = BTreeMap::new();
        for part in &self.parts {
            blocks.entry(&part.block).or_default().push(part);
        }
        blocks
    }
}

impl Part {
    /// The mode with this id.
    #[must_use]
    pub fn mode(&self, id: &str) -> Option<&Mode> {
        self.modes.iter().find(|mode| mode.id == id)
    }
}
