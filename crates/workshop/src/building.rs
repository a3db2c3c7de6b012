//! Boards built at home, as the plan reckons with them: what they need, how many, and what a spare one is worth.

use std::collections::BTreeMap;

use catalogue::Build;
use journal::{Draft, Line};
use planning::{Count, Instance, Plan};

use crate::{
    Error, ErrorKind, Workshop,
    drawer::Drawer,
    folder::Folder,
    offer::can_be_had,
    plan::Core,
    stock::counted_name,
    views::{SumRow, Written},
    words::{listed, minutes, percent, quoted, sentence},
    workshop::{Result, State},
};

impl Workshop {
    /// Writes that boards were built and are good: they go into the drawer, and what was there of their parts goes out.
    ///
    /// # Errors
    /// If no number and board can be read.
    pub fn built(&self, what: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let (count, name) = counted_name(what)?;
        let entries = inner.write(|state| lines(state, count, &name))?;
        let taken = entries.iter().filter_map(|entry| match &entry.line {
            Line::Kept { item, count, .. } if *count < 0 => Some(format!("{} × {item}", -count)),
            _ => None,
        });
        let taken: Vec<String> = taken.collect();
        let parts = match taken.as_slice() {
            [] => "none of their parts was there".to_string(),
            taken => format!("{} taken out for it", listed(taken, "and")),
        };
        Ok(Written {
            lines: entries.iter().map(|entry| entry.id).collect(),
            understood: Vec::new(),
            changed: format!("{count} × {name} built and in the drawer; {parts}."),
        })
    }
}

fn lines(state: &State, count: u32, name: &str) -> Result<Vec<Draft>> {
    let Some(build) = state.folder.library.build(name) else {
        let message = format!("expected a board that can be built, found {}", quoted(name));
        return Err(Error::new(ErrorKind::NotFound, message)
            .hint("boards to build stand in remedies.toml, as `[[build]]`"));
    };
    let drawer = Drawer::of(state, &state.boards()?);
    let draft = |item: &str, count: i64, note: &str| Draft {
        machine: None,
        epoch: 0,
        line: Line::Kept {
            item: item.to_string(),
            count,
            works: None,
            note: note.to_string(),
        },
    };
    let mut drafts = vec![draft(&build.id, i64::from(count), "built at home")];
    for (item, n) in &build.uses {
        let there = drawer.count(item, None).min(n.saturating_mul(count));
        if there > 0 {
            drafts.push(draft(item, -i64::from(there), &format!("for {}", build.id)));
        }
    }
    Ok(drafts)
}

/// The name under which the plan knows boards that are still to be built; a finished one lies in the drawer under the
/// board's own name.
pub(crate) fn made(id: &str) -> String {
    format!("{id} to be built")
}

/// Whether all parts of a board are sold or there.
pub(crate) fn can_be_built(build: &Build, instance: &Instance) -> bool {
    let mut items = build.uses.iter().map(|(item, _)| item);
    items.all(|item| can_be_had(instance, item))
}

/// Adds the board that a remedy asks for to what can be built.
pub(crate) fn add(instance: &mut Instance, folder: &Folder, item: Option<&str>) {
    let id = item.and_then(|item| item.strip_suffix(" to be built"));
    let Some(build) = id.and_then(|id| folder.library.build(id)) else {
        return;
    };
    if instance.builds.iter().any(|known| known.id == build.id) {
        return;
    }
    let uses = build.uses.iter().map(|(item, n)| Count {
        item: item.clone(),
        n: *n,
    });
    instance.builds.push(planning::Build {
        id: build.id.clone(),
        makes: made(&build.id),
        setup_minutes: whole(build.set_up_minutes),
        unit_minutes: whole(build.minutes + build.program_minutes),
        uses: uses.collect(),
    });
}

fn whole(minutes: f64) -> u32 {
    // Minutes of a board lie far below the limit; the cast saturates.
    minutes.max(0.0).round() as u32
}

/// Who needs which items, what is on hand left out.
pub(crate) struct Needs<'i> {
    on_hand: BTreeMap<String, u32>,
    /// Boards that are built and not given to a machine yet, by the item that they are.
    built: BTreeMap<&'i str, (u32, &'i planning::Build)>,
    /// Item to a tag for each unit.
    pub(crate) needers: BTreeMap<String, Vec<String>>,
}

impl<'i> Needs<'i> {
    pub(crate) fn new(instance: &'i Instance, plan: &Plan) -> Needs<'i> {
        let number = |build: &planning::Build| {
            let mut built = plan.builds.iter();
            let own = built.find(|(id, _)| *id == build.id);
            own.map(|(_, number)| *number)
        };
        let built = instance.builds.iter();
        let built = built.filter_map(|build| Some((build.makes.as_str(), (number(build)?, build))));
        Needs {
            on_hand: instance.on_hand.clone(),
            built: built.collect(),
            needers: BTreeMap::new(),
        }
    }

    /// A machine needs one of an item.
    pub(crate) fn add(&mut self, tag: &str, item: &str) {
        if let Some(left) = self.on_hand.get_mut(item).filter(|left| **left > 0) {
            *left -= 1;
            return;
        }
        let build = match self.built.get_mut(item).filter(|(left, _)| *left > 0) {
            Some((left, build)) => {
                *left -= 1;
                *build
            }
            None => {
                let tags = self.needers.entry(item.to_string()).or_default();
                tags.push(tag.to_string());
                return;
            }
        };
        for part in &build.uses {
            for _ in 0..part.n {
                self.add(tag, &part.item);
            }
        }
    }
}

/// What is to be built, a sentence each.
pub(crate) fn to_build(state: &State, core: &Core) -> Vec<SumRow> {
    let rows = core.plan.builds.iter().filter_map(|(id, number)| {
        let build = state.folder.library.build(id)?;
        Some(SumRow {
            amount: format!("{number} ×"),
            text: told(core, build, *number),
        })
    });
    rows.collect()
}

fn told(core: &Core, build: &Build, number: u32) -> String {
    let each = f64::from(number);
    let all = build.set_up_minutes + each * (build.minutes + build.program_minutes);
    let mut parts = Vec::new();
    if build.set_up_minutes > 0.0 {
        parts.push(format!(
            "{} once for the batch",
            minutes(build.set_up_minutes)
        ));
    }
    if build.program_minutes > 0.0 {
        parts.push(format!(
            "{} to program",
            minutes(each * build.program_minutes)
        ));
    }
    let parts = match parts.as_slice() {
        [] => String::new(),
        parts => format!(", of it {}", listed(parts, "and")),
    };
    let uses = build.uses.iter().map(|(item, n)| {
        let title = core.title_of(item);
        format!("{} × {title}", n * number)
    });
    let uses: Vec<String> = uses.collect();
    let good = match number {
        1 => "it is good",
        _ => "each is good",
    };
    sentence(&format!(
        "{}: {}{parts}; takes {}; {good} with {}",
        build.title,
        minutes(all),
        listed(&uses, "and"),
        percent(build.yields)
    ))
}
