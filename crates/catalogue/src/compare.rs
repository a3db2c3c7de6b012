//! What changed between two revisions of a profile.

use std::collections::BTreeSet;

use crate::print::target_name;
use crate::profile::{Check, Function, Mode, Need, Part, Profile, Rail, Tells};

/// One thing that differs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct Difference {
    /// What it is about.
    pub about: About,
    /// Reference, id or name.
    pub name: String,
    /// How it differs.
    pub change: Change,
}

/// What a difference is about, in the order in which they are told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// The board itself.
    Board,
    /// A rail.
    Rail,
    /// A part.
    Part,
    /// An event.
    Event,
    /// A function.
    Function,
    /// A check.
    Check,
    /// A thing outside.
    Outside,
}

/// How something differs.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Change {
    /// Only the new one has it.
    Added,
    /// Only the old one has it.
    Removed,
    /// Both have it, and these are the differences, each a short phrase.
    Changed(Vec<String>),
}

/// All differences from the old profile to the new one.
#[must_use]
pub fn differences(old: &Profile, new: &Profile) -> Vec<Difference> {
    let mut all = Vec::new();
    let mut board = Vec::new();
    said(
        &mut board,
        "unmodelled chance",
        old.unmodelled,
        new.unmodelled,
    );
    said(&mut board, "title", &old.title, &new.title);
    if !board.is_empty() {
        all.push(Difference {
            about: About::Board,
            name: new.id.clone(),
            change: Change::Changed(board),
        });
    }
    let mut each = Each { all: &mut all };
    each.compare(
        About::Rail,
        &old.rails,
        &new.rails,
        |rail| &rail.name,
        rails,
    );
    each.compare(
        About::Part,
        &old.parts,
        &new.parts,
        |part| &part.reference,
        parts,
    );
    each.compare(
        About::Event,
        &old.events,
        &new.events,
        |event| &event.id,
        |old, new| {
            let mut differ = Vec::new();
            said(&mut differ, "chance", old.chance, new.chance);
            if old.causes != new.causes || old.scope != new.scope {
                differ.push("what it strikes".to_owned());
            }
            differ
        },
    );
    each.compare(
        About::Function,
        &old.functions,
        &new.functions,
        |function| &function.id,
        functions,
    );
    each.compare(
        About::Check,
        &old.checks,
        &new.checks,
        |check| &check.id,
        checks,
    );
    each.compare(
        About::Outside,
        &old.outside,
        &new.outside,
        |outside| &outside.id,
        |old, new| {
            let mut differ = Vec::new();
            said(&mut differ, "chance", old.chance, new.chance);
            if old.serves != new.serves {
                differ.push("what it serves".to_owned());
            }
            differ
        },
    );
    all
}

struct Each<'a> {
    all: &'a mut Vec<Difference>,
}

impl Each<'_> {
    fn compare<T: PartialEq>(
        &mut self,
        about: About,
        old: &[T],
        new: &[T],
        name: impl Fn(&T) -> &String,
        differ: impl Fn(&T, &T) -> Vec<String>,
    ) {
        let mut push = |name: &String, change| {
            self.all.push(Difference {
                about,
                name: name.clone(),
                change,
            });
        };
        for one in new {
            match old.iter().find(|other| name(other) == name(one)) {
                None => push(name(one), Change::Added),
                Some(before) if before != one => {
                    let mut differ = differ(before, one);
                    if differ.is_empty() {
                        differ.push("its words".to_owned());
                    }
                    push(name(one), Change::Changed(differ));
                }
                Some(_) => {}
            }
        }
        for gone in old
            .iter()
            .filter(|one| new.iter().all(|other| name(other) != name(one)))
        {
            push(name(gone), Change::Removed);
        }
    }
}

/// Adds `chance 0.1, was 0.2` where the two differ.
fn said<T: PartialEq + std::fmt::Display>(differ: &mut Vec<String>, what: &str, old: T, new: T) {
    if old != new {
        differ.push(format!("{what} {new}, was {old}"));
    }
}

fn or_none(text: &Option<String>) -> &str {
    text.as_deref().unwrap_or("none")
}

fn rails(old: &Rail, new: &Rail) -> Vec<String> {
    let mut differ = Vec::new();
    said(&mut differ, "volts", old.volts, new.volts);
    said(&mut differ, "tolerance", old.tolerance, new.tolerance);
    said(
        &mut differ,
        "fed by",
        old.fed_by.join(", "),
        new.fed_by.join(", "),
    );
    differ
}

fn parts(old: &Part, new: &Part) -> Vec<String> {
    let mut differ = Vec::new();
    said(
        &mut differ,
        "device",
        or_none(&old.device),
        or_none(&new.device),
    );
    said(&mut differ, "block", &old.block, &new.block);
    if old.mount != new.mount {
        differ.push("how it sits".to_owned());
    }
    if old.optional != new.optional {
        differ.push("whether the board works without it".to_owned());
    }
    for mode in &new.modes {
        match old.mode(&mode.id) {
            None => differ.push(format!("mode `{}` is new", mode.id)),
            Some(before) => differ.extend(modes(before, mode)),
        }
    }
    for mode in old.modes.iter().filter(|mode| new.mode(&mode.id).is_none()) {
        differ.push(format!("mode `{}` is gone", mode.id));
    }
    differ
}

fn modes(old: &Mode, new: &Mode) -> Option<String> {
    let mut differ = Vec::new();
    said(&mut differ, "chance", old.chance, new.chance);
    if old.spoils != new.spoils {
        differ.push("what it spoils".to_owned());
    }
    if old.spares != new.spares {
        differ.push("what it spares".to_owned());
    }
    if (old.shows, old.after_minutes) != (new.shows, new.after_minutes) {
        differ.push("when it shows".to_owned());
    }
    if old.cured_by != new.cured_by {
        differ.push("what cures it".to_owned());
    }
    (!differ.is_empty()).then(|| format!("mode `{}`: {}", new.id, differ.join(", ")))
}

fn functions(old: &Function, new: &Function) -> Vec<String> {
    let mut differ = Vec::new();
    let names = |function: &Function| -> BTreeSet<String> {
        function.needs.iter().map(need_name).collect()
    };
    let (before, after) = (names(old), names(new));
    let list = |names: Vec<&String>| {
        names
            .into_iter()
            .map(String::as_str)
            .collect::<Vec<_>>()
            .join(", ")
    };
    let gained: Vec<&String> = after.difference(&before).collect();
    let lost: Vec<&String> = before.difference(&after).collect();
    if !gained.is_empty() {
        differ.push(format!("needs {} too", list(gained)));
    }
    if !lost.is_empty() {
        differ.push(format!("no longer needs {}", list(lost)));
    }
    if before == after && old.needs != new.needs {
        differ.push("chances of what it needs".to_owned());
    }
    said(&mut differ, "leak", old.leak, new.leak);
    differ
}

fn need_name(need: &Need) -> String {
    match need {
        Need::Part(part) => part.clone(),
        Need::Mode { part, mode, .. } => format!("{part}.{mode}"),
        Need::Target { target, .. } => target_name(target),
    }
}

fn checks(old: &Check, new: &Check) -> Vec<String> {
    let mut differ = Vec::new();
    said(&mut differ, "minutes", old.minutes, new.minutes);
    let limits = |check: &Check| {
        check
            .limits
            .map_or_else(|| "none".to_owned(), |limits| limits.to_string())
    };
    said(&mut differ, "limits", limits(old), limits(new));
    let has = |check: &Check, id: &str| check.outcomes.iter().any(|outcome| outcome.id == id);
    for outcome in new.outcomes.iter().filter(|outcome| !has(old, &outcome.id)) {
        differ.push(format!("outcome `{}` is new", outcome.id));
    }
    for outcome in old.outcomes.iter().filter(|outcome| !has(new, &outcome.id)) {
        differ.push(format!("outcome `{}` is gone", outcome.id));
    }
    match (&old.tells, &new.tells) {
        (Tells::Target { target: before, .. }, Tells::Target { target: after, .. })
            if before != after =>
        {
            differ.push(format!(
                "tells of {}, was {}",
                target_name(after),
                target_name(before)
            ));
        }
        (before, after) if before != after => differ.push("how far it can be trusted".to_owned()),
        _ => {}
    }
    said(&mut differ, "blunder", old.blunder, new.blunder);
    if old.requires != new.requires {
        differ.push("what it cannot be done without".to_owned());
    }
    if old.set_up != new.set_up {
        differ.push("its set-up".to_owned());
    }
    if old.at != new.at {
        differ.push("where to probe".to_owned());
    }
    if old.harms != new.harms {
        differ.push("what it may harm".to_owned());
    }
    differ
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{Library, parse_profile};

    const OLD: &str = "[board]\nid = 'b'\nderive = false\n[[block]]\nid = 'm'\n[[part]]\nref = 'U1'\nblock = 'm'\nmode = [{ id = 'dead', chance = 0.1 }]\n[[part]]\nref = 'U2'\nblock = 'm'\nmode = [{ id = 'dead', chance = 0.1 }]\n[[function]]\nid = 'f'\nneeds = ['U1', 'U2']\n[[check]]\nid = 'c'\ntitle = 'C'\nhow = 'Look.'\ntells = 'f'\n";

    fn check(from: &str, to: &str, expect: &[&str]) {
        let read = |text: &str| {
            parse_profile(text, "b.toml", Library::built_in())
                .unwrap_or_else(|problems| panic!("{}", problems[0]))
        };
        assert!(OLD.contains(from), "{from}");
        let told = differences(&read(OLD), &read(&OLD.replacen(from, to, 1)));
        let told: Vec<String> = told
            .iter()
            .map(|one| match &one.change {
                Change::Added => format!("{} added", one.name),
                Change::Removed => format!("{} removed", one.name),
                Change::Changed(how) => format!("{}: {}", one.name, how.join("; ")),
            })
            .collect();
        assert_eq!(told, expect, "{to}");
    }

    #[test]
    fn each_difference_is_told() {
        check("", "", &[]);
        check(
            "id = 'dead', chance = 0.1",
            "id = 'dead', chance = 0.2",
            &["U1: mode `dead`: chance 0.2, was 0.1"],
        );
        check(
            "id = 'dead', chance",
            "id = 'weak', chance",
            &["U1: mode `weak` is new; mode `dead` is gone"],
        );
        check(
            "ref = 'U1'",
            "ref = 'U1'\ndevice = 'x'\nmount = 'socket'",
            &["U1: device x, was none; how it sits; mode `joint`: what cures it"],
        );
        check("['U1', 'U2']", "['U1']", &["f: no longer needs U2"]);
        check(
            "id = 'f'\n",
            "id = 'f'\nleak = 0.1\n",
            &["f: leak 0.1, was 0"],
        );
        check("id = 'c'\n", "id = 'd'\n", &["d added", "c removed"]);
        check("'Look.'", "'Look well.'", &["c: its words"]);
        check(
            "'Look.'\n",
            "'Look.'\nminutes = 9\nset_up = ['lid-off']\n",
            &["c: minutes 9, was 1; its set-up"],
        );
        check(
            "tells = 'f'\n",
            "outcomes = { a = 'a', pass = 'p' }\ntells = [{ fails = 'f', shows = { a = 1 } }, { otherwise = true, shows = { pass = 1 } }]\n",
            &["c: outcome `a` is new; outcome `fail` is gone; how far it can be trusted"],
        );
        check(
            "id = 'b'\n",
            "id = 'b'\nunmodelled = 0.2\n",
            &["b: unmodelled chance 0.2, was 0.05"],
        );
    }
}
