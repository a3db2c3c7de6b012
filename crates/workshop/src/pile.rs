//! The pile as the journal's lines make it.

use std::collections::{BTreeMap, BTreeSet};

use journal::{Act, Chip, Entry, Line, Places, Truth};

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
    pub(crate) limits: Limits,
    /// Numbers of the lines of parcels ordered.
    pub(crate) ordered: Vec<i64>,
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
    /// Acts so far.
    pub(crate) epoch: u32,
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
                    came_empty: empty.clone(),
                    empty: empty.iter().cloned().collect(),
                    lines: vec![index],
                    ..Machine::default()
                });
                Ok(())
            }
            Line::Finding { .. } => self.on_machine(index, entry).map(|_| ()),
            Line::Settled { truth } => {
                self.on_machine(index, entry)?.settled = Some(truth.clone());
                Ok(())
            }
            Line::Act { done } => {
                let machine = self.on_machine(index, entry)?;
                machine.epoch += 1;
                machine.settled = None;
                let tag = machine.tag.clone();
                self.act(&tag, done)
            }
            Line::Limits { money, evenings } => {
                self.limits = Limits {
                    money: money.clone(),
                    evenings: *evenings,
                };
                Ok(())
            }
            Line::Ordered { .. } => {
                self.ordered.push(entry.id);
                Ok(())
            }
            Line::TakenBack { .. } => Ok(()),
        }
    }

    fn on_machine(&mut self, index: usize, entry: &Entry) -> Result<&mut Machine, String> {
        let tag = entry.machine.as_deref().unwrap_or_default();
        let machine = self.machines.iter_mut().find(|machine| machine.tag == tag);
        let machine = machine.ok_or_else(|| format!("{tag} is not taken in"))?;
        machine.lines.push(index);
        Ok(machine)
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
            Act::Reseat(_) | Act::Resolder(_) | Act::Clean(_) => Ok(()),
        }
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
        let Some(machine) = self.machines.iter_mut().find(|machine| machine.tag == tag) else {
            return Err(format!("{tag} is not taken in"));
        };
        if !machine.empty.insert(part.to_string()) {
            return Err(format!("{part} of {tag} is empty"));
        }
        let own = machine.marked.remove(part);
        if let (Some(own), Some(mark)) = (&own, mark)
            && own != mark
        {
            return Err(format!("that chip has the mark `{own}` already"));
        }
        if let Some(mark) = own.or_else(|| mark.map(str::to_string)) {
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
mod tests {
    use super::*;
    use journal::{Shown, Supply};

    fn entries(lines: &[(&str, Line)]) -> Vec<Entry> {
        let time: jiff::ZonedDateTime = "2026-11-12T19:00:00+01:00[Europe/Berlin]".parse().unwrap();
        let entry = |(id, (tag, line)): (i64, &(&str, Line))| Entry {
            id,
            batch: id,
            time: time.clone(),
            who: "Ines".to_string(),
            machine: (!tag.is_empty()).then(|| (*tag).to_string()),
            epoch: 0,
            line: line.clone(),
        };
        (1..).zip(lines).map(entry).collect()
    }

    fn machine() -> Line {
        Line::TakenIn {
            lot: "L-01".to_string(),
            board: "b".to_string(),
            paid: "30.00".to_string(),
            empty: vec!["U9".to_string()],
            events: Vec::new(),
        }
    }

    fn finding() -> Line {
        Line::Finding {
            check: "picture".to_string(),
            text: "black".to_string(),
            shown: Shown::Outcome("black".to_string()),
            supply: Supply::Usual,
            minutes_on: None,
        }
    }

    fn pull(part: &str, mark: Option<&str>) -> Line {
        Line::Act {
            done: Act::Pull {
                part: part.to_string(),
                mark: mark.map(str::to_string),
            },
        }
    }

    fn fit(part: &str, mark: &str) -> Line {
        let chip = Chip::Marked(mark.to_string());
        Line::Act {
            done: Act::Fit {
                part: part.to_string(),
                chip,
                old_mark: None,
            },
        }
    }

    fn back(line: i64) -> Line {
        Line::TakenBack { line }
    }

    fn check(lines: &[(&str, Line)], problems: &[&str]) -> Pile {
        let pile = Pile::of(entries(lines));
        let found: Vec<&str> = pile
            .problems
            .iter()
            .map(|problem| problem.what.as_str())
            .collect();
        assert_eq!(found, problems);
        pile
    }

    #[test]
    fn chips_go_where_they_are_put() {
        let pile = check(
            &[
                ("T-01", machine()),
                ("T-02", machine()),
                ("T-01", pull("U1", Some("dot"))),
                ("T-02", fit("U9", "dot")),
            ],
            &[],
        );
        assert_eq!(
            pile.marks["dot"],
            Place::In {
                machine: "T-02".to_string(),
                part: "U9".to_string()
            }
        );
        assert!(pile.machine("T-02").unwrap().empty.is_empty());
        assert_eq!(pile.machine("T-01").unwrap().epoch, 1);
    }

    #[test]
    fn contradictions_are_named() {
        check(
            &[("T-01", machine()), ("T-01", pull("U9", None))],
            &["U9 of T-01 is empty"],
        );
        check(
            &[("T-01", machine()), ("T-01", fit("U9", "dot"))],
            &["no chip is marked `dot`"],
        );
        check(&[("T-02", finding())], &["T-02 is not taken in"]);
        check(
            &[("T-01", machine()), ("T-01", machine())],
            &["T-01 is there already"],
        );
        check(
            &[
                ("T-01", machine()),
                ("T-01", pull("U1", Some("dot"))),
                ("T-01", pull("U2", Some("dot"))),
            ],
            &["the mark `dot` is on another chip"],
        );
    }

    #[test]
    fn a_line_taken_back_does_not_count() {
        let lines = [
            ("T-01", machine()),
            ("T-01", pull("U1", Some("dot"))),
            ("T-02", machine()),
            ("T-02", fit("U9", "dot")),
        ];
        let with = |more: &[Line]| {
            let more: Vec<(&str, Line)> = more.iter().map(|line| ("", line.clone())).collect();
            [lines.to_vec(), more].concat()
        };
        check(&with(&[back(2)]), &["no chip is marked `dot`"]);
        check(&with(&[back(2), back(5)]), &[]);
        check(&with(&[back(4), back(2)]), &[]);
    }

    #[test]
    fn tags_are_in_their_order() {
        let pile = check(
            &[("T-10", machine()), ("T-9", machine()), ("A", machine())],
            &[],
        );
        let tags: Vec<&str> = pile
            .machines
            .iter()
            .map(|machine| machine.tag.as_str())
            .collect();
        assert_eq!(tags, ["A", "T-9", "T-10"]);
        assert_eq!(tag_parts("T-07"), Some(("T-", 7, 2)));
        assert_eq!(tag_parts("ü7"), Some(("ü", 7, 1)));
        assert_eq!(tag_parts("T"), None);
    }
}
