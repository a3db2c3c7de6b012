//! Pieces: a part that says `of = "VIDEO"` takes its share of what can be wrong with VIDEO, and VIDEO goes.
//!
//! A whole with the chance S that its chip side is bad becomes pieces of the chances 1 − (1 − S)^w, the shares w adding up
//! to 1; each piece has the whole's modes in the whole's proportions, and its place side likewise. So that nothing of the
//! whole is bad keeps its chance exactly, and so does everything that depends on nothing else: where all modes of the whole
//! break the same functions for certain, every finding speaks as before. That two pieces are bad at once was no state of the
//! whole; it takes a part of the order S² of the chances, which is all that differs. Causes of events are shared alike.

use std::collections::BTreeMap;

use crate::fields::At;
use crate::library::Library;
use crate::problem::{Problems, shown};
use crate::profile::Site;
use crate::raw::{Raw, RawHarm, RawMode, RawNeed, RawPart};

/// Weight of a piece whose device the catalogue does not know.
const USUAL_WEIGHT: f64 = 0.01;

/// The pieces of one whole: reference and share of each.
type Pieces = Vec<(String, f64)>;

/// Puts the pieces in the place of their wholes.
pub(crate) fn split(raw: &mut Raw, library: &Library, problems: &mut Problems<'_>) {
    let whole = raw.parts.iter().all(|part| part.of.is_none());
    if !names_hold(raw, problems) || whole {
        return;
    }
    let wholes: BTreeMap<String, Pieces> = raw
        .parts
        .iter()
        .filter_map(|part| Some((part.of.as_ref()?.value.clone(), Vec::new())))
        .collect();
    let wholes: BTreeMap<String, Pieces> = wholes
        .into_keys()
        .map(|whole| {
            let pieces = shares(raw, &whole, library);
            (whole, pieces)
        })
        .collect();
    spell_out(raw);
    raw.pieces = wholes
        .iter()
        .map(|(whole, pieces)| {
            let names = pieces.iter().map(|(piece, _)| piece.clone());
            (whole.clone(), names.collect())
        })
        .collect();
    raw.parts = parts(std::mem::take(&mut raw.parts), &wholes, library);
    for rail in &mut raw.rails {
        rail.fed_by = names(&rail.fed_by, &wholes);
    }
    for function in &mut raw.functions {
        function.needs = function
            .needs
            .iter()
            .flat_map(|need| needs(need, &wholes))
            .collect();
    }
    for event in &mut raw.events {
        event.causes = event
            .causes
            .iter()
            .flat_map(|(name, chance)| modes(name, *chance, &wholes))
            .collect();
    }
    for check in &mut raw.checks {
        check.harms = check
            .harms
            .iter()
            .flat_map(|harm| harms(harm, &wholes))
            .collect();
        check.at = check
            .at
            .iter()
            .flat_map(|place| places(place, &wholes))
            .collect();
    }
}

/// `*.contact` in events as the parts it means now, so that pieces share what struck their whole.
fn spell_out(raw: &mut Raw) {
    let parts = &raw.parts;
    let meant = |name: &At<String>| -> Vec<At<String>> {
        let pattern = name.value.rsplit_once('.');
        let Some((prefix, mode)) =
            pattern.and_then(|(part, mode)| Some((part.strip_suffix('*')?, mode)))
        else {
            return vec![name.clone()];
        };
        let has = |part: &&RawPart| {
            part.of.is_none()
                && part.reference.value.starts_with(prefix)
                && part.modes.iter().any(|known| known.mode.id == mode)
        };
        let found: Vec<_> = parts
            .iter()
            .filter(has)
            .map(|part| {
                At::new(
                    format!("{}.{mode}", part.reference.value),
                    name.span.clone(),
                )
            })
            .collect();
        if found.is_empty() {
            vec![name.clone()]
        } else {
            found
        }
    };
    for event in &mut raw.events {
        event.causes = event
            .causes
            .iter()
            .flat_map(|(name, chance)| meant(name).into_iter().map(|name| (name, *chance)))
            .collect();
    }
}

/// Every `of` names a part that is no piece itself, and pieces write no modes.
fn names_hold(raw: &Raw, problems: &mut Problems<'_>) -> bool {
    let mut hold = true;
    for part in &raw.parts {
        let Some(of) = &part.of else {
            if let Some(share) = part.share {
                problems.add(
                    &part.span,
                    "`share` beside `of`, for a piece of a part",
                    format!("`share = {share}` without `of`"),
                );
                hold = false;
            }
            continue;
        };
        let whole = |known: &&RawPart| known.of.is_none();
        let known = raw.parts.iter().filter(whole);
        if !known.clone().any(|known| known.reference.value == of.value) {
            let known = known.map(|known| known.reference.value.as_str());
            problems.unknown(&of.span, "a part that is no piece itself", &of.value, known);
            hold = false;
        }
        if let Some(mode) = part.modes.first() {
            problems.add(
                &mode.span,
                "a piece without modes, as it shares those of its whole",
                shown(&mode.mode.id),
            );
            hold = false;
        }
    }
    hold
}

/// The pieces of a whole, in the order of the file, their shares adding up to 1.
fn shares(raw: &Raw, whole: &str, library: &Library) -> Pieces {
    let pieces = raw
        .parts
        .iter()
        .filter(|part| part.of.as_ref().is_some_and(|of| of.value == whole));
    let weighed: Pieces = pieces
        .map(|part| {
            let weight = part.share.unwrap_or_else(|| weight(part, library));
            (part.reference.value.clone(), weight)
        })
        .collect();
    let sum: f64 = weighed.iter().map(|(_, weight)| weight).sum();
    let share = |(reference, weight)| (reference, weight / sum);
    weighed.into_iter().map(share).collect()
}

/// How often the device fails by itself, as far as the catalogue knows.
fn weight(part: &RawPart, library: &Library) -> f64 {
    let device = part.device.as_ref();
    let device = device.and_then(|device| library.device(&device.value));
    let sum: f64 = device.map_or(0.0, |device| device.modes().map(|mode| mode.chance).sum());
    if sum > 0.0 { sum } else { USUAL_WEIGHT }
}

fn parts(old: Vec<RawPart>, wholes: &BTreeMap<String, Pieces>, library: &Library) -> Vec<RawPart> {
    let bodies: BTreeMap<String, RawPart> = old
        .iter()
        .filter(|part| wholes.contains_key(&part.reference.value))
        .map(|part| (part.reference.value.clone(), part.clone()))
        .collect();
    let whole = |part: &RawPart| bodies.contains_key(&part.reference.value);
    old.into_iter()
        .filter(|part| !whole(part))
        .map(|part| {
            let of = part.of.as_ref().map(|of| of.value.clone());
            let body = of.as_ref().and_then(|of| bodies.get(of));
            match (body, of.and_then(|of| wholes.get(&of))) {
                (Some(body), Some(pieces)) => piece(part, body, pieces, library),
                _ => part,
            }
        })
        .collect()
}

fn piece(mut part: RawPart, whole: &RawPart, pieces: &Pieces, library: &Library) -> RawPart {
    let share = pieces
        .iter()
        .find(|(reference, _)| *reference == part.reference.value)
        .map_or(0.0, |&(_, share)| share);
    let device = part.device.as_ref();
    let device = device.and_then(|device| library.device(&device.value));
    let title = device.map(|device| device.title.clone());
    part.title = part.title.or(title);
    part.block = part.block.or_else(|| whole.block.clone());
    part.mount = part
        .mount
        .or(device.and_then(|device| device.mount))
        .or(whole.mount);
    part.optional |= whole.optional;
    part.modes = [Site::Chip, Site::Place]
        .into_iter()
        .flat_map(|site| shared_modes(&whole.modes, site, share))
        .collect();
    part
}

/// The modes of one site, each in its proportion of 1 − (1 − S)^w.
fn shared_modes(modes: &[RawMode], site: Site, share: f64) -> Vec<RawMode> {
    let mine = modes.iter().filter(|mode| mode.mode.site == site);
    let sum: f64 = mine.clone().map(|mode| mode.mode.chance).sum();
    let scale = if sum > 0.0 {
        shared(sum.min(1.0), share) / sum
    } else {
        0.0
    };
    mine.map(|mode| {
        let mut mode = mode.clone();
        mode.mode.chance *= scale;
        mode
    })
    .collect()
}

/// A chance that, in all pieces together, is the whole's.
fn shared(chance: f64, share: f64) -> f64 {
    1.0 - (1.0 - chance).powf(share)
}

fn names(old: &[At<String>], wholes: &BTreeMap<String, Pieces>) -> Vec<At<String>> {
    old.iter()
        .flat_map(|name| match wholes.get(&name.value) {
            Some(pieces) => pieces
                .iter()
                .map(|(piece, _)| At::new(piece.clone(), name.span.clone()))
                .collect(),
            None => vec![name.clone()],
        })
        .collect()
}

fn needs(need: &RawNeed, wholes: &BTreeMap<String, Pieces>) -> Vec<RawNeed> {
    match need {
        RawNeed::Name(name) => names(std::slice::from_ref(name), wholes)
            .into_iter()
            .map(RawNeed::Name)
            .collect(),
        // whether a present mode breaks a function is drawn for each piece by itself
        RawNeed::Mode(name, chance) => pieces_of(name, wholes)
            .into_iter()
            .map(|(name, _)| RawNeed::Mode(name, *chance))
            .collect(),
        RawNeed::Target(..) => vec![need.clone()],
    }
}

fn modes(
    name: &At<String>,
    chance: f64,
    wholes: &BTreeMap<String, Pieces>,
) -> Vec<(At<String>, f64)> {
    pieces_of(name, wholes)
        .into_iter()
        .map(|(name, share)| (name, shared(chance, share)))
        .collect()
}

fn harms(harm: &RawHarm, wholes: &BTreeMap<String, Pieces>) -> Vec<RawHarm> {
    pieces_of(&harm.mode, wholes)
        .into_iter()
        .map(|(mode, share)| RawHarm {
            when: harm.when.clone(),
            mode,
            chance: shared(harm.chance, share),
        })
        .collect()
}

/// `VIDEO.dead` as the same mode of each piece, with its share; other names as they are, with all of it.
fn pieces_of(name: &At<String>, wholes: &BTreeMap<String, Pieces>) -> Vec<(At<String>, f64)> {
    let split = name.value.rsplit_once('.');
    let pieces = split.and_then(|(whole, mode)| Some((wholes.get(whole)?, mode)));
    match pieces {
        Some((pieces, mode)) => pieces
            .iter()
            .map(|(piece, share)| {
                let name = At::new(format!("{piece}.{mode}"), name.span.clone());
                (name, *share)
            })
            .collect(),
        None => vec![(name.clone(), 1.0)],
    }
}

/// A place at the whole is one at its first piece; a pin of the whole is none of a piece's.
fn places(place: &At<String>, wholes: &BTreeMap<String, Pieces>) -> Vec<At<String>> {
    let part = place
        .value
        .rsplit_once('.')
        .map_or(place.value.as_str(), |(part, _)| part);
    match wholes.get(part) {
        Some(pieces) if part == place.value => pieces
            .first()
            .map(|(piece, _)| At::new(piece.clone(), place.span.clone()))
            .into_iter()
            .collect(),
        Some(_) => Vec::new(),
        None => vec![place.clone()],
    }
}
