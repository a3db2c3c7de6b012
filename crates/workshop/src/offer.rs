//! The pile as the plan reckons with it: what may be wrong, what can be done about it, what donors give.

use std::collections::{BTreeMap, BTreeSet};

use catalogue::{Mount, Part, Profile, RemedyKind, Site};
use journal::Truth;
use planning::{Count, Fault, Instance, Remedy, Scenario};
use purchasing::Request;

use crate::{
    Error, ErrorKind,
    building::{self, can_be_built, made},
    drawer::{Drawer, Loose, loose, loose_item, named},
    economy::RETEST_MINUTES,
    folder::Folder,
    handling::taking_out,
    lead::WHOLE,
    pile::Machine,
    plan::whole,
    reckon::{Boards, Reckoned},
    say,
    workshop::{Result, State},
};

/// Explanations of a machine that the plan looks at.
const EXPLANATIONS: usize = 8;
/// Of these at most so many that can be mended.
const SCENARIOS: usize = 4;
/// Explanations below this are left to chance.
const LEAST_SHARE: f64 = 0.03;
/// A position without a chip, as a fault.
const ABSENT: &str = "absent";
/// Chance that a donor's chip is bad, for the better and for the lesser kind.
const GRADES: [(&str, f64); 2] = [("good", 0.03), ("fair", 0.15)];

/// The pile as the plan reckons with it.
#[derive(Debug, Clone)]
pub(crate) struct Offered {
    pub(crate) instance: Instance,
    pub(crate) request: Request,
    /// Chance that a machine is whole, by tag.
    pub(crate) whole: BTreeMap<String, f64>,
    /// What kind of way each remedy of the instance is.
    pub(crate) kinds: BTreeMap<String, RemedyKind>,
    /// Failures a year after each remedy.
    pub(crate) fails: BTreeMap<String, f64>,
    /// What is wanted for the drawer.
    pub(crate) wishes: BTreeMap<String, u32>,
    /// Where the part of a remedy comes from, if it lies in the drawer.
    pub(crate) lying: BTreeMap<String, String>,
    /// Positions whose chips a donor gives, by tag and item.
    pub(crate) gives: BTreeMap<(String, String), Vec<String>>,
    /// What could not be mended for want of an offer.
    pub(crate) notes: Vec<String>,
}

/// A way to mend one fault.
struct Cure {
    id: String,
    item: Option<String>,
    minutes: f64,
    works: f64,
    kind: RemedyKind,
    /// `from the drawer`, if it lies there.
    lies: Option<String>,
    fails_per_year: f64,
}

/// Puts the pile as the plan reckons with it.
pub(crate) fn offered(
    state: &State,
    boards: &Boards,
    now: &Reckoned,
    limits: planning::Limits,
    without: &[String],
) -> Result<Offered> {
    let folder = &state.folder;
    let settings = &folder.settings;
    let asked = |vendor: &str| !without.iter().any(|one| one == vendor);
    let vendors = folder.vendors.iter().filter(|vendor| asked(&vendor.id));
    let offers = folder.offers.iter().filter(|offer| asked(&offer.vendor));
    let request = Request {
        currency: settings.currency,
        rates: settings.rates.clone(),
        vendors: vendors.cloned().collect(),
        offers: offers.cloned().collect(),
        needs: Vec::new(),
    };
    let (vendors, offers) = planning::vendors_and_offers(&request)
        .map_err(|error| Error::new(ErrorKind::Refused, error.to_string()))?;
    let per_hour = crate::words::from_coins(settings.rate_per_hour, settings.currency);
    let coins = 10f64.powi(i32::try_from(settings.currency.minor_digits()).unwrap_or(2));
    let drawer = Drawer::of(state, boards);
    let chips = Chips {
        donors: Donors::of(state, boards, now),
        loose: loose(state, boards, now),
        drawer: &drawer,
    };
    let mut on_hand = drawer.on_hand();
    let lying = chips.by_item();
    for (item, marks) in &lying {
        on_hand.insert(item.clone(), u32::try_from(marks.len()).unwrap_or(u32::MAX));
    }
    let mut offered = Offered {
        instance: Instance {
            rate_per_minute: per_hour * coins / 60.0,
            limits,
            on_hand,
            vendors,
            offers,
            ..Instance::default()
        },
        request,
        whole: BTreeMap::new(),
        kinds: BTreeMap::new(),
        fails: BTreeMap::new(),
        wishes: state.pile.wishes.clone(),
        lying: BTreeMap::new(),
        gives: BTreeMap::new(),
        notes: Vec::new(),
    };
    for machine in state.pile.on_bench() {
        let Some(board) = boards.get(&machine.board) else {
            continue;
        };
        offered.add(folder, machine, board, now, &chips)?;
    }
    offered.add_donors(&chips.donors);
    let machines = &offered.instance.machines;
    if !machines.is_empty() && machines.iter().all(|one| one.value <= one.hold_value) {
        let none = "By workshop.toml no machine is worth more mended than left as it is, so no work pays; `[worth]` says what one is worth.";
        offered.notes.push(none.to_string());
    }
    if folder.offers.is_empty() {
        let none =
            "No vendor's prices are known yet, so nothing can be bought; `offers` takes a list in.";
        offered.notes.push(none.to_string());
    }
    offered.notes.extend(folder.trouble());
    Ok(offered)
}

impl Offered {
    fn add(
        &mut self,
        folder: &Folder,
        machine: &Machine,
        board: &Profile,
        now: &Reckoned,
        chips: &Chips<'_>,
    ) -> Result<()> {
        let explanations = now.explanations(&machine.tag, EXPLANATIONS)?;
        let works = machine.settled == Some(Truth::Works);
        let mut scenarios = Vec::new();
        let mut whole = 0.0;
        for one in explanations.iter().filter(|one| !one.unmodelled) {
            let faults = faults(machine, board, &one.modes);
            if one.modes.is_empty() {
                whole = one.share;
            }
            let Some(faults) = faults.filter(|_| one.share >= LEAST_SHARE) else {
                continue;
            };
            let mendable = faults
                .iter()
                .all(|fault| self.mend(folder, machine, board, fault, chips, one.share));
            if mendable && scenarios.len() < SCENARIOS {
                scenarios.push(Scenario {
                    chance: one.share,
                    faults,
                });
            }
        }
        if works {
            (whole, scenarios) = (
                1.0,
                vec![Scenario {
                    chance: 1.0,
                    faults: Vec::new(),
                }],
            );
        }
        // Shares are exact; their sum may pass 1 by a rounding error.
        let sum: f64 = scenarios.iter().map(|one| one.chance).sum();
        scenarios
            .iter_mut()
            .for_each(|one| one.chance /= sum.max(1.0));
        let worth = folder.settings.worth(&machine.board);
        let set_up = |name: &str| folder.settings.set_ups.get(name).copied().unwrap_or(0.0);
        let base = RETEST_MINUTES + set_up("lid-off") + set_up("powered");
        self.whole.insert(
            machine.tag.clone(),
            if machine.empty.is_empty() { whole } else { 0.0 },
        );
        self.instance.machines.push(planning::Machine {
            id: machine.tag.clone(),
            value: worth.working,
            hold_value: worth.hold,
            sell_value: worth.as_it_stands.filter(|_| !works),
            base_minutes: if works { 0 } else { whole_minutes(base) },
            scenarios,
            donor: Vec::new(),
        });
        Ok(())
    }

    /// Adds the remedies of a fault; says whether there is any.
    fn mend(
        &mut self,
        folder: &Folder,
        machine: &Machine,
        board: &Profile,
        fault: &Fault,
        chips: &Chips<'_>,
        share: f64,
    ) -> bool {
        let known = self
            .instance
            .remedies
            .iter()
            .any(|remedy| remedy.device == fault.device && remedy.modes.contains(&fault.mode));
        if known {
            return true;
        }
        let Some(part) = board.part(&fault.part) else {
            return false;
        };
        let mut wanting = Vec::new();
        let cures = cures(
            folder,
            board,
            part,
            &fault.mode,
            chips,
            &self.instance,
            &mut wanting,
        );
        let only_donors = cures
            .iter()
            .all(|cure| cure.item.as_deref().is_some_and(is_from_donor));
        if only_donors && share >= 0.05 && (cures.is_empty() || !wanting.is_empty()) {
            let mode = say::mode_short(board, &fault.part, &fault.mode);
            let left = if cures.is_empty() {
                ""
            } else {
                "; a donor's is left"
            };
            let what = match wanting.as_slice() {
                [] => format!("{}: no remedy is known for {mode}.", machine.tag),
                items => format!(
                    "{}: no vendor offers {} for {mode}{left}.",
                    machine.tag,
                    crate::words::listed(items, "or")
                ),
            };
            if !self.notes.contains(&what) {
                self.notes.push(what);
            }
        }
        let any = !cures.is_empty();
        let prices = cures.iter().filter_map(|cure| cure.item.as_deref());
        let spare = prices
            .filter_map(|item| self.price(item))
            .reduce(f64::min)
            .unwrap_or(whole(folder.settings.unknown_price));
        for cure in cures {
            let id = format!("{} {} {}", fault.device, fault.mode, cure.id);
            building::add(&mut self.instance, folder, cure.item.as_deref());
            let later = self.later(folder, &cure, spare);
            self.kinds.insert(id.clone(), cure.kind);
            self.fails.insert(id.clone(), cure.fails_per_year);
            if let Some(lies) = cure.lies {
                self.lying.insert(id.clone(), lies);
            }
            self.instance.remedies.push(Remedy {
                id,
                device: fault.device.clone(),
                item: cure.item,
                minutes: whole_minutes(cure.minutes),
                works: cure.works,
                later,
                modes: vec![fault.mode.clone()],
            });
        }
        any
    }

    /// The least that one of an item costs, taxes paid, in coins.
    pub(crate) fn price(&self, item: &str) -> Option<f64> {
        let mut builds = self.instance.builds.iter();
        if let Some(build) = builds.find(|build| build.makes == item) {
            let parts = build.uses.iter();
            let prices = parts.map(|part| Some(self.price(&part.item)? * f64::from(part.n)));
            let minutes = f64::from(build.unit_minutes);
            let sum: Option<f64> = prices.sum();
            return Some(sum? + minutes * self.instance.rate_per_minute);
        }
        let offers = self.instance.offers.iter();
        let firsts = offers.filter(|offer| offer.item == item);
        let prices = firsts.filter_map(|offer| offer.breaks.first());
        prices
            .filter_map(|level| level.each.to_string().parse().ok())
            .reduce(f64::min)
    }

    /// What a remedy is expected to cost over the years that a machine is to last: it fails now and then, and the
    /// part is replaced again. `spare` is the price of a new part where the remedy itself buys none.
    fn later(&self, folder: &Folder, cure: &Cure, spare: f64) -> f64 {
        let item = cure.item.as_deref();
        let part = item.and_then(|item| self.price(item)).unwrap_or(spare);
        let again = part + (cure.minutes + RETEST_MINUTES) * self.instance.rate_per_minute;
        folder.settings.horizon_years * cure.fails_per_year * cure.works * again
    }

    fn add_donors(&mut self, donors: &Donors) {
        let wanted: BTreeSet<&String> = self
            .instance
            .remedies
            .iter()
            .filter_map(|remedy| remedy.item.as_ref())
            .collect();
        let mut counts: BTreeMap<&str, BTreeMap<String, u32>> = BTreeMap::new();
        for chip in &donors.chips {
            let item = donor_item(&chip.device, chip.grade);
            if wanted.contains(&item) {
                *counts
                    .entry(&chip.tag)
                    .or_default()
                    .entry(item.clone())
                    .or_default() += 1;
                self.gives
                    .entry((chip.tag.clone(), item))
                    .or_default()
                    .push(chip.part.clone());
            }
        }
        for machine in &mut self.instance.machines {
            let gives = counts.remove(machine.id.as_str()).unwrap_or_default();
            machine.donor = gives
                .into_iter()
                .map(|(item, n)| Count { item, n })
                .collect();
        }
    }
}

/// Everything wrong in an explanation, the missing chips with it; nothing if a thing outside the machine is bad.
fn faults(machine: &Machine, board: &Profile, modes: &[(String, String)]) -> Option<Vec<Fault>> {
    let fault = |part: &str, mode: &str| Fault {
        part: part.to_string(),
        device: format!("{} {part}", board.id),
        mode: mode.to_string(),
    };
    let mut faults = Vec::new();
    for (part, mode) in modes {
        board.part(part)?;
        faults.push(fault(part, mode));
    }
    for part in &machine.empty {
        if board.part(part).is_some_and(|part| !part.optional) {
            faults.push(fault(part, ABSENT));
        }
    }
    Some(faults)
}

/// The ways to mend a mode of a part that can be had now.
fn cures(
    folder: &Folder,
    board: &Profile,
    part: &Part,
    mode: &str,
    chips: &Chips<'_>,
    instance: &Instance,
    wanting: &mut Vec<String>,
) -> Vec<Cure> {
    let known = part.mode(mode);
    let site = known.map_or(Site::Chip, |mode| mode.site);
    let mut cures = Vec::new();
    for remedy in folder
        .library
        .remedies_for(part.device.as_deref(), &board.id)
    {
        if remedy.kind.site() != site || !known.is_none_or(|mode| remedy.cures(mode)) {
            continue;
        }
        let soldered = part.mount == Mount::Soldered;
        let cured = known.map(|mode| mode.cured_by).unwrap_or_default();
        let works = match remedy.kind {
            RemedyKind::Reseat if soldered => continue,
            RemedyKind::Reseat => cured.reseat,
            RemedyKind::Resolder => cured.resolder,
            RemedyKind::Clean => cured.clean,
            _ => remedy.works,
        };
        if works <= 0.0 {
            continue;
        }
        let lying = |item: String, works: f64| Cure {
            id: format!("{} {item}", remedy.id),
            minutes: remedy.minutes,
            works,
            kind: remedy.kind,
            lies: Some(chips.title(&item)),
            item: Some(item),
            fails_per_year: remedy.fails_per_year,
        };
        let cure = |item: Option<String>, works: f64, minutes: f64, end: &str| Cure {
            id: format!("{}{end}", remedy.id),
            item,
            minutes,
            works,
            kind: remedy.kind,
            lies: None,
            fails_per_year: remedy.fails_per_year,
        };
        match (remedy.kind, &remedy.item, &remedy.build) {
            (RemedyKind::Salvage, ..) => {
                let Some(device) = &part.device else { continue };
                for (item, good) in chips.sources(device) {
                    cures.push(lying(item, works * good));
                }
                for (grade, _) in GRADES {
                    if let Some(good) = chips.donors.least_good(device, grade) {
                        // the remedy is for a part in a socket
                        let (extra, whole) = if soldered {
                            let out = taking_out(&folder.library, part);
                            (out.minutes, out.whole)
                        } else {
                            (0.0, 1.0)
                        };
                        let item = donor_item(device, grade);
                        cures.push(cure(
                            Some(item),
                            works * good * whole,
                            remedy.minutes + extra,
                            &format!(" {grade}"),
                        ));
                    }
                }
            }
            (_, None, None) => cures.push(cure(None, works, remedy.minutes, "")),
            _ => {
                let Some(item) = remedy.fitted() else {
                    continue;
                };
                for chance in chips.drawer.doubtful(item) {
                    cures.push(lying(named(item, Some(chance)), works * chance));
                }
                let build = remedy.build.as_ref();
                let build = build.and_then(|id| folder.library.build(id));
                let buildable = build.filter(|build| can_be_built(build, instance));
                if let Some(build) = buildable {
                    let works = works * build.yields;
                    cures.push(cure(Some(made(item)), works, remedy.minutes, " built"));
                }
                if can_be_had(instance, item) {
                    cures.push(cure(Some(item.clone()), works, remedy.minutes, ""));
                    continue;
                }
                let what = match build {
                    Some(_) if buildable.is_some() => continue,
                    Some(build) => format!("all parts of {}", build.id),
                    None => item.clone(),
                };
                if !wanting.contains(&what) {
                    wanting.push(what);
                }
            }
        }
    }
    cures
}

/// Whether somebody sells it, or it is on hand.
pub(crate) fn can_be_had(instance: &Instance, item: &str) -> bool {
    let sold = instance.offers.iter().any(|offer| offer.item == item);
    sold || instance.on_hand.contains_key(item)
}

fn donor_item(device: &str, grade: &str) -> String {
    format!("{device} from a donor, {grade}")
}

/// Item names that come from donors, and nobody sells.
pub(crate) fn is_from_donor(item: &str) -> bool {
    item.contains(" from a donor, ")
}

fn whole_minutes(minutes: f64) -> u32 {
    // Minutes of a repair lie far below the limit; the cast saturates.
    minutes.max(0.0).round() as u32
}

/// Chips that need not be bought.
struct Chips<'d> {
    donors: Donors,
    loose: Vec<Loose>,
    drawer: &'d Drawer,
}

impl Chips<'_> {
    /// The marks of the loose chips good enough to be fitted, by the item the plan knows them as.
    fn by_item(&self) -> BTreeMap<String, Vec<String>> {
        let mut items: BTreeMap<String, Vec<String>> = BTreeMap::new();
        for chip in &self.loose {
            if let Some((device, grade)) = chip.device.as_ref().zip(grade(1.0 - chip.good)) {
                let marks = items.entry(loose_item(device, grade)).or_default();
                marks.push(chip.mark.clone());
            }
        }
        items
    }

    /// `from the drawer, T-05.U9`.
    fn title(&self, item: &str) -> String {
        match self.by_item().remove(item).unwrap_or_default().as_slice() {
            [] => "from the drawer".to_string(),
            [mark] => format!("from the drawer, {mark}"),
            [mark, ..] => format!("from the drawer, such as {mark}"),
        }
    }

    /// What lies in the drawer of a device: the item, and the chance that the worst of it is good.
    fn sources(&self, device: &str) -> Vec<(String, f64)> {
        let mut sources = Vec::new();
        for (name, _) in GRADES {
            let chips = self.loose.iter().filter(|chip| {
                chip.device.as_deref() == Some(device) && grade(1.0 - chip.good) == Some(name)
            });
            if let Some(good) = chips.map(|chip| chip.good).reduce(f64::min) {
                sources.push((loose_item(device, name), good));
            }
        }
        let kept = self.drawer.doubtful(device).into_iter();
        sources.extend(kept.map(|chance| (named(device, Some(chance)), chance)));
        if self.drawer.count(device, None) > 0 {
            sources.push((device.to_string(), 1.0));
        }
        sources
    }
}

/// The kind of a chip that is bad with this chance.
fn grade(bad: f64) -> Option<&'static str> {
    let grade = GRADES.into_iter().find(|(_, most)| bad <= *most)?;
    Some(grade.0)
}

/// Chips that could be taken out of machines.
struct Donors {
    chips: Vec<DonorChip>,
}

struct DonorChip {
    tag: String,
    part: String,
    device: String,
    grade: &'static str,
    good: f64,
}

impl Donors {
    fn of(state: &State, boards: &Boards, now: &Reckoned) -> Donors {
        let mut chips = Vec::new();
        for machine in state.pile.on_bench() {
            let Some(board) = boards.get(&machine.board) else {
                continue;
            };
            let mut bad: BTreeMap<&str, f64> = BTreeMap::new();
            let modes = now.modes(machine, board);
            for mode in modes
                .iter()
                .filter(|mode| mode.site == Site::Chip && !mode.outside)
            {
                *bad.entry(&mode.part).or_default() += mode.chance;
            }
            for part in &board.parts {
                let Some(device) = &part.device else { continue };
                let bad = bad.get(part.reference.as_str()).copied().unwrap_or(0.0);
                if let Some(grade) = grade(bad).filter(|_| !machine.empty.contains(&part.reference))
                {
                    chips.push(DonorChip {
                        tag: machine.tag.clone(),
                        part: part.reference.clone(),
                        device: device.clone(),
                        grade,
                        good: 1.0 - bad,
                    });
                }
            }
        }
        Donors { chips }
    }

    /// Chance that the worst of these chips is good.
    fn least_good(&self, device: &str, grade: &str) -> Option<f64> {
        let chips = self
            .chips
            .iter()
            .filter(|chip| chip.device == device && chip.grade == grade);
        chips.map(|chip| chip.good).reduce(f64::min)
    }
}

/// A machine that needs nothing.
pub(crate) fn works_already(whole: f64) -> bool {
    whole >= WHOLE
}
