//! Where a net can be probed, the easiest place first.

use super::rules::net_rules;
use super::{Net, NetPin};
use crate::library::Library;
use crate::lists::letters_of;
use crate::profile::Profile;

/// A place where a net can be touched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProbePlace {
    /// The pin: `U1.6`.
    pub at: String,
    /// What the device calls it, where that is known.
    pub name: Option<String>,
    /// What kind of place it is.
    pub kind: String,
    ease: usize,
}

/// All places of a net, easiest first; places alike in the order of the net.
#[must_use]
pub fn probe_places(net: &Net, profile: &Profile, library: &Library) -> Vec<ProbePlace> {
    let mut places: Vec<ProbePlace> = net
        .pins
        .iter()
        .map(|pin| place(pin, profile, library))
        .collect();
    places.sort_by_key(|place| place.ease);
    places
}

fn place(pin: &NetPin, profile: &Profile, library: &Library) -> ProbePlace {
    let part = profile.part(&pin.reference);
    let device = part.and_then(|part| library.device(part.device.as_deref()?));
    let pins = device.map_or(0, |device| device.pins.len());
    let number: usize = pin.pin.parse().unwrap_or(0);
    let corner = pins >= 4 && [1, pins / 2, pins / 2 + 1, pins].contains(&number);
    let letters = letters_of(&pin.reference);
    let rules = &net_rules().probes;
    let fits = |rule: &super::rules::ProbeRule| {
        (rule
            .letters
            .iter()
            .any(|known| known == letters || known == "*"))
            && (corner || !rule.corner)
    };
    let ease = rules.iter().position(fits).unwrap_or(rules.len());
    let named = device.and_then(|device| {
        device
            .pins
            .iter()
            .find(|known| known.number.to_string() == pin.pin)
    });
    ProbePlace {
        at: format!("{}.{}", pin.reference, pin.pin),
        name: named.map(|pin| pin.name.clone()),
        kind: rules
            .get(ease)
            .map(|rule| rule.title.clone())
            .unwrap_or_default(),
        ease,
    }
}
