//! Nets of a board: taken into the folder, looked at, and resistances to ground compared along them.

use std::collections::BTreeMap;

use catalogue::{
    Compared, Library, NetFormat, Netlist, Ohms, Profile, buses, compare_ohms, parse_nets,
    parse_ohms, print_nets, probe_places,
};
use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    names::{choices, nearest},
    own_board::{OwnBoard, refused, replace},
    told::{Told, ToldLine},
    words::{counted, listed, quoted, trimmed},
    workshop::Result,
};

/// Nets as they were understood, and whether they were taken.
#[derive(Debug, Clone, Serialize)]
pub struct NetsRead {
    /// Board id.
    pub board: String,
    /// The file that they are kept in.
    pub file: String,
    /// Nets.
    pub nets: usize,
    /// Pins.
    pub pins: usize,
    /// The file was written.
    pub taken: bool,
    /// What they tell.
    pub says: Told,
}

/// From this distance on a ratio is called strange.
const STRANGE: f64 = 3.0;

/// Most pins listed of a comparison that is all well.
const MOST_CALM: usize = 5;

impl Workshop {
    /// Reads nets for a board of the workshop, and keeps them beside the board's file if asked.
    ///
    /// # Errors
    /// If the board has no file, a line cannot be understood, or a part has no such pin; then nothing was written.
    pub fn read_nets(&self, board: &str, name: &str, bytes: &[u8], take: bool) -> Result<NetsRead> {
        let state = self.fresh()?.state();
        let library = &state.folder.library;
        let own = OwnBoard::find(self.dir(), &state.folder, board)?;
        let profile = catalogue::parse_profile(&own.text, &own.name, library)
            .map_err(|problems| refused(&problems, "mend the board's file, then try again"))?;
        let mend = "mend the list and try again";
        let (nets, format) =
            parse_nets(bytes, name).map_err(|problems| refused(&problems, mend))?;
        let nets = nets
            .settled(&profile, library, name)
            .map_err(|problems| refused(&problems, mend))?;
        let file = own.name.replace(".toml", ".nets");
        if take {
            let text = format!(
                "# Nets of {}, taken from {}.\n{}",
                profile.id,
                name.replace('\n', " "),
                print_nets(&nets)
            );
            replace(&own.path().with_extension("nets"), &file, &text)?;
        }
        let pins = nets.nets.iter().map(|net| net.pins.len()).sum();
        let mut says = Told::new(match take {
            true => format!(
                "{} went into {file}.",
                crate::words::capital(&counted(nets.nets.len(), "net", "nets"))
            ),
            false => format!(
                "{} would go into {file}; nothing is written yet.",
                crate::words::capital(&counted(nets.nets.len(), "net", "nets"))
            ),
        });
        says.say(match format {
            NetFormat::BareBoard => "Read as test records of a bare board.",
            NetFormat::Plain => "Read as typed lines, a net and its pins on each.",
        });
        overview(&mut says, &nets, &profile, library);
        Ok(NetsRead {
            board: profile.id,
            nets: nets.nets.len(),
            file,
            pins,
            taken: take,
            says,
        })
    }

    /// A net of a board, by its name or by a pin of it: who is on it, and where it is probed with least trouble.
    /// Without a name: the buses, and who can hold them.
    ///
    /// # Errors
    /// If the board has no nets, or none of that name.
    pub fn net(&self, board: Option<&str>, name: Option<&str>) -> Result<Told> {
        let state = self.fresh()?.state();
        let profile = match board {
            Some(id) => state.folder.board(id)?,
            None => state.folder.usual_board()?,
        };
        let nets = state.folder.nets(&profile.id)?;
        let library = &state.folder.library;
        let Some(name) = name else {
            let mut told = Told::new(format!(
                "{} on {}.",
                crate::words::capital(&counted(nets.nets.len(), "net", "nets")),
                profile.id
            ));
            overview(&mut told, nets, &profile, library);
            return Ok(told);
        };
        let by_pin = || {
            name.rsplit_once('.')
                .and_then(|(part, pin)| nets.at(&part.to_uppercase(), pin))
        };
        let Some(net) = nets.net(name).or_else(by_pin) else {
            let known = nets.nets.iter().map(|net| net.name.as_str());
            let message = format!(
                "there is no net {} on {}; nearest are {}",
                quoted(name),
                profile.id,
                choices(nearest(name, known))
            );
            return Err(Error::new(ErrorKind::NotFound, message)
                .hint("name a net, or a pin such as `U1.6`"));
        };
        let mut told = Told::new(format!(
            "{} joins {}.",
            net.name,
            counted(net.pins.len(), "pin", "pins")
        ));
        let bus = buses(nets, &profile, library)
            .into_iter()
            .find(|bus| bus.nets.contains(&net.name));
        if let Some(bus) = bus {
            let drivers: Vec<String> = bus.drivers.into_iter().map(|(part, _)| part).collect();
            told.say(format!(
                "It belongs to the bus {}, which {} can hold.",
                bus.name,
                listed(&drivers, "or")
            ));
        }
        let places = probe_places(net, &profile, library)
            .into_iter()
            .map(|place| {
                let part = place
                    .at
                    .split('.')
                    .next()
                    .and_then(|part| profile.part(part));
                let title = part
                    .map(|part| format!(" of the {}", crate::words::small(&part.title)))
                    .unwrap_or_default();
                let name = place
                    .name
                    .map(|name| format!("the pin {name}{title}"))
                    .unwrap_or_else(|| format!("a pin{title}"));
                ToldLine::new(
                    place.at,
                    format!("{}, {}.", crate::words::capital(&name), place.kind),
                )
            });
        told.section("Where to probe it, easiest first", places.collect());
        Ok(told)
    }

    /// Resistances to ground, pin by pin, of a good board and a suspect one; the strangest first. Without a file: the list of
    /// pins to measure, one for each net.
    ///
    /// # Errors
    /// If a line cannot be understood, or there are no nets to list.
    pub fn ohms(&self, board: Option<&str>, list: Option<(&str, &[u8])>) -> Result<Told> {
        let state = self.fresh()?.state();
        let profile = match board {
            Some(id) => Some(state.folder.board(id)?),
            None => state.folder.usual_board().ok(),
        };
        let nets = profile
            .as_ref()
            .and_then(|profile| state.folder.nets(&profile.id).ok());
        let Some((name, bytes)) = list else {
            let profile = profile
                .ok_or_else(|| Error::new(ErrorKind::Usage, "expected a board, found none"))?;
            let nets = state.folder.nets(&profile.id)?;
            return Ok(form(nets, &profile, &state.folder.library));
        };
        let read = parse_ohms(bytes, name)
            .map_err(|problems| refused(&problems, "mend the list and try again"))?;
        Ok(compared(&compare_ohms(&read), nets))
    }
}

/// Buses, and who can hold them.
fn overview(told: &mut Told, nets: &Netlist, profile: &Profile, library: &Library) {
    let lines = buses(nets, profile, library).into_iter().map(|bus| {
        let drivers: Vec<String> = bus.drivers.into_iter().map(|(part, _)| part).collect();
        let line = format!(
            "{} can hold it.",
            crate::words::capital(&listed(&drivers, "or"))
        );
        let under = if bus.listeners.is_empty() {
            String::new()
        } else {
            format!("{} only listen", listed(&bus.listeners, "and"))
        };
        ToldLine::new(bus.name, line).under(under)
    });
    told.section("Buses", lines.collect());
    let mut unknown: BTreeMap<&str, usize> = BTreeMap::new();
    for pin in nets.nets.iter().flat_map(|net| &net.pins) {
        if profile.part(&pin.reference).is_none() {
            *unknown.entry(&pin.reference).or_default() += 1;
        }
    }
    if !unknown.is_empty() {
        let names: Vec<&str> = unknown.keys().copied().collect();
        let line = match names.len() {
            1 => "One position of the list is no part of the board.".to_owned(),
            several => format!(
                "{} of the list are no parts of the board.",
                counted(several, "position", "positions")
            ),
        };
        told.section(
            "Not on the board",
            vec![ToldLine::new("", line).under(catalogue::print_references(&names))],
        );
    }
    let missing: Vec<&str> = profile
        .parts
        .iter()
        .map(|part| part.reference.as_str())
        .filter(|part| {
            !nets
                .nets
                .iter()
                .any(|net| net.pins.iter().any(|pin| pin.reference == *part))
        })
        .collect();
    if !missing.is_empty() {
        told.section(
            "In no net",
            vec![ToldLine::new(
                "",
                format!("{}.", catalogue::print_references(&missing)),
            )],
        );
    }
}

/// The list to fill in: the easiest place of each net.
fn form(nets: &Netlist, profile: &Profile, library: &Library) -> Told {
    let mut told =
        Told::new("Measure each of these to ground on both boards, unplugged and without charge.");
    told.say("Write a line for each: pin, good board, suspect board, such as `U1.6 4.52k 61`; `OL` is beyond the range.");
    let lines = nets.nets.iter().filter_map(|net| {
        let place = probe_places(net, profile, library).into_iter().next()?;
        Some(ToldLine::new(place.at, format!("{}.", net.name)).under(place.kind))
    });
    told.section("Pins to measure", lines.collect());
    told
}

fn compared(compared: &[Compared], nets: Option<&Netlist>) -> Told {
    let strange = |one: &&Compared| one.z.is_none_or(|z| z.abs() >= STRANGE);
    let count = compared.iter().filter(strange).count();
    let mut told = Told::new(match count {
        0 => format!(
            "None of {} stands out.",
            counted(compared.len(), "pin", "pins")
        ),
        1 => format!(
            "{} of {} stands out.",
            compared[0].at,
            counted(compared.len(), "pin", "pins")
        ),
        many => format!(
            "{} of {} stand out, {} most.",
            crate::words::capital(&counted(many, "pin", "pins")),
            compared.len(),
            compared[0].at
        ),
    });
    told.say("The figure is how many standard deviations the logarithm of suspect over good lies from that of the other pins.");
    told.section(
        "Stand out",
        compared
            .iter()
            .filter(strange)
            .map(|one| line(one, nets))
            .collect(),
    );
    let calm = compared.iter().filter(|one| !strange(one));
    told.section(
        "As on the good board, the farthest first",
        calm.take(MOST_CALM).map(|one| line(one, nets)).collect(),
    );
    told
}

fn line(one: &Compared, nets: Option<&Netlist>) -> ToldLine {
    let net = one
        .at
        .rsplit_once('.')
        .and_then(|(part, pin)| nets?.at(part, pin));
    let place = net.map_or_else(
        || one.at.clone(),
        |net| format!("{} ({})", one.at, net.name),
    );
    let figure = one.z.map_or_else(
        || "open".to_owned(),
        |z| format!("{z:+.1}").replace('-', "\u{2212}"),
    );
    let (good, suspect) = (ohms_words(one.good), ohms_words(one.suspect));
    let others: Vec<String> = net
        .into_iter()
        .flat_map(|net| &net.pins)
        .map(|pin| pin.reference.clone())
        .filter(|part| !one.at.starts_with(&format!("{part}.")))
        .collect();
    let under = if others.is_empty() {
        String::new()
    } else {
        format!("on the same wire: {}", listed(&others, "and"))
    };
    ToldLine::new(
        figure,
        format!("{place}: {suspect}, on the good board {good}."),
    )
    .under(under)
}

fn ohms_words(ohms: Ohms) -> String {
    match ohms {
        Ohms::Open => "open".to_owned(),
        Ohms::Value(ohms) if ohms >= 1e6 => format!("{} MΩ", trimmed(ohms / 1e6, 2)),
        Ohms::Value(ohms) if ohms >= 1e3 => format!("{} kΩ", trimmed(ohms / 1e3, 2)),
        Ohms::Value(ohms) => format!("{} Ω", trimmed(ohms, 1)),
    }
}
