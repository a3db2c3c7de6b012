//! Offers as they come in: what was pasted or typed, and how it is understood.

use std::collections::BTreeSet;

use jiff::civil::Date;
use journal::Offered;
use purchasing::{Break, Offer, Paste, Pasted, Row, Vendor, read_pasted, read_typed};

use crate::{
    Error, ErrorKind,
    item_names::{Items, Meant},
    names::choices,
    offers::{OffersIn, OffersRead, ReadRow, levels, price, vendor_title},
    words::{capital, counted, listed, quoted, sentence},
    workshop::{Inner, Result, State},
};

pub(crate) fn seen(inner: &Inner, typed: Option<&str>) -> Result<Date> {
    let today = inner.now().date();
    let Some(typed) = typed.map(str::trim).filter(|typed| !typed.is_empty()) else {
        return Ok(today);
    };
    let day: Option<Date> = typed.parse().ok();
    day.filter(|day| *day <= today).ok_or_else(|| {
        Error::new(
            ErrorKind::Usage,
            format!(
                "expected a day such as `{today}`, and none to come, found {}",
                quoted(typed)
            ),
        )
    })
}

pub(crate) fn read(asked: &OffersIn, vendor: &Vendor) -> Result<Pasted> {
    if asked.typed {
        let text = String::from_utf8_lossy(&asked.text).into_owned();
        let mut pasted = Pasted::default();
        for line in text
            .split([';', '\n'])
            .filter(|line| !line.trim().is_empty())
        {
            let row = read_typed(line).map_err(|why| {
                Error::new(ErrorKind::Usage, why).hint(
                    "write `4164-150ns 3.90`, or `4164-150ns 1 at 3.90 8 at 3.40 pack 2 stock 40`",
                )
            })?;
            pasted.rows.push(Row {
                line: pasted.rows.len() + 1,
                ..row
            });
        }
        return Ok(pasted);
    }
    Ok(read_pasted(
        &asked.text,
        Paste {
            currency: vendor.currency,
            columns: asked
                .columns
                .as_deref()
                .filter(|text| !text.trim().is_empty()),
        },
    ))
}

pub(crate) fn in_his_currency(state: &State, vendor: &Vendor, pasted: &Pasted) -> Result<()> {
    let Some(found) = pasted.currency.filter(|found| *found != vendor.currency) else {
        return Ok(());
    };
    let settings = &state.folder.settings;
    let rated = found == settings.currency || settings.rates.contains_key(&found);
    let title = vendor_title(vendor);
    let hint = if rated {
        format!(
            "give {title} the currency {found} in its file, or a second vendor of its own for these prices"
        )
    } else {
        format!(
            "and workshop.toml has no rate for {found}: add `{found} = \"...\"` under `[rates]`"
        )
    };
    Err(Error::new(
        ErrorKind::Refused,
        format!(
            "expected prices in {} as {title} asks, found prices in {found}",
            vendor.currency
        ),
    )
    .hint(hint))
}

/// Each row as it would be written, under its item.
pub(crate) fn offered(
    state: &State,
    vendor: &Vendor,
    pasted: &Pasted,
    asked: &OffersIn,
) -> Result<Vec<(Row, Offered)>> {
    let items = Items::of(state);
    for (line, _) in &asked.items {
        if !pasted.rows.iter().any(|row| row.line == *line) {
            return Err(Error::new(
                ErrorKind::Usage,
                format!("there is no price on line {line} that could be named"),
            ));
        }
    }
    let mut rows: Vec<(Row, Offered)> = Vec::new();
    for row in &pasted.rows {
        let named = asked.items.iter().find(|(line, _)| *line == row.line);
        let (item, near) = match named
            .map(|(_, item)| item.trim())
            .filter(|item| !item.is_empty())
        {
            Some(item) => (item.to_string(), Vec::new()),
            None => match items.meant(&vendor.id, &[&row.code, &row.name]) {
                Meant::Item(item) => (item, Vec::new()),
                Meant::Open { own, near } => (own, near),
            },
        };
        let mut row = row.clone();
        if !near.is_empty() {
            let near = choices(near.iter().map(String::as_str));
            row.doubt = Some(format!("it could be {near}; name it if it is one of these"));
        }
        let breaks = row
            .breaks
            .iter()
            .map(|level| (level.from, level.each.to_string()));
        let offered = Offered {
            item,
            title: row.name.clone(),
            pack: row.pack,
            least: row.least,
            stock: row.stock,
            breaks: breaks.collect(),
            whole: row.whole,
        };
        rows.push((row, offered));
    }
    Ok(rows)
}

pub(crate) fn understood(
    state: &State,
    vendor: &Vendor,
    pasted: &Pasted,
    offered: &[(Row, Offered)],
    seen: Date,
) -> OffersRead {
    let items = Items::of(state);
    let old = |item: &str| {
        let mut offers = state.folder.offers.iter();
        offers.find(|offer| offer.vendor == vendor.id && offer.item == item)
    };
    let mut taken: BTreeSet<&str> = BTreeSet::new();
    let mut rows = Vec::new();
    for (row, one) in offered {
        let mut doubt = row.doubt.clone().unwrap_or_default();
        if !taken.insert(&one.item) {
            doubt = format!(
                "{} is offered on an earlier line too; the last one holds",
                one.item
            );
        }
        let breaks = levels(one);
        let before = old(&one.item).and_then(|old| changed(old, &breaks, vendor));
        rows.push(ReadRow {
            line: row.line,
            item: one.item.clone(),
            wanted: items.is_wanted(&one.item),
            title: one.title.clone(),
            price: breaks
                .first()
                .map(|first| price(first.each, vendor))
                .unwrap_or_default(),
            more: more(&breaks, one.pack, one.least, one.stock, vendor),
            before: before.unwrap_or_default(),
            doubt: if doubt.is_empty() {
                doubt
            } else {
                sentence(&doubt)
            },
        });
    }
    let lines = counted(pasted.refused.len(), "line is", "lines are");
    let rest = if pasted.refused.is_empty() {
        String::new()
    } else {
        format!("; {lines} not")
    };
    let prices = counted(rows.len(), "price", "prices");
    let verb = if rows.len() == 1 { "is" } else { "are" };
    OffersRead {
        heading: format!(
            "{} of {} {verb} understood, seen on {}{rest}.",
            capital(&prices),
            vendor_title(vendor),
            seen.strftime("%-d %B")
        ),
        vendor: vendor.id.clone(),
        columns: pasted
            .columns
            .iter()
            .map(|column| (column.heading.clone(), column.role.word()))
            .collect(),
        rows,
        notes: pasted.notes.clone(),
        refused: pasted
            .refused
            .iter()
            .map(|one| sentence(&one.to_string()))
            .collect(),
        lines: Vec::new(),
    }
}

/// `was 3.60`, if the price at the same quantity is another.
fn changed(old: &Offer, breaks: &[Break], vendor: &Vendor) -> Option<String> {
    let first = breaks.first()?;
    let was = old.breaks.iter().rfind(|level| level.from <= first.from)?;
    if was.each == first.each {
        return None;
    }
    Some(format!("was {}", price(was.each, vendor)))
}

/// `3.40 each from 8; packs of 2; 40 there`.
pub(crate) fn more(
    breaks: &[Break],
    pack: Option<u32>,
    least: Option<u32>,
    stock: Option<u32>,
    vendor: &Vendor,
) -> String {
    let mut said = Vec::new();
    if let Some(first) = breaks.first().filter(|first| first.from > 1) {
        said.push(format!("each from {}", first.from));
    }
    said.extend(
        breaks
            .iter()
            .skip(1)
            .map(|level| format!("{} each from {}", price(level.each, vendor), level.from)),
    );
    said.extend(pack.filter(|n| *n > 1).map(|n| format!("packs of {n}")));
    let first = breaks.first().map_or(1, |first| first.from);
    said.extend(
        least
            .filter(|n| *n > first.max(pack.unwrap_or(1)))
            .map(|n| format!("at least {n}")),
    );
    said.extend(stock.map(|n| {
        if n == 0 {
            "sold out".to_string()
        } else {
            format!("{n} there")
        }
    }));
    said.join("; ")
}

/// One offer in a journal row: `4164-150ns, 8 at 3.40`.
pub(crate) fn said(one: &Offered) -> String {
    let levels: Vec<String> = one
        .breaks
        .iter()
        .map(|(from, each)| match from {
            1 => each.clone(),
            from => format!("{from} at {each}"),
        })
        .collect();
    format!("{}, {}", one.item, listed(&levels, "and"))
}
