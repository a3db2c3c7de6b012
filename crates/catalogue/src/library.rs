//! The catalogue: what is known of devices, remedies and the trade, built in or from a folder.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::{Arc, OnceLock};

use units::Unit;

use crate::build::{Build, read_builds};
use crate::built_in::{
    ACCURACIES, FAMILIES, HANDLING, INSTRUMENTS, MOUNTS, REMEDIES, ROLES, SYMBOLS,
};
use crate::device::{Device, Maxima};
use crate::device_files::{self, fault_sets};
use crate::family::{Family, read_families};
use crate::fields::{At, Fields};
use crate::names::Once;
use crate::problem::{Problem, Problems};
use crate::profile::Mount;
use crate::raw::RawMode;
use crate::read::each;
use crate::read_device::read_devices;
use crate::remedy::{Remedy, read_remedies};
use crate::roles::{MountRule, Role, Roles, read_mounts, read_roles};
use crate::rules::{InstrumentRule, read_file, read_instruments};
use crate::trade::{
    AccuracyRule, HandlingRule, TimingSymbol, read_accuracies, read_handling, read_symbols,
};

/// The catalogue.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Library {
    /// Whether the devices that come with the program are in it.
    built_in: bool,
    /// Devices of a person's own.
    devices: BTreeMap<String, Device>,
    families: Vec<Family>,
    symbols: Vec<TimingSymbol>,
    accuracies: Vec<AccuracyRule>,
    handling: Vec<HandlingRule>,
    /// By id.
    remedies: Vec<Remedy>,
    /// By what they are for, a device or `*`: their places among the remedies.
    remedies_by_device: BTreeMap<String, Vec<usize>>,
    /// Boards of a person's own, by id.
    builds: BTreeMap<String, Build>,
    instruments: Vec<InstrumentRule>,
    mounts: Vec<MountRule>,
    roles: Roles,
}

impl Library {
    /// The catalogue that comes with the program.
    #[must_use]
    pub fn built_in() -> &'static Arc<Library> {
        static BUILT_IN: OnceLock<Arc<Library>> = OnceLock::new();
        BUILT_IN.get_or_init(|| {
            let read = read_built_in();
            debug_assert_eq!(
                read.as_ref().err(),
                None,
                "the built-in catalogue is read by a test"
            );
            Arc::new(read.unwrap_or_default())
        })
    }

    /// This catalogue with files of a person's own: pairs of a name, for problems only, and a text with `[[device]]`,
    /// `[[remedy]]` and `[[build]]` tables. What has the id of something known replaces it.
    ///
    /// # Errors
    /// Every problem of every file.
    pub fn with_folder<'f>(
        &self,
        files: impl IntoIterator<Item = (&'f str, &'f str)>,
    ) -> Result<Library, Vec<Problem>> {
        let mut library = self.clone();
        let mut problems = Vec::new();
        for (name, text) in files {
            if let Err(more) = library.add(text, name) {
                problems.extend(more);
            }
        }
        if problems.is_empty() {
            Ok(library)
        } else {
            Err(problems)
        }
    }

    /// The device of this id.
    #[must_use]
    pub fn device(&self, id: &str) -> Option<&Device> {
        self.devices
            .get(id)
            .or_else(|| device_files::device(id).filter(|_| self.built_in))
    }

    /// All devices, by id; this reads every file, so ask for [`Library::device_ids`] where ids will do.
    pub fn devices(&self) -> impl Iterator<Item = &Device> {
        self.device_ids().filter_map(|id| self.device(id))
    }

    /// The ids of all devices, in order.
    pub fn device_ids(&self) -> impl Iterator<Item = &str> {
        let mut ids: BTreeSet<&str> = self.devices.keys().map(String::as_str).collect();
        if self.built_in {
            for id in device_files::device_ids() {
                ids.insert(id);
            }
        }
        ids.into_iter()
    }

    /// The logic family of this id.
    #[must_use]
    pub fn family(&self, id: &str) -> Option<&Family> {
        self.families.iter().find(|family| family.id == id)
    }

    /// All logic families.
    #[must_use]
    pub fn families(&self) -> &[Family] {
        &self.families
    }

    /// Lowest and highest voltage at which a supply pin of a device works: its own, or its family's.
    #[must_use]
    pub fn supply_volts(&self, device: &Device, pin: &str) -> Option<(f64, f64)> {
        let own = device.supply(pin)?.volts;
        own.or_else(|| self.family(device.family.as_deref()?)?.volts)
    }

    /// What destroys a device: its own values, or its family's.
    #[must_use]
    pub fn maxima(&self, device: &Device) -> Maxima {
        let family = device.family.as_deref().and_then(|id| self.family(id));
        let usual = family.map(|family| family.maxima).unwrap_or_default();
        let own = device.maxima;
        Maxima {
            supply_volts: own.supply_volts.or(usual.supply_volts),
            pin_volts: own.pin_volts.or(usual.pin_volts),
            watts: own.watts.or(usual.watts),
        }
    }

    /// What a symbol in a device's timing means.
    #[must_use]
    pub fn timing_symbol(&self, symbol: &str) -> Option<&TimingSymbol> {
        self.symbols.iter().find(|known| known.symbol == symbol)
    }

    /// How exact an instrument for this unit usually is.
    #[must_use]
    pub fn usual_accuracy(&self, unit: Unit) -> Option<&AccuracyRule> {
        let exact = self.accuracies.iter().find(|rule| rule.unit == Some(unit));
        exact.or_else(|| self.accuracies.iter().find(|rule| rule.unit.is_none()))
    }

    /// What taking out, storing and using again does to parts, by the way they sit.
    #[must_use]
    pub fn handling(&self, mount: Mount) -> Option<&HandlingRule> {
        self.handling.iter().find(|rule| rule.mount == mount)
    }

    /// The remedy of this id.
    #[must_use]
    pub fn remedy(&self, id: &str) -> Option<&Remedy> {
        self.remedies.iter().find(|remedy| remedy.id == id)
    }

    /// All remedies, by id.
    #[must_use]
    pub fn remedies(&self) -> &[Remedy] {
        &self.remedies
    }

    /// The home-built board of this id.
    #[must_use]
    pub fn build(&self, id: &str) -> Option<&Build> {
        self.builds.get(id)
    }

    /// Remedies for a device, or for a part of no known device, on a board; what is for a device is for its variants.
    pub fn remedies_for<'l>(
        &'l self,
        device: Option<&str>,
        board: &str,
    ) -> impl Iterator<Item = &'l Remedy> {
        let known = device.and_then(|id| self.device(id));
        let base = known.and_then(|device| device.variant_of.as_deref());
        let keys = [Some("*"), device, base].into_iter().flatten();
        let found = keys.filter_map(|key| self.remedies_by_device.get(key));
        // by id, as all are
        let places: BTreeSet<usize> = found.flatten().copied().collect();
        let found = places.into_iter().map(|place| &self.remedies[place]);
        found.filter(move |remedy| {
            remedy.is_for(device, board) || (base.is_some() && remedy.is_for(base, board))
        })
    }

    /// How far a check with these set-ups can be trusted.
    #[must_use]
    pub fn instrument(&self, set_up: &[String]) -> Option<&InstrumentRule> {
        let used = self
            .instruments
            .iter()
            .find(|rule| set_up.contains(&rule.set_up));
        used.or_else(|| self.instruments.iter().find(|rule| rule.set_up == "eye"))
    }

    pub(crate) fn mount_modes(&self, mount: Mount) -> &[RawMode] {
        let rule = self.mounts.iter().find(|rule| rule.mount == mount);
        rule.map(|rule| rule.modes.as_slice()).unwrap_or_default()
    }

    pub(crate) fn roles(&self) -> &Roles {
        &self.roles
    }

    pub(crate) fn role(&self, id: &str) -> Option<&Role> {
        self.roles.roles.iter().find(|role| role.id == id)
    }

    fn add(&mut self, text: &str, file: &str) -> Result<(), Vec<Problem>> {
        let (devices, remedies, builds) = read_file(
            text,
            file,
            "a file of devices and remedies",
            |fields, problems| {
                let devices = unique(
                    fields,
                    "device",
                    "a device",
                    problems,
                    |fields, problems| read_devices(fields, fault_sets(), problems),
                );
                let remedies = unique(fields, "remedy", "a remedy", problems, read_remedies);
                let builds = unique(fields, "build", "a board to build", problems, read_builds);
                for device in devices.iter().filter(|device| {
                    device.value.variant_of.is_none() && self.role(&device.value.role).is_none()
                }) {
                    let known = self.roles.roles.iter().map(|role| role.id.as_str());
                    problems.unknown(
                        &device.span,
                        "a device of a known role",
                        &device.value.role,
                        known,
                    );
                }
                (devices, remedies, builds)
            },
        )?;
        self.devices.extend(
            devices
                .into_iter()
                .map(|device| (device.value.id.clone(), device.value)),
        );
        self.remedies
            .retain(|old| remedies.iter().all(|new| new.value.id != old.id));
        self.remedies
            .extend(remedies.into_iter().map(|remedy| remedy.value));
        self.remedies.sort_by(|one, other| one.id.cmp(&other.id));
        self.remedies_by_device = by_device(&self.remedies);
        let builds = builds.into_iter();
        self.builds
            .extend(builds.map(|build| (build.value.id.clone(), build.value)));
        Ok(())
    }
}

/// The places of the remedies for each device.
fn by_device(remedies: &[Remedy]) -> BTreeMap<String, Vec<usize>> {
    let mut places: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for (place, remedy) in remedies.iter().enumerate() {
        let known = places.entry(remedy.for_device.clone()).or_default();
        known.push(place);
    }
    places
}

/// Reads a file of `[[remedy]]` tables alone.
///
/// # Errors
/// Every problem of the file.
pub fn parse_remedies(text: &str, file: &str) -> Result<Vec<Remedy>, Vec<Problem>> {
    let remedies = read_file(text, file, "a file of remedies", |fields, problems| {
        unique(fields, "remedy", "a remedy", problems, read_remedies)
    })?;
    Ok(remedies.into_iter().map(|remedy| remedy.value).collect())
}

/// Reads tables whose ids must differ.
fn unique<T>(
    fields: &mut Fields<'_>,
    key: &'static str,
    what: &'static str,
    problems: &mut Problems<'_>,
    read: impl Fn(&mut Fields<'_>, &mut Problems<'_>) -> Option<Vec<At<T>>>,
) -> Vec<At<T>>
where
    T: HasId,
{
    let all = each(fields, key, what, problems, read);
    let all: Vec<At<T>> = all.into_iter().flatten().collect();
    let mut once = Once::default();
    for one in &all {
        once.check(
            &At::new(one.value.id().to_owned(), one.span.clone()),
            what,
            problems,
        );
    }
    all
}

trait HasId {
    fn id(&self) -> &str;
}

impl HasId for Device {
    fn id(&self) -> &str {
        &self.id
    }
}

impl HasId for Build {
    fn id(&self) -> &str {
        &self.id
    }
}

impl HasId for Remedy {
    fn id(&self) -> &str {
        &self.id
    }
}

fn read_built_in() -> Result<Library, Vec<Problem>> {
    let mut families = Vec::new();
    for (name, text) in FAMILIES {
        families.extend(read_families(text, name)?);
    }
    let library = Library {
        built_in: true,
        devices: BTreeMap::new(),
        families,
        symbols: read_symbols(SYMBOLS, "rules/timing.toml")?,
        accuracies: read_accuracies(ACCURACIES, "rules/accuracies.toml")?,
        handling: read_handling(HANDLING, "rules/handling.toml")?,
        remedies: Vec::new(),
        remedies_by_device: BTreeMap::new(),
        builds: BTreeMap::new(),
        instruments: read_instruments(INSTRUMENTS, "rules/instruments.toml")?,
        mounts: read_mounts(MOUNTS, "rules/mounts.toml")?,
        roles: read_roles(ROLES, "rules/roles.toml")?,
    };
    library.with_folder(REMEDIES.iter().copied())
}
