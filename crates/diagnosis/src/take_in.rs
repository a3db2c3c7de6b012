//! Machines as they come in.

use std::sync::Arc;

use catalogue::{Event, Profile, Scope, Site};

use crate::{
    error::Error,
    graph::{
        Board, ChipState, EventKey, Graph, Kind, ModeSet, Origin, Own, PositionState, State, Strike,
    },
    situation::{Machine, Situation},
    unroll::{Known, Progress, Unrolled},
    wiring::{Maybe, Wiring, short},
};

/// Takes a machine in: its parts as they came, its events, the outside things it uses.
pub(crate) fn take_in(
    unrolled: &mut Unrolled,
    situation: &Situation,
    machine: &Machine,
    known: Known<'_>,
) -> Result<(), Error> {
    let profile = situation.profiles.get(&machine.profile).ok_or_else(|| {
        Error::new(format!(
            "found board `{}` on machine `{}`, expected a board profile that is loaded",
            machine.profile, machine.tag
        ))
    })?;
    let boards = &unrolled.graph.boards;
    if boards.iter().any(|board| board.tag == machine.tag) {
        return Err(Error::new(format!(
            "found machine `{}` twice, expected each tag once",
            machine.tag
        )));
    }
    known_names(machine, profile)?;
    not_too_many_modes(profile)?;
    let wiring = unrolled.wiring(profile).or_else(|| known(profile));
    let wiring = wiring.unwrap_or_else(|| Arc::new(Wiring::of(Arc::clone(profile))));
    let graph = &mut unrolled.graph;
    let events = if machine.mule {
        Vec::new()
    } else {
        take_in_events(graph, situation, machine, profile)
    };
    let board = graph.boards.len();
    let outside = machine.outside.clone().unwrap_or_else(|| {
        let things = profile.outside.iter();
        things.map(|thing| thing.id.clone()).collect()
    });
    for thing in &profile.outside {
        let known = graph.outside.entry(thing.id.clone());
        known.or_insert(thing.chance);
    }
    let parts = profile.parts.len();
    let positions = Vec::with_capacity(parts);
    let board_of = Board::new(
        machine.tag.clone(),
        machine.mule,
        wiring,
        positions,
        outside,
    );
    graph.boards.push(board_of);
    let empty = machine.empty.iter();
    let empty: Vec<usize> = empty
        .filter_map(|part| graph.boards[board].wiring.part(part))
        .collect();
    let wiring = Arc::clone(&graph.boards[board].wiring);
    graph.reserve(&wiring);
    graph.states.reserve(parts);
    graph.chips.reserve(parts);
    for part in 0..parts {
        let mut add = |site| {
            let kind = Kind::of((board, part), site);
            let state = prior_state(graph, &events, machine.mule, kind);
            graph.add_state(state)
        };
        let modes = profile.parts[part].modes.iter();
        let mut sites = modes.map(|mode| mode.site);
        let place = sites
            .any(|site| site == Site::Place)
            .then(|| add(Site::Place));
        let chip = (!empty.contains(&part)).then(|| add(Site::Chip));
        let chip = chip.map(|state| {
            let position = Some((board, part));
            graph.chips.push(ChipState::new(state, position));
            graph.chips.len() - 1
        });
        let position = PositionState::new(chip, place);
        graph.boards[board].positions.push(position);
    }
    unrolled.progress.push(Progress::default());
    Ok(())
}

fn not_too_many_modes(profile: &Profile) -> Result<(), Error> {
    let most = ModeSet::MOST;
    let mut parts = profile.parts.iter();
    match parts.find(|part| part.modes.len() > most) {
        Some(part) => Err(Error::new(format!(
            "found {} modes of part `{}` of board `{}`, expected at most {most}; join some of them",
            part.modes.len(),
            part.reference,
            profile.id
        ))),
        None => Ok(()),
    }
}

/// Numbers the outside things of each machine, once all things are known.
pub(crate) fn number_things(graph: &mut Graph) {
    for board in &mut graph.boards {
        let things = board.profile.outside.iter().map(|thing| {
            let used = board.outside.contains(&thing.id) && thing.chance > 0.0;
            let place = || graph.outside.keys().position(|id| *id == thing.id);
            used.then(place).flatten()
        });
        board.things = things.map(Maybe::from).collect();
    }
}

/// Empty positions, outside things and known events must be the board's.
fn known_names(machine: &Machine, profile: &Profile) -> Result<(), Error> {
    let unknown = |what: &str, name: &str| {
        Err(Error::new(format!(
            "found {what} `{name}` on machine `{}`, expected one of board `{}`",
            machine.tag, profile.id
        )))
    };
    if let Some(part) = machine
        .empty
        .iter()
        .find(|part| profile.part(part).is_none())
    {
        return unknown("empty position", part);
    }
    let outside = machine.outside.iter().flatten();
    if let Some(thing) = outside
        .into_iter()
        .find(|id| !profile.outside.iter().any(|thing| thing.id == **id))
    {
        return unknown("outside thing", thing);
    }
    match machine
        .known
        .keys()
        .find(|id| !profile.events.iter().any(|event| event.id == **id))
    {
        Some(event) => unknown("event", event),
        None => Ok(()),
    }
}

/// By event: the number of its key where it may strike.
fn take_in_events(
    graph: &mut Graph,
    situation: &Situation,
    machine: &Machine,
    profile: &Profile,
) -> Vec<Maybe> {
    let mut numbers = vec![Maybe::NONE; profile.events.len()];
    for (event, number) in profile.events.iter().zip(&mut numbers) {
        let Some(key) = event_key(machine, event) else {
            continue;
        };
        let known = match event.scope {
            Scope::Machine => machine.known.get(&event.id),
            Scope::Lot => situation
                .lots
                .get(&key.0)
                .and_then(|known| known.get(&event.id)),
        };
        if known != Some(&false) {
            let place = graph.keys.iter().position(|other| *other == key);
            *number = Maybe::of(place.unwrap_or_else(|| {
                graph.keys.push(key.clone());
                graph.keys.len() - 1
            }));
        }
        match known {
            Some(&known) => {
                graph.known.insert(key, known);
            }
            None => {
                graph.events.entry(key).or_insert(event.chance);
            }
        }
    }
    numbers
}

/// Whose event it is: the machine's or its lot's; none for a lot's event of a machine without lot.
fn event_key(machine: &Machine, event: &Event) -> Option<EventKey> {
    match event.scope {
        Scope::Machine => Some((machine.tag.clone(), event.id.clone())),
        Scope::Lot => machine
            .lot
            .as_ref()
            .map(|lot| (lot.clone(), event.id.clone())),
    }
}

fn prior_state(graph: &mut Graph, events: &[Maybe], mule: bool, kind: Kind) -> State {
    let prior = |own, possible| State {
        kind,
        origin: Origin::Prior(own),
        possible,
    };
    if mule {
        return prior(Own::Good, ModeSet::default());
    }
    let modes = graph.modes_of(kind).iter();
    let mut possible = ModeSet::of(modes.map(|mode| mode.chance > 0.0));
    let wiring = &graph.boards[kind.machine as usize].wiring;
    let first = graph.strikes.len();
    for (strike, mode) in wiring.strikes_on(kind.part(), kind.site()) {
        if let Some(event) = events[strike.event as usize].get() {
            possible.set(mode, true);
            graph.strikes.push(Strike {
                event: short(event),
                mode: short(mode),
                chance: strike.chance,
            });
        }
    }
    let count = graph.strikes.len() - first;
    let strikes = (short(first), short(count));
    prior(Own::Given { strikes }, possible)
}
