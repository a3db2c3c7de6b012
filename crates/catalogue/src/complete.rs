//! Completes a part by its device and its way of sitting: block, title, mount and modes.

use std::collections::BTreeSet;

use crate::derive::{DERIVED, derived, role_of};
use crate::device::Device;
use crate::library::Library;
use crate::problem::Problems;
use crate::profile::{Mount, Site};
use crate::raw::{RawBoard, RawMode, RawPart};

/// Says what its device and role bring, as much of it as the board takes; gives the modes that they could bring.
pub(crate) fn complete_part(
    part: &mut RawPart,
    board: &RawBoard,
    library: &Library,
    problems: &mut Problems<'_>,
) -> BTreeSet<String> {
    check_role(part, library, problems);
    bring_modes(part, library, problems);
    let brought = part.modes.iter().filter(|mode| mode.span == DERIVED);
    let brought = brought.map(|mode| mode.mode.id.clone()).collect();
    let left_out = |id: &str| board.without.iter().any(|name| name.value == id);
    part.modes
        .retain(|mode| mode.span != DERIVED || !left_out(&mode.mode.id));
    if !board.at_times {
        make_lasting(part);
    }
    let scale = board.chances.unwrap_or(1.0);
    let modes = part.modes.iter_mut().filter(|mode| mode.span == DERIVED);
    modes.for_each(|mode| mode.mode.chance *= scale);
    brought
}

fn check_role(part: &RawPart, library: &Library, problems: &mut Problems<'_>) {
    if let Some(role) = &part.role
        && library.role(&role.value).is_none()
    {
        let known = library.roles().roles.iter().map(|role| role.id.as_str());
        problems.unknown(&role.span, "a role of the catalogue", &role.value, known);
    }
    if let Some(like) = &part.like
        && library.device(&like.value).is_none()
    {
        let known = library.device_ids();
        problems.unknown(&like.span, "a device of the catalogue", &like.value, known);
    }
}

fn bring_modes(part: &mut RawPart, library: &Library, problems: &mut Problems<'_>) {
    if part.block.is_none() {
        let role = role_of(part, library).and_then(|role| library.role(role));
        part.block = role.and_then(|role| role.block.clone()).map(derived);
    }
    let Some(name) = &part.device else { return };
    let Some(device) = library.device(&name.value) else {
        if part.modes.is_empty() {
            problems.unknown(
                &name.span,
                "a device of the catalogue, or modes of the part's own",
                &name.value,
                library.device_ids(),
            );
        } else if part.role.is_some() {
            let mount = part.mount.unwrap_or(Mount::Soldered);
            add_modes(part, |site| usual_modes(None, mount, site, library));
        }
        return;
    };
    let mount = *part
        .mount
        .get_or_insert(device.mount.unwrap_or(Mount::Soldered));
    part.title.get_or_insert_with(|| device.title.clone());
    add_modes(part, |site| usual_modes(Some(device), mount, site, library));
}

/// Adds the usual modes of each site of which the part says nothing.
fn add_modes<'l, I: Iterator<Item = &'l RawMode>>(part: &mut RawPart, usual: impl Fn(Site) -> I) {
    let written: BTreeSet<String> = part.modes.iter().map(|mode| mode.mode.id.clone()).collect();
    for site in [Site::Chip, Site::Place] {
        if part.modes.iter().all(|mode| mode.mode.site != site) {
            let usual = usual(site).filter(|mode| !written.contains(&mode.mode.id));
            part.modes.extend(usual.map(|mode| RawMode {
                span: DERIVED,
                ..mode.clone()
            }));
        }
    }
}

/// What comes and goes counts as lasting, and what shows only warm is left out; what the file itself says stays.
fn make_lasting(part: &mut RawPart) {
    part.modes
        .retain(|mode| mode.span != DERIVED || mode.mode.after_minutes == 0.0);
    for mode in part.modes.iter_mut().filter(|mode| mode.span == DERIVED) {
        mode.mode.shows = 1.0;
    }
}

/// The device's modes of one site, and those of its way of sitting, where the device says nothing of them.
fn usual_modes<'l>(
    device: Option<&'l Device>,
    mount: Mount,
    site: Site,
    library: &'l Library,
) -> impl Iterator<Item = &'l RawMode> {
    let own = device
        .map_or(&[][..], |device| &device.modes)
        .iter()
        .filter(move |mode| mode.mode.site == site);
    let own_places = site == Site::Place && own.clone().next().is_some();
    let of_mount = library
        .mount_modes(mount)
        .iter()
        .filter(move |mode| mode.mode.site == site && !own_places);
    own.chain(of_mount)
}
