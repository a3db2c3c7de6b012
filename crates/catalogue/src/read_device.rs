//! Reads devices with their variants.

use std::collections::BTreeMap;

use units::Unit;

use crate::device::{Device, Maxima, Supply};
use crate::faults::FaultSet;
use crate::fields::{At, Fields, Item};
use crate::problem::Problems;
use crate::raw::RawMode;
use crate::read::each;
use crate::read_part::{read_modes, read_mount};
use crate::read_pins::{check_pins, read_pins};

/// Reads one device and its variants, each with the place of its id.
pub(crate) fn read_devices(
    fields: &mut Fields<'_>,
    faults: &[FaultSet],
    problems: &mut Problems<'_>,
) -> Option<Vec<At<Device>>> {
    let device = read_device(fields, faults, problems);
    let variants = each(
        fields,
        "variants",
        "a variant",
        problems,
        |fields, problems| {
            let base = device.as_ref()?;
            read_variant(&base.value, fields, faults, problems)
        },
    );
    let mut all = vec![device?];
    all.extend(variants);
    Some(all)
}

fn read_device(
    fields: &mut Fields<'_>,
    faults: &[FaultSet],
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
    let package = package.map(|package| package.value).unwrap_or_default();
    let mount = read_mount(fields, problems);
    let feeds = fields
        .take("feeds")
        .and_then(|item| read_volts(item, problems));
    let family = fields.text("family", problems).map(|family| family.value);
    let supplies = each(fields, "supply", "a supply", problems, read_supply);
    let pins = read_pins(fields, family.as_deref(), &supplies, problems);
    check_pins(&pins, &package, fields, problems);
    let maxima = fields.take("maxima");
    let maxima = maxima
        .and_then(|item| read_maxima(item, problems))
        .unwrap_or_default();
    let timing = read_timing(fields, problems);
    let cautions = fields.texts("cautions", problems);
    let modes = read_faults(fields, faults, problems);
    let id = id?;
    let device = Device {
        title: title?.value,
        role: role?.value,
        source: source?.value,
        variant_of: None,
        package,
        mount,
        feeds,
        family,
        pins,
        supplies,
        maxima,
        timing,
        cautions: cautions.into_iter().map(|text| text.value).collect(),
        modes,
        id: id.value,
    };
    Some(At::new(device, id.span))
}

/// A variant is its device but for what it says; of another family it has no times, currents and maxima but its own.
fn read_variant(
    base: &Device,
    fields: &mut Fields<'_>,
    faults: &[FaultSet],
    problems: &mut Problems<'_>,
) -> Option<At<Device>> {
    let id = fields
        .need("id", problems)
        .and_then(|item| item.text("a text", problems));
    let mut device = Device {
        variant_of: Some(base.id.clone()),
        ..base.clone()
    };
    if let Some(title) = fields.text("title", problems) {
        device.title = title.value;
    }
    if let Some(source) = fields.text("source", problems) {
        device.source = source.value;
    }
    if let Some(family) = fields.text("family", problems) {
        move_to(&mut device, family.value);
    }
    if let Some(feeds) = fields.take("feeds") {
        device.feeds = read_volts(feeds, problems);
    }
    let supplies = each(fields, "supply", "a supply", problems, read_supply);
    for supply in supplies {
        match device.supplies.iter_mut().find(|own| own.pin == supply.pin) {
            Some(own) => *own = supply,
            None => problems.add(&fields.span, "a supply pin of the device", supply.pin),
        }
    }
    if fields.has("timing") {
        device.timing = read_timing(fields, problems);
    }
    if fields.has("faults") || fields.has("mode") {
        device.modes = read_faults(fields, faults, problems);
    }
    let id = id?;
    device.id = id.value;
    Some(At::new(device, id.span))
}

/// Another family at the same pins.
fn move_to(device: &mut Device, family: String) {
    for pin in &mut device.pins {
        if pin.kind.is_digital() && pin.level == device.family {
            pin.level = Some(family.clone());
        }
    }
    for supply in &mut device.supplies {
        (supply.volts, supply.milliamps, supply.most_milliamps) = (None, None, None);
    }
    device.family = Some(family);
    device.timing.clear();
    device.maxima = Maxima::default();
}

/// The modes of the set that `faults` names, and the device's own, which replace those of the same id.
fn read_faults(
    fields: &mut Fields<'_>,
    faults: &[FaultSet],
    problems: &mut Problems<'_>,
) -> Vec<RawMode> {
    let mut modes = Vec::new();
    if let Some(name) = fields.text("faults", problems) {
        match faults.iter().find(|set| set.id == name.value) {
            Some(set) => modes.clone_from(&set.modes),
            None => {
                let known = faults.iter().map(|set| set.id.as_str());
                problems.unknown(&name.span, "a set of faults", &name.value, known);
            }
        }
    }
    for own in read_modes(fields, problems) {
        match modes.iter_mut().find(|mode| mode.mode.id == own.mode.id) {
            Some(mode) => *mode = own,
            None => modes.push(own),
        }
    }
    modes
}

fn read_volts(item: Item<'_>, problems: &mut Problems<'_>) -> Option<f64> {
    item.number(
        &format!("{} in V", Unit::Volt.quantity_name()),
        |volts| volts != 0.0,
        problems,
    )
}

fn read_supply(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Supply> {
    let pin = fields
        .need("pin", problems)
        .and_then(|item| item.text("a pin's name", problems));
    let rail = fields.text("rail", problems).map(|rail| rail.value);
    let volts = read_span(fields, "volts", problems);
    let milliamps = read_positive(fields, "ma", problems);
    let most_milliamps = read_positive(fields, "most_ma", problems);
    if let (Some(typical), Some(most)) = (milliamps, most_milliamps)
        && typical > most
    {
        let expected = "`ma` of at most `most_ma`";
        problems.add(&fields.span, expected, format!("{typical} above {most}"));
    }
    Some(Supply {
        pin: pin?.value,
        rail,
        volts,
        milliamps,
        most_milliamps,
    })
}

/// What destroys a part, or all parts of a family.
pub(crate) fn read_maxima(item: Item<'_>, problems: &mut Problems<'_>) -> Option<Maxima> {
    let mut fields = item.fields("`maxima`", problems)?;
    let maxima = Maxima {
        supply_volts: read_positive(&mut fields, "supply_volts", problems),
        pin_volts: read_span(&mut fields, "pin_volts", problems),
        watts: read_positive(&mut fields, "watts", problems),
    };
    fields.finish(problems);
    Some(maxima)
}

fn read_timing(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> BTreeMap<String, f64> {
    let table = fields
        .take("timing")
        .and_then(|item| item.fields("`timing`", problems));
    let entries = table.map(|mut table| table.rest()).unwrap_or_default();
    let mut timing = BTreeMap::new();
    for (symbol, item) in entries {
        let expected = "a time in ns, a number of at least 0";
        if let Some(time) = item.number(expected, |time| time >= 0.0, problems) {
            timing.insert(symbol.value.to_owned(), time);
        }
    }
    timing
}

/// A number above 0.
pub(crate) fn read_positive(
    fields: &mut Fields<'_>,
    key: &'static str,
    problems: &mut Problems<'_>,
) -> Option<f64> {
    fields
        .take(key)
        .and_then(|item| item.number("a number above 0", |number| number > 0.0, problems))
}

/// `[4.75, 5.25]`.
pub(crate) fn read_span(
    fields: &mut Fields<'_>,
    key: &'static str,
    problems: &mut Problems<'_>,
) -> Option<(f64, f64)> {
    let item = fields.take(key)?;
    let whole = item.clone();
    let numbers: Vec<f64> = item.many().iter().filter_map(Item::as_number).collect();
    match numbers.as_slice() {
        &[low, high] if low <= high && low.is_finite() && high.is_finite() => Some((low, high)),
        _ => {
            whole.wrong(
                "two voltages, the lower first, such as `[4.75, 5.25]`",
                problems,
            );
            None
        }
    }
}
