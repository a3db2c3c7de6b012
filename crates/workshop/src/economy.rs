//! What money and minutes are worth on one machine, for the choice of the next step.

use std::collections::BTreeMap;

use catalogue::{Build, Mount, Part, Profile, RemedyKind, Site};
use diagnosis::{Economy, RemedyCost, Treatment};
use rehearsal::How;
use units::Decimal;

use crate::{
    folder::Folder,
    pile::Machine,
    tries::{MULE, MULE_MINUTES},
    words::{from_coins, to_coins},
};

/// Minutes to see whether a machine works. Common practice, no source.
pub(crate) const RETEST_MINUTES: f64 = 3.0;

/// A replacement of which no remedy and no offer is known: minutes and chance. Common practice, no source.
const UNKNOWN_MINUTES: f64 = 15.0;
const UNKNOWN_WORKS: f64 = 0.9;

/// A way to put a part right that can be had now.
#[derive(Debug, Clone)]
pub(crate) struct Way {
    pub(crate) part: String,
    pub(crate) site: Site,
    pub(crate) minutes: f64,
    /// Price of one, in smallest coins.
    pub(crate) price: i64,
    pub(crate) works: f64,
    pub(crate) title: String,
    /// How it is done at the bench.
    pub(crate) how: How,
}

/// The economy of one machine.
pub(crate) fn economy(
    folder: &Folder,
    board: &Profile,
    machine: &Machine,
    standing: &[String],
) -> Economy {
    economy_of(folder, board, &machine.board, standing)
}

/// The economy of a machine with this board, whose worth is looked up under this id.
pub(crate) fn economy_of(
    folder: &Folder,
    board: &Profile,
    id: &str,
    standing: &[String],
) -> Economy {
    let settings = &folder.settings;
    let worth = settings.worth(id);
    let money = |minor| from_coins(minor, settings.currency);
    let cost = |way: Way| RemedyCost {
        part: way.part,
        site: way.site,
        minutes: way.minutes,
        money: money(way.price),
        works: way.works,
        title: way.title,
    };
    Economy {
        rate_per_minute: settings.rate_per_minute(),
        worth: money(worth.working),
        hold: money(worth.hold),
        retest_minutes: RETEST_MINUTES,
        remedies: board
            .parts
            .iter()
            .flat_map(|part| ways(folder, board, part))
            .map(cost)
            .collect(),
        set_up_minutes: settings
            .set_ups
            .iter()
            .map(|(name, minutes)| (name.clone(), *minutes))
            .chain((!settings.set_ups.contains_key(MULE)).then(|| (MULE.to_string(), MULE_MINUTES)))
            .collect(),
        standing: standing.to_vec(),
        missing: missing(folder, board),
        harm_cost: money(settings.harm_cost),
    }
}

/// What can be done about a part: treat its place, or buy another.
pub(crate) fn ways(folder: &Folder, board: &Profile, part: &Part) -> Vec<Way> {
    let mut ways = Vec::new();
    for remedy in folder
        .library
        .remedies_for(part.device.as_deref(), &board.id)
    {
        let site = remedy.kind.site();
        let (works, title) = match remedy.kind {
            RemedyKind::Reseat if part.mount == Mount::Soldered => continue,
            RemedyKind::Reseat => (best_cure(part, |cure| cure.reseat), "reseated"),
            RemedyKind::Resolder => (best_cure(part, |cure| cure.resolder), "resoldered"),
            RemedyKind::Clean => (best_cure(part, |cure| cure.clean), "cleaned"),
            RemedyKind::Salvage => continue,
            kind => (remedy.works, kind_title(kind)),
        };
        if works <= 0.0 || (site == Site::Chip && !has(part, Site::Chip)) {
            continue;
        }
        let build = remedy.build.as_ref();
        let build = build.and_then(|id| folder.library.build(id));
        let one = match (&remedy.item, build) {
            (Some(item), _) => price(folder, item),
            (None, Some(build)) => alone(folder, build),
            (None, None) => Some(0),
        };
        let Some(price) = one else {
            continue;
        };
        ways.push(Way {
            part: part.reference.clone(),
            site,
            minutes: remedy.minutes + build.map_or(0.0, minutes_alone),
            price,
            works: works * build.map_or(1.0, |build| build.yields),
            title: title.to_string(),
            how: how(remedy.kind),
        });
    }
    if has(part, Site::Chip) && !ways.iter().any(|way| way.site == Site::Chip) {
        ways.push(Way {
            part: part.reference.clone(),
            site: Site::Chip,
            minutes: UNKNOWN_MINUTES,
            price: folder.settings.unknown_price,
            works: UNKNOWN_WORKS,
            title: "replaced, price not known".to_string(),
            how: How::Fit,
        });
    }
    ways
}

/// How each remedy of an economy is done, in the same order.
pub(crate) fn hows(folder: &Folder, board: &Profile) -> Vec<How> {
    let ways = board
        .parts
        .iter()
        .flat_map(|part| ways(folder, board, part));
    ways.map(|way| way.how).collect()
}

fn how(kind: RemedyKind) -> How {
    match kind {
        RemedyKind::Reseat => How::Treat(Treatment::Reseat),
        RemedyKind::Resolder => How::Treat(Treatment::Resolder),
        RemedyKind::Clean => How::Treat(Treatment::Clean),
        _ => How::Fit,
    }
}

fn has(part: &Part, site: Site) -> bool {
    part.modes.iter().any(|mode| mode.site == site)
}

fn best_cure(part: &Part, cure: impl Fn(&catalogue::CuredBy) -> f64) -> f64 {
    let places = part.modes.iter().filter(|mode| mode.site == Site::Place);
    places.map(|mode| cure(&mode.cured_by)).fold(0.0, f64::max)
}

/// `used original`.
pub(crate) fn kind_title(kind: RemedyKind) -> &'static str {
    match kind {
        RemedyKind::Reseat => "reseated",
        RemedyKind::Resolder => "resoldered",
        RemedyKind::Clean => "cleaned",
        RemedyKind::Salvage => "from a donor",
        RemedyKind::UsedOriginal => "used original",
        RemedyKind::NewOldStock => "new old stock",
        RemedyKind::ModernEquivalent => "modern equivalent",
        RemedyKind::Adapter => "by an adapter",
        RemedyKind::HomeBuilt => "home-built",
        RemedyKind::ProgrammedLogic => "programmed logic",
    }
}

/// What the parts of one board cost, each bought in its smallest lot.
fn alone(folder: &Folder, build: &Build) -> Option<i64> {
    let prices = build.uses.iter().map(|(item, n)| {
        let lots = i64::from(*n);
        Some(price(folder, item)? * lots)
    });
    prices.sum()
}

/// What a batch of one takes.
fn minutes_alone(build: &Build) -> f64 {
    build.set_up_minutes + build.minutes + build.program_minutes
}

/// The least that one of an item costs, its smallest lot bought, postage left out.
fn price(folder: &Folder, item: &str) -> Option<i64> {
    let offers = folder.offers.iter().filter(|offer| offer.item == item);
    let prices = offers.filter_map(|offer| {
        let vendor = folder
            .vendors
            .iter()
            .find(|vendor| vendor.id == offer.vendor)?;
        if vendor.currency != folder.settings.currency {
            return None;
        }
        let pack = offer.pack.max(1);
        let least = offer.least.max(1).div_ceil(pack) * pack;
        let each = offer
            .breaks
            .iter()
            .rfind(|one| one.from <= least)
            .or(offer.breaks.first())?
            .each;
        let tax = if vendor.vat_included {
            Decimal::ONE
        } else {
            Decimal::ONE + vendor.vat
        };
        let amount: f64 = (each * Decimal::from(least) * tax)
            .to_string()
            .parse()
            .ok()?;
        Some(to_coins(amount, folder.settings.currency))
    });
    prices.min()
}

/// Set-ups that ask for an instrument which is not on the bench.
pub(crate) fn missing(folder: &Folder, board: &Profile) -> Vec<String> {
    let mut missing: BTreeMap<&String, ()> = BTreeMap::new();
    for set_up in board.checks.iter().flat_map(|check| &check.set_up) {
        let instrument = folder
            .library
            .instrument(std::slice::from_ref(set_up))
            .is_some_and(|rule| rule.set_up == *set_up);
        let known = INSTRUMENTS.contains(&set_up.as_str()) || instrument;
        let owned = folder
            .settings
            .instruments
            .iter()
            .any(|own| own.id == *set_up)
            || folder.settings.set_ups.contains_key(set_up)
                && !INSTRUMENTS.contains(&set_up.as_str());
        if known && !owned {
            missing.insert(set_up, ());
        }
    }
    missing.into_keys().cloned().collect()
}

/// Set-ups that are instruments.
const INSTRUMENTS: [&str; 7] = [
    "oscilloscope",
    "logic-analyser",
    "logic-probe",
    "chip-tester",
    "programmer",
    "frequency-counter",
    "multimeter",
];
