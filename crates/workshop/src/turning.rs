//! What would change the order: prices at which it turns, parcels that do not come, vendors left out.

use std::sync::OnceLock;

use journal::Line;
use purchasing::{Turn, Vendor};
use units::Currency;

use crate::{
    PlanLimits, Workshop,
    drawer::Drawer,
    offers::{price, vendor, vendor_title},
    plan::{Core, full, patient},
    views::{SumRow, Written},
    words::{coins, counted, listed, sentence},
    workshop::{Result, State, date},
};

/// Offers of which it is asked at which price the order turns; fewer where the order is large.
const MOST_TURNS: usize = 40;
const MOST_LINES: usize = 24;

/// Prices at which the order turns, reckoned when they are first asked for.
#[derive(Debug, Default)]
pub(crate) struct Turns(OnceLock<Vec<Turn>>);

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

/// The prices at which the order turns.
pub(crate) fn turns(core: &Core) -> &[Turn] {
    core.turns.0.get_or_init(|| {
        let lines: usize = core
            .parcels
            .parcels
            .iter()
            .map(|parcel| parcel.lines.len())
            .sum();
        let most = if lines > MOST_LINES { 0 } else { MOST_TURNS };
        purchasing::turns(&full(core), &core.parcels, &patient(), most).unwrap_or_default()
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
    turns(core).iter().filter_map(row).collect()
}

/// `Up to 27.39 the choice stays.`
pub(crate) fn stays(core: &Core, vendor: &Vendor, item: &str) -> Option<String> {
    let mut turns = turns(core).iter();
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
