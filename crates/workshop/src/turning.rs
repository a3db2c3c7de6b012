//! What would change the order: prices at which it turns, parcels that do not come, vendors left out.

use std::{sync::OnceLock, time::Instant};

use journal::Line;
use purchasing::{Turn, Vendor};
use units::Currency;

use crate::{
    PlanLimits, Workshop,
    drawer::Drawer,
    offers::{price, vendor, vendor_title},
    plan::{Core, full, patience, patient},
    views::{SumRow, Written},
    words::{coins, counted, listed, sentence},
    workshop::{Result, State, date},
};

/// Offers of which it is asked at which price the order turns.
const MOST_TURNS: usize = 40;
/// It is asked no longer than this part of the time that a page has.
const PART: u32 = 4;

/// Prices at which the order turns, reckoned when they are first asked for, and how many offers there was no time for.
#[derive(Debug, Clone, Default)]
pub(crate) struct Turns(OnceLock<(Vec<Turn>, usize)>);

impl Workshop {
    /// Leaves a vendor out of plan and order from here on, or takes him back in.
    ///
    /// # Errors
    /// If there is no such vendor.
    pub fn leave_out(&self, typed: &str, out: bool) -> Result<Written> {
        let inner = self.fresh()?;
        let state = inner.state();
        let found = vendor(&state, typed)?;
        let (id, title) = (found.id.clone(), vendor_title(found));
        if state.pile.pinned.without.contains(&id) == out {
            let changed = if out {
                format!("{title} is left out already.")
            } else {
                format!("{title} is asked already.")
            };
            return Ok(Written {
                lines: Vec::new(),
                understood: Vec::new(),
                changed,
            });
        }
        drop(inner);
        let mut limits = PlanLimits::default();
        match out {
            true => limits.without.push(id),
            false => limits.with.push(id),
        }
        self.limit(&limits)?;
        let line = self.fresh()?.state().pile.last();
        let changed = if out {
            format!("{title} is left out of plan and order.")
        } else {
            format!("{title} is asked again.")
        };
        Ok(Written {
            lines: vec![line],
            understood: Vec::new(),
            changed,
        })
    }
}

/// The prices at which the order turns, and how many offers were not looked at for want of time.
fn turns<'c>(state: &State, core: &'c Core) -> &'c (Vec<Turn>, usize) {
    core.turns.0.get_or_init(|| {
        let (started, most) = (Instant::now(), patience(state) / PART);
        let full = full(core);
        let asked = purchasing::turning_offers(&full, &core.parcels);
        let mut found = Vec::new();
        for (at, index) in asked.iter().take(MOST_TURNS).enumerate() {
            if started.elapsed() >= most {
                return (found, asked.len() - at);
            }
            found.extend(purchasing::turn(&full, &core.parcels, &patient(), *index));
        }
        (found, asked.len().saturating_sub(MOST_TURNS))
    })
}

/// Each of these prices in a sentence: lines that are ordered first, then what would be taken instead.
pub(crate) fn turn_rows(state: &State, core: &Core) -> Vec<SumRow> {
    let row = |turn: &Turn| {
        let vendor = state
            .folder
            .vendors
            .iter()
            .find(|one| one.id == turn.vendor)?;
        let at = price(turn.at?, vendor);
        let now = price(turn.each, vendor);
        let name = title(state, turn);
        let seller = vendor_title(vendor);
        let text = if turn.quantity > 0 {
            format!("{name} at {seller}, {now} now: up to here the choice stays")
        } else {
            format!("{name} at {seller}, {now} now: from here down it would be taken")
        };
        Some(SumRow {
            amount: at,
            text: sentence(&text),
        })
    };
    let (found, left) = turns(state, core);
    let mut rows: Vec<SumRow> = found.iter().filter_map(row).collect();
    if *left > 0 {
        rows.push(SumRow {
            amount: String::new(),
            text: format!(
                "Not looked at for want of time: the prices of {}; those of the lines that are ordered come first.",
                counted(*left, "other offer", "other offers")
            ),
        });
    }
    rows
}

/// `Up to 27.39 the choice stays.`
pub(crate) fn stays(state: &State, core: &Core, vendor: &Vendor, item: &str) -> Option<String> {
    let mut turns = turns(state, core).0.iter();
    let turn =
        turns.find(|turn| turn.vendor == vendor.id && turn.item == item && turn.quantity > 0)?;
    Some(match turn.at {
        Some(at) => format!("Up to {} the choice stays.", price(at, vendor)),
        None => "Nobody else sells it.".to_string(),
    })
}

fn title(state: &State, turn: &Turn) -> String {
    let mut offers = state.folder.offers.iter();
    let offer = offers.find(|offer| offer.vendor == turn.vendor && offer.item == turn.item);
    offer.map_or_else(|| turn.item.clone(), |offer| offer.title.clone())
}

/// What hangs on each parcel that is to be ordered: the machines it holds up, and what they are worth more when mended.
pub(crate) fn late_rows(
    core: &Core,
    waiting: &[(String, Vec<String>)],
    currency: Currency,
) -> Vec<SumRow> {
    let worth = core.sums().worth_of;
    let mut rows = Vec::new();
    for (parcel, tags) in waiting.iter().filter(|(_, tags)| !tags.is_empty()) {
        let gain: i64 = tags
            .iter()
            .filter_map(|tag| {
                let machine = core
                    .offered
                    .instance
                    .machines
                    .iter()
                    .find(|one| one.id == *tag)?;
                Some(worth.get(tag)? - machine.hold_value)
            })
            .sum();
        if gain > 0 {
            let verb = if tags.len() == 1 { "waits" } else { "wait" };
            rows.push(SumRow {
                amount: coins(gain, currency),
                text: sentence(&format!(
                    "{parcel}: while it is late, {} {verb}; mended, {} worth this much more",
                    listed(tags, "and"),
                    if tags.len() == 1 { "it is" } else { "they are" }
                )),
            });
        }
    }
    rows
}

/// When an ordered parcel came in, and what is still to come of it.
pub(crate) fn arrived(state: &State, drawer: &Drawer, id: i64) -> (Option<String>, Vec<String>) {
    let coming = drawer.coming.get(&id);
    let to_come: Vec<String> = coming
        .into_iter()
        .flatten()
        .map(|(item, count)| format!("{count} × {item}"))
        .collect();
    let last = state
        .pile
        .holding()
        .rfind(|entry| matches!(&entry.line, Line::Received { parcel, .. } if *parcel == id));
    let Some(last) = last else {
        return (None, to_come);
    };
    let closed = matches!(&last.line, Line::Received { closed: true, .. });
    let how = match (to_come.is_empty(), closed) {
        (true, false) => "whole",
        (true, true) => "as far as it will",
        (false, _) => "in part",
    };
    (
        Some(format!("{how}, {} by {}", date(&last.time), last.who)),
        to_come,
    )
}

/// `farside parts is left out`, if anybody is.
pub(crate) fn left_out(state: &State) -> Vec<(String, String)> {
    let vendors = state.folder.vendors.iter();
    vendors
        .filter(|vendor| state.pile.pinned.without.contains(&vendor.id))
        .map(|vendor| (vendor.id.clone(), vendor_title(vendor)))
        .collect()
}

/// `Four vendors`, those left out not counted.
pub(crate) fn asked(state: &State) -> String {
    let left = left_out(state).len();
    let asked = state.folder.vendors.len() - left;
    counted(asked, "vendor", "vendors")
}
