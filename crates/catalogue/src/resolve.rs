//! From what was read to the finished profile: names looked up, defaults filled in, the whole checked.

use crate::fields::At;
use crate::library::Library;
use crate::names::{Names, Once};
use crate::problem::{Problems, list, shown};
use crate::profile::{
    Block, Cause, Check, CuredBy, Event, Function, Harm, Mode, Mount, Need, Outcome, Outside, Part,
    Profile, Rail, RailFault, Row, Site, Spoil, Target, Tells,
};
use crate::raw::{Raw, RawCheck, RawFunction, RawMode, RawNeed, RawPart, RawRow, RawTells};
use crate::source::Span;
use crate::whole::check_whole;

/// Sums of chances are right within this.
pub(crate) const SUM_TOLERANCE: f64 = 1e-9;

/// Chance that a machine has a fault which the profile does not know, if the profile does not say.
const UNMODELLED: f64 = 0.05;

struct Ctx<'c, 's> {
    library: &'c Library,
    problems: &'c mut Problems<'s>,
    names: Names,
    /// Parts, rails and functions share one name space.
    once: Once,
    profile: Profile,
}

/// Resolves a file that was read.
pub(crate) fn resolve(raw: Raw, library: &Library, problems: &mut Problems<'_>) -> Profile {
    let profile = Profile {
        title: raw
            .board
            .title
            .clone()
            .unwrap_or_else(|| raw.board.id.clone()),
        id: raw.board.id.clone(),
        unmodelled: raw.board.unmodelled.unwrap_or(UNMODELLED),
        pieces: raw.pieces.clone(),
        ..Profile::default()
    };
    let mut ctx = Ctx {
        library,
        problems,
        names: Names::default(),
        once: Once::default(),
        profile,
    };
    ctx.blocks(&raw);
    ctx.rails(&raw);
    ctx.parts(&raw);
    ctx.function_names(&raw);
    ctx.rails_fed_by(&raw);
    ctx.outside(&raw);
    ctx.spoils_and_spares(&raw.parts);
    ctx.events(&raw);
    for function in &raw.functions {
        ctx.function(function);
    }
    ctx.checks(raw.checks);
    check_whole(&ctx.profile, &raw.functions, ctx.problems);
    ctx.profile
}

impl Ctx<'_, '_> {
    fn blocks(&mut self, raw: &Raw) {
        let mut once = Once::default();
        for block in &raw.blocks {
            if once.check(&block.id, "a block", self.problems) {
                let id = block.id.value.clone();
                self.profile.blocks.push(Block {
                    title: block.title.clone().unwrap_or_else(|| id.clone()),
                    id,
                });
            }
        }
    }

    fn rails(&mut self, raw: &Raw) {
        for rail in &raw.rails {
            self.once.check(&rail.name, "a rail", self.problems);
            self.names.add_rail(&rail.name.value);
            self.profile.rails.push(Rail {
                name: rail.name.value.clone(),
                volts: rail.volts,
                tolerance: rail.tolerance,
                fed_by: Vec::new(),
                leak: rail.leak,
            });
        }
    }

    fn rails_fed_by(&mut self, raw: &Raw) {
        for (index, rail) in raw.rails.iter().enumerate() {
            let feeding = rail
                .fed_by
                .iter()
                .flat_map(|name| self.names.parts(name, self.problems))
                .collect();
            self.profile.rails[index].fed_by = feeding;
        }
    }

    fn parts(&mut self, raw: &Raw) {
        for part in &raw.parts {
            self.once.check(&part.reference, "a part", self.problems);
            let part = self.part(part);
            self.names.add_part(&part.reference, &part.modes);
            self.profile.parts.push(part);
        }
    }

    fn part(&mut self, raw: &RawPart) -> Part {
        let mount = raw.mount.unwrap_or(Mount::Soldered);
        let mut modes: Vec<Mode> = raw.modes.iter().map(|mode| mode.mode.clone()).collect();
        self.mode_ids(&raw.modes);
        self.mode_sums(&raw.span, &modes);
        if modes.iter().all(|mode| mode.site == Site::Chip) {
            if modes.iter().any(|mode| mode.id == IMPLICIT_JOINT) {
                let hint = Some("name it otherwise, or write `where = \"place\"`".to_owned());
                self.problems.add_with(
                    &raw.span,
                    "`joint` as a mode of the place",
                    "it as a mode of the chip",
                    hint,
                );
            }
            modes.push(implicit_joint(mount));
        }
        Part {
            reference: raw.reference.value.clone(),
            title: raw
                .title
                .clone()
                .unwrap_or_else(|| raw.reference.value.clone()),
            block: self.block(raw),
            device: raw.device.as_ref().map(|device| device.value.clone()),
            mount,
            optional: raw.optional,
            modes,
            area: raw.area,
        }
    }

    fn block(&mut self, raw: &RawPart) -> String {
        let Some(block) = &raw.block else {
            let unknown = |device: &At<String>| self.library.device(&device.value).is_none();
            let told = raw.modes.is_empty() && raw.device.as_ref().is_some_and(unknown);
            if !told {
                self.problems
                    .add(&raw.span, "a key `block`", "a part without it");
            }
            return String::new();
        };
        let known = self.profile.blocks.iter().map(|block| block.id.as_str());
        if !known.clone().any(|id| id == block.value) {
            self.problems
                .unknown(&block.span, "a block of this profile", &block.value, known);
        }
        block.value.clone()
    }

    fn mode_ids(&mut self, modes: &[RawMode]) {
        let mut once = Once::default();
        for mode in modes {
            once.check(
                &At::new(mode.mode.id.clone(), mode.span.clone()),
                "a mode",
                self.problems,
            );
        }
    }

    fn mode_sums(&mut self, span: &Span, modes: &[Mode]) {
        for (site, word) in [(Site::Chip, "chip"), (Site::Place, "place")] {
            let sum: f64 = modes
                .iter()
                .filter(|mode| mode.site == site)
                .map(|mode| mode.chance)
                .sum();
            if sum > 1.0 + SUM_TOLERANCE {
                self.problems.add(
                    span,
                    format!("{word} modes whose chances add up to at most 1"),
                    format!("a sum of {}", shown(&format!("{sum:.6}"))),
                );
            }
        }
    }

    fn function_names(&mut self, raw: &Raw) {
        for function in &raw.functions {
            self.once
                .check(&function.id, "a part, rail or function", self.problems);
            self.names.add_function(&function.id.value);
        }
    }

    fn outside(&mut self, raw: &Raw) {
        let mut once = Once::default();
        for outside in &raw.outside {
            once.check(&outside.id, "a thing outside", self.problems);
            if self.names.has_part(&outside.id.value) {
                self.problems.add(
                    &outside.id.span,
                    "a name that no part has",
                    shown(&outside.id.value),
                );
            }
            let serves = outside
                .serves
                .iter()
                .filter_map(|name| self.names.present(name, self.problems))
                .collect();
            let id = outside.id.value.clone();
            let title = outside.title.clone().unwrap_or_else(|| id.clone());
            self.profile.outside.push(Outside {
                id,
                title,
                serves,
                chance: outside.chance,
            });
        }
    }

    fn spoils_and_spares(&mut self, parts: &[RawPart]) {
        for (index, part) in parts.iter().enumerate() {
            for raw in &part.modes {
                let spoils = self.spoils(raw);
                let spares = raw
                    .spares
                    .iter()
                    .filter_map(|name| self.names.function(name, self.problems))
                    .collect();
                let modes = &mut self.profile.parts[index].modes;
                if let Some(mode) = modes.iter_mut().find(|mode| mode.id == raw.mode.id) {
                    mode.spoils = spoils;
                    mode.spares = spares;
                }
            }
        }
    }

    fn spoils(&mut self, raw: &RawMode) -> Vec<Spoil> {
        let spoil = |(name, chance): &(At<String>, f64)| {
            Some(Spoil {
                target: self.names.present(name, self.problems)?,
                chance: *chance,
            })
        };
        raw.spoils.iter().filter_map(spoil).collect()
    }

    fn events(&mut self, raw: &Raw) {
        let mut once = Once::default();
        for event in &raw.events {
            once.check(&event.id, "an event", self.problems);
            let mut causes: Vec<Cause> = Vec::new();
            for (name, chance) in &event.causes {
                for (part, mode) in self.names.modes(name, None, self.problems) {
                    causes.push(Cause {
                        part,
                        mode,
                        chance: *chance,
                    });
                }
            }
            let id = event.id.value.clone();
            let title = event.title.clone().unwrap_or_else(|| id.clone());
            self.profile.events.push(Event {
                id,
                title,
                chance: event.chance,
                scope: event.scope,
                causes,
            });
        }
    }

    fn function(&mut self, raw: &RawFunction) {
        let mut needs: Vec<Need> = Vec::new();
        for need in &raw.needs {
            for one in self.need(need) {
                if needs.iter().any(|other| same_need(other, &one)) {
                    let span = if need.span().is_empty() {
                        &raw.id.span
                    } else {
                        need.span()
                    };
                    self.problems.add(
                        span,
                        "each need once",
                        format!("{} again", shown(need.name())),
                    );
                } else {
                    needs.push(one);
                }
            }
        }
        let id = raw.id.value.clone();
        let title = raw.title.clone().unwrap_or_else(|| id.clone());
        self.profile.functions.push(Function {
            id,
            title,
            needs,
            leak: raw.leak.unwrap_or(0.0),
        });
    }

    fn need(&mut self, raw: &RawNeed) -> Vec<Need> {
        match raw {
            RawNeed::Name(name) => {
                if let Some(parts) = self.names.find_parts(&name.value) {
                    return parts.into_iter().map(Need::Part).collect();
                }
                if let Some(target) = self.names.find_target(&name.value) {
                    return vec![Need::Target {
                        target,
                        chance: 1.0,
                    }];
                }
                self.problems.unknown(
                    &name.span,
                    "a part, rail or function",
                    &name.value,
                    self.names.all(),
                );
                Vec::new()
            }
            RawNeed::Mode(name, chance) => {
                let modes = self.names.modes(name, None, self.problems);
                modes
                    .into_iter()
                    .map(|(part, mode)| Need::Mode {
                        part,
                        mode,
                        chance: *chance,
                    })
                    .collect()
            }
            RawNeed::Target(name, chance) => {
                let target = self.names.target(name, self.problems);
                target
                    .into_iter()
                    .map(|target| Need::Target {
                        target,
                        chance: *chance,
                    })
                    .collect()
            }
        }
    }

    fn checks(&mut self, checks: Vec<RawCheck>) {
        let mut once = Once::default();
        for raw in checks {
            once.check(&raw.id, "a check", self.problems);
            for alias in &raw.check.aliases {
                once.check(
                    &At::new(alias.clone(), raw.id.span.clone()),
                    "a check or its alias",
                    self.problems,
                );
            }
            let check = self.check(raw);
            self.profile.checks.push(check);
        }
    }

    fn check(&mut self, raw: RawCheck) -> Check {
        self.at(&raw.at);
        let trust = self.library.instrument(&raw.check.set_up).cloned();
        let default = |own: Option<f64>, rule: Option<f64>| own.or(rule).unwrap_or(0.0);
        let mut check = raw.check;
        check.at = raw.at.into_iter().map(|at| at.value).collect();
        if check.title.is_empty() {
            check.title.clone_from(&check.id);
        }
        check.minutes = default(raw.minutes, trust.as_ref().map(|rule| rule.minutes));
        check.blunder = default(raw.blunder, trust.as_ref().map(|rule| rule.blunder));
        check.requires = raw
            .requires
            .iter()
            .filter_map(|name| self.names.target(name, self.problems))
            .collect();
        for harm in &raw.harms {
            let Some(when) = self.names.target(&harm.when, self.problems) else {
                continue;
            };
            for (part, mode) in self
                .names
                .modes(&harm.mode, Some(Site::Chip), self.problems)
            {
                check.harms.push(Harm {
                    when: when.clone(),
                    part,
                    mode,
                    chance: harm.chance,
                });
            }
        }
        let outcomes = raw.outcomes;
        let pass_or_fail = outcomes.is_none();
        check.outcomes = match &outcomes {
            Some(outcomes) => outcomes
                .iter()
                .map(|outcome| outcome.value.clone())
                .collect(),
            None => pass_and_fail(),
        };
        match raw.tells {
            Some(RawTells::Target(name)) => {
                if !pass_or_fail {
                    let hint =
                        "write rows `{ fails = …, shows = … }`, or leave `outcomes` out".to_owned();
                    self.problems.add_with(
                        &name.span,
                        "rows that tell of the outcomes",
                        shown(&name.value),
                        Some(hint),
                    );
                }
                if let Some(target) = self.names.target(&name, self.problems) {
                    let false_pass =
                        default(raw.false_pass, trust.as_ref().map(|rule| rule.false_pass));
                    let false_fail =
                        default(raw.false_fail, trust.as_ref().map(|rule| rule.false_fail));
                    check.tells = Tells::Target {
                        target,
                        false_pass,
                        false_fail,
                    };
                }
            }
            Some(RawTells::Rows(rows, span)) if !rows.is_empty() => {
                self.no_use_with_rows(raw.limits_span.filter(|_| !pass_or_fail), raw.errors_span);
                check.tells = Tells::Rows(self.rows(&rows, &span, &check.outcomes));
            }
            _ => {
                let hint = "write `tells = \"…\"` with a function or rail, or rows".to_owned();
                self.problems.add_with(
                    &raw.id.span,
                    "a check that tells something",
                    "no `tells`",
                    Some(hint),
                );
            }
        }
        check
    }

    fn at(&mut self, points: &[At<String>]) {
        for at in points {
            if let Some((part, _)) = at.value.rsplit_once('.') {
                self.names
                    .parts(&At::new(part.to_owned(), at.span.clone()), self.problems);
            }
        }
    }

    fn no_use_with_rows(&mut self, limits: Option<Span>, errors: Option<Span>) {
        if let Some(span) = limits {
            self.problems.add(
                &span,
                "`limits` on a check that passes or fails",
                "it on a check with `outcomes`",
            );
        }
        if let Some(span) = errors {
            let hint = "put these chances into the rows".to_owned();
            let expected = "`false_pass` and `false_fail` on a check that tells of one function";
            self.problems
                .add_with(&span, expected, "them beside rows", Some(hint));
        }
    }

    fn rows(&mut self, raw: &[RawRow], span: &Span, outcomes: &[Outcome]) -> Vec<Row> {
        let rows = raw.iter().map(|row| self.row(row, outcomes)).collect();
        match raw.iter().position(|row| row.otherwise) {
            None => {
                let hint = "add `{ otherwise = true, shows = { … } }` as the last row".to_owned();
                self.problems.add_with(
                    span,
                    "a last row `otherwise = true`",
                    "rows without it",
                    Some(hint),
                );
            }
            Some(index) if index + 1 < raw.len() => {
                let after = &raw[index + 1].span;
                self.problems.add(
                    after,
                    "the row `otherwise = true` last",
                    "a row after it, which never applies",
                );
            }
            Some(_) => {}
        }
        rows
    }

    fn row(&mut self, raw: &RawRow, outcomes: &[Outcome]) -> Row {
        let fails: Vec<Target> = raw
            .fails
            .iter()
            .filter_map(|name| self.names.target(name, self.problems))
            .collect();
        let mut shows = vec![0.0; outcomes.len()];
        let mut unknown = false;
        for (name, chance) in &raw.shows {
            match outcomes.iter().position(|outcome| outcome.id == name.value) {
                Some(index) => shows[index] = *chance,
                None => {
                    unknown = true;
                    let known = outcomes.iter().map(|outcome| outcome.id.as_str());
                    self.problems.unknown(
                        &name.span,
                        "an outcome of this check",
                        &name.value,
                        known,
                    );
                }
            }
        }
        let sum: f64 = shows.iter().sum();
        if !unknown && (sum - 1.0).abs() > SUM_TOLERANCE {
            let found = format!("a sum of {}", shown(&format!("{sum:.6}")));
            self.problems
                .add(&raw.span, "chances that add up to 1", found);
        }
        Row { fails, shows }
    }
}

/// Whether two needs are of the same thing, whatever their chances.
fn same_need(one: &Need, other: &Need) -> bool {
    match (one, other) {
        (Need::Part(one), Need::Part(other)) => one == other,
        (
            Need::Mode { part, mode, .. },
            Need::Mode {
                part: other_part,
                mode: other_mode,
                ..
            },
        ) => part == other_part && mode == other_mode,
        (Need::Target { target, .. }, Need::Target { target: other, .. }) => target == other,
        _ => false,
    }
}

/// The outcomes of a check that tells of one function.
pub(crate) fn pass_and_fail() -> Vec<Outcome> {
    ["pass", "fail"]
        .map(|word| Outcome {
            id: word.to_owned(),
            title: word.to_owned(),
        })
        .to_vec()
}

/// Name of the place mode that a part without place modes has.
pub(crate) const IMPLICIT_JOINT: &str = "joint";

/// The place mode of a part without place modes: chance 0, so that only acts bring it about.
pub(crate) fn implicit_joint(mount: Mount) -> Mode {
    let cured_by = match mount {
        Mount::Socket | Mount::Plug => CuredBy {
            reseat: 0.7,
            ..CuredBy::default()
        },
        Mount::Soldered => CuredBy {
            resolder: 0.9,
            ..CuredBy::default()
        },
    };
    Mode {
        id: IMPLICIT_JOINT.to_owned(),
        title: match mount {
            Mount::Socket | Mount::Plug => "bad contact".to_owned(),
            Mount::Soldered => "bad joint".to_owned(),
        },
        chance: 0.0,
        site: Site::Place,
        spoils: Vec::new(),
        spares: Vec::new(),
        shows: 1.0,
        after_minutes: 0.0,
        cured_by,
        rail: RailFault::Low,
    }
}

/// The functions in words, for a loop: `a -> b -> a`.
pub(crate) fn loop_words(names: &[&str]) -> String {
    list(names.iter().copied()).replace(", ", " -> ")
}
