//! The pile as the journal's lines make it.

use std::collections::{BTreeMap, BTreeSet};

use journal::{Act, Chip, Entry, Line, Places, Supply, Truth};

/// What stands after all lines.
#[derive(Debug, Clone, Default)]
pub(crate) struct Pile {
    pub(crate) entries: Vec<Entry>,
    /// A line that does not hold, and the line that took it back.
    pub(crate) taken_back: BTreeMap<i64, i64>,
    pub(crate) lots: BTreeMap<String, Lot>,
    /// In the order of tags.
    pub(crate) machines: Vec<Machine>,
    /// Marks and where their chips are.
    pub(crate) marks: BTreeMap<String, Place>,
    /// Machine and position that a marked chip came from.
    pub(crate) origins: BTreeMap<String, (String, String)>,
    pub(crate) limits: Limits,
    pub(crate) pinned: Pinned,
    /// Numbers of the lines of parcels ordered.
    pub(crate) ordered: Vec<i64>,
    /// What is wanted for the drawer, and how many.
    pub(crate) wishes: BTreeMap<String, u32>,
    /// Lines that contradict those before them.
    pub(crate) problems: Vec<Problem>,
}

/// A line that contradicts those before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Problem {
    pub(crate) line: i64,
    pub(crate) what: String,
}

/// Machines bought together.
#[derive(Debug, Clone, Default)]
pub(crate) struct Lot {
    pub(crate) events: Vec<String>,
}

/// A machine on hand.
#[derive(Debug, Clone, Default)]
pub(crate) struct Machine {
    pub(crate) tag: String,
    pub(crate) lot: String,
    pub(crate) board: String,
    pub(crate) paid: String,
    pub(crate) events: Vec<String>,
    /// Positions without a chip at take-in.
    pub(crate) came_empty: Vec<String>,
    /// Positions without a chip now.
    pub(crate) empty: BTreeSet<String>,
    /// Marks of the chips in positions.
    pub(crate) marked: BTreeMap<String, String>,
    /// Chips that other positions lost to this one by a swap: position here, then machine and position they came from.
    pub(crate) guests: BTreeMap<String, (String, String)>,
    /// A good board in which chips of the pile are tried.
    pub(crate) mule: bool,
    /// Put away: neither the bench plan nor the plan speaks of it.
    pub(crate) shelved: bool,
    /// Said to be switched on, with this supply.
    pub(crate) powered: Option<Supply>,
    /// Acts so far.
    pub(crate) epoch: u32,
    /// Number of the line that opened the present epoch; 0 if none did.
    pub(crate) opened: i64,
    /// The truth found out, if nothing was done since.
    pub(crate) settled: Option<Truth>,
    /// Indices of the lines that hold for it.
    pub(crate) lines: Vec<usize>,
}

/// Where a marked chip is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Place {
    Loose,
    In { machine: String, part: String },
}

/// What the plan may spend.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Limits {
    pub(crate) money: Option<String>,
    pub(crate) evenings: Option<f64>,
    pub(crate) working: Option<f64>,
}

/// What is settled before the plan is made, as it was typed.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Pinned {
    pub(crate) pins: Vec<String>,
    pub(crate) without: Vec<String>,
}

impl Pile {
    /// Plays all lines.
    pub(crate) fn of(entries: Vec<Entry>) -> Pile {
        let mut pile = Pile {
            taken_back: taken_back(&entries),
            ..Pile::default()
        };
        for (index, entry) in entries.iter().enumerate() {
            if pile.taken_back.contains_key(&entry.id) {
                continue;
            }
            if let Err(what) = pile.play(index, entry) {
                pile.problems.push(Problem {
                    line: entry.id,
                    what,
                });
            }
        }
        pile.machines
            .sort_by_cached_key(|machine| order(&machine.tag));
        pile.entries = entries;
        pile
    }

    /// The pile with more lines.
    pub(crate) fn with(&self, more: impl IntoIterator<Item = Entry>) -> Pile {
        Pile::of(self.entries.iter().cloned().chain(more).collect())
    }

    /// Number of the last line.
    pub(crate) fn last(&self) -> i64 {
        self.entries.last().map_or(0, |entry| entry.id)
    }

    /// Machines to be mended: neither the mule nor put away.
    pub(crate) fn on_bench(&self) -> impl Iterator<Item = &Machine> {
        self.machines.iter().filter(|machine| machine.on_bench())
    }

    /// Where a position's own chip is, if a swap took it to another position.
    pub(crate) fn guest_at(&self, tag: &str, part: &str) -> Option<(&str, &str)> {
        self.machines.iter().find_map(|machine| {
            let (here, _) = machine
                .guests
                .iter()
                .find(|(_, home)| home.0 == tag && home.1 == part)?;
            Some((machine.tag.as_str(), here.as_str()))
        })
    }

    /// The machine with this tag.
    pub(crate) fn machine(&self, tag: &str) -> Option<&Machine> {
        self.machines.iter().find(|machine| machine.tag == tag)
    }

    /// The line with this number.
    pub(crate) fn entry(&self, id: i64) -> Option<&Entry> {
        let index = self
            .entries
            .binary_search_by_key(&id, |entry| entry.id)
            .ok()?;
        self.entries.get(index)
    }

    /// The lines that hold for a machine, oldest first.
    pub(crate) fn lines<'p>(
        &'p self,
        machine: &'p Machine,
    ) -> impl DoubleEndedIterator<Item = &'p Entry> + 'p {
        machine
            .lines
            .iter()
            .filter_map(|&index| self.entries.get(index))
    }

    /// The lines that hold, oldest first.
    pub(crate) fn holding(&self) -> impl DoubleEndedIterator<Item = &Entry> {
        self.entries.iter().filter(|entry| {
            !self.taken_back.contains_key(&entry.id)
                && !matches!(entry.line, Line::TakenBack { .. })
        })
    }

    fn play(&mut self, index: usize, entry: &Entry) -> Result<(), String> {
        match &entry.line {
            Line::Lot { lot, events, .. } => {
                let new = Lot {
                    events: events.clone(),
                };
                match self.lots.insert(lot.clone(), new) {
                    None => Ok(()),
                    Some(_) => Err(format!("the lot {lot} is there already")),
                }
            }
            Line::TakenIn {
                lot,
                board,
                paid,
                empty,
                events,
                mule,
            } => {
                let tag = entry.machine.clone().unwrap_or_default();
                if self.machine(&tag).is_some() {
                    return Err(format!("{tag} is there already"));
                }
                self.machines.push(Machine {
                    tag,
                    lot: lot.clone(),
                    board: board.clone(),
                    paid: paid.clone(),
                    events: events.clone(),
                    mule: *mule,
                    came_empty: empty.clone(),
                    empty: empty.iter().cloned().collect(),
                    lines: vec![index],
                    ..Machine::default()
                });
                Ok(())
            }
            Line::Finding { .. } => self.on_machine(index, entry).map(|_| ()),
            Line::Power { on, supply } => {
                self.on_machine(index, entry)?.powered = on.then_some(*supply);
                Ok(())
            }
            Line::Shelved { away } => {
                let machine = self.on_machine(index, entry)?;
                match (machine.mule, machine.shelved == *away) {
                    (true, _) => return Err("the mule stays on the bench".to_string()),
                    (false, true) => {
                        let place = if *away { "the shelf" } else { "the bench" };
                        return Err(format!("{} is on {place} already", machine.tag));
                    }
                    (false, false) => machine.shelved = *away,
                }
                Ok(())
            }
            Line::Settled { truth } => {
                self.on_machine(index, entry)?.settled = Some(truth.clone());
                Ok(())
            }
            Line::Act { done } => {
                let machine = self.on_machine(index, entry)?;
                machine.begin_epoch(entry.id);
                let tag = machine.tag.clone();
                if let Act::Swap { with, .. } = done
                    && *with != tag
                {
                    let other = self.machine_mut(with)?;
                    other.lines.push(index);
                    other.begin_epoch(entry.id);
                }
                self.act(&tag, done)
            }
            Line::Limits {
                money,
                evenings,
                working,
            } => {
                self.limits = Limits {
                    money: money.clone(),
                    evenings: *evenings,
                    working: *working,
                };
                Ok(())
            }
            Line::Pinned { pins, without } => {
                self.pinned = Pinned {
                    pins: pins.clone(),
                    without: without.clone(),
                };
                Ok(())
            }
            Line::Ordered { items, .. } => {
                self.ordered.push(entry.id);
                for (item, count) in items {
                    if let Some(wished) = self.wishes.get_mut(item) {
                        *wished = wished.saturating_sub(*count);
                    }
                }
                self.wishes.retain(|_, count| *count > 0);
                Ok(())
            }
            Line::Wish { item, count } => {
                self.wishes.insert(item.clone(), *count);
                self.wishes.retain(|_, count| *count > 0);
                Ok(())
            }
            Line::Received { parcel, .. } if !self.ordered.contains(parcel) => {
                Err(format!("line {parcel} orders no parcel"))
            }
            Line::Received { .. }
            | Line::Offers { .. }
            | Line::Kept { .. }
            | Line::TakenBack { .. } => Ok(()),
        }
    }

    fn on_machine(&mut self, index: usize, entry: &Entry) -> Result<&mut Machine, String> {
        let tag = entry.machine.as_deref().unwrap_or_default();
        let machine = self.machine_mut(tag)?;
        machine.lines.push(index);
        Ok(machine)
    }

    fn machine_mut(&mut self, tag: &str) -> Result<&mut Machine, String> {
        let machine = self.machines.iter_mut().find(|machine| machine.tag == tag);
        machine.ok_or_else(|| format!("{tag} is not taken in"))
    }

    fn act(&mut self, tag: &str, act: &Act) -> Result<(), String> {
        match act {
            Act::Pull { part, mark } => self.take_out(tag, part, mark.as_deref()),
            Act::Fit {
                part,
                chip,
                old_mark,
            } => {
                let empty = self
                    .machine(tag)
                    .is_some_and(|machine| machine.empty.contains(part));
                match (empty, old_mark) {
                    (false, _) => self.take_out(tag, part, old_mark.as_deref())?,
                    (true, Some(mark)) => {
                        return Err(format!(
                            "{part} of {tag} is empty, so nothing comes out to be marked `{mark}`"
                        ));
                    }
                    (true, None) => {}
                }
                self.put_in(tag, part, chip)
            }
            Act::Reseat(Places::Parts(parts)) => {
                let machine = self.machine(tag);
                let empty = parts
                    .iter()
                    .find(|part| machine.is_some_and(|machine| machine.empty.contains(*part)));
                empty.map_or(Ok(()), |part| Err(format!("{part} of {tag} is empty")))
            }
            Act::Swap { part, with, there } => self.swap((tag, part), (with, there)),
            Act::Strip { chips } => {
                for (part, mark) in chips {
                    self.take_out(tag, part, Some(mark))?;
                }
                self.machine_mut(tag)?.shelved = true;
                Ok(())
            }
            Act::Mend { .. } | Act::Reseat(_) | Act::Resolder(_) | Act::Clean(_) => Ok(()),
        }
    }

    /// What two positions hold changes places, marks and all; one of them may be empty.
    fn swap(&mut self, a: (&str, &str), b: (&str, &str)) -> Result<(), String> {
        if a == b {
            return Err(format!(
                "{} of {} cannot change places with itself",
                a.1, a.0
            ));
        }
        let from_a = self.lift(a)?;
        let from_b = self.lift(b)?;
        if from_a.is_none() && from_b.is_none() {
            return Err(format!(
                "{} of {} and {} of {} are both empty",
                a.1, a.0, b.1, b.0
            ));
        }
        for (chip, at) in [(from_a, b), (from_b, a)] {
            if let Some(chip) = chip {
                self.set_down(chip, at)?;
            }
        }
        Ok(())
    }

    /// Takes out what a position holds, if it holds anything.
    fn lift(&mut self, (tag, part): (&str, &str)) -> Result<Option<Lifted>, String> {
        let machine = self.machine_mut(tag)?;
        if !machine.empty.insert(part.to_string()) {
            return Ok(None);
        }
        let home = machine.guests.remove(part);
        Ok(Some(Lifted {
            home: home.unwrap_or_else(|| (tag.to_string(), part.to_string())),
            mark: machine.marked.remove(part),
        }))
    }

    fn set_down(&mut self, chip: Lifted, (tag, part): (&str, &str)) -> Result<(), String> {
        if let Some(mark) = &chip.mark {
            let place = Place::In {
                machine: tag.to_string(),
                part: part.to_string(),
            };
            self.marks.insert(mark.clone(), place);
        }
        let machine = self.machine_mut(tag)?;
        machine.empty.remove(part);
        if let Some(mark) = chip.mark {
            machine.marked.insert(part.to_string(), mark);
        }
        if (chip.home.0.as_str(), chip.home.1.as_str()) != (tag, part) {
            machine.guests.insert(part.to_string(), chip.home);
        }
        Ok(())
    }

    fn take_out(&mut self, tag: &str, part: &str, mark: Option<&str>) -> Result<(), String> {
        if let Some(mark) = mark
            && self.marks.contains_key(mark)
            && self
                .machine(tag)
                .and_then(|machine| machine.marked.get(part))
                .is_none_or(|own| own != mark)
        {
            return Err(format!("the mark `{mark}` is on another chip"));
        }
        let machine = self.machine_mut(tag)?;
        if !machine.empty.insert(part.to_string()) {
            return Err(format!("{part} of {tag} is empty"));
        }
        let home = machine.guests.remove(part);
        let own = machine.marked.remove(part);
        if let (Some(own), Some(mark)) = (&own, mark)
            && own != mark
        {
            return Err(format!("that chip has the mark `{own}` already"));
        }
        if let Some(mark) = own.or_else(|| mark.map(str::to_string)) {
            let home = home.unwrap_or_else(|| (tag.to_string(), part.to_string()));
            self.origins.entry(mark.clone()).or_insert(home);
            self.marks.insert(mark, Place::Loose);
        }
        Ok(())
    }

    fn put_in(&mut self, tag: &str, part: &str, chip: &Chip) -> Result<(), String> {
        if let Chip::Marked(mark) = chip {
            match self.marks.get(mark) {
                Some(Place::Loose) => {}
                Some(Place::In { machine, part }) => {
                    return Err(format!(
                        "the chip marked `{mark}` sits in {part} of {machine}"
                    ));
                }
                None => return Err(format!("no chip is marked `{mark}`")),
            }
            self.marks.insert(
                mark.clone(),
                Place::In {
                    machine: tag.to_string(),
                    part: part.to_string(),
                },
            );
        }
        if let Some(machine) = self.machines.iter_mut().find(|machine| machine.tag == tag) {
            machine.empty.remove(part);
            if let Chip::Marked(mark) = chip {
                machine.marked.insert(part.to_string(), mark.clone());
            }
        }
        Ok(())
    }
}

/// A chip between two positions.
struct Lifted {
    /// Machine and position it came from first.
    home: (String, String),
    mark: Option<String>,
}

impl Machine {
    /// To be mended: neither the mule nor put away.
    pub(crate) fn on_bench(&self) -> bool {
        !self.mule && !self.shelved
    }

    fn begin_epoch(&mut self, line: i64) {
        self.epoch += 1;
        self.opened = line;
        self.settled = None;
        self.powered = None;
    }
}

/// Which lines are taken back; a taking back can be taken back too.
fn taken_back(entries: &[Entry]) -> BTreeMap<i64, i64> {
    let mut taken_back = BTreeMap::new();
    for entry in entries.iter().rev() {
        if let Line::TakenBack { line } = entry.line
            && !taken_back.contains_key(&entry.id)
        {
            taken_back.insert(line, entry.id);
        }
    }
    taken_back
}

/// Splits `T-07` into `T-` and 7 and the width of its figures.
pub(crate) fn tag_parts(tag: &str) -> Option<(&str, u64, usize)> {
    let start = tag.rfind(|c: char| !c.is_ascii_digit()).map_or(0, |at| {
        at + tag[at..].chars().next().map_or(1, char::len_utf8)
    });
    let (prefix, figures) = tag.split_at(start);
    Some((prefix, figures.parse().ok()?, figures.len()))
}

fn order(tag: &str) -> (String, u64, String) {
    let (prefix, number, _) = tag_parts(tag).unwrap_or((tag, 0, 0));
    (prefix.to_string(), number, tag.to_string())
}

#[cfg(test)]
#[path = "pile_tests.rs"]
mod tests;
