//! What a board profile says of its machines, by numbers in place of names; made once for all machines of a board.
//!
//! A target is a function, or of a rail its `present`, its `high` or both. Functions come first, then the three of each rail.

use std::{
    ops::Range,
    sync::{Arc, OnceLock},
};

use catalogue::{Mode, Need, Part, Profile, RailFault, RailSide, Site, Target};

use crate::depth;

/// A number in four bytes; there are never so many of anything.
pub(crate) fn short(number: usize) -> u32 {
    debug_assert!(u32::try_from(number).is_ok());
    number as u32
}

/// A number that may be missing, in four bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Maybe(u32);

impl Maybe {
    pub(crate) const NONE: Self = Self(u32::MAX);

    pub(crate) fn of(number: usize) -> Self {
        debug_assert!(number < u32::MAX as usize);
        Self(short(number))
    }

    pub(crate) fn get(self) -> Option<usize> {
        (self != Self::NONE).then_some(self.0 as usize)
    }
}

impl From<Option<usize>> for Maybe {
    fn from(number: Option<usize>) -> Self {
        number.map_or(Self::NONE, Self::of)
    }
}

/// A board profile by numbers.
#[derive(Debug)]
pub(crate) struct Wiring {
    pub(crate) profile: Arc<Profile>,
    functions: Names,
    rails: Names,
    parts: Names,
    /// By target.
    wires: Box<[Wire]>,
    needs: Box<[Needed]>,
    acting: Box<[Acting]>,
    breaks: Box<[f64]>,
    /// Targets with the outside things that serve them.
    served: Box<[(u32, u32)]>,
    /// By part.
    kinds: Box<[Kinds]>,
    /// The modes of each part, those of the chip first.
    modes: Box<[u32]>,
    /// By part.
    strikes: Box<[Strike]>,
    ranks: OnceLock<Vec<usize>>,
}

/// Names found by their hashes: each stands at the first free place from its own on.
#[derive(Debug)]
struct Names(Box<[Maybe]>);

/// What makes a target fail; each range ends where the next one begins.
#[derive(Debug, Clone, Copy)]
struct Wire {
    /// Chance that it fails for no known reason; none for what has no causes of its own.
    leak: Option<f64>,
    needs: u32,
    acting: u32,
}

/// What a target needs.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Needed {
    /// A part must be there.
    Part(u32),
    /// Another target, which breaks this one with a chance when it fails.
    Target(u32, f64),
}

/// A part of which some mode may break a target, and where the chances of that begin.
#[derive(Debug, Clone, Copy)]
struct Acting {
    part: u32,
    breaks: u32,
}

/// The modes of a part.
#[derive(Debug, Clone, Copy)]
struct Kinds {
    start: u32,
    places: u32,
    feeds: bool,
}

/// A mode that an event strikes.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Strike {
    part: u32,
    pub(crate) event: u32,
    /// Among the part's modes, those of the chip first.
    slot: u32,
    pub(crate) chance: f64,
}

impl Names {
    fn of<'a>(count: usize, name: impl Fn(usize) -> &'a str) -> Self {
        let mut places = vec![Maybe::NONE; (2 * count).next_power_of_two()];
        for number in 0..count {
            let mut place = hash(name(number)) & (places.len() - 1);
            while places[place] != Maybe::NONE {
                place = (place + 1) & (places.len() - 1);
            }
            places[place] = Maybe::of(number);
        }
        Self(places.into())
    }

    fn find<'a>(&self, wanted: &str, name: impl Fn(usize) -> &'a str) -> Option<usize> {
        let mut place = hash(wanted) & (self.0.len() - 1);
        while let Some(number) = self.0[place].get() {
            if name(number) == wanted {
                return Some(number);
            }
            place = (place + 1) & (self.0.len() - 1);
        }
        None
    }
}

/// Multiplies and mixes eight bytes at a time; names of a board are no attack.
fn hash(name: &str) -> usize {
    let mut hash = name.len() as u64;
    for bytes in name.as_bytes().chunks(8) {
        let word = bytes
            .iter()
            .fold(0, |word, &byte| word << 8 | u64::from(byte));
        hash = (hash.rotate_left(5) ^ word).wrapping_mul(0x9e37_79b9_7f4a_7c15);
    }
    (hash >> 32) as usize
}

impl Wiring {
    pub(crate) fn of(profile: Arc<Profile>) -> Self {
        let known = &profile;
        let functions = Names::of(known.functions.len(), |at| &known.functions[at].id);
        let rails = Names::of(known.rails.len(), |at| &known.rails[at].name);
        let parts = Names::of(known.parts.len(), |at| &known.parts[at].reference);
        let mut wiring = Self {
            functions,
            rails,
            parts,
            wires: Box::default(),
            needs: Box::default(),
            acting: Box::default(),
            breaks: Box::default(),
            served: Box::default(),
            kinds: Box::default(),
            modes: Box::default(),
            strikes: Box::default(),
            ranks: OnceLock::new(),
            profile,
        };
        wiring.modes();
        let named = wiring.named();
        wiring.wires(&named);
        wiring.served();
        wiring.acting(&named);
        wiring.strikes();
        wiring
    }

    fn modes(&mut self) {
        let parts = &self.profile.parts;
        let count = parts.iter().map(|part| part.modes.len()).sum();
        let mut modes = Vec::with_capacity(count);
        let mut kinds = Vec::with_capacity(parts.len());
        for part in parts {
            let start = short(modes.len());
            let of = |site| {
                let all = part.modes.iter().enumerate();
                all.filter(move |(_, mode)| mode.site == site)
                    .map(|(number, _)| short(number))
            };
            modes.extend(of(Site::Chip));
            let places = short(modes.len());
            modes.extend(of(Site::Place));
            kinds.push(Kinds {
                start,
                places,
                feeds: false,
            });
        }
        for reference in self.profile.rails.iter().flat_map(|rail| &rail.fed_by) {
            if let Some(part) = self.part(reference) {
                kinds[part].feeds = true;
            }
        }
        self.modes = modes.into();
        self.kinds = kinds.into();
    }

    /// The part or the target that each need of each function names.
    fn named(&self) -> Vec<Maybe> {
        let functions = self.profile.functions.iter();
        let needs = functions.flat_map(|function| &function.needs);
        let named = needs.map(|need| match need {
            Need::Part(part) | Need::Mode { part, .. } => self.part(part),
            Need::Target { target, .. } => self.number(target),
        });
        named.map(Maybe::from).collect()
    }

    fn wires(&mut self, named: &[Maybe]) {
        let profile = &self.profile;
        let count = profile.functions.len() + 3 * profile.rails.len();
        let mut wires = Vec::with_capacity(count);
        let of_functions = profile.functions.iter().map(|one| one.needs.len());
        let of_rails = profile.rails.iter().map(|rail| 2 + rail.fed_by.len());
        let mut needs = Vec::with_capacity(of_functions.chain(of_rails).sum());
        let wire = |leak, needs: &[Needed]| Wire {
            leak,
            needs: short(needs.len()),
            acting: 0,
        };
        let mut named = named.iter();
        for function in &profile.functions {
            wires.push(wire(Some(function.leak), &needs));
            let named = function.needs.iter().zip(&mut named);
            needs.extend(named.filter_map(|(need, named)| {
                let named = short(named.get()?);
                match need {
                    Need::Part(_) => Some(Needed::Part(named)),
                    Need::Mode { .. } => None,
                    Need::Target { chance, .. } => Some(Needed::Target(named, *chance)),
                }
            }));
        }
        for rail in &profile.rails {
            let present = short(wires.len());
            wires.push(wire(Some(rail.leak), &needs));
            let fed_by = rail.fed_by.iter().filter_map(|part| self.part(part));
            needs.extend(fed_by.map(|part| Needed::Part(short(part))));
            wires.push(wire(None, &needs));
            wires.push(wire(None, &needs));
            needs.extend([present, present + 1].map(|side| Needed::Target(side, 1.0)));
        }
        self.wires = wires.into();
        self.needs = needs.into();
    }

    fn served(&mut self) {
        let things = self.profile.outside.iter().enumerate();
        let served = things.flat_map(|(thing, known)| {
            let targets = known.serves.iter();
            targets
                .filter_map(|target| self.spoiled(target))
                .map(move |target| (short(target), short(thing)))
        });
        let mut served: Vec<(u32, u32)> = served.collect();
        served.sort_unstable();
        served.dedup();
        self.served = served.into();
    }

    /// Which modes break which targets, and with which chance.
    fn acting(&mut self, named: &[Maybe]) {
        let pairs = self.acting_pairs(named);
        let mut acting = Vec::with_capacity(pairs.len());
        let slots = |&(_, part): &(u32, u32)| self.profile.parts[part as usize].modes.len();
        let mut breaks = Vec::with_capacity(pairs.iter().map(slots).sum());
        let mut at = 0;
        let mut first = 0;
        for target in 0..self.wires.len() {
            self.wires[target].acting = short(acting.len());
            while let Some(&(_, part)) = pairs.get(at).filter(|pair| pair.0 as usize == target) {
                acting.push(Acting {
                    part,
                    breaks: short(breaks.len()),
                });
                let number = part as usize;
                let part = &self.profile.parts[number];
                let is_named = |need: usize| named[first + need] == Maybe::of(number);
                let modes = self.slots(number).iter();
                let modes = modes.map(|&mode| &part.modes[mode as usize]);
                breaks.extend(modes.map(|mode| self.breaks_of(part, target, Some(mode), is_named)));
                at += 1;
            }
            let function = self.profile.functions.get(target);
            first += function.map_or(0, |function| function.needs.len());
        }
        self.acting = acting.into();
        self.breaks = breaks.into();
    }

    /// Each target with the parts that a mode of may break it.
    fn acting_pairs(&self, named: &[Maybe]) -> Vec<(u32, u32)> {
        let profile = &self.profile;
        let functions = profile.functions.len();
        let mut pairs = Vec::with_capacity(named.len());
        let mut add = |target: usize, part: Option<usize>| {
            pairs.extend(part.map(|part| (short(target), short(part))));
        };
        let mut named = named.iter();
        for (target, function) in profile.functions.iter().enumerate() {
            for (need, named) in function.needs.iter().zip(&mut named) {
                if let Need::Part(_) | Need::Mode { .. } = need {
                    add(target, named.get());
                }
            }
        }
        for (rail, known) in profile.rails.iter().enumerate() {
            for reference in &known.fed_by {
                let part = self.part(reference);
                add(functions + 3 * rail, part);
                add(functions + 3 * rail + 1, part);
            }
        }
        for (part, known) in profile.parts.iter().enumerate() {
            for spoil in known.modes.iter().flat_map(|mode| &mode.spoils) {
                if let Some(target) = self.spoiled(&spoil.target) {
                    add(target, Some(part));
                }
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }

    /// With which chance a mode of a part, present and showing, breaks a target; none stands for a mode that the part does not know.
    fn breaks_of(
        &self,
        part: &Part,
        target: usize,
        mode: Option<&Mode>,
        is_named: impl Fn(usize) -> bool,
    ) -> f64 {
        let functions = &self.profile.functions;
        let spoiled = mode.map_or(0.0, |mode| {
            let spoils = mode.spoils.iter();
            let kept: f64 = spoils
                .filter(|spoil| self.spoiled(&spoil.target) == Some(target))
                .map(|spoil| 1.0 - spoil.chance)
                .product();
            1.0 - kept
        });
        let needed = if let Some(function) = functions.get(target) {
            let mut chance = 0.0;
            let mut with = None;
            for (number, need) in function.needs.iter().enumerate() {
                match need {
                    Need::Part(_) if is_named(number) => {
                        let spared = mode.is_some_and(|mode| mode.spares.contains(&function.id));
                        chance = if spared { 0.0 } else { 1.0 };
                    }
                    Need::Mode {
                        mode: id,
                        chance: other,
                        ..
                    } if is_named(number) && mode.is_some_and(|mode| mode.id == *id) => {
                        with = Some(*other);
                    }
                    _ => {}
                }
            }
            with.unwrap_or(chance)
        } else {
            let rail = &self.profile.rails[(target - functions.len()) / 3];
            let side = match mode.map_or(RailFault::Low, |mode| mode.rail) {
                RailFault::Low => 0,
                RailFault::High => 1,
            };
            let breaks = (target - functions.len()) % 3 == side;
            f64::from(u8::from(breaks && rail.fed_by.contains(&part.reference)))
        };
        1.0 - (1.0 - needed) * (1.0 - spoiled)
    }

    fn strikes(&mut self) {
        let mut strikes = Vec::new();
        for (event, known) in self.profile.events.iter().enumerate() {
            for cause in known.causes.iter().filter(|cause| cause.chance > 0.0) {
                let Some(part) = self.part(&cause.part) else {
                    continue;
                };
                let modes = &self.profile.parts[part].modes;
                let mut slots = self.slots(part).iter();
                if let Some(slot) = slots.position(|&mode| modes[mode as usize].id == cause.mode) {
                    strikes.push(Strike {
                        part: short(part),
                        event: short(event),
                        slot: short(slot),
                        chance: cause.chance,
                    });
                }
            }
        }
        strikes.sort_by_key(|strike| strike.part);
        self.strikes = strikes.into();
    }

    pub(crate) fn part(&self, reference: &str) -> Option<usize> {
        let parts = &self.profile.parts;
        self.parts.find(reference, |part| &parts[part].reference)
    }

    /// The number of a target, if the profile has it.
    pub(crate) fn number(&self, target: &Target) -> Option<usize> {
        let profile = &self.profile;
        match target {
            Target::Function(id) => self.functions.find(id, |at| &profile.functions[at].id),
            Target::Rail(name, side) => {
                let rail = self.rails.find(name, |at| &profile.rails[at].name)?;
                let side = match side {
                    RailSide::Present => 0,
                    RailSide::High => 1,
                    RailSide::Whole => 2,
                };
                Some(profile.functions.len() + 3 * rail + side)
            }
        }
    }

    /// A rail in `spoils` means its `present`, unless its `high` is named.
    fn spoiled(&self, target: &Target) -> Option<usize> {
        let whole = matches!(target, Target::Rail(_, RailSide::Whole));
        let number = self.number(target)?;
        Some(if whole { number - 2 } else { number })
    }

    /// How many targets there are.
    pub(crate) fn count(&self) -> usize {
        self.wires.len()
    }

    /// About how many causes all targets have together.
    pub(crate) fn most_causes(&self) -> usize {
        self.count() + self.needs.len() + self.acting.len()
    }

    /// The functions and the two sides of each rail.
    pub(crate) fn sides(&self) -> impl Iterator<Item = usize> + use<> {
        let functions = self.profile.functions.len();
        (0..self.count()).filter(move |&target| target < functions || (target - functions) % 3 < 2)
    }

    /// What it is by name; not asked of the whole of a rail.
    pub(crate) fn name(&self, target: usize) -> Target {
        let functions = &self.profile.functions;
        match functions.get(target) {
            Some(function) => Target::Function(function.id.clone()),
            None => {
                let rail = &self.profile.rails[(target - functions.len()) / 3];
                let side = match (target - functions.len()) % 3 {
                    0 => RailSide::Present,
                    1 => RailSide::High,
                    _ => RailSide::Whole,
                };
                Target::Rail(rail.name.clone(), side)
            }
        }
    }

    /// How many targets an unmodelled fault can break: each function and the `present` of each rail.
    pub(crate) fn breakable(&self) -> usize {
        self.profile.functions.len() + self.profile.rails.len()
    }

    /// Its place in an order in which functions that hang together stand together; rails come last.
    pub(crate) fn rank(&self, target: usize) -> usize {
        let ranks = self.ranks.get_or_init(|| depth::ranks(self));
        ranks.get(target).copied().unwrap_or(usize::MAX)
    }

    /// Chance that it fails for no known reason; none for what has no causes of its own.
    pub(crate) fn leak(&self, target: usize) -> Option<f64> {
        self.wires[target].leak
    }

    /// A bench supply can stand for what makes it.
    pub(crate) fn is_supplied(&self, target: usize) -> bool {
        let Some(rail) = target.checked_sub(self.profile.functions.len()) else {
            return false;
        };
        let rail = &self.profile.rails[rail / 3];
        let mut serves = self.profile.outside.iter().flat_map(|thing| &thing.serves);
        !rail.fed_by.is_empty()
            || serves.any(|what| matches!(what, Target::Rail(name, _) if *name == rail.name))
    }

    /// What it needs, in the profile's order.
    pub(crate) fn needs(&self, target: usize) -> &[Needed] {
        let end = self.wires.get(target + 1).map(|next| next.needs as usize);
        &self.needs[self.wires[target].needs as usize..end.unwrap_or(self.needs.len())]
    }

    /// The numbers of its pairs with the parts that a mode of may break it.
    pub(crate) fn acting_on(&self, target: usize) -> Range<usize> {
        let end = self.wires.get(target + 1).map(|next| next.acting as usize);
        self.wires[target].acting as usize..end.unwrap_or(self.acting.len())
    }

    /// The part of such a pair.
    pub(crate) fn acting_part(&self, acting: usize) -> usize {
        self.acting[acting].part as usize
    }

    /// With which chance each of the part's own modes breaks it.
    pub(crate) fn acting_breaks(&self, acting: usize, site: Site) -> &[f64] {
        let Acting { part, breaks } = self.acting[acting];
        let kinds = self.kinds[part as usize];
        let all = self.slots(part as usize).len();
        let chips = (kinds.places - kinds.start) as usize;
        let of_site = match site {
            Site::Chip => 0..chips,
            Site::Place => chips..all,
        };
        &self.breaks[breaks as usize..][..all][of_site]
    }

    /// The same for a part and a target.
    pub(crate) fn breaks(&self, part: usize, target: usize, site: Site) -> &[f64] {
        let range = self.acting_on(target);
        let all = &self.acting[range.clone()];
        match all.binary_search_by_key(&short(part), |one| one.part) {
            Ok(place) => self.acting_breaks(range.start + place, site),
            Err(_) => &[],
        }
    }

    /// With which chance the mode of another part's chip breaks a target from here.
    pub(crate) fn breaks_foreign(&self, part: usize, target: usize, mode: &str) -> f64 {
        let part = &self.profile.parts[part];
        let function = self.profile.functions.get(target);
        let is_named = |need: usize| match function.map(|function| &function.needs[need]) {
            Some(
                Need::Part(reference)
                | Need::Mode {
                    part: reference, ..
                },
            ) => *reference == part.reference,
            _ => false,
        };
        self.breaks_of(part, target, part.mode(mode), is_named)
    }

    /// The outside things that serve it.
    pub(crate) fn serving(&self, target: usize) -> impl Iterator<Item = usize> {
        let target = short(target);
        let start = self.served.partition_point(|(other, _)| *other < target);
        let served = self.served[start..].iter();
        served
            .take_while(move |(other, _)| *other == target)
            .map(|(_, thing)| *thing as usize)
    }

    pub(crate) fn serves_rail(&self, thing: usize) -> bool {
        let mut serves = self.profile.outside[thing].serves.iter();
        serves.any(|what| matches!(what, Target::Rail(..)))
    }

    /// The part feeds a rail.
    pub(crate) fn feeds(&self, part: usize) -> bool {
        self.kinds[part].feeds
    }

    fn slots(&self, part: usize) -> &[u32] {
        let end = self.kinds.get(part + 1).map(|next| next.start as usize);
        &self.modes[self.kinds[part].start as usize..end.unwrap_or(self.modes.len())]
    }

    /// The modes of a part's chip, or of its place.
    pub(crate) fn modes_of(&self, part: usize, site: Site) -> Modes<'_> {
        let kinds = self.kinds[part];
        let (chips, places) = self
            .slots(part)
            .split_at((kinds.places - kinds.start) as usize);
        Modes {
            part: &self.profile.parts[part],
            numbers: match site {
                Site::Chip => chips,
                Site::Place => places,
            },
        }
    }

    /// The strikes of events on a part's chip, or on its place, with the number of the mode.
    pub(crate) fn strikes_on(
        &self,
        part: usize,
        site: Site,
    ) -> impl Iterator<Item = (Strike, usize)> {
        let kinds = self.kinds[part];
        let chips = kinds.places - kinds.start;
        let part = short(part);
        let start = self.strikes.partition_point(|strike| strike.part < part);
        let strikes = self.strikes[start..].iter();
        strikes
            .take_while(move |strike| strike.part == part)
            .filter(move |strike| (strike.slot < chips) == (site == Site::Chip))
            .map(move |&strike| {
                let first = if site == Site::Chip { 0 } else { chips };
                (strike, (strike.slot - first) as usize)
            })
    }
}

/// The modes of a chip or a place.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Modes<'a> {
    part: &'a Part,
    numbers: &'a [u32],
}

impl<'a> Modes<'a> {
    pub(crate) fn len(self) -> usize {
        self.numbers.len()
    }

    pub(crate) fn get(self, mode: usize) -> &'a Mode {
        &self.part.modes[self.numbers[mode] as usize]
    }

    pub(crate) fn iter(self) -> impl ExactSizeIterator<Item = &'a Mode> + Clone {
        let modes = &self.part.modes;
        self.numbers.iter().map(move |&mode| &modes[mode as usize])
    }

    pub(crate) fn position(self, id: &str) -> Option<usize> {
        self.iter().position(|mode| mode.id == id)
    }
}
