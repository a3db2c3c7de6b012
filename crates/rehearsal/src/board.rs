//! A board profile made ready for playing: functions by number, and what breaks each of them.

use std::collections::BTreeMap;

use catalogue::{Check, Need, Part, Profile, RailFault, RailSide, Site, Target, Tells};

/// A function, or the `present` or `high` of a rail, by number.
pub(crate) type Number = usize;

/// Why a function can fail, as far as the board says.
#[derive(Debug, Clone, Default)]
pub(crate) struct Causes {
    pub(crate) leak: f64,
    /// What it needs, with the chance that its failing breaks this one.
    pub(crate) needs: Vec<(Target, f64)>,
    /// Parts whose absence breaks it.
    pub(crate) parts: Vec<usize>,
    /// Part, mode and the chance that the mode breaks it.
    pub(crate) modes: Vec<(usize, usize, f64)>,
    /// Outside things that serve it, and whether they serve a rail.
    pub(crate) outside: Vec<(usize, bool)>,
    /// A rail that a bench supply can carry: it has feeding parts or is served.
    pub(crate) carried: bool,
}

/// A board made ready.
#[derive(Debug, Clone)]
pub(crate) struct Board<'a> {
    pub(crate) profile: &'a Profile,
    functions: BTreeMap<&'a str, usize>,
    rails: BTreeMap<&'a str, usize>,
    pub(crate) parts: BTreeMap<&'a str, usize>,
    pub(crate) causes: Vec<Causes>,
    /// Parts that a bench supply replaces.
    pub(crate) feeding: Vec<bool>,
    /// What an unmodelled fault can break.
    pub(crate) breakable: Vec<Number>,
}

impl<'a> Board<'a> {
    pub(crate) fn new(profile: &'a Profile) -> Self {
        let functions: BTreeMap<_, _> = number(profile.functions.iter().map(|f| &f.id[..]));
        let rails: BTreeMap<_, _> = number(profile.rails.iter().map(|rail| &rail.name[..]));
        let feeds = |part: &Part| {
            let mut rails = profile.rails.iter();
            rails.any(|rail| rail.fed_by.contains(&part.reference))
        };
        let mut board = Self {
            profile,
            parts: number(profile.parts.iter().map(|part| &part.reference[..])),
            causes: Vec::new(),
            feeding: profile.parts.iter().map(feeds).collect(),
            breakable: (0..functions.len())
                .chain((0..rails.len()).map(|rail| functions.len() + 2 * rail))
                .collect(),
            functions,
            rails,
        };
        let numbers = profile.functions.len() + 2 * profile.rails.len();
        board.causes = (0..numbers).map(|number| board.causes_of(number)).collect();
        board
    }

    /// The numbers that a target stands for: a whole rail is two.
    pub(crate) fn numbers(&self, target: &Target) -> Vec<Number> {
        match target {
            Target::Function(id) => self.functions.get(&id[..]).copied().into_iter().collect(),
            Target::Rail(name, side) => {
                let Some(rail) = self.rails.get(&name[..]) else {
                    return Vec::new();
                };
                let present = self.functions.len() + 2 * rail;
                match side {
                    RailSide::Present => vec![present],
                    RailSide::High => vec![present + 1],
                    RailSide::Whole => vec![present, present + 1],
                }
            }
        }
    }

    /// A name for a target among coins.
    pub(crate) fn name(&self, target: &Target) -> u32 {
        match self.numbers(target)[..] {
            [one] => one as u32,
            [one, _] => (one + self.causes.len()) as u32,
            _ => u32::MAX,
        }
    }

    /// A rail means its `present` where something is spoiled or served.
    fn acted_on(&self, target: &Target) -> Option<Number> {
        self.numbers(target).first().copied()
    }

    /// The chance that a mode of the chip or place at a position breaks a function.
    pub(crate) fn breaks(&self, number: Number, part: &Part, mode: &str) -> f64 {
        let known = part.mode(mode);
        let spoils = known.into_iter().flat_map(|mode| &mode.spoils);
        let kept: f64 = spoils
            .filter(|spoil| self.acted_on(&spoil.target) == Some(number))
            .map(|spoil| 1.0 - spoil.chance)
            .product();
        let needed = if number < self.functions.len() {
            self.needed(number, part, mode)
        } else {
            self.feeds(number, part, mode)
        };
        1.0 - (1.0 - needed) * kept
    }

    fn needed(&self, number: Number, part: &Part, mode: &str) -> f64 {
        let function = &self.profile.functions[number];
        let by_mode = function.needs.iter().rev().find_map(|need| match need {
            Need::Mode {
                part: other,
                mode: id,
                chance,
            } if *other == part.reference && id == mode => Some(*chance),
            _ => None,
        });
        let whole = || {
            let mut needs = function.needs.iter();
            let named =
                needs.any(|need| matches!(need, Need::Part(other) if *other == part.reference));
            let spared = part
                .mode(mode)
                .is_some_and(|mode| mode.spares.contains(&function.id));
            f64::from(u8::from(named && !spared))
        };
        by_mode.unwrap_or_else(whole)
    }

    fn feeds(&self, number: Number, part: &Part, mode: &str) -> f64 {
        let behind = number - self.functions.len();
        let rail = &self.profile.rails[behind / 2];
        let fault = part.mode(mode).map_or(RailFault::Low, |mode| mode.rail);
        let side = if behind.is_multiple_of(2) {
            RailFault::Low
        } else {
            RailFault::High
        };
        f64::from(u8::from(
            fault == side && rail.fed_by.contains(&part.reference),
        ))
    }

    fn causes_of(&self, number: Number) -> Causes {
        let mut causes = Causes::default();
        if let Some(function) = self.profile.functions.get(number) {
            causes.leak = function.leak;
            for need in &function.needs {
                match need {
                    Need::Part(reference) => causes.parts.extend(self.parts.get(&reference[..])),
                    Need::Mode { .. } => {}
                    Need::Target { target, chance } => causes.needs.push((target.clone(), *chance)),
                }
            }
        } else if (number - self.functions.len()).is_multiple_of(2) {
            let rail = &self.profile.rails[(number - self.functions.len()) / 2];
            causes.leak = rail.leak;
            let feeding = rail
                .fed_by
                .iter()
                .filter_map(|part| self.parts.get(&part[..]));
            causes.parts.extend(feeding);
            let mut served = self.profile.outside.iter().flat_map(|thing| &thing.serves);
            causes.carried = !rail.fed_by.is_empty()
                || served.any(|what| matches!(what, Target::Rail(name, _) if *name == rail.name));
        }
        for (index, part) in self.profile.parts.iter().enumerate() {
            for (mode, known) in part.modes.iter().enumerate() {
                let chance = self.breaks(number, part, &known.id);
                if chance > 0.0 {
                    causes.modes.push((index, mode, chance));
                }
            }
        }
        for (index, thing) in self.profile.outside.iter().enumerate() {
            if thing
                .serves
                .iter()
                .any(|what| self.acted_on(what) == Some(number))
            {
                let rail = |what: &Target| matches!(what, Target::Rail(..));
                causes.outside.push((index, thing.serves.iter().any(rail)));
            }
        }
        causes
    }
}

/// Names with their numbers.
fn number<'a>(names: impl Iterator<Item = &'a str>) -> BTreeMap<&'a str, usize> {
    names
        .enumerate()
        .map(|(number, name)| (name, number))
        .collect()
}

/// The modes of one kind, with their numbers among all modes of the part.
pub(crate) fn modes_of(part: &Part, site: Site) -> Vec<usize> {
    (0..part.modes.len())
        .filter(|&mode| part.modes[mode].site == site)
        .collect()
}

/// Whether a check is made with the power on.
pub(crate) fn is_powered(check: &Check) -> bool {
    check.set_up.iter().any(|set_up| set_up == "powered")
}

/// The targets that a check tells of, each once.
pub(crate) fn told(check: &Check) -> Vec<&Target> {
    let mut told: Vec<&Target> = Vec::new();
    match &check.tells {
        Tells::Target { target, .. } => told.push(target),
        Tells::Rows(rows) => {
            for target in rows.iter().flat_map(|row| &row.fails) {
                if !told.contains(&target) {
                    told.push(target);
                }
            }
        }
    }
    told
}
