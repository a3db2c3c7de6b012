//! Remedies: ways to put a part right.

use crate::fields::{At, Fields, check_id};
use crate::problem::{Problems, shown};
use crate::profile::{Mode, Site};

/// One way to put a part right.
#[derive(Debug, Clone, PartialEq)]
pub struct Remedy {
    /// Identifier: `4164-nos`.
    pub id: String,
    /// The device it is for; `*` is any.
    pub for_device: String,
    /// What kind of way it is.
    pub kind: RemedyKind,
    /// What vendors sell, if something is bought.
    pub item: Option<String>,
    /// The board that is built for it, if one is made; see [`Build`](crate::Build).
    pub build: Option<String>,
    /// Minutes of work.
    pub minutes: f64,
    /// Chance that it works when done.
    pub works: f64,
    /// Failures a year afterwards.
    pub fails_per_year: f64,
    /// Board profiles it fits; `*` is any.
    pub fits: Vec<String>,
    /// Modes it cures; empty means all of the site its kind is for.
    pub modes: Vec<String>,
    /// Where the values come from.
    pub source: String,
}

/// Kinds of remedies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RemedyKind {
    /// Pull and press in again.
    Reseat,
    /// Heat the joints again.
    Resolder,
    /// Clean contacts.
    Clean,
    /// Take a good one from a donor.
    Salvage,
    /// Buy a used original.
    UsedOriginal,
    /// Buy old stock never used.
    NewOldStock,
    /// Buy what is made today.
    ModernEquivalent,
    /// Fit another part by an adapter.
    Adapter,
    /// Build a board that does its work.
    HomeBuilt,
    /// Program a logic device that does its work.
    ProgrammedLogic,
}

const KINDS: [(&str, RemedyKind); 10] = [
    ("reseat", RemedyKind::Reseat),
    ("resolder", RemedyKind::Resolder),
    ("clean", RemedyKind::Clean),
    ("salvage", RemedyKind::Salvage),
    ("used-original", RemedyKind::UsedOriginal),
    ("new-old-stock", RemedyKind::NewOldStock),
    ("modern-equivalent", RemedyKind::ModernEquivalent),
    ("adapter", RemedyKind::Adapter),
    ("home-built", RemedyKind::HomeBuilt),
    ("programmed-logic", RemedyKind::ProgrammedLogic),
];

impl RemedyKind {
    /// The word for it in files: `new-old-stock`.
    #[must_use]
    pub fn word(self) -> &'static str {
        KINDS
            .iter()
            .find(|&&(_, kind)| kind == self)
            .map_or("", |&(word, _)| word)
    }

    /// Whether it puts the chip or its place right.
    #[must_use]
    pub fn site(self) -> Site {
        match self {
            Self::Reseat | Self::Resolder | Self::Clean => Site::Place,
            _ => Site::Chip,
        }
    }
}

impl Remedy {
    /// What is fitted: what vendors sell, or what was built.
    #[must_use]
    pub fn fitted(&self) -> Option<&String> {
        self.item.as_ref().or(self.build.as_ref())
    }

    /// Whether it can cure this mode.
    #[must_use]
    pub fn cures(&self, mode: &Mode) -> bool {
        if self.modes.is_empty() {
            mode.site == self.kind.site()
        } else {
            self.modes.contains(&mode.id)
        }
    }

    /// Whether it is for this device on this board.
    #[must_use]
    pub fn is_for(&self, device: Option<&str>, board: &str) -> bool {
        let right_device = self.for_device == "*" || device == Some(self.for_device.as_str());
        right_device && self.fits.iter().any(|fit| fit == "*" || fit == board)
    }
}

/// What stands for the device in the id and item of a remedy for several.
const DEVICE: &str = "{device}";

/// Reads remedies and where their id stands; one table may be for several devices.
pub(crate) fn read_remedies(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<Vec<At<Remedy>>> {
    let devices: Vec<At<String>> = match fields.need("for_device", problems) {
        Some(item) => item
            .many()
            .into_iter()
            .filter_map(|item| item.text("a device or `*`", problems))
            .collect(),
        None => Vec::new(),
    };
    let id = fields
        .need("id", problems)
        .and_then(|item| item.text("a text", problems));
    let remedy = read_remedy(fields, problems);
    let (id, remedy) = (id?, remedy?);
    if devices.len() > 1 && !id.value.contains(DEVICE) {
        let expected = "`{device}` in the id of a remedy for several";
        problems.add(&id.span, expected, shown(&id.value));
        return None;
    }
    let one = |device: At<String>| {
        let name = |text: &str| text.replace(DEVICE, &device.value);
        let id = check_id(At::new(name(&id.value), id.span.clone()), problems)?;
        let remedy = Remedy {
            id: id.value,
            item: remedy.item.as_deref().map(name),
            for_device: device.value.clone(),
            ..remedy.clone()
        };
        Some(At::new(remedy, id.span))
    };
    Some(devices.into_iter().filter_map(one).collect())
}

/// Reads what is the same for all devices of a remedy.
fn read_remedy(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Remedy> {
    if fields.span_of("kind").is_none() {
        fields.missing("kind", problems);
    }
    let kind = fields.word("kind", &KINDS, problems);
    let item = fields.text("item", problems).map(|item| item.value);
    let build = fields.text("build", problems).map(|build| build.value);
    let minutes = fields.minutes("minutes", problems);
    let works = fields
        .need("works", problems)
        .and_then(|item| item.chance(problems));
    let fails_per_year = fields.chance("fails_per_year", problems).unwrap_or(0.0);
    let mut texts = |key, problems: &mut Problems<'_>| -> Vec<String> {
        fields
            .texts(key, problems)
            .into_iter()
            .map(|text| text.value)
            .collect()
    };
    let fits = texts("fits", problems);
    let modes = texts("modes", problems);
    let source = fields.text("source", problems).map(|source| source.value);
    Some(Remedy {
        id: String::new(),
        for_device: String::new(),
        kind: kind?,
        item,
        build,
        minutes: minutes.unwrap_or(0.0),
        works: works?,
        fails_per_year,
        fits: if fits.is_empty() {
            vec!["*".to_owned()]
        } else {
            fits
        },
        modes,
        source: source.unwrap_or_else(|| "common practice, no source".to_owned()),
    })
}
