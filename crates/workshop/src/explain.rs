//! What a board's file knows of one part, function or check, in sentences.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{
    Check, Device, Effects, Function, Library, Mode, Mount, Need, Node, Part, Profile, Tells,
    asked_by, nodes_of, same_looks, target_name,
};

use crate::{
    Error, ErrorKind, Workshop,
    names::{best, choices, fit, nearest, plain},
    say,
    told::{Told, ToldLine},
    words::{NBSP, capital, listed, minutes, one, percent, quoted, sentence, small, trimmed},
    workshop::Result,
};

impl Workshop {
    /// Explains a part, a function, a rail or a check of a board; without a board, of the only one of the workshop.
    ///
    /// # Errors
    /// If there is no such board, or nothing on it has that name.
    pub fn explain(&self, board: Option<&str>, name: &str) -> Result<Told> {
        let state = self.fresh()?.state();
        let profile = match board {
            Some(id) => state.folder.board(id)?,
            None => state.folder.usual_board()?,
        };
        explain(&profile, &state.folder.library, name)
    }
}

/// Explains what has this name.
pub(crate) fn explain(profile: &Profile, library: &Library, typed: &str) -> Result<Told> {
    let ctx = Ctx {
        effects: Effects::of(profile),
        profile,
        library,
    };
    match ctx.find(typed)? {
        Named::Part(part) => Ok(ctx.part(part)),
        Named::Function(function) => Ok(ctx.function(function)),
        Named::Rail(rail) => Ok(ctx.rail(rail)),
        Named::Check(check) => Ok(ctx.check(check)),
    }
}

#[derive(Clone, Copy)]
enum Named<'p> {
    Part(&'p Part),
    Function(&'p Function),
    Rail(&'p catalogue::Rail),
    Check(&'p Check),
}

struct Ctx<'p> {
    effects: Effects<'p>,
    profile: &'p Profile,
    library: &'p Library,
}

impl<'p> Ctx<'p> {
    /// Parts before functions before rails before checks, where several fit equally.
    fn find(&self, typed: &str) -> Result<Named<'p>> {
        let profile = self.profile;
        let key = plain(typed);
        let parts = profile.parts.iter().map(|part| {
            (
                vec![part.reference.as_str(), &part.title],
                Named::Part(part),
            )
        });
        let functions = profile.functions.iter();
        let functions =
            functions.map(|one| (vec![one.id.as_str(), &one.title], Named::Function(one)));
        let rails = profile
            .rails
            .iter()
            .map(|rail| (vec![rail.name.as_str()], Named::Rail(rail)));
        let checks = profile.checks.iter().map(|check| {
            let aliases = check.aliases.iter().map(String::as_str);
            let names = std::iter::once(check.id.as_str())
                .chain(aliases)
                .chain([check.title.as_str()]);
            (names.collect(), Named::Check(check))
        });
        let all: Vec<(Vec<&str>, Named<'p>)> =
            parts.chain(functions).chain(rails).chain(checks).collect();
        let fits = all
            .iter()
            .filter_map(|(names, thing)| Some((fit(&key, names.iter().copied())?, *thing)));
        if let Some((_, found)) = best(fits)
            && let Some(first) = found.first()
        {
            return Ok(*first);
        }
        let known = all.iter().filter_map(|(names, _)| names.first().copied());
        let message = format!(
            "nothing on {} is called {}; nearest are {}",
            profile.id,
            quoted(typed),
            choices(nearest(typed, known))
        );
        Err(Error::new(ErrorKind::NotFound, message)
            .hint("name a part, a function, a rail or a check"))
    }

    fn device(&self, part: &Part) -> Option<&'p Device> {
        self.library.device(part.device.as_deref()?)
    }

    fn part(&self, part: &Part) -> Told {
        let title = small(&part.title);
        let mut told = Told::new(if title.is_empty() {
            format!("{} on {}.", part.reference, self.profile.title)
        } else {
            format!(
                "{} is the {title} of {}.",
                part.reference, self.profile.title
            )
        });
        told.say(self.what_it_is(part));
        told.section("It needs", self.supplies(part));
        told.section("Needed by", self.needed_by(part));
        let modes = part.modes.iter().filter(|mode| mode.chance > 0.0);
        told.section(
            "How it fails",
            modes.map(|mode| self.mode(part, mode)).collect(),
        );
        told.section("Who tests it", self.testers_of(part));
        told.section("Looks the same", self.twins(part));
        told.section("What strikes it", self.strikes(part));
        let cautions = self
            .device(part)
            .map(|device| device.cautions.clone())
            .unwrap_or_default();
        told.section(
            "Mind",
            cautions
                .into_iter()
                .map(|caution| ToldLine::new("", caution))
                .collect(),
        );
        told
    }

    /// Device, package, block and seat.
    fn what_it_is(&self, part: &Part) -> String {
        let block = self
            .profile
            .blocks
            .iter()
            .find(|block| block.id == part.block);
        let block = block.map_or(part.block.as_str(), |block| &block.title);
        let seat = match part.mount {
            Mount::Socket => "in a socket",
            Mount::Soldered => "soldered",
            Mount::Plug => "on a plug",
        };
        let device = match (self.device(part), &part.device) {
            (Some(device), _) if device.package.is_empty() => capital(&one(&device.title)),
            (Some(device), _) => {
                let one = capital(&one(&device.title));
                format!("{one} ({}, {})", device.id, device.package)
            }
            (None, Some(name)) => format!("Device {name}, which the catalogue does not know"),
            (None, None) => "A part of no known device".to_owned(),
        };
        let optional = if part.optional {
            "; the board works without it"
        } else {
            ""
        };
        format!("{device}, {seat}, in the block {}{optional}.", small(block))
    }

    fn supplies(&self, part: &Part) -> Vec<ToldLine> {
        let Some(device) = self.device(part) else {
            return Vec::new();
        };
        let pins = device
            .pins
            .iter()
            .filter(|pin| pin.kind == catalogue::PinKind::Supply);
        pins.map(|pin| {
            let volts = self.library.supply_volts(device, &pin.name);
            let volts =
                volts.map_or_else(String::new, |(low, high)| format!(", {low} to {high} V"));
            let rail = pin.level.as_deref().unwrap_or("a supply");
            ToldLine::new(
                rail.to_owned(),
                format!("at pin {} ({}){volts}.", pin.number, pin.name),
            )
        })
        .collect()
    }

    fn needed_by(&self, part: &Part) -> Vec<ToldLine> {
        let needs = |need: &&Need| match need {
            Need::Part(name) | Need::Mode { part: name, .. } => *name == part.reference,
            Need::Target { .. } => false,
        };
        let functions = self
            .profile
            .functions
            .iter()
            .filter(|function| function.needs.iter().any(|need| needs(&need)));
        let mut lines: Vec<ToldLine> = functions
            .map(|function| {
                let node = Node::Function(function.id.clone());
                let through = self.follows(&node);
                ToldLine::new(function.id.clone(), sentence(&function.title)).under(through)
            })
            .collect();
        for rail in self
            .profile
            .rails
            .iter()
            .filter(|rail| rail.fed_by.contains(&part.reference))
        {
            let node = Node::Rail(rail.name.clone(), catalogue::RailSide::Present);
            lines.push(
                ToldLine::new(rail.name.clone(), "It feeds this rail.").under(self.follows(&node)),
            );
        }
        lines
    }

    /// What fails for certain when this fails.
    fn follows(&self, node: &Node) -> String {
        let direct = BTreeMap::from([(node.clone(), 1.0)]);
        let fails = self.effects.spread(&direct);
        let sure = fails
            .iter()
            .filter(|(other, chance)| *other != node && **chance > 0.999);
        let names: Vec<String> = sure.map(|(other, _)| target_name(other)).collect();
        match names.as_slice() {
            [] => String::new(),
            names if names.len() > 6 => format!(
                "with it {} and {} more",
                names[..5].join(", "),
                names.len() - 5
            ),
            names => format!("with it {}", listed(names, "and")),
        }
    }

    fn mode(&self, part: &Part, mode: &Mode) -> ToldLine {
        let direct = self.effects.direct(part, mode);
        let own: Vec<String> = direct
            .iter()
            .filter(|(_, chance)| **chance > 0.999)
            .map(|(node, _)| target_name(node))
            .collect();
        let half = direct.iter().filter(|(_, chance)| **chance <= 0.999);
        let half: Vec<String> = half
            .map(|(node, chance)| format!("{} at {}", target_name(node), percent(*chance)))
            .collect();
        let mut under = match (own.as_slice(), half.as_slice()) {
            ([], []) => "breaks nothing".to_owned(),
            (own, []) => format!("breaks {}", listed(own, "and")),
            ([], half) => format!("spoils {}", listed(half, "and")),
            (own, half) => format!(
                "breaks {}; spoils {}",
                listed(own, "and"),
                listed(half, "and")
            ),
        };
        if mode.shows < 1.0 {
            under.push_str(&format!(
                "; shows at {} of the power-ups",
                percent(mode.shows)
            ));
        }
        if mode.after_minutes > 0.0 {
            under.push_str(&format!("; shows after {}", minutes(mode.after_minutes)));
        }
        let cures = [
            ("reseating", mode.cured_by.reseat),
            ("resoldering", mode.cured_by.resolder),
            ("cleaning", mode.cured_by.clean),
        ];
        let cures = cures.iter().filter(|(_, chance)| *chance > 0.0);
        let cures: Vec<String> = cures
            .map(|(act, chance)| format!("{act} at {}", percent(*chance)))
            .collect();
        if !cures.is_empty() {
            under.push_str(&format!("; cured by {}", listed(&cures, "or")));
        }
        ToldLine::new(percent(mode.chance), say::mode_sentence(part, mode)).under(under)
    }

    /// Checks that see what a part breaks, those that ask directly first.
    fn testers_of(&self, part: &Part) -> Vec<ToldLine> {
        let modes = part.modes.iter().filter(|mode| mode.chance > 0.0);
        let direct: Vec<BTreeMap<Node, f64>> =
            modes.map(|mode| self.effects.direct(part, mode)).collect();
        let own: BTreeSet<Node> = direct.iter().flat_map(|one| one.keys().cloned()).collect();
        let seen: BTreeSet<Node> = direct
            .iter()
            .flat_map(|one| self.effects.spread(one).into_keys())
            .collect();
        self.testers(&own, &seen)
    }

    fn testers(&self, own: &BTreeSet<Node>, seen: &BTreeSet<Node>) -> Vec<ToldLine> {
        let mut lines = Vec::new();
        let mut far = Vec::new();
        for check in &self.profile.checks {
            let asked = told_by(check);
            let mut told: Vec<String> = asked.intersection(own).map(target_name).collect();
            told.dedup_by_key(|name| rail_of(name).to_owned());
            if !told.is_empty() {
                let what = capital(&say::check_at(check));
                let line = format!("{what}; it tells of {}.", listed(&told, "and"));
                lines.push(ToldLine::new(check.id.clone(), line));
            } else if !asked.is_disjoint(seen) {
                far.push(check.id.clone());
            }
        }
        if !far.is_empty() {
            let line = format!("Through what follows from it also {}.", listed(&far, "and"));
            lines.push(ToldLine::new("", line));
        }
        lines
    }

    fn twins(&self, part: &Part) -> Vec<ToldLine> {
        let same = same_looks(self.profile)
            .into_iter()
            .filter(|same| same.parts.contains(&part.reference));
        same.map(|same| {
            let others: Vec<String> = same
                .parts
                .into_iter()
                .filter(|other| *other != part.reference)
                .collect();
            let line = format!(
                "No check tells it from {}; a swap, a reseat or a new part does.",
                listed(&others, "or")
            );
            ToldLine::new("", line)
                .under(format!("where it breaks {}", listed(&same.breaks, "and")))
        })
        .collect()
    }

    fn strikes(&self, part: &Part) -> Vec<ToldLine> {
        let causes = self
            .profile
            .events
            .iter()
            .flat_map(|event| event.causes.iter().map(move |cause| (event, cause)));
        let mine = causes.filter(|(_, cause)| cause.part == part.reference);
        let mut lines: Vec<ToldLine> = mine
            .map(|(event, cause)| {
                let line = format!(
                    "{}: gives it `{}`.",
                    event.title.trim_end_matches('.'),
                    cause.mode
                );
                ToldLine::new(percent(cause.chance), line)
            })
            .collect();
        let harms = self
            .profile
            .checks
            .iter()
            .flat_map(|check| check.harms.iter().map(move |harm| (check, harm)));
        for (check, harm) in harms.filter(|(_, harm)| harm.part == part.reference) {
            let line = format!(
                "The check {} while {} fails: gives it `{}`.",
                check.id,
                target_name(&harm.when),
                harm.mode
            );
            lines.push(ToldLine::new(percent(harm.chance), line));
        }
        lines
    }

    fn function(&self, function: &Function) -> Told {
        let mut told = Told::new(format!(
            "{}: {}.",
            function.id,
            function.title.trim_end_matches('.')
        ));
        if function.leak > 0.0 {
            told.say(format!(
                "It fails for no known reason in {} of the machines.",
                percent(function.leak)
            ));
        }
        told.section(
            "It needs",
            function.needs.iter().map(|need| self.need(need)).collect(),
        );
        let node = Node::Function(function.id.clone());
        told.section("Needed by", self.dependants(&node));
        self.suspects_and_testers(&mut told, &node);
        told
    }

    fn rail(&self, rail: &catalogue::Rail) -> Told {
        let half = rail.volts.abs() * rail.tolerance;
        let limits = format!(
            "{} to {} V",
            trimmed(rail.volts - half, 3),
            trimmed(rail.volts + half, 3)
        );
        let mut told = Told::new(format!("The rail {}: {limits}.", rail.name));
        if !rail.fed_by.is_empty() {
            told.say(format!("{} feed it.", listed(&rail.fed_by, "and")));
        }
        for node in nodes_of(&Node::Rail(rail.name.clone(), catalogue::RailSide::Whole)) {
            told.section(
                format!("Needed by: {}", target_name(&node)),
                self.dependants(&node),
            );
        }
        self.suspects_and_testers(
            &mut told,
            &Node::Rail(rail.name.clone(), catalogue::RailSide::Present),
        );
        told
    }

    fn need(&self, need: &Need) -> ToldLine {
        match need {
            Need::Part(name) => {
                let title = self
                    .profile
                    .part(name)
                    .map(|part| part.title.clone())
                    .unwrap_or_default();
                ToldLine::new(name.clone(), sentence(&title))
            }
            Need::Mode { part, mode, chance } => ToldLine::new(
                part.clone(),
                format!("Its `{mode}` breaks it at {}.", percent(*chance)),
            ),
            Need::Target { target, chance } => {
                let function = self.profile.function(&target_name(target));
                let title = function
                    .map(|function| function.title.clone())
                    .unwrap_or_else(|| "a rail".to_owned());
                let line = ToldLine::new(target_name(target), sentence(&title));
                if *chance < 1.0 {
                    line.under(format!("its failing breaks this at {}", percent(*chance)))
                } else {
                    line
                }
            }
        }
    }

    fn dependants(&self, node: &Node) -> Vec<ToldLine> {
        let needs = |need: &Need| matches!(need, Need::Target { target, .. } if nodes_of(target).contains(node));
        let functions = self
            .profile
            .functions
            .iter()
            .filter(|function| function.needs.iter().any(needs));
        functions
            .map(|function| ToldLine::new(function.id.clone(), sentence(&function.title)))
            .collect()
    }

    /// Modes that break it, likeliest first, and the checks that tell of it.
    fn suspects_and_testers(&self, told: &mut Told, node: &Node) {
        let modes = self
            .profile
            .parts
            .iter()
            .flat_map(|part| part.modes.iter().map(move |mode| (part, mode)));
        let mut breaking: Vec<(f64, &Part, &Mode)> = modes
            .filter(|(_, mode)| mode.chance > 0.0)
            .filter_map(|(part, mode)| {
                let fails = self.effects.spread(&self.effects.direct(part, mode));
                fails
                    .get(node)
                    .map(|chance| (chance * mode.chance, part, mode))
            })
            .collect();
        breaking.sort_by(|a, b| b.0.total_cmp(&a.0));
        let lines = breaking.iter().take(MOST_BREAKING).map(|(_, part, mode)| {
            ToldLine::new(percent(mode.chance), say::mode_sentence(part, mode))
        });
        told.section("What breaks it, before any finding", lines.collect());
        let own = BTreeSet::from([node.clone()]);
        let seen = self
            .effects
            .spread(&BTreeMap::from([(node.clone(), 1.0)]))
            .into_keys()
            .collect();
        told.section("Who tests it", self.testers(&own, &seen));
    }

    fn check(&self, check: &Check) -> Told {
        let mut told = Told::new(format!("{}.", capital(&say::check_at(check))));
        told.say(sentence(&check.how));
        told.say(format!("It takes {}.", minutes(check.minutes)));
        told.section("Where", check.at.iter().map(|at| self.place(at)).collect());
        let tells = match &check.tells {
            Tells::Target {
                target,
                false_pass,
                false_fail,
            } => {
                let line = format!(
                    "passes at {} though it fails, fails at {} though it works.",
                    rate(*false_pass),
                    rate(*false_fail)
                );
                vec![ToldLine::new(target_name(target), line)]
            }
            Tells::Rows(rows) => rows.iter().map(|row| row_line(check, row)).collect(),
        };
        told.section("What it tells", tells);
        told.section(
            "It cannot be done without",
            check
                .requires
                .iter()
                .map(|target| ToldLine::new(target_name(target), ""))
                .collect(),
        );
        let asked = asked_by(check);
        let modes = self
            .profile
            .parts
            .iter()
            .flat_map(|part| part.modes.iter().map(move |mode| (part, mode)));
        let mut seen: Vec<(&Part, &Mode)> = modes
            .filter(|(part, mode)| {
                mode.chance > 0.0
                    && self
                        .effects
                        .spread(&self.effects.direct(part, mode))
                        .keys()
                        .any(|node| asked.contains(node))
            })
            .collect();
        seen.sort_by(|a, b| b.1.chance.total_cmp(&a.1.chance));
        let lines = seen.iter().take(MOST_BREAKING).map(|(part, mode)| {
            ToldLine::new(percent(mode.chance), say::mode_sentence(part, mode))
        });
        told.section("Faults that it sees, likeliest first", lines.collect());
        told
    }

    /// A place to probe, with the name of its pin.
    fn place(&self, at: &str) -> ToldLine {
        let pin = at.rsplit_once('.').and_then(|(part, pin)| {
            let device = self.device(self.profile.part(part)?)?;
            device
                .pins
                .iter()
                .find(|known| known.number.to_string() == pin)
        });
        let name = pin.map_or_else(String::new, |pin| format!("the pin {}.", pin.name));
        ToldLine::new(at.to_owned(), name)
    }
}

/// A small chance with a decimal: `0.5 %`.
fn rate(chance: f64) -> String {
    format!("{}{NBSP}%", trimmed(100.0 * chance, 1))
}

/// Most faults listed for a function or a check.
const MOST_BREAKING: usize = 8;

/// What a check tells of, without what it cannot be done without.
fn told_by(check: &Check) -> BTreeSet<Node> {
    match &check.tells {
        Tells::Target { target, .. } => nodes_of(target).into_iter().collect(),
        Tells::Rows(rows) => rows
            .iter()
            .flat_map(|row| &row.fails)
            .flat_map(nodes_of)
            .collect(),
    }
}

/// The rail in `+5V.present`; other names as they are.
fn rail_of(name: &str) -> &str {
    name.trim_end_matches(".present").trim_end_matches(".high")
}

fn row_line(check: &Check, row: &catalogue::Row) -> ToldLine {
    let shows = check
        .outcomes
        .iter()
        .zip(&row.shows)
        .filter(|(_, chance)| **chance > 0.0);
    let shows: Vec<String> = shows
        .map(|(outcome, chance)| format!("{} {}", outcome.id, percent(*chance)))
        .collect();
    let fails: Vec<String> = row.fails.iter().map(target_name).collect();
    let when = if fails.is_empty() {
        "otherwise".to_owned()
    } else {
        format!("if {} fails", listed(&fails, "and"))
    };
    ToldLine::new("", format!("{}: {}.", capital(&when), shows.join(", ")))
}
