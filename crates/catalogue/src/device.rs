//! Devices: types of chips and components, with their pins, limits, timing and the ways they fail.

use std::collections::BTreeMap;

use crate::profile::{Mode, Mount};
use crate::raw::RawMode;

/// A type of chip or component.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Device {
    /// Identifier: `z80a`.
    pub id: String,
    /// Title for people.
    pub title: String,
    /// What it does on a board: `cpu`, `dram`, `glue`; brings functions and checks.
    pub role: String,
    /// Where the values come from.
    pub source: String,
    /// The device whose variant this is: `4164` of `4164-150`.
    pub variant_of: Option<String>,
    /// Package: `DIP-40`.
    pub package: String,
    /// How it usually sits, where that is always the same.
    pub mount: Option<Mount>,
    /// The voltage of the rail it makes.
    pub feeds: Option<f64>,
    /// The logic family of its digital pins, unless a pin names another.
    pub family: Option<String>,
    /// Its pins in order; empty where nobody probes them.
    pub pins: Vec<Pin>,
    /// What its supply pins want.
    pub supplies: Vec<Supply>,
    /// What destroys it.
    pub maxima: Maxima,
    /// Its timing in ns, by the usual symbols of data sheets: `tRAC`.
    pub timing: BTreeMap<String, f64>,
    /// What a person must mind with it.
    pub cautions: Vec<String>,
    pub(crate) modes: Vec<RawMode>,
}

/// One pin.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Pin {
    /// Number.
    pub number: u32,
    /// Name: `CLK`; an active-low one begins with `/`.
    pub name: String,
    /// What it is.
    pub kind: PinKind,
    /// Signal levels, by logic family, or the rail of a supply pin.
    pub level: Option<String>,
}

/// What a pin is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PinKind {
    /// Digital input.
    Input,
    /// Digital output.
    Output,
    /// Input and output.
    Bidirectional,
    /// Output that can let go.
    Tristate,
    /// Output that only pulls down.
    OpenCollector,
    /// Supply.
    Supply,
    /// Ground.
    Ground,
    /// Capacitor, crystal or the like goes here.
    Passive,
    /// Analogue signal.
    Analogue,
    /// Not connected.
    Unconnected,
}

/// What one supply wants.
#[derive(Debug, Clone, PartialEq)]
pub struct Supply {
    /// Name of the pin, or of several that are the same.
    pub pin: String,
    /// The rail it usually sits on.
    pub rail: Option<String>,
    /// Lowest and highest voltage at which it works.
    pub volts: Option<(f64, f64)>,
    /// Typical current in mA.
    pub milliamps: Option<f64>,
    /// Highest current in mA of a good one.
    pub most_milliamps: Option<f64>,
}

/// What destroys a part.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Maxima {
    /// Highest supply in V.
    pub supply_volts: Option<f64>,
    /// Lowest and highest voltage at a signal pin.
    pub pin_volts: Option<(f64, f64)>,
    /// Highest dissipation in W.
    pub watts: Option<f64>,
}

/// Words for the kinds of pins; each is also a key of a device in the short form.
pub(crate) const KINDS: [(&str, PinKind); 10] = [
    ("input", PinKind::Input),
    ("output", PinKind::Output),
    ("bidirectional", PinKind::Bidirectional),
    ("tristate", PinKind::Tristate),
    ("open-collector", PinKind::OpenCollector),
    ("supply", PinKind::Supply),
    ("ground", PinKind::Ground),
    ("passive", PinKind::Passive),
    ("analogue", PinKind::Analogue),
    ("unconnected", PinKind::Unconnected),
];

impl PinKind {
    /// Whether logic levels matter at it.
    #[must_use]
    pub fn is_digital(self) -> bool {
        matches!(
            self,
            Self::Input | Self::Output | Self::Bidirectional | Self::Tristate | Self::OpenCollector
        )
    }
}

impl Device {
    /// The ways it fails; what a mode spoils is left out, as only a board has functions.
    pub fn modes(&self) -> impl Iterator<Item = &Mode> {
        self.modes.iter().map(|mode| &mode.mode)
    }

    /// The pin of this name.
    #[must_use]
    pub fn pin(&self, name: &str) -> Option<&Pin> {
        self.pins.iter().find(|pin| pin.name == name)
    }

    /// The rails its supply pins want.
    pub fn rails(&self) -> impl Iterator<Item = &str> {
        let supply = self.pins.iter().filter(|pin| pin.kind == PinKind::Supply);
        supply.filter_map(|pin| pin.level.as_deref())
    }

    /// What the supply pin of this name wants.
    #[must_use]
    pub fn supply(&self, pin: &str) -> Option<&Supply> {
        self.supplies.iter().find(|supply| supply.pin == pin)
    }
}
