//! The drawer: what was bought, kept or taken out of donors and not fitted yet, and what is on its way.

use std::collections::BTreeMap;

use diagnosis::Holder;
use journal::{Act, Chip, Entry, Line};

use crate::{
    handling::taking_out,
    pile::Place,
    reckon::{Boards, Reckoned},
    words::percent,
    workshop::State,
};

/// Items that fit at a position of a machine, its own device last.
fn fitting(state: &State, boards: &Boards, tag: &str, part: &str) -> Vec<String> {
    let machine = state.pile.machine(tag);
    let board = machine.and_then(|machine| boards.get(&machine.board));
    let Some((board, part)) = board.and_then(|board| Some((board, board.part(part)?))) else {
        return Vec::new();
    };
    let library = &state.folder.library;
    let remedies = library.remedies_for(part.device.as_deref(), &board.id);
    let items = remedies.filter_map(|remedy| remedy.fitted());
    items.chain(&part.device).cloned().collect()
}

/// What is in the drawer, and what is on its way.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Drawer {
    /// By item; never empty lots.
    pub(crate) lots: BTreeMap<String, Vec<Lot>>,
    /// Items still to come, by the line that ordered them.
    pub(crate) coming: BTreeMap<i64, BTreeMap<String, u32>>,
}

/// Some of one item that came together.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Lot {
    pub(crate) count: u32,
    /// Chance that one is good, if it is no matter of course.
    pub(crate) works: Option<f64>,
    /// Where they came from.
    pub(crate) from: String,
    /// The line that brought them.
    pub(crate) line: i64,
}

/// A chip with a mark that sits in no machine.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Loose {
    pub(crate) mark: String,
    /// Machine and position it came from.
    pub(crate) origin: (String, String),
    pub(crate) device: Option<String>,
    /// Chance that it is good now.
    pub(crate) good: f64,
}

impl Drawer {
    /// Plays the lines that hold.
    pub(crate) fn of(state: &State, boards: &Boards) -> Drawer {
        let mut drawer = Drawer::default();
        for entry in state.pile.holding() {
            drawer.play(state, boards, entry);
        }
        drawer.coming.retain(|_, items| {
            items.retain(|_, count| *count > 0);
            !items.is_empty()
        });
        drawer
    }

    fn play(&mut self, state: &State, boards: &Boards, entry: &Entry) {
        match &entry.line {
            Line::Ordered { items, .. } => {
                let coming = self.coming.entry(entry.id).or_default();
                for (item, count) in items {
                    *coming.entry(item.clone()).or_default() += count;
                }
            }
            Line::Received {
                parcel,
                items,
                closed,
            } => {
                let from = parcel_name(state, *parcel);
                for (item, count) in items {
                    let coming = self
                        .coming
                        .get_mut(parcel)
                        .and_then(|items| items.get_mut(item));
                    if let Some(coming) = coming {
                        *coming = coming.saturating_sub(*count);
                    }
                    self.put(item, *count, None, &from, entry.id);
                }
                if *closed {
                    self.coming.remove(parcel);
                }
            }
            Line::Kept {
                item,
                count,
                works,
                note,
            } => {
                let size = u32::try_from(count.unsigned_abs()).unwrap_or(u32::MAX);
                if *count >= 0 {
                    self.put(item, size, *works, note, entry.id);
                } else {
                    self.take(item, size, *works);
                }
            }
            Line::Act {
                done:
                    Act::Fit {
                        part,
                        chip: Chip::New { works },
                        ..
                    },
            } => self.fitted(state, boards, entry, part, *works),
            _ => {}
        }
    }

    fn put(&mut self, item: &str, count: u32, works: Option<f64>, from: &str, line: i64) {
        if count > 0 {
            self.lots.entry(item.to_string()).or_default().push(Lot {
                count,
                works,
                from: from.to_string(),
                line,
            });
        }
    }

    /// Takes some of an item out, those that are good with this chance; says how many could be taken.
    fn take(&mut self, item: &str, count: u32, works: Option<f64>) -> u32 {
        let Some(lots) = self.lots.get_mut(item) else {
            return 0;
        };
        let mut left = count;
        for lot in lots.iter_mut().filter(|lot| same(lot.works, works)) {
            let taken = lot.count.min(left);
            lot.count -= taken;
            left -= taken;
        }
        lots.retain(|lot| lot.count > 0);
        if lots.is_empty() {
            self.lots.remove(item);
        }
        count - left
    }

    /// A part went in: from the drawer if one of its kind is there, else from a parcel that nobody booked in.
    fn fitted(&mut self, state: &State, boards: &Boards, entry: &Entry, part: &str, works: f64) {
        let tag = entry.machine.as_deref().unwrap_or_default();
        let items = fitting(state, boards, tag, part);
        // a chip that may be bad is fitted with its chance said
        for works in [Some(works), None] {
            if items.iter().any(|item| self.take(item, 1, works) == 1) {
                return;
            }
        }
        for coming in self.coming.values_mut() {
            let mut here = items.iter().filter(|item| coming.get(*item) > Some(&0));
            if let Some(count) = here.next().and_then(|item| coming.get_mut(item)) {
                *count -= 1;
                return;
            }
        }
    }

    /// What went out of the drawer, or of a parcel, for a new part at a position; `before` is the drawer before that.
    pub(crate) fn given(
        &self,
        before: &Self,
        state: &State,
        tag: &str,
        part: &str,
    ) -> Option<String> {
        let boards = state.boards().ok()?;
        let items = fitting(state, &boards, tag, part);
        let all = |drawer: &Self, item: &String| -> u32 {
            let lots = drawer.lots.get(item).into_iter().flatten();
            lots.map(|lot| lot.count).sum()
        };
        if let Some(item) = items
            .iter()
            .find(|item| all(self, item) < all(before, item))
        {
            return Some(match all(self, item) {
                0 => format!("The last {item} is out of the drawer."),
                left => format!("One {item} is out of the drawer, {left} left."),
            });
        }
        let coming = before.coming.iter().find_map(|(line, known)| {
            let now = self.coming.get(line);
            let fewer = |item: &&String| known.get(*item) > now.and_then(|now| now.get(*item));
            Some((line, items.iter().find(fewer)?))
        });
        if let Some((line, item)) = coming {
            let parcel = parcel_name(state, *line);
            return Some(format!(
                "One {item} of {parcel} counts as fitted; nobody has booked it in."
            ));
        }
        let doubtful = |item: &&String| !self.doubtful(item).is_empty();
        let item = items.iter().find(doubtful)?;
        let works = self.doubtful(item).first().copied().unwrap_or_default();
        Some(format!(
            "It did not come out of the drawer; the {item} there is good with {}, and is fitted with that chance said.",
            percent(works)
        ))
    }

    /// How many of an item are there for the plan, on their way or in the drawer: sound ones, by the name the plan
    /// uses; those that may be bad under a name of their own.
    pub(crate) fn on_hand(&self) -> BTreeMap<String, u32> {
        let mut on_hand: BTreeMap<String, u32> = BTreeMap::new();
        for (item, lots) in &self.lots {
            for lot in lots {
                *on_hand.entry(named(item, lot.works)).or_default() += lot.count;
            }
        }
        for (item, count) in self.coming.values().flatten() {
            *on_hand.entry(item.clone()).or_default() += count;
        }
        on_hand
    }

    /// How many of an item lie in the drawer.
    pub(crate) fn count(&self, item: &str, works: Option<f64>) -> u32 {
        let lots = self.lots.get(item).map(Vec::as_slice).unwrap_or_default();
        lots.iter()
            .filter(|lot| same(lot.works, works))
            .map(|lot| lot.count)
            .sum()
    }

    /// The chances of doubtful ones of an item.
    pub(crate) fn doubtful(&self, item: &str) -> Vec<f64> {
        let lots = self.lots.get(item).map(Vec::as_slice).unwrap_or_default();
        let mut chances: Vec<f64> = lots.iter().filter_map(|lot| lot.works).collect();
        chances.sort_by(f64::total_cmp);
        chances.dedup();
        chances
    }
}

/// The name under which the plan knows doubtful ones of an item.
pub(crate) fn named(item: &str, works: Option<f64>) -> String {
    match works {
        None => item.to_string(),
        Some(works) => format!("{item} in the drawer, good with {}", percent(works)),
    }
}

/// The name under which the plan knows loose chips out of machines.
pub(crate) fn loose_item(device: &str, grade: &str) -> String {
    format!("{device} in the drawer, {grade}")
}

/// Items that lie in the drawer and nobody sells.
pub(crate) fn is_from_drawer(item: &str) -> bool {
    item.contains(" in the drawer, ")
}

fn same(a: Option<f64>, b: Option<f64>) -> bool {
    match (a, b) {
        (None, None) => true,
        (Some(a), Some(b)) => (a - b).abs() < 1e-9,
        _ => false,
    }
}

/// `parcel A`.
pub(crate) fn parcel_name(state: &State, line: i64) -> String {
    match state.pile.entry(line).map(|entry| &entry.line) {
        Some(Line::Ordered { letter, title, .. }) => format!("parcel {letter}, {title}"),
        _ => "a parcel".to_string(),
    }
}

/// The marked chips that sit in no machine, with the chance that each is good.
pub(crate) fn loose(state: &State, boards: &Boards, now: &Reckoned) -> Vec<Loose> {
    let mut bad: BTreeMap<String, f64> = BTreeMap::new();
    for mode in now.diagnosis.modes() {
        if let Holder::Marked(mark) = mode.holder {
            *bad.entry(mark).or_default() += mode.chance;
        }
    }
    let loose = state
        .pile
        .marks
        .iter()
        .filter(|(_, place)| **place == Place::Loose);
    loose
        .filter_map(|(mark, _)| {
            let origin = state.pile.origins.get(mark)?.clone();
            let machine = state.pile.machine(&origin.0)?;
            let part = boards.get(&machine.board)?.part(&origin.1)?;
            let out = taking_out(&state.folder.library, part).whole;
            let good = (1.0 - bad.get(mark).copied().unwrap_or(0.0)).clamp(0.0, 1.0) * out;
            Some(Loose {
                mark: mark.clone(),
                origin,
                device: part.device.clone(),
                good,
            })
        })
        .collect()
}
