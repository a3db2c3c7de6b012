//! Devices: types of chips and components, with their pins and the ways they fail.

use units::Unit;

use crate::fields::{At, Fields, Item};
use crate::problem::Problems;
use crate::profile::{Mode, Mount};
use crate::raw::RawMode;
use crate::read_part::{read_modes, read_mount};

/// A type of chip or component.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Identifier: `z80a`.
    pub id: String,
    /// Title for people.
    pub title: String,
    /// What it does on a board: `cpu`, `dram`, `glue`; brings functions and checks.
    pub role: String,
    /// Where the values come from.
    pub source: String,
    /// Package: `DIP-40`.
    pub package: String,
    /// How it usually sits, where that is always the same.
    pub mount: Option<Mount>,
    /// The voltage of the rail it makes.
    pub feeds: Option<f64>,
    /// Its pins in order; empty where nobody probes them.
    pub pins: Vec<Pin>,
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
    /// Signal levels, or the rail of a supply pin.
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

const KINDS: [(&str, PinKind); 10] = [
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
}

/// Reads one device and where its id stands.
pub(crate) fn read_device(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<At<Device>> {
    let mut text = |key, problems: &mut Problems<'_>| {
        fields
            .need(key, problems)
            .and_then(|item| item.text("a text", problems))
    };
    let id = text("id", problems);
    let title = text("title", problems);
    let role = text("role", problems);
    let source = text("source", problems);
    let package = fields.text("package", problems);
    let mount = read_mount(fields, problems);
    let feeds = fields
        .take("feeds")
        .and_then(|item| read_volts(item, problems));
    let pins = fields.tables("pins", "a pin", problems);
    let pins: Vec<Pin> = pins
        .into_iter()
        .filter_map(|pin| read_pin(pin, problems))
        .collect();
    let modes = read_modes(fields, problems);
    check_pins(&pins, fields, problems);
    let id = id?;
    let device = Device {
        title: title?.value,
        role: role?.value,
        source: source?.value,
        package: package.map(|package| package.value).unwrap_or_default(),
        mount,
        feeds,
        pins,
        modes,
        id: id.value,
    };
    Some(At::new(device, id.span))
}

fn read_volts(item: Item<'_>, problems: &mut Problems<'_>) -> Option<f64> {
    item.number(
        &format!("{} in V", Unit::Volt.quantity_name()),
        |volts| volts != 0.0,
        problems,
    )
}

fn read_pin(mut fields: Fields<'_>, problems: &mut Problems<'_>) -> Option<Pin> {
    let whole = |number: f64| (1.0..=1000.0).contains(&number) && number.fract() == 0.0;
    let number = fields
        .need("n", problems)
        .and_then(|item| item.number("a pin number", whole, problems));
    let name = fields
        .need("name", problems)
        .and_then(|item| item.text("a text", problems));
    let kind = fields
        .word("kind", &KINDS, problems)
        .unwrap_or(PinKind::Input);
    let level = fields.text("level", problems).map(|level| level.value);
    fields.finish(problems);
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "checked to be whole in 1 to 1000"
    )]
    let number = number? as u32;
    Some(Pin {
        number,
        name: name?.value,
        kind,
        level,
    })
}

fn check_pins(pins: &[Pin], fields: &Fields<'_>, problems: &mut Problems<'_>) {
    let mut numbers: Vec<u32> = pins.iter().map(|pin| pin.number).collect();
    numbers.sort_unstable();
    if let Some(twice) = numbers.windows(2).find(|pair| pair[0] == pair[1]) {
        problems.add(
            &fields.span,
            "each pin number once",
            format!("`{}` twice", twice[0]),
        );
    }
}
