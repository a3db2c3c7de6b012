//! Completes a profile by its parts: modes from devices, functions, checks and events from their roles.
//!
//! All this happens on what was read, before names are looked up, so that written and derived things go one way.

use std::collections::{BTreeMap, BTreeSet};

use units::{Limits, Unit};

use crate::complete::complete_part;
use crate::device::{Device, PinKind};
use crate::fields::At;
use crate::library::Library;
use crate::nets::{Netlist, refine_spoils};
use crate::problem::Problems;
use crate::raw::{
    Raw, RawBlock, RawCheck, RawEvent, RawFunction, RawNeed, RawPart, RawRail, RawTells,
};
use crate::roles::{RailCheck, RoleCheck, RoleFunction};
use crate::source::Span;

/// Fills in what devices and roles bring, if the board wants it and a part names a known device.
pub(crate) fn derive(
    raw: &mut Raw,
    library: &Library,
    nets: Option<&Netlist>,
    problems: &mut Problems<'_>,
) {
    if !raw.board.derive {
        return;
    }
    let mut modes = BTreeSet::new();
    for part in raw.parts.iter_mut().filter(|part| part.of.is_none()) {
        modes.extend(complete_part(part, &raw.board, library, problems));
    }
    if let Some(nets) = nets {
        refine_spoils(raw, nets, library);
    }
    if !raw
        .parts
        .iter()
        .any(|part| role_of(part, library).is_some())
    {
        return;
    }
    add_blocks(raw, library);
    feed_rails(raw, library);
    check_without(&raw.board.without, &modes, library, problems);
    let ctx = Ctx::new(raw, library);
    let functions = ctx.functions();
    let known: BTreeSet<String> = functions
        .iter()
        .chain(&raw.functions)
        .map(|function| function.id.value.clone())
        .collect();
    let checks = ctx.checks(&known);
    let events = ctx.events();
    let rails = ctx.rails;
    raw.functions = merge(
        functions,
        std::mem::take(&mut raw.functions),
        |function| &function.id.value,
        RawFunction::completed_by,
    );
    raw.checks = merge(
        checks,
        std::mem::take(&mut raw.checks),
        |check| &check.id.value,
        |written: RawCheck, derived| match written.tells {
            Some(_) => written,
            None => written.completed_by(derived),
        },
    );
    raw.events = merge(
        events,
        std::mem::take(&mut raw.events),
        |event| &event.id.value,
        |written, _| written,
    );
    let known = |name: &str| known.contains(name) || rails.contains(side_of(name));
    for mode in raw
        .parts
        .iter_mut()
        .flat_map(|part| &mut part.modes)
        .filter(|mode| mode.span == DERIVED)
    {
        mode.spoils.retain(|(name, _)| known(&name.value));
        mode.spares.retain(|name| known(&name.value));
    }
}

/// Roles whose parts stand before every rail.
const SUPPLIES: [&str; 3] = ["supply", "mains-filter", "switch"];

/// The place of what no file says.
pub(crate) const DERIVED: Span = 0..0;

pub(crate) fn derived(name: impl Into<String>) -> At<String> {
    At::new(name.into(), DERIVED)
}

/// The rail in `+5V.high`; other names as they are.
fn side_of(name: &str) -> &str {
    name.strip_suffix(".present")
        .or_else(|| name.strip_suffix(".high"))
        .unwrap_or(name)
}

fn device_of<'l>(part: &RawPart, library: &'l Library) -> Option<&'l Device> {
    let named = part.device.as_ref().or(part.like.as_ref())?;
    library.device(&named.value)
}

/// What a part does on the board: its own role, else its device's.
pub(crate) fn role_of<'r>(part: &'r RawPart, library: &'r Library) -> Option<&'r str> {
    let own = part.role.as_ref().map(|role| role.value.as_str());
    own.or_else(|| device_of(part, library).map(|device| device.role.as_str()))
}

/// Only what devices, mounts and roles could bring can be left out.
fn check_without(
    without: &[At<String>],
    modes: &BTreeSet<String>,
    library: &Library,
    problems: &mut Problems<'_>,
) {
    let roles = library.roles();
    let functions = roles.functions.iter().map(|one| &one.function.id.value);
    let checks = roles.checks.iter().map(|one| &one.check.id.value);
    let events = roles.events.iter().map(|one| &one.id.value);
    let known: BTreeSet<&str> = functions
        .chain(checks)
        .chain(events)
        .chain(modes)
        .map(String::as_str)
        .collect();
    for name in without {
        if !known.contains(name.value.as_str()) {
            let expected = "a mode, function, check or event that devices and roles bring";
            problems.unknown(&name.span, expected, &name.value, known.iter().copied());
        }
    }
}

/// Declares the usual blocks that parts sit in.
fn add_blocks(raw: &mut Raw, library: &Library) {
    for part in &raw.parts {
        let Some(block) = part.block.as_ref().filter(|block| block.span == DERIVED) else {
            continue;
        };
        if raw.blocks.iter().all(|known| known.id.value != block.value) {
            let title = library
                .roles()
                .blocks
                .iter()
                .find(|known| known.id.value == block.value);
            raw.blocks.push(RawBlock {
                id: block.clone(),
                title: title.and_then(|known| known.title.clone()),
            });
        }
    }
}

/// Rails without `fed_by` are fed by the regulators of their voltage and by what stands before those.
fn feed_rails(raw: &mut Raw, library: &Library) {
    for rail in raw.rails.iter_mut().filter(|rail| rail.fed_by.is_empty()) {
        let feeds = |part: &&RawPart| {
            let in_supply = part
                .block
                .as_ref()
                .is_some_and(|block| block.value == "supply");
            let Some(role) = role_of(part, library) else {
                return false;
            };
            let by_block = library.role(role).is_some_and(|role| role.by_block);
            let made = device_of(part, library).and_then(|device| device.feeds);
            made == Some(rail.volts) || SUPPLIES.contains(&role) || (in_supply && by_block)
        };
        rail.fed_by = raw
            .parts
            .iter()
            .filter(|part| part.of.is_none())
            .filter(feeds)
            .map(|part| derived(&part.reference.value))
            .collect();
    }
}

/// Derived things in their order, written ones in the place of those they replace, then the other written ones.
fn merge<T>(
    derived: Vec<T>,
    mut written: Vec<T>,
    id: impl Fn(&T) -> &String,
    both: impl Fn(T, T) -> T,
) -> Vec<T> {
    let mut all = Vec::new();
    for one in derived {
        match written.iter().position(|other| id(other) == id(&one)) {
            Some(index) => all.push(both(written.remove(index), one)),
            None => all.push(one),
        }
    }
    all.extend(written);
    all
}

/// The board as its roles see it.
struct Ctx<'r> {
    library: &'r Library,
    raw: &'r Raw,
    rails: BTreeSet<String>,
    /// Parts with a role, whole ones only.
    by_role: BTreeMap<&'r str, Vec<&'r RawPart>>,
}

impl<'r> Ctx<'r> {
    fn new(raw: &'r Raw, library: &'r Library) -> Self {
        let mut by_role: BTreeMap<&str, Vec<_>> = BTreeMap::new();
        for part in raw.parts.iter().filter(|part| part.of.is_none()) {
            if let Some(role) = role_of(part, library) {
                by_role.entry(role).or_default().push(part);
            }
        }
        let rails = raw
            .rails
            .iter()
            .map(|rail| rail.name.value.clone())
            .collect();
        Self {
            library,
            raw,
            rails,
            by_role,
        }
    }

    /// Whether the board does not take what the roles bring under this name.
    fn left_out(&self, id: &str) -> bool {
        let mut without = self.raw.board.without.iter();
        without.any(|name| name.value == id)
    }

    /// What the roles bring, also where the file replaces it.
    fn functions(&self) -> Vec<RawFunction> {
        let taken: BTreeSet<&str> = self
            .raw
            .parts
            .iter()
            .map(|part| part.reference.value.as_str())
            .chain(self.rails.iter().map(String::as_str))
            .collect();
        let mut known: BTreeSet<String> = self
            .raw
            .functions
            .iter()
            .map(|function| function.id.value.clone())
            .collect();
        let mut functions = Vec::new();
        for template in &self.library.roles().functions {
            let id = template.function.id.value.as_str();
            if taken.contains(id) || self.left_out(id) {
                continue;
            }
            if let Some(function) = self.function(template, &known) {
                known.insert(function.id.value.clone());
                functions.push(function);
            }
        }
        functions
    }

    fn function(&self, template: &RoleFunction, known: &BTreeSet<String>) -> Option<RawFunction> {
        let members = self.members(template);
        let mut needs: Vec<RawNeed> = members
            .iter()
            .map(|part| RawNeed::Name(derived(&part.reference.value)))
            .collect();
        let rails: BTreeSet<&str> = members
            .iter()
            .flat_map(|part| self.rails_of(part))
            .collect();
        needs.extend(rails.into_iter().flat_map(|rail| self.need_of(rail)));
        let mut targets = Vec::new();
        for need in &template.function.needs {
            match need {
                RawNeed::Mode(name, chance) => targets.extend(
                    self.struck(&name.value, *chance)
                        .into_iter()
                        .map(|(name, chance)| RawNeed::Mode(name, chance)),
                ),
                _ if known.contains(need.name()) || self.rails.contains(side_of(need.name())) => {
                    targets.push(need.clone());
                }
                _ => {}
            }
        }
        let mut once = BTreeSet::new();
        targets.retain(|need| once.insert(need.name().to_owned()));
        let with = template
            .with
            .iter()
            .any(|role| self.by_role.contains_key(role.as_str()));
        let own = if template.roles.is_empty() && template.with.is_empty() {
            !targets.is_empty()
        } else {
            !members.is_empty()
        };
        needs.extend(targets);
        (with || own).then(|| RawFunction {
            id: derived(&template.function.id.value),
            needs,
            ..template.function.clone()
        })
    }

    /// A low rail breaks with the chance that it says, a high one always.
    fn need_of(&self, rail: &str) -> Vec<RawNeed> {
        let mut rails = self.raw.rails.iter();
        let breaks = rails
            .find(|known| known.name.value == rail)
            .map_or(1.0, |known| known.breaks);
        if breaks >= 1.0 {
            return vec![RawNeed::Name(derived(rail))];
        }
        let side = |side: &str, chance| RawNeed::Target(derived(format!("{rail}.{side}")), chance);
        vec![side("present", breaks), side("high", 1.0)]
    }

    /// The rails that a part needs: those of its device, else the board's first.
    fn rails_of(&self, part: &'r RawPart) -> Vec<&'r str> {
        let first = self.raw.rails.first().map(|rail| rail.name.value.as_str());
        match device_of(part, self.library) {
            Some(device) => {
                let rails = device.rails().filter(|rail| self.rails.contains(*rail));
                rails.collect()
            }
            None if part
                .role
                .as_ref()
                .is_some_and(|role| SUPPLIES.contains(&role.value.as_str())) =>
            {
                Vec::new()
            }
            None => first.into_iter().collect(),
        }
    }

    /// The parts of its roles, and those of its block that serve where they sit.
    fn members(&self, template: &RoleFunction) -> Vec<&'r RawPart> {
        let by_block = |role: &str| self.library.role(role).is_some_and(|role| role.by_block);
        let in_block = |part: &RawPart| {
            part.block.as_ref().map(|block| &block.value) == template.block.as_ref()
        };
        let mine = |part: &&RawPart| {
            let Some(role) = role_of(part, self.library) else {
                return false;
            };
            template.roles.iter().any(|known| known == role)
                || (by_block(role) && template.block.is_some() && in_block(part))
        };
        let whole = self.raw.parts.iter().filter(|part| part.of.is_none());
        whole.filter(mine).collect()
    }

    /// Supply first, then what the roles bring.
    fn checks(&self, known: &BTreeSet<String>) -> Vec<RawCheck> {
        let templates = &self.library.roles().rail_checks;
        let rails = self
            .raw
            .rails
            .iter()
            .flat_map(|rail| templates.iter().map(|check| self.rail_check(rail, check)));
        let roles = &self.library.roles().checks;
        let mut checks: Vec<RawCheck> = rails
            .chain(
                roles
                    .iter()
                    .filter_map(|check| self.role_check(check, known)),
            )
            .collect();
        let written: BTreeSet<&str> = self
            .raw
            .checks
            .iter()
            .flat_map(|check| check.check.aliases.iter().chain([&check.id.value]))
            .map(String::as_str)
            .collect();
        for check in &mut checks {
            check
                .check
                .aliases
                .retain(|alias| !written.contains(alias.as_str()));
        }
        checks
    }

    fn rail_check(&self, rail: &RawRail, template: &RailCheck) -> RawCheck {
        let name = &rail.name.value;
        let half = rail.volts.abs() * rail.tolerance;
        let limits = Limits {
            unit: Unit::Volt,
            low: Some(rail.volts - half),
            high: Some(rail.volts + half),
        };
        let at = self.supply_pin(name);
        let place = self
            .written_place(&name.to_lowercase())
            .or(at.as_deref())
            .map_or_else(|| "a chip that uses it".to_owned(), pin_words);
        let fill = |text: &str| {
            text.replace("{rail}", name)
                .replace("{at}", &place)
                .replace("{limits}", &limits.to_string())
        };
        let id = name.to_lowercase();
        let mut check = RawCheck::empty(derived(&id));
        check.check.aliases = if id == *name {
            Vec::new()
        } else {
            vec![name.clone()]
        };
        check.check.title = fill(&template.title);
        check.check.how = fill(&template.how);
        check.check.caution.clone_from(&template.caution);
        check.check.set_up.clone_from(&template.set_up);
        check.check.limits = Some(limits);
        check.minutes = template.minutes;
        check.at = at.map(derived).into_iter().collect();
        check.tells = Some(RawTells::Target(derived(name)));
        check
    }

    /// Where the file itself makes a check.
    fn written_place(&self, check: &str) -> Option<&str> {
        let mut checks = self.raw.checks.iter();
        let written = checks.find(|known| known.id.value == check)?;
        written.at.first().map(|at| at.value.as_str())
    }

    /// The first supply pin on this rail.
    fn supply_pin(&self, rail: &str) -> Option<String> {
        self.raw.parts.iter().find_map(|part| {
            let pins = &device_of(part, self.library)?.pins;
            let mut supply = pins.iter().filter(|pin| pin.kind == PinKind::Supply);
            let pin = supply.find(|pin| pin.level.as_deref() == Some(rail))?;
            Some(format!("{}.{}", part.reference.value, pin.number))
        })
    }

    fn role_check(&self, template: &RoleCheck, known: &BTreeSet<String>) -> Option<RawCheck> {
        let known = |name: &At<String>| {
            known.contains(&name.value) || self.rails.contains(side_of(&name.value))
        };
        let only_with = template.only_with.as_ref();
        if only_with.is_some_and(|name| !known(&derived(name)))
            || self.left_out(&template.check.id.value)
        {
            return None;
        }
        let mut check = template.check.clone();
        check.id.span = DERIVED;
        let first = self.raw.rails.first().map_or("", |rail| &rail.name.value);
        for name in &mut check.requires {
            name.value = name.value.replace("{rail}", first);
        }
        if let Some(RawTells::Target(name)) = &mut check.tells {
            name.value = name.value.replace("{rail}", first);
        }
        check.requires.retain(|name| known(name));
        match &mut check.tells {
            Some(RawTells::Target(name)) => {
                if !known(name) {
                    return None;
                }
            }
            Some(RawTells::Rows(rows, _)) => {
                rows.retain(|row| row.fails.iter().all(known));
                if rows.iter().all(|row| row.otherwise) {
                    return None;
                }
            }
            None => return None,
        }
        if let Some((role, pins)) = &template.at {
            let found = self.role_pin(role, pins);
            let name = found.as_ref().map_or("", |(_, name)| name);
            let place = self
                .written_place(&check.id.value)
                .or(found.as_ref().map(|(at, _)| at.as_str()))
                .map_or_else(
                    || format!("the {} pin of the {role}", pins.join(" or ")),
                    pin_words,
                );
            let (active, rest) = if name.starts_with('/') || name.is_empty() {
                ("low", "high")
            } else {
                ("high", "low")
            };
            let how = check.check.how.replace("{at}", &place);
            check.check.how = how.replace("{active}", active).replace("{rest}", rest);
            check.at = found.map(|(at, _)| derived(at)).into_iter().collect();
        }
        Some(check)
    }

    /// The first pin of these names on a part of a role, with its name; pieces of a part come before the part.
    fn role_pin(&self, role: &str, pins: &[String]) -> Option<(String, String)> {
        let pieces = self.raw.parts.iter().filter(|part| part.of.is_some());
        let whole = self.raw.parts.iter().filter(|part| part.of.is_none());
        let parts = pieces
            .chain(whole)
            .filter(|part| role_of(part, self.library) == Some(role))
            .filter_map(|part| Some((part, device_of(part, self.library)?)));
        let mut found = parts.filter_map(|(part, device)| {
            let pin = pins.iter().find_map(|name| device.pin(name))?;
            Some((
                format!("{}.{}", part.reference.value, pin.number),
                pin.name.clone(),
            ))
        });
        found.next()
    }

    /// Events whose causes strike something here; a cause names a role or `*`, and a mode.
    fn events(&self) -> Vec<RawEvent> {
        let mut events = Vec::new();
        for template in &self.library.roles().events {
            if self.left_out(&template.id.value) {
                continue;
            }
            let causes: Vec<_> = template
                .causes
                .iter()
                .flat_map(|(name, chance)| self.struck(&name.value, *chance))
                .collect();
            if !causes.is_empty() {
                events.push(RawEvent {
                    id: derived(&template.id.value),
                    causes,
                    ..template.clone()
                });
            }
        }
        events
    }

    fn struck(&self, name: &str, chance: f64) -> Vec<(At<String>, f64)> {
        let Some((role, mode)) = name.rsplit_once('.') else {
            return Vec::new();
        };
        let parts = self.raw.parts.iter().filter(|part| {
            let own = role_of(part, self.library);
            let mine = part.of.is_none() && own.is_some_and(|own| role == "*" || own == role);
            mine && part.modes.iter().any(|known| known.mode.id == mode)
        });
        parts
            .map(|part| (derived(format!("{}.{mode}", part.reference.value)), chance))
            .collect()
    }
}

/// `U1.6` as a person says it.
fn pin_words(at: &str) -> String {
    at.rsplit_once('.')
        .map_or_else(|| at.to_owned(), |(part, pin)| format!("{part} pin {pin}"))
}
