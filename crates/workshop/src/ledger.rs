//! The parcel ledger: what to order from whom, why, and when it arrives.

use std::collections::BTreeMap;

use jiff::{ToSpan, ZonedDateTime, civil::Date};
use journal::{Draft, Line};
use purchasing::{Offer, Parcel, Parcels, Request, Vendor};
use units::{Currency, Money};

use crate::{
    Error, ErrorKind, PlanLimits, Workshop,
    charges::{postage, taxes},
    drawer::Drawer,
    plan::{Core, cheapest, core, full, patience, round, spent},
    turning::{arrived, asked, late_rows, left_out, stays, turn_rows},
    views::{Ledger, ParcelLine, ParcelView, SumRow, Written},
    words::{capital, coins, counted, listed, number, quoted, sentence},
    workshop::{Inner, Result, State, date, time},
};

impl Workshop {
    /// The parcels of the plan within these limits; limits that are given are remembered.
    ///
    /// # Errors
    /// As [`Workshop::plan`].
    pub fn order(&self, limits: &PlanLimits) -> Result<Ledger> {
        self.limit(limits)?;
        let mut inner = self.fresh()?;
        let core = core(&mut inner)?;
        ledger(&inner, &inner.state(), &core)
    }

    /// Writes that a parcel of the ledger was ordered.
    ///
    /// # Errors
    /// If there is no such parcel, or it is ordered already.
    pub fn ordered(&self, letter: &str) -> Result<Written> {
        let mut inner = self.fresh()?;
        let core = core(&mut inner)?;
        let state = inner.state();
        let letter = letter.trim().to_uppercase();
        let parcels = parcels(&inner, &state, &core);
        let known: Vec<&str> = parcels
            .iter()
            .map(|(view, _)| view.letter.as_str())
            .collect();
        let Some((view, parcel)) = parcels.iter().find(|(view, _)| view.letter == letter) else {
            let known = if known.is_empty() {
                "there are no parcels".to_string()
            } else {
                format!("there are {}", known.join(", "))
            };
            return Err(Error::new(
                ErrorKind::NotFound,
                format!("there is no parcel {}; {known}", quoted(&letter)),
            ));
        };
        let Some(parcel) = parcel else {
            let when = view.ordered.clone().unwrap_or_default();
            return Err(Error::new(
                ErrorKind::Refused,
                format!("parcel {letter} was ordered {when}"),
            ));
        };
        let key = state.key();
        let line = Line::Ordered {
            letter: letter.clone(),
            vendor: parcel.vendor.clone(),
            title: view.vendor.clone(),
            landed: view.landed.clone(),
            arrives: arrival(&inner.now(), parcel.days).to_string(),
            items: parcel
                .lines
                .iter()
                .map(|line| (line.item.clone(), line.quantity))
                .collect(),
            lines: view
                .lines
                .iter()
                .map(|line| (line.amount.clone(), line.text.clone(), line.note.clone()))
                .collect(),
            waiting: view.waiting.clone(),
        };
        let changed = format!(
            "Parcel {letter} is ordered: {} at {}, here on {}.",
            view.landed, view.vendor, view.arrives
        );
        let entries = inner.write(|state| {
            if state.key() != key {
                return Err(Error::new(
                    ErrorKind::Conflict,
                    "somebody else wrote at the same moment, so the parcels may differ now",
                )
                .hint("look at the ledger again, then order"));
            }
            Ok(vec![Draft {
                machine: None,
                epoch: 0,
                line: line.clone(),
            }])
        })?;
        Ok(Written {
            lines: entries.iter().map(|entry| entry.id).collect(),
            understood: Vec::new(),
            changed,
        })
    }
}

/// The day a parcel ordered now is here: posted on the day after.
fn arrival(now: &ZonedDateTime, days: u32) -> Date {
    now.date().saturating_add((1 + i64::from(days)).days())
}

fn day(date: Date) -> String {
    date.strftime("%A %-d %B").to_string()
}

/// All parcels: those ordered, then those to order.
fn parcels(inner: &Inner, state: &State, core: &Core) -> Vec<(ParcelView, Option<Parcel>)> {
    let drawer = match state.boards() {
        Ok(boards) => Drawer::of(state, &boards),
        Err(_) => Drawer::default(),
    };
    let mut views: Vec<(ParcelView, Option<Parcel>)> = state
        .pile
        .ordered
        .iter()
        .filter_map(|id| Some((ordered(state, &drawer, *id)?, None)))
        .collect();
    let used: Vec<String> = views.iter().map(|(view, _)| view.letter.clone()).collect();
    let mut free = (0..).map(letter).filter(|letter| !used.contains(letter));
    let mut taken: BTreeMap<String, usize> = BTreeMap::new();
    for parcel in &core.parcels.parcels {
        let letter = free.next().unwrap_or_default();
        let view = parcel_view(inner, state, core, parcel, letter, &mut taken);
        views.push((view, Some(parcel.clone())));
    }
    views
}

/// `A`, `B`, ... `Z`, `AA`.
fn letter(index: usize) -> String {
    let last = char::from(b'A' + u8::try_from(index % 26).unwrap_or(0));
    if index < 26 {
        last.to_string()
    } else {
        format!("{}{last}", letter(index / 26 - 1))
    }
}

fn ordered(state: &State, drawer: &Drawer, id: i64) -> Option<ParcelView> {
    let entry = state.pile.entry(id)?;
    let (received, to_come) = arrived(state, drawer, id);
    let Line::Ordered {
        letter,
        vendor,
        title,
        landed,
        arrives,
        lines,
        waiting,
        ..
    } = &entry.line
    else {
        return None;
    };
    let line = |(amount, text, note): &(String, String, String)| ParcelLine {
        amount: amount.clone(),
        text: text.clone(),
        note: note.clone(),
    };
    Some(ParcelView {
        letter: letter.clone(),
        vendor: title.clone(),
        landed: landed.clone(),
        arrives: arrives.parse().map_or_else(|_| arrives.clone(), day),
        waiting: match received {
            Some(_) if to_come.is_empty() => Vec::new(),
            _ => waiting.clone(),
        },
        lines: lines.iter().map(line).collect(),
        ordered: Some(format!(
            "on {} at {} by {}",
            date(&entry.time),
            time(&entry.time),
            entry.who
        )),
        received,
        to_come,
        vendor_id: vendor.clone(),
    })
}

fn parcel_view(
    inner: &Inner,
    state: &State,
    core: &Core,
    parcel: &Parcel,
    letter: String,
    taken: &mut BTreeMap<String, usize>,
) -> ParcelView {
    let currency = state.folder.settings.currency;
    let vendor = state
        .folder
        .vendors
        .iter()
        .find(|vendor| vendor.id == parcel.vendor);
    let mut waiting: Vec<String> = Vec::new();
    let mut lines = Vec::new();
    for line in &parcel.lines {
        let needers = core
            .needers
            .get(&line.item)
            .map(Vec::as_slice)
            .unwrap_or_default();
        let from = taken.entry(line.item.clone()).or_default();
        let until = (*from + usize::try_from(line.quantity).unwrap_or(0)).min(needers.len());
        let own = &needers[(*from).min(until)..until];
        *from = until;
        waiting.extend(
            own.iter()
                .filter(|tag| !waiting.contains(tag) && *tag != crate::wish::DRAWER)
                .cloned()
                .collect::<Vec<_>>(),
        );
        let title = if line.title.is_empty() {
            line.item.clone()
        } else {
            line.title.clone()
        };
        let each = Money {
            amount: line.each,
            currency,
        }
        .amount_text();
        let text = match line.quantity {
            1 => format!("1 × {title}"),
            n => format!("{n} × {title} at {each}"),
        };
        let spare = usize::try_from(line.quantity).unwrap_or(0) - own.len();
        lines.push(ParcelLine {
            amount: coins(line.total.to_minor(), currency),
            text,
            note: for_whom(own, spare),
        });
    }
    waiting.sort();
    waiting.dedup();
    let unweighed = unweighed(state, parcel);
    let wished = core
        .needers
        .values()
        .flatten()
        .any(|tag| tag == crate::wish::DRAWER);
    let fills = state.pile.wishes.is_empty() || wished;
    lines.extend(vendor.map(|vendor| {
        let mut line = postage(&state.folder.settings, vendor, parcel, &unweighed);
        if !fills && line.text.ends_with(" away") {
            line.text.push_str(" and no wish fills it");
        }
        line
    }));
    lines.extend(
        vendor
            .into_iter()
            .flat_map(|vendor| taxes(&state.folder.settings, vendor, parcel)),
    );
    ParcelView {
        letter,
        vendor: vendor.map_or_else(|| parcel.vendor.clone(), title),
        landed: coins(parcel.landed.to_minor(), currency),
        arrives: day(arrival(&inner.now(), parcel.days)),
        waiting,
        lines,
        ordered: None,
        received: None,
        to_come: Vec::new(),
        vendor_id: parcel.vendor.clone(),
    }
}

/// Lines of a parcel whose weight nobody said.
fn unweighed(state: &State, parcel: &Parcel) -> Vec<String> {
    let offer = |item: &str| {
        let mut offers = state.folder.offers.iter();
        offers.find(|offer| offer.vendor == parcel.vendor && offer.item == item)
    };
    let unknown = parcel
        .lines
        .iter()
        .filter(|line| offer(&line.item).is_some_and(|offer| offer.grams.is_none()));
    unknown.map(|line| line.title.clone()).collect()
}

fn title(vendor: &Vendor) -> String {
    if vendor.title.is_empty() {
        vendor.id.clone()
    } else {
        vendor.title.clone()
    }
}

/// `for T-04 two, one spare`.
fn for_whom(own: &[String], spare: usize) -> String {
    let mut counts: Vec<(String, usize)> = Vec::new();
    for tag in own {
        match counts.iter_mut().find(|(known, _)| known == tag) {
            Some((_, n)) => *n += 1,
            None => counts.push((tag.clone(), 1)),
        }
    }
    let each = |(tag, n): &(String, usize)| {
        if *n == 1 {
            tag.clone()
        } else {
            format!("{tag} {}", number(*n))
        }
    };
    let mut said = Vec::new();
    if !counts.is_empty() {
        said.push(format!(
            "for {}",
            listed(&counts.iter().map(each).collect::<Vec<_>>(), "and")
        ));
    }
    if spare > 0 {
        said.push(format!("{} spare", number(spare)));
    }
    said.join(", ")
}

fn ledger(inner: &Inner, state: &State, core: &Core) -> Result<Ledger> {
    let currency = state.folder.settings.currency;
    let parcels: Vec<ParcelView> = parcels(inner, state, core)
        .into_iter()
        .map(|(view, _)| view)
        .collect();
    let landed = core.parcels.landed.to_minor();
    let gap = (landed + core.parcels.hassle.to_minor() - core.parcels.bound.to_minor()).max(0);
    let gap = if core.parcels.proven { 0 } else { gap };
    let remains = core
        .money_limit
        .map(|limit| limit - spent(state, currency) - landed);
    let to_order = parcels.iter().filter(|parcel| parcel.ordered.is_none());
    let waiting: Vec<(String, Vec<String>)> = to_order
        .map(|parcel| {
            (
                format!("parcel {}, {}", parcel.letter, parcel.vendor),
                parcel.waiting.clone(),
            )
        })
        .collect();
    Ok(Ledger {
        heading: heading(core, &parcels, currency),
        proof: proof(inner, state, core, gap, currency),
        proven: core.parcels.proven,
        gap: coins(gap, currency),
        parcels,
        landed: coins(landed, currency),
        remains: remains.map(|remains| coins(remains, currency)),
        money_limit: core.limits.money.clone(),
        why: why(state, core)?,
        turns: turn_rows(state, core),
        late: late_rows(core, &waiting, currency),
        left_out: left_out(state),
        bother: bother(state, core, currency),
        ask_again: ask_again(inner, state, core),
        unmet: unmet(core),
    })
}

fn heading(core: &Core, parcels: &[ParcelView], currency: Currency) -> String {
    let landed = coins(core.parcels.landed.to_minor(), currency);
    let on_the_way = parcels
        .iter()
        .filter(|parcel| parcel.ordered.is_some() && !parcel.to_come.is_empty())
        .count();
    match (core.parcels.parcels.len(), on_the_way) {
        (0, 0) => "Nothing is to be ordered.".to_string(),
        (0, n) => format!(
            "Nothing more is to be ordered; {} on the way.",
            counted(n, "parcel is", "parcels are")
        ),
        (n, 0) => format!(
            "{}, {landed} landed.",
            capital(&counted(n, "parcel", "parcels"))
        ),
        (n, m) => format!(
            "{} to order, {landed} landed; {} on the way.",
            capital(&counted(n, "parcel", "parcels")),
            number(m)
        ),
    }
}

fn proof(inner: &Inner, state: &State, core: &Core, gap: i64, currency: Currency) -> String {
    if core.parcels.parcels.is_empty() {
        return "The plan buys nothing now.".to_string();
    }
    let vendors = asked(state);
    let proof = if core.parcels.proven {
        format!("Proven: nothing cheaper exists among the offers of {vendors} asked so far.")
    } else {
        format!(
            "Best found among the offers of {vendors}; another choice could be cheaper by {} at most.",
            coins(gap, currency)
        )
    };
    let last = core
        .parcels
        .parcels
        .iter()
        .map(|parcel| parcel.days)
        .max()
        .unwrap_or(0);
    let last = day(arrival(&inner.now(), last));
    format!("{proof} Ordered now, the last machine can be worked on from {last}.")
}

/// Other ways to order, and what they cost more.
fn why(state: &State, core: &Core) -> Result<Vec<SumRow>> {
    let currency = state.folder.settings.currency;
    let full = full(core);
    let without = |keep: &dyn Fn(&Vendor) -> bool| -> Option<Parcels> {
        let vendors: Vec<Vendor> = full
            .vendors
            .iter()
            .filter(|vendor| keep(vendor))
            .cloned()
            .collect();
        let sold = |offer: &&Offer| vendors.iter().any(|vendor| vendor.id == offer.vendor);
        let offers = full.offers.iter().filter(sold).cloned().collect();
        let request = Request {
            vendors: vendors.clone(),
            offers,
            ..full.clone()
        };
        cheapest(&request).ok()
    };
    let more = |parcels: &Parcels| {
        let more = parcels.landed.to_minor() - core.parcels.landed.to_minor();
        let sign = if more >= 0 { "+" } else { "" };
        format!("{sign}{}", coins(more, currency))
    };
    let worse = core.parcels.unmet.len();
    let mut rows = Vec::new();
    for parcel in &core.parcels.parcels {
        let Some(vendor) = full
            .vendors
            .iter()
            .find(|vendor| vendor.id == parcel.vendor)
        else {
            continue;
        };
        let Some(other) = without(&|one| one.id != vendor.id) else {
            continue;
        };
        let name = title(vendor);
        if other.unmet.len() > worse {
            // The plan would be another one then.
            let mut instance = core.offered.instance.clone();
            instance.offers.retain(|offer| offer.vendor != vendor.id);
            let settings = planning::Settings {
                time_limit: Some(patience(state) / 4),
                ..core.settings.clone()
            };
            let Ok(plan) = planning::solve(&instance, &settings) else {
                continue;
            };
            let loss = round(core.plan.value - plan.value).max(0);
            rows.push(SumRow {
                amount: format!("+{}", coins(loss, currency)),
                text: sentence(&format!(
                    "without {name}: {}; the plan leaves this much less",
                    bought(state, &plan, currency)
                )),
            });
        } else {
            let landed = coins(other.landed.to_minor(), currency);
            let count = counted(other.parcels.len(), "parcel", "parcels");
            rows.push(SumRow {
                amount: more(&other),
                text: sentence(&format!("without {name}: {count}, {landed} landed")),
            });
        }
    }
    if core.parcels.parcels.len() > 1 {
        for vendor in &full.vendors {
            let alone =
                without(&|one| one.id == vendor.id).filter(|alone| alone.unmet.len() <= worse);
            if let Some(alone) = alone {
                rows.push(SumRow {
                    amount: more(&alone),
                    text: sentence(&format!("everything from {}, one parcel", title(vendor))),
                });
            }
        }
    }
    Ok(rows)
}

/// `kettle & sons, 49.48 landed`.
fn bought(state: &State, plan: &planning::Plan, currency: Currency) -> String {
    let known = |id: &String| {
        state
            .folder
            .vendors
            .iter()
            .find(|vendor| vendor.id == *id)
            .map(title)
    };
    let names: Vec<String> = plan
        .shipping
        .iter()
        .filter_map(|(id, _)| known(id))
        .collect();
    match names.as_slice() {
        [] => "nothing is bought".to_string(),
        names => format!(
            "{}, {} landed",
            listed(names, "and"),
            coins(plan.money, currency)
        ),
    }
}

fn bother(state: &State, core: &Core, currency: Currency) -> String {
    let used = |vendor: &&Vendor| {
        core.parcels
            .parcels
            .iter()
            .any(|parcel| parcel.vendor == vendor.id)
    };
    let mut amounts: Vec<String> = state
        .folder
        .vendors
        .iter()
        .filter(used)
        .map(|vendor| vendor.hassle.amount_text())
        .collect();
    amounts.sort();
    amounts.dedup();
    match amounts.as_slice() {
        [] => String::new(),
        [one] => {
            format!("A parcel also counts {one} of bother when choosing; it is not in the sums.")
        }
        _ => format!(
            "The parcels also count {} of bother when choosing; it is not in the sums.",
            coins(core.parcels.hassle.to_minor(), currency)
        ),
    }
}

/// Prices in the parcels that were seen long ago.
fn ask_again(inner: &Inner, state: &State, core: &Core) -> Vec<(i64, String)> {
    let today = inner.now().date();
    let mut rows = Vec::new();
    for parcel in &core.parcels.parcels {
        for line in &parcel.lines {
            let offer = state
                .folder
                .offers
                .iter()
                .find(|offer| offer.vendor == parcel.vendor && offer.item == line.item);
            let Some(seen) = offer.and_then(|offer| offer.seen.as_deref()?.parse::<Date>().ok())
            else {
                continue;
            };
            let days = seen
                .until(today)
                .map_or(0, |span| i64::from(span.get_days()));
            if days > state.folder.settings.ask_again_days {
                let vendor = state
                    .folder
                    .vendors
                    .iter()
                    .find(|vendor| vendor.id == parcel.vendor);
                let stays = vendor.and_then(|vendor| stays(state, core, vendor, &line.item));
                let stays = stays.map(|text| format!(" {text}")).unwrap_or_default();
                let vendor = vendor.map_or_else(|| parcel.vendor.clone(), title);
                let name = if line.title.is_empty() {
                    &line.item
                } else {
                    &line.title
                };
                let seen = seen.strftime("%-d %B");
                rows.push((
                    days,
                    format!("The price of {name} at {vendor} was seen on {seen}.{stays}"),
                ));
            }
        }
    }
    rows.sort_by(|a, b| b.cmp(a));
    rows
}

fn unmet(core: &Core) -> Vec<String> {
    let unmet = core.parcels.unmet.iter().map(|unmet| {
        sentence(&format!(
            "{} × {}: {}",
            unmet.missing, unmet.item, unmet.why
        ))
    });
    unmet.chain(core.offered.notes.iter().cloned()).collect()
}
