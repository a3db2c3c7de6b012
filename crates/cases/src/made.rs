//! Pieces of made-up boards.

use catalogue::{
    Block, Check, CuredBy, Mode, Mount, Outcome, Part, RailFault, Site, Target, Tells,
};

/// A block for everything.
#[must_use]
pub fn block() -> Block {
    Block {
        id: "all".to_owned(),
        title: String::new(),
    }
}

/// A mode of a chip.
#[must_use]
pub fn mode(id: &str, chance: f64) -> Mode {
    Mode {
        id: id.to_owned(),
        title: String::new(),
        chance,
        site: Site::Chip,
        spoils: Vec::new(),
        spares: Vec::new(),
        shows: 1.0,
        after_minutes: 0.0,
        cured_by: CuredBy::default(),
        rail: RailFault::Low,
    }
}

/// A socketed part with one mode.
#[must_use]
pub fn part(reference: &str, mode: Mode) -> Part {
    Part {
        reference: reference.to_owned(),
        title: String::new(),
        block: block().id,
        device: None,
        mount: Mount::Socket,
        optional: false,
        modes: vec![mode],
        area: None,
    }
}

/// A check with power that tells of the function of the same name, 2 % wrong either way.
#[must_use]
pub fn check(function: &str) -> Check {
    let set_up = vec!["powered".to_owned()];
    Check {
        set_up,
        ..telling(function, function, [0.02, 0.02])
    }
}

/// A check by that name that tells of a function, with the chances of a false pass and a false fail.
#[must_use]
pub fn telling(id: &str, function: &str, [false_pass, false_fail]: [f64; 2]) -> Check {
    let outcome = |id: &str| Outcome {
        id: id.to_owned(),
        title: String::new(),
    };
    Check {
        id: id.to_owned(),
        aliases: Vec::new(),
        title: String::new(),
        how: String::new(),
        caution: None,
        minutes: 1.0,
        set_up: Vec::new(),
        requires: Vec::new(),
        harms: Vec::new(),
        at: Vec::new(),
        outcomes: vec![outcome("pass"), outcome("fail")],
        tells: Tells::Target {
            target: Target::Function(function.to_owned()),
            false_pass,
            false_fail,
        },
        blunder: 0.0,
        limits: None,
        repeats_same: false,
    }
}
