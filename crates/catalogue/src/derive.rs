//! Completes a profile by its parts: modes from devices, functions, checks and events from their roles.
//!
//! All this happens on what was read, before names are looked up, so that written and derived things go one way.

use std::collections::{BTreeMap, BTreeSet};

use units::{Limits, Unit};

use crate::device::{Device, PinKind};
use crate::fields::At;
use crate::library::Library;
use crate::nets::{Netlist, refine_spoils};
use crate::problem::Problems;
use crate::profile::{Mount, Site};
use crate::raw::{
    Raw, RawBlock, RawCheck, RawEvent, RawFunction, RawMode, RawNeed, RawPart, RawRail, RawTells,
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
    for part in raw.parts.iter_mut().filter(|part| part.of.is_none()) {
        check_role(part, library, problems);
        complete_part(part, library, problems);
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
    raw.functions = merge(functions, std::mem::take(&mut raw.functions), |function| {
        &function.id.value
    });
    raw.checks = merge(checks, std::mem::take(&mut raw.checks), |check| {
        &check.id.value
    });
    raw.events = merge(events, std::mem::take(&mut raw.events), |event| {
        &event.id.value
    });
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
const DERIVED: Span = 0..0;

fn derived(name: impl Into<String>) -> At<String> {
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
fn role_of<'r>(part: &'r RawPart, library: &'r Library) -> Option<&'r str> {
    let own = part.role.as_ref().map(|role| role.value.as_str());
    own.or_else(|| device_of(part, library).map(|device| device.role.as_str()))
}

fn check_role(part: &RawPart, library: &Library, problems: &mut Problems<'_>) {
    if let Some(role) = &part.role
        && library.role(&role.value).is_none()
    {
        let known = library.roles().roles.iter().map(|role| role.id.as_str());
        problems.unknown(&role.span, "a role of the catalogue", &role.value, known);
    }
    if let Some(like) = &part.like
        && library.device(&like.value).is_none()
    {
        let known = library.device_ids();
        problems.unknown(&like.span, "a device of the catalogue", &like.value, known);
    }
}

fn complete_part(part: &mut RawPart, library: &Library, problems: &mut Problems<'_>) {
    if part.block.is_none() {
        let role = role_of(part, library).and_then(|role| library.role(role));
        part.block = role.and_then(|role| role.block.clone()).map(derived);
    }
    let Some(name) = &part.device else { return };
    let Some(device) = library.device(&name.value) else {
        if part.modes.is_empty() {
            problems.unknown(
                &name.span,
                "a device of the catalogue, or modes of the part's own",
                &name.value,
                library.device_ids(),
            );
        }
        return;
    };
    let mount = *part
        .mount
        .get_or_insert(device.mount.unwrap_or(Mount::Soldered));
    part.title.get_or_insert_with(|| device.title.clone());
    let written: BTreeSet<String> = part.modes.iter().map(|mode| mode.mode.id.clone()).collect();
    for site in [Site::Chip, Site::Place] {
        if part.modes.iter().all(|mode| mode.mode.site != site) {
            let usual = usual_modes(device, mount, site, library)
                .filter(|mode| !written.contains(&mode.mode.id));
            part.modes.extend(usual.map(|mode| RawMode {
                span: DERIVED,
                ..mode.clone()
            }));
        }
    }
}

/// The device's modes of one site, and those of its way of sitting, where the device says nothing of them.
fn usual_modes<'l>(
    device: &'l Device,
    mount: Mount,
    site: Site,
    library: &'l Library,
) -> impl Iterator<Item = &'l RawMode> {
    let own = device
        .modes
        .iter()
        .filter(move |mode| mode.mode.site == site);
    let own_places = site == Site::Place && own.clone().next().is_some();
    let of_mount = library
        .mount_modes(mount)
        .iter()
        .filter(move |mode| mode.mode.site == site && !own_places);
    own.chain(of_mount)
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
fn merge<T>(derived: Vec<T>, mut written: Vec<T>, id: impl Fn(&T) -> &String) -> Vec<T> {
    let mut all = Vec::new();
    for one in derived {
        match written.iter().position(|other| id(other) == id(&one)) {
            Some(index) => all.push(written.remove(index)),
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
            if taken.contains(template.function.id.value.as_str()) {
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
        needs.extend(rails.into_iter().map(|rail| RawNeed::Name(derived(rail))));
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
        let place = at
            .as_deref()
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
        if only_with.is_some_and(|name| !known(&derived(name))) {
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
            let place = found.as_ref().map_or_else(
                || format!("the {} pin of the {role}", pins.join(" or ")),
                |(at, _)| pin_words(at),
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
