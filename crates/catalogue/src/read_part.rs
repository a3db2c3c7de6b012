//! Reads parts and their modes.

use crate::fields::{At, Fields, Item};
use crate::problem::Problems;
use crate::profile::{CuredBy, Mode, Mount, RailFault, Site};
use crate::range::expand_range;
use crate::raw::{RawMode, RawPart};
use crate::read::{each, needed_chance, title};

const MOUNTS: [(&str, Mount); 3] = [
    ("socket", Mount::Socket),
    ("soldered", Mount::Soldered),
    ("plug", Mount::Plug),
];

/// The mount of a part or of a device, if the field is there.
pub(crate) fn read_mount(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Mount> {
    fields.word("mount", &MOUNTS, problems)
}

/// The word for a mount.
pub(crate) fn mount_word(mount: Mount) -> &'static str {
    MOUNTS
        .iter()
        .find(|&&(_, known)| known == mount)
        .map_or("", |&(word, _)| word)
}

/// Reads `[[part]]`; a range gives several.
pub(crate) fn read_parts(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<Vec<RawPart>> {
    let reference = fields.id("ref", problems);
    let mut part = RawPart {
        reference: At::new(String::new(), fields.span.clone()),
        title: title(fields, problems),
        block: fields.text("block", problems),
        device: fields.text("device", problems),
        role: fields.text("role", problems),
        like: fields.text("like", problems),
        of: fields.text("of", problems),
        share: fields
            .take("share")
            .and_then(|item| item.number("a share above 0", |share| share > 0.0, problems)),
        mount: read_mount(fields, problems),
        optional: fields.flag("optional", problems).unwrap_or(false),
        modes: read_modes(fields, problems),
        area: fields
            .take("area")
            .and_then(|item| numbers(item, "an area as `[x, y, width, height]` in mm", problems)),
        span: fields.span.clone(),
    };
    let step: Option<[f64; 2]> = fields
        .take("step")
        .and_then(|item| numbers(item, "a step as `[x, y]` in mm", problems));
    let reference = reference?;
    let Some(members) = expand_range(&reference.value) else {
        part.reference = reference;
        return Some(vec![part]);
    };
    let mut parts = Vec::new();
    for member in members {
        part.reference = At::new(member, reference.span.clone());
        parts.push(part.clone());
        match (&mut part.area, step) {
            (Some(area), Some(step)) => {
                area[0] += step[0];
                area[1] += step[1];
            }
            _ => part.area = None,
        }
    }
    Some(parts)
}

fn numbers<const N: usize>(
    item: Item<'_>,
    expected: &str,
    problems: &mut Problems<'_>,
) -> Option<[f64; N]> {
    let whole = item.clone();
    let list: Vec<f64> = item
        .many()
        .iter()
        .filter_map(Item::as_number)
        .filter(|number| number.is_finite())
        .collect();
    let numbers = list.try_into().ok();
    if numbers.is_none() {
        whole.wrong(expected, problems);
    }
    numbers
}

/// The `mode` tables of a part or a device.
pub(crate) fn read_modes(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Vec<RawMode> {
    each(fields, "mode", "a mode", problems, read_mode)
}

fn read_mode(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RawMode> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    let chance = needed_chance(fields, problems);
    let site = fields
        .word(
            "where",
            &[("chip", Site::Chip), ("place", Site::Place)],
            problems,
        )
        .unwrap_or(Site::Chip);
    let spoils = each(
        fields,
        "spoils",
        "an entry of `spoils`",
        problems,
        read_spoil,
    );
    let spares = fields.texts("spares", problems);
    let shows = fields.chance("shows", problems).unwrap_or(1.0);
    let after_minutes = fields.minutes("after", problems).unwrap_or(0.0);
    let cured_by = fields
        .take("cured_by")
        .and_then(|item| read_cured_by(item, site, problems))
        .unwrap_or_default();
    let rail = fields
        .word(
            "rail",
            &[("low", RailFault::Low), ("high", RailFault::High)],
            problems,
        )
        .unwrap_or(RailFault::Low);
    let id = id?;
    let title = title.unwrap_or_else(|| id.value.clone());
    let mode = Mode {
        id: id.value,
        title,
        chance,
        site,
        spoils: Vec::new(),
        spares: Vec::new(),
        shows,
        after_minutes,
        cured_by,
        rail,
    };
    Some(RawMode {
        mode,
        spoils,
        spares,
        span: id.span,
    })
}

fn read_spoil(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<(At<String>, f64)> {
    let function = fields.text("function", problems);
    let rail = fields.text("rail", problems);
    let chance = fields.chance("chance", problems).unwrap_or(1.0);
    let Some(target) = function.or(rail) else {
        fields.missing("function", problems);
        return None;
    };
    Some((target, chance))
}

fn read_cured_by(item: Item<'_>, site: Site, problems: &mut Problems<'_>) -> Option<CuredBy> {
    let span = item.span.clone();
    let mut fields = item.fields("an entry of `cured_by`", problems)?;
    let cured_by = CuredBy {
        reseat: fields.chance("reseat", problems).unwrap_or(0.0),
        resolder: fields.chance("resolder", problems).unwrap_or(0.0),
        clean: fields.chance("clean", problems).unwrap_or(0.0),
    };
    fields.finish(problems);
    if site == Site::Chip {
        let hint = Some("write `where = \"place\"` beside it, or leave `cured_by` out".to_owned());
        problems.add_with(
            &span,
            "`cured_by` on a place mode",
            "it on a chip mode",
            hint,
        );
    }
    Some(cured_by)
}
