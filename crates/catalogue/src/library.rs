//! The catalogue: what is known of devices, remedies and the trade, built in or from a folder.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use crate::built_in::{DEVICES, INSTRUMENTS, MOUNTS, REMEDIES, ROLES};
use crate::device::{Device, read_device};
use crate::fields::{At, Fields};
use crate::names::Once;
use crate::problem::{Problem, Problems};
use crate::profile::Mount;
use crate::raw::RawMode;
use crate::read::each;
use crate::remedy::{Remedy, read_remedy};
use crate::roles::{MountRule, Role, Roles, read_mounts, read_roles};
use crate::rules::{InstrumentRule, read_file, read_instruments};

/// The catalogue.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Library {
    devices: BTreeMap<String, Device>,
    /// By id.
    remedies: Vec<Remedy>,
    instruments: Vec<InstrumentRule>,
    mounts: Vec<MountRule>,
    roles: Roles,
}

impl Library {
    /// The catalogue that comes with the program.
    #[must_use]
    pub fn built_in() -> &'static Library {
        static BUILT_IN: OnceLock<Library> = OnceLock::new();
        BUILT_IN.get_or_init(|| {
            let read = read_built_in();
            debug_assert_eq!(
                read.as_ref().err(),
                None,
                "the built-in catalogue is read by a test"
            );
            read.unwrap_or_default()
        })
    }

    /// This catalogue with files of a person's own: pairs of a name, for problems only, and a text with `[[device]]`
    /// and `[[remedy]]` tables. What has the id of something known replaces it.
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
        self.devices.get(id)
    }

    /// All devices, by id.
    pub fn devices(&self) -> impl Iterator<Item = &Device> {
        self.devices.values()
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

    /// Remedies for a device, or for a part of no known device, on a board.
    pub fn remedies_for<'l>(
        &'l self,
        device: Option<&str>,
        board: &str,
    ) -> impl Iterator<Item = &'l Remedy> {
        self.remedies
            .iter()
            .filter(move |remedy| remedy.is_for(device, board))
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
        let (devices, remedies) = read_file(
            text,
            file,
            "a file of devices and remedies",
            |fields, problems| {
                let devices = unique(fields, "device", "a device", problems, read_device);
                let remedies = unique(fields, "remedy", "a remedy", problems, read_remedy);
                for device in devices
                    .iter()
                    .filter(|device| self.role(&device.value.role).is_none())
                {
                    let known = self.roles.roles.iter().map(|role| role.id.as_str());
                    problems.unknown(
                        &device.span,
                        "a device of a known role",
                        &device.value.role,
                        known,
                    );
                }
                (devices, remedies)
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
        Ok(())
    }
}

/// Reads a file of `[[remedy]]` tables alone.
///
/// # Errors
/// Every problem of the file.
pub fn parse_remedies(text: &str, file: &str) -> Result<Vec<Remedy>, Vec<Problem>> {
    let remedies = read_file(text, file, "a file of remedies", |fields, problems| {
        unique(fields, "remedy", "a remedy", problems, read_remedy)
    })?;
    Ok(remedies.into_iter().map(|remedy| remedy.value).collect())
}

/// Reads tables whose ids must differ.
fn unique<T>(
    fields: &mut Fields<'_>,
    key: &'static str,
    what: &'static str,
    problems: &mut Problems<'_>,
    read: impl Fn(&mut Fields<'_>, &mut Problems<'_>) -> Option<At<T>>,
) -> Vec<At<T>>
where
    T: HasId,
{
    let all = each(fields, key, what, problems, read);
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

impl HasId for Remedy {
    fn id(&self) -> &str {
        &self.id
    }
}

fn read_built_in() -> Result<Library, Vec<Problem>> {
    let library = Library {
        devices: BTreeMap::new(),
        remedies: Vec::new(),
        instruments: read_instruments(INSTRUMENTS, "rules/instruments.toml")?,
        mounts: read_mounts(MOUNTS, "rules/mounts.toml")?,
        roles: read_roles(ROLES, "rules/roles.toml")?,
    };
    library.with_folder(DEVICES.iter().chain(REMEDIES).copied())
}
