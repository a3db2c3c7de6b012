//! A profile as text, every number written out; what is printed is read back equal.

use std::fmt::{Display, Write};

use units::Quantity;

use crate::profile::{
    Check, CuredBy, Event, Function, Mode, Need, Part, Profile, Rail, RailFault, RailSide, Row,
    Scope, Site, Target, Tells,
};
use crate::read_part::mount_word;
use crate::resolve::implicit_joint;

/// Prints a profile as TOML that [`crate::parse_profile`] reads back to an equal profile.
///
/// The text says `derive = false`: everything that devices and roles brought is written out.
#[must_use]
pub fn print_profile(profile: &Profile) -> String {
    let mut out = Out::default();
    out.table("[board]");
    out.text("id", &profile.id);
    out.text("title", &profile.title);
    out.number("unmodelled", profile.unmodelled);
    out.field("derive", false);
    for rail in &profile.rails {
        out.rail(rail);
    }
    for block in &profile.blocks {
        out.table("[[block]]");
        out.text("id", &block.id);
        out.text("title", &block.title);
    }
    for outside in &profile.outside {
        out.table("[[outside]]");
        out.text("id", &outside.id);
        out.text("title", &outside.title);
        out.texts("serves", outside.serves.iter().map(present_name));
        out.number("chance", outside.chance);
    }
    for part in &profile.parts {
        out.part(part);
    }
    for event in &profile.events {
        out.event(event);
    }
    for function in &profile.functions {
        out.function(function);
    }
    for check in &profile.checks {
        out.check(check);
    }
    out.text
}

#[derive(Default)]
struct Out {
    text: String,
}

impl Out {
    fn line(&mut self, line: impl Display) {
        writeln!(self.text, "{line}").expect("a string takes everything");
    }

    fn table(&mut self, head: &str) {
        if !self.text.is_empty() && !head.contains('.') {
            self.line("");
        }
        self.line(head);
    }

    fn field(&mut self, key: &str, value: impl Display) {
        self.line(format_args!("{key} = {value}"));
    }

    fn text(&mut self, key: &str, value: &str) {
        self.field(key, quoted(value));
    }

    fn number(&mut self, key: &str, value: f64) {
        self.field(key, number(value));
    }

    fn number_unless(&mut self, key: &str, value: f64, usual: f64) {
        if value != usual {
            self.number(key, value);
        }
    }

    fn texts(&mut self, key: &str, values: impl Iterator<Item = String>) {
        let list = values.map(|value| quoted(&value)).collect::<Vec<_>>();
        if !list.is_empty() {
            self.field(key, format_args!("[{}]", list.join(", ")));
        }
    }

    fn tables(&mut self, key: &str, values: impl Iterator<Item = String>) {
        let list: Vec<String> = values.collect();
        match list.as_slice() {
            [] => {}
            [one] => self.field(key, format_args!("[{one}]")),
            _ => self.field(key, format_args!("[\n  {},\n]", list.join(",\n  "))),
        }
    }

    fn rail(&mut self, rail: &Rail) {
        self.table("[[rail]]");
        self.text("name", &rail.name);
        self.number("volts", rail.volts);
        self.number("tolerance", rail.tolerance);
        self.texts("fed_by", rail.fed_by.iter().cloned());
        self.number_unless("leak", rail.leak, 0.0);
    }

    fn part(&mut self, part: &Part) {
        self.table("[[part]]");
        self.text("ref", &part.reference);
        self.text("title", &part.title);
        self.text("block", &part.block);
        if let Some(device) = &part.device {
            self.text("device", device);
        }
        self.text("mount", mount_word(part.mount));
        if part.optional {
            self.field("optional", true);
        }
        if let Some(area) = part.area {
            self.field("area", format_args!("[{}]", area.map(number).join(", ")));
        }
        let implicit = implicit_joint(part.mount);
        for mode in part.modes.iter().filter(|mode| **mode != implicit) {
            self.mode(mode);
        }
    }

    fn mode(&mut self, mode: &Mode) {
        self.table("[[part.mode]]");
        self.text("id", &mode.id);
        self.text("title", &mode.title);
        self.number("chance", mode.chance);
        if mode.site == Site::Place {
            self.text("where", "place");
        }
        let spoil = |spoil: &crate::profile::Spoil| chanced(&spoil.target, spoil.chance);
        self.tables("spoils", mode.spoils.iter().map(spoil));
        self.texts("spares", mode.spares.iter().cloned());
        self.number_unless("shows", mode.shows, 1.0);
        self.number_unless("after", mode.after_minutes, 0.0);
        if mode.cured_by != CuredBy::default() {
            let CuredBy {
                reseat,
                resolder,
                clean,
            } = mode.cured_by;
            let acts = [("reseat", reseat), ("resolder", resolder), ("clean", clean)];
            let acts: Vec<String> = acts
                .iter()
                .filter(|(_, chance)| *chance != 0.0)
                .map(|(act, chance)| format!("{act} = {}", number(*chance)))
                .collect();
            self.field("cured_by", format_args!("{{ {} }}", acts.join(", ")));
        }
        if mode.rail == RailFault::High {
            self.text("rail", "high");
        }
    }

    fn event(&mut self, event: &Event) {
        self.table("[[event]]");
        self.text("id", &event.id);
        self.text("title", &event.title);
        self.number("chance", event.chance);
        self.text(
            "scope",
            if event.scope == Scope::Lot {
                "lot"
            } else {
                "machine"
            },
        );
        let cause =
            |cause: &crate::profile::Cause| mode_chanced(&cause.part, &cause.mode, cause.chance);
        self.tables("causes", event.causes.iter().map(cause));
    }

    fn function(&mut self, function: &Function) {
        self.table("[[function]]");
        self.text("id", &function.id);
        self.text("title", &function.title);
        let needs: Vec<String> = function.needs.iter().map(need).collect();
        self.field("needs", format_args!("[{}]", needs.join(", ")));
        self.number("leak", function.leak);
    }

    fn check(&mut self, check: &Check) {
        self.table("[[check]]");
        self.text("id", &check.id);
        self.texts("aliases", check.aliases.iter().cloned());
        self.text("title", &check.title);
        self.text("how", &check.how);
        if let Some(caution) = &check.caution {
            self.text("caution", caution);
        }
        self.number("minutes", check.minutes);
        self.texts("set_up", check.set_up.iter().cloned());
        self.texts("requires", check.requires.iter().map(target_name));
        let harm = |harm: &crate::profile::Harm| {
            let when = quoted(&target_name(&harm.when));
            let mode = quoted(&format!("{}.{}", harm.part, harm.mode));
            format!(
                "{{ when = {when}, mode = {mode}, chance = {} }}",
                number(harm.chance)
            )
        };
        self.tables("harms", check.harms.iter().map(harm));
        self.texts("at", check.at.iter().cloned());
        self.tells(check);
        self.number("blunder", check.blunder);
        self.limits(check);
        if check.repeats_same {
            self.text("repeats", "same");
        }
    }

    fn tells(&mut self, check: &Check) {
        match &check.tells {
            Tells::Target {
                target,
                false_pass,
                false_fail,
            } => {
                self.text("tells", &target_name(target));
                self.number("false_pass", *false_pass);
                self.number("false_fail", *false_fail);
            }
            Tells::Rows(rows) => {
                let outcome = |outcome: &crate::profile::Outcome| {
                    format!("{} = {}", key(&outcome.id), quoted(&outcome.title))
                };
                let outcomes: Vec<String> = check.outcomes.iter().map(outcome).collect();
                self.field("outcomes", format_args!("{{ {} }}", outcomes.join(", ")));
                self.tables("tells", rows.iter().map(|row| print_row(row, check)));
            }
        }
    }

    fn limits(&mut self, check: &Check) {
        let Some(limits) = check.limits else { return };
        let limit = |name: &str, value: Option<f64>| {
            value.map(|value| {
                format!(
                    ", {name} = {}",
                    print_limit(Quantity {
                        value,
                        unit: limits.unit
                    })
                )
            })
        };
        let quantity = quoted(limits.unit.quantity_name());
        let low = limit("low", limits.low).unwrap_or_default();
        let high = limit("high", limits.high).unwrap_or_default();
        self.field(
            "limits",
            format_args!("{{ quantity = {quantity}{low}{high} }}"),
        );
    }
}

/// As a person writes it if that is exact, else as a bare number in the base unit.
fn print_limit(quantity: Quantity) -> String {
    let text = quantity.to_string();
    if text.parse() == Ok(quantity) {
        quoted(&text)
    } else {
        number(quantity.value)
    }
}

fn print_row(row: &Row, check: &Check) -> String {
    let shows = |(chance, outcome): (&f64, &crate::profile::Outcome)| {
        (*chance != 0.0).then(|| format!("{} = {}", key(&outcome.id), number(*chance)))
    };
    let shows: Vec<String> = row
        .shows
        .iter()
        .zip(&check.outcomes)
        .filter_map(shows)
        .collect();
    let shows = shows.join(", ");
    if row.fails.is_empty() {
        return format!("{{ otherwise = true, shows = {{ {shows} }} }}");
    }
    let fails: Vec<String> = row
        .fails
        .iter()
        .map(|target| quoted(&target_name(target)))
        .collect();
    format!(
        "{{ fails = [{}], shows = {{ {shows} }} }}",
        fails.join(", ")
    )
}

fn need(need: &Need) -> String {
    match need {
        Need::Part(part) => quoted(part),
        Need::Mode { part, mode, chance } => mode_chanced(part, mode, *chance),
        Need::Target { target, chance } if *chance == 1.0 => quoted(&target_name(target)),
        Need::Target { target, chance } => chanced(target, *chance),
    }
}

fn mode_chanced(part: &str, mode: &str, chance: f64) -> String {
    format!(
        "{{ mode = {}, chance = {} }}",
        quoted(&format!("{part}.{mode}")),
        number(chance)
    )
}

fn chanced(target: &Target, chance: f64) -> String {
    let key = match target {
        Target::Function(_) => "function",
        Target::Rail(..) => "rail",
    };
    format!(
        "{{ {key} = {}, chance = {} }}",
        quoted(&target_name(target)),
        number(chance)
    )
}

/// The name of a function, a rail or one side of a rail, as it is written in a profile: `+5V.high`.
#[must_use]
pub fn target_name(target: &Target) -> String {
    match target {
        Target::Function(id) => id.clone(),
        Target::Rail(rail, RailSide::Whole) => rail.clone(),
        Target::Rail(rail, RailSide::Present) => format!("{rail}.present"),
        Target::Rail(rail, RailSide::High) => format!("{rail}.high"),
    }
}

/// What a thing outside serves: a rail means its `present`.
fn present_name(target: &Target) -> String {
    match target {
        Target::Function(id) => id.clone(),
        Target::Rail(rail, _) => rail.clone(),
    }
}

/// A number that TOML reads back to the same number.
fn number(value: f64) -> String {
    format!("{value:?}")
}

/// A TOML basic string.
pub(crate) fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\n' => quoted.push_str("\\n"),
            '\t' => quoted.push_str("\\t"),
            control if control.is_control() => {
                write!(quoted, "\\u{:04X}", u32::from(control)).expect("a string takes everything");
            }
            other => quoted.push(other),
        }
    }
    quoted.push('"');
    quoted
}

/// A TOML key, bare if it can be.
fn key(text: &str) -> String {
    let bare = |letter: char| letter.is_ascii_alphanumeric() || letter == '-' || letter == '_';
    if !text.is_empty() && text.chars().all(bare) {
        text.to_owned()
    } else {
        quoted(text)
    }
}
