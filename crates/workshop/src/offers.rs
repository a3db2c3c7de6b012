//! Offers: what vendors ask, how it came in, how old it is, what it was before.

use jiff::civil::Date;
use journal::{Draft, Line, Offered};
use purchasing::{Break, Offer, Vendor};
use serde::Serialize;
use units::{Decimal, Money, parse_amount};

use crate::{
    Error, ErrorKind, Workshop,
    folder::Folder,
    names::{best, choices, fit, nearest, plain},
    offers_read::{in_his_currency, more, offered, read, seen, understood},
    past_prices::history,
    pile::Pile,
    words::{counted, quoted},
    workshop::{Inner, Result, State},
};

/// Prices that come in.
#[derive(Debug, Clone, Default)]
pub struct OffersIn {
    /// The vendor.
    pub vendor: String,
    /// What came: a table, a cart, or one line that was typed.
    pub text: Vec<u8>,
    /// A file's name; none: it was pasted or typed.
    pub file: Option<String>,
    /// It is one typed line: `4164-150ns 8 at 3.40`.
    pub typed: bool,
    /// What the columns are, if the guess is wrong: `code, name, quantity, each, -`.
    pub columns: Option<String>,
    /// Line of the text and the item that is meant there.
    pub items: Vec<(usize, String)>,
    /// The day on which the prices were seen, if not today.
    pub seen: Option<String>,
    /// Write it; else only say how it is understood.
    pub take: bool,
}

/// How offers were understood, and whether they are written.
#[derive(Debug, Clone, Serialize)]
pub struct OffersRead {
    /// `Twelve prices of northgate are understood; two lines are not.`
    pub heading: String,
    /// Vendor id.
    pub vendor: String,
    /// What each column was taken for: heading and role.
    pub columns: Vec<(String, String)>,
    /// A row for each thing offered.
    pub rows: Vec<ReadRow>,
    /// How the text was read, a sentence each.
    pub notes: Vec<String>,
    /// What was kept out, a sentence each, its line first.
    pub refused: Vec<String>,
    /// Journal lines written; empty while it is only looked at.
    pub lines: Vec<i64>,
}

/// One thing offered, as it was understood.
#[derive(Debug, Clone, Serialize)]
pub struct ReadRow {
    /// Line of the text.
    pub line: usize,
    /// The item it was taken for.
    pub item: String,
    /// A remedy for a machine of the pile asks for it.
    pub wanted: bool,
    /// The vendor's words.
    pub title: String,
    /// `3.90`.
    pub price: String,
    /// `3.40 each from 8; packs of 2`, empty if there is no more to say.
    pub more: String,
    /// `was 3.60`, empty if it is new or the same.
    pub before: String,
    /// What looks like a slip, in a sentence; empty if nothing does.
    pub doubt: String,
}

/// What vendors ask now.
#[derive(Debug, Clone, Serialize)]
pub struct OffersView {
    /// `Sixty offers of four vendors, three to ask again.`
    pub heading: String,
    /// A price seen longer ago than this is to be asked again, in days.
    pub ask_again_days: i64,
    /// A block a vendor.
    pub vendors: Vec<VendorOffers>,
}

/// What one vendor asks.
#[derive(Debug, Clone, Serialize)]
pub struct VendorOffers {
    /// Vendor id.
    pub id: String,
    /// Vendor title.
    pub title: String,
    /// How he sends, in a sentence.
    pub terms: String,
    /// His offers.
    pub offers: Vec<OfferRow>,
}

/// One offer.
#[derive(Debug, Clone, Serialize)]
pub struct OfferRow {
    /// Item.
    pub item: String,
    /// The vendor's words.
    pub title: String,
    /// `3.90`.
    pub price: String,
    /// `3.40 each from 8; packs of 2; 40 there`.
    pub more: String,
    /// `10 November`, empty if no day is known.
    pub seen: String,
    /// So many days old, if that is known.
    pub days: Option<i64>,
    /// Worth asking again.
    pub old: bool,
}

/// What was asked for one item over time.
#[derive(Debug, Clone, Serialize)]
pub struct History {
    /// Item.
    pub item: String,
    /// What it is called.
    pub title: String,
    /// The answer in a sentence: `3.40 now at northgate, least so far 2.60.`
    pub heading: String,
    /// ISO 4217 code of the prices below.
    pub currency: String,
    /// Prices, oldest first.
    pub prices: Vec<PastPrice>,
}

/// A price seen on a day.
#[derive(Debug, Clone, Serialize)]
pub struct PastPrice {
    /// The day: `2026-11-10`.
    pub day: String,
    /// So many days ago.
    pub days_ago: i64,
    /// Vendor title.
    pub vendor: String,
    /// Price of one at the smallest quantity, in the workshop's currency.
    pub price: String,
    /// The same in the smallest coins.
    pub coins: i64,
    /// `from 8`, empty if it is the price of one.
    pub at: String,
}

impl Workshop {
    /// Reads offers; writes them if that is asked for.
    ///
    /// # Errors
    /// If the vendor is unknown, nothing is understood, or the prices are in a currency that is not the vendor's.
    pub fn offers_in(&self, asked: &OffersIn) -> Result<OffersRead> {
        let mut inner = self.fresh()?;
        let state = inner.state();
        let vendor = vendor(&state, &asked.vendor)?.clone();
        let seen = seen(&inner, asked.seen.as_deref())?;
        let pasted = read(asked, &vendor)?;
        in_his_currency(&state, &vendor, &pasted)?;
        let offered = offered(&state, &vendor, &pasted, asked)?;
        let mut view = understood(&state, &vendor, &pasted, &offered, seen);
        if offered.is_empty() {
            let why = view.refused.first().cloned();
            let why = why.unwrap_or_else(|| "expected prices, found none".to_string());
            return Err(Error::new(ErrorKind::Usage, why).hint(
                "one thing a line with its price, or a table; `--columns` says what the columns are",
            ));
        }
        if asked.take {
            let how = match (&asked.file, asked.typed) {
                (Some(file), _) => file.clone(),
                (None, true) => "typed".to_string(),
                (None, false) => "pasted".to_string(),
            };
            let line = Line::Offers {
                vendor: vendor.id.clone(),
                seen: seen.to_string(),
                how,
                offers: offered.into_iter().map(|(_, one)| one).collect(),
            };
            let entries = inner.write(|_| {
                Ok(vec![Draft {
                    machine: None,
                    epoch: 0,
                    line: line.clone(),
                }])
            })?;
            view.lines = entries.iter().map(|entry| entry.id).collect();
        }
        Ok(view)
    }

    /// What vendors ask now, and what is worth asking again.
    ///
    /// # Errors
    /// If the journal cannot be read.
    pub fn offers(&self) -> Result<OffersView> {
        let inner = self.fresh()?;
        Ok(listed_offers(&inner, &inner.state()))
    }

    /// What was asked for an item over time.
    ///
    /// # Errors
    /// If nobody ever offered it.
    pub fn history(&self, item: &str) -> Result<History> {
        let inner = self.fresh()?;
        history(&inner, &inner.state(), item)
    }
}

/// The vendor that was typed: his id, his title, or the start of one.
pub(crate) fn vendor<'s>(state: &'s State, typed: &str) -> Result<&'s Vendor> {
    let vendors = &state.folder.vendors;
    let word = plain(typed);
    let fits = vendors
        .iter()
        .filter_map(|one| Some((fit(&word, [&*one.id, &*one.title])?, one)));
    match best(fits).as_ref().map(|(_, found)| found.as_slice()) {
        Some([one]) => Ok(*one),
        Some(several) => Err(Error::new(
            ErrorKind::NotFound,
            format!(
                "{} could be {}",
                quoted(typed),
                choices(several.iter().map(|one| &*one.id))
            ),
        )),
        None if vendors.is_empty() => Err(Error::new(ErrorKind::NotFound, "there is no vendor yet")
            .hint("put a file such as `vendors/northgate.toml` into the workshop folder, with `[[vendor]]`, `id`, `currency` and `days`")),
        None => Err(Error::new(
            ErrorKind::NotFound,
            format!(
                "there is no vendor {}; nearest are {}",
                quoted(typed),
                choices(nearest(typed, vendors.iter().map(|one| &*one.id)))
            ),
        )
        .hint("a new vendor is a `[[vendor]]` with `id`, `currency` and `days` in a file of the folder `vendors`")),
    }
}

pub(crate) fn vendor_title(vendor: &Vendor) -> String {
    if vendor.title.is_empty() {
        vendor.id.clone()
    } else {
        vendor.title.clone()
    }
}

pub(crate) fn levels(one: &Offered) -> Vec<Break> {
    let level = |(from, each): &(u32, String)| {
        Some(Break {
            from: *from,
            each: parse_amount(each).ok()?,
        })
    };
    one.breaks.iter().filter_map(level).collect()
}

pub(crate) fn price(each: Decimal, vendor: &Vendor) -> String {
    Money {
        amount: each,
        currency: vendor.currency,
    }
    .amount_text()
}

/// The offers that hold: of each vendor and item the one seen last; a price at one quantity leaves the others as they
/// were, unless these are old.
pub(crate) fn holding(folder: &Folder, pile: &Pile) -> Vec<Offer> {
    let mut offers = folder.filed.clone();
    let mut lines: Vec<(&String, i64, &String, &Vec<Offered>)> = pile
        .holding()
        .filter_map(|entry| match &entry.line {
            Line::Offers {
                vendor,
                seen,
                offers,
                ..
            } => Some((seen, entry.id, vendor, offers)),
            _ => None,
        })
        .collect();
    lines.sort_by_key(|(seen, id, ..)| (*seen, *id));
    for (seen, _, vendor, new) in lines {
        if !folder.vendors.iter().any(|one| one.id == *vendor) {
            continue;
        }
        for one in new {
            let known = offers
                .iter_mut()
                .find(|offer| offer.vendor == *vendor && offer.item == one.item);
            match known {
                None => offers.push(renewed(None, vendor, seen, one)),
                // a file that was written later holds
                Some(old) if old.seen.as_deref().is_some_and(|then| then > seen.as_str()) => {}
                Some(old) => {
                    let fresh = age(old.seen.as_deref(), seen)
                        .is_some_and(|days| days <= folder.settings.ask_again_days);
                    let new = renewed(Some(&*old).filter(|_| fresh), vendor, seen, one);
                    *old = new;
                }
            }
        }
    }
    offers
}

pub(crate) fn age(then: Option<&str>, now: &str) -> Option<i64> {
    let then: Date = then?.parse().ok()?;
    let now: Date = now.parse().ok()?;
    Some(i64::from(then.until(now).ok()?.get_days()))
}

pub(crate) fn renewed(old: Option<&Offer>, vendor: &str, seen: &str, new: &Offered) -> Offer {
    let mut breaks = levels(new);
    if let Some(old) = old
        && !new.whole
    {
        let others = old
            .breaks
            .iter()
            .filter(|level| !new.breaks.iter().any(|(from, _)| *from == level.from));
        breaks.extend(others.copied().collect::<Vec<_>>());
        breaks.sort_by_key(|level| level.from);
    }
    // who types an item's name means no new words for it
    let title = match old {
        Some(old) if plain(&new.title) == plain(&new.item) => old.title.clone(),
        _ => new.title.clone(),
    };
    let kept = |said: Option<u32>, of: fn(&Offer) -> u32| said.or_else(|| old.map(of));
    Offer {
        vendor: vendor.to_string(),
        item: new.item.clone(),
        title,
        pack: kept(new.pack, |old| old.pack).unwrap_or(1),
        least: kept(new.least, |old| old.least).unwrap_or(1),
        stock: new.stock.or_else(|| old.and_then(|old| old.stock)),
        breaks,
        seen: Some(seen.to_string()),
        grams: old.and_then(|old| old.grams),
    }
}

fn listed_offers(inner: &Inner, state: &State) -> OffersView {
    let today = inner.now().date().to_string();
    let limit = state.folder.settings.ask_again_days;
    let mut vendors = Vec::new();
    for vendor in &state.folder.vendors {
        let own = state
            .folder
            .offers
            .iter()
            .filter(|offer| offer.vendor == vendor.id);
        let mut offers: Vec<OfferRow> =
            own.map(|offer| row(offer, vendor, &today, limit)).collect();
        offers.sort_by(|a, b| b.old.cmp(&a.old).then_with(|| a.title.cmp(&b.title)));
        vendors.push(VendorOffers {
            id: vendor.id.clone(),
            title: vendor_title(vendor),
            terms: terms(vendor),
            offers,
        });
    }
    let all: usize = vendors.iter().map(|vendor| vendor.offers.len()).sum();
    let old = vendors
        .iter()
        .flat_map(|vendor| &vendor.offers)
        .filter(|offer| offer.old)
        .count();
    let again = match old {
        0 => "none to ask again".to_string(),
        old => format!("{old} to ask again"),
    };
    OffersView {
        heading: match all {
            0 => "Nobody was asked yet.".to_string(),
            all => format!(
                "{all} offers of {}, {again}.",
                counted(vendors.len(), "vendor", "vendors")
            ),
        },
        ask_again_days: limit,
        vendors,
    }
}

pub(crate) fn row(offer: &Offer, vendor: &Vendor, today: &str, limit: i64) -> OfferRow {
    let days = age(offer.seen.as_deref(), today);
    let day = offer
        .seen
        .as_deref()
        .and_then(|seen| seen.parse::<Date>().ok());
    OfferRow {
        item: offer.item.clone(),
        title: offer.title.clone(),
        price: offer
            .breaks
            .first()
            .map(|first| price(first.each, vendor))
            .unwrap_or_default(),
        more: more(
            &offer.breaks,
            Some(offer.pack),
            Some(offer.least),
            offer.stock,
            vendor,
        ),
        seen: day
            .map(|day| day.strftime("%-d %B").to_string())
            .unwrap_or_default(),
        days,
        old: days.is_none_or(|days| days > limit),
    }
}

/// `Prices in EUR, 4 days; postage 6.50, free from 60.00.`
fn terms(vendor: &Vendor) -> String {
    let days = counted(usize::try_from(vendor.days).unwrap_or(0), "day", "days");
    let steps: Vec<String> = vendor
        .shipping
        .iter()
        .map(|step| {
            let fee = if step.fee.amount.is_zero() {
                "free".to_string()
            } else {
                step.fee.amount_text()
            };
            if step.from.amount.is_zero() {
                fee
            } else {
                format!("{fee} from {}", step.from.amount_text())
            }
        })
        .collect();
    let postage = if steps.is_empty() {
        "postage free".to_string()
    } else {
        format!("postage {}", steps.join(", "))
    };
    format!("Prices in {}, here in {days}; {postage}.", vendor.currency)
}
