//! Logic families, timing and trade rules: against published figures and against each other.

use catalogue::{Device, Family, Library, Mount, OutputLevel, Stands, TimingKind, Unpowered};
use units::Unit;

fn library() -> &'static Library {
    Library::built_in()
}

fn family(id: &str) -> &'static Family {
    library()
        .family(id)
        .unwrap_or_else(|| panic!("no family {id}"))
}

fn near(found: f64, expected: f64) -> bool {
    (found - expected).abs() < 1e-9
}

#[test]
fn families_are_well_formed() {
    for id in "74 ls s als f hc hct ac act ahc ahct lv lvc 4000b nmos-ttl".split(' ') {
        let family = family(id);
        assert!(!family.source.is_empty() && family.volts.is_some(), "{id}");
        assert!(
            family.stands.is_some() && family.unpowered.is_some(),
            "{id}"
        );
        assert!(family.maxima.supply_volts.is_some(), "{id}");
        for low in [true, false] {
            assert!(
                family.outputs.iter().any(|level| level.is_low == low),
                "{id}"
            );
        }
        for level in &family.outputs {
            assert!(level.is_low == (level.milliamps > 0.0), "{id}");
        }
    }
    for family in library().families() {
        for levels in &family.inputs {
            assert!(levels.low < levels.high, "{}", family.id);
        }
        let used = library().devices().any(|device| {
            let at_pin = |pin: &catalogue::Pin| pin.level.as_deref() == Some(&family.id);
            device.pins.iter().any(at_pin)
        });
        assert!(used, "{} is used by no device", family.id);
    }
}

/// Input levels of data sheets: family, supply, highest low, lowest high.
/// Source: Motorola and TI SDLS025B (74LS00), Philips 1990 (74F00), Fairchild MM74HC02 and MM74HCT00, NXP 2011 (74AHC04),
/// Hitachi HD74LVC04, teldevice FAQ (7400).
#[test]
fn published_input_levels() {
    let check = |id: &str, supply: f64, low: f64, high: f64| {
        let levels = family(id).input_at(supply).expect("a supply it works at");
        assert!(
            near(levels.low, low) && near(levels.high, high),
            "{id} {levels:?}"
        );
    };
    check("74", 5.0, 0.8, 2.0);
    check("ls", 4.75, 0.8, 2.0);
    check("ls", 5.25, 0.8, 2.0);
    check("f", 5.0, 0.8, 2.0);
    check("hc", 2.0, 0.50, 1.50);
    check("hc", 4.5, 1.35, 3.15);
    check("hc", 6.0, 1.80, 4.20);
    check("hc", 5.5, 1.65, 3.85);
    check("hct", 4.5, 0.8, 2.0);
    check("hct", 5.5, 0.8, 2.0);
    check("ahc", 3.0, 0.9, 2.1);
    check("ahc", 5.5, 1.65, 3.85);
    check("lvc", 3.3, 0.8, 2.0);
    assert_eq!(family("lvc").input_at(5.0), None);
    assert_eq!(family("hc").input_at(7.0), None);
}

/// Output levels of the same data sheets: family, supply, load, level.
#[test]
fn published_output_levels() {
    let check = |id: &str, supply: f64, milliamps: f64, volts: f64| {
        let wanted =
            |level: &&OutputLevel| near(level.supply, supply) && near(level.milliamps, milliamps);
        let level = family(id).outputs.iter().find(wanted);
        assert_eq!(level.map(|level| level.volts), Some(volts), "{id}");
    };
    check("74", 4.75, 16.0, 0.4);
    check("74", 4.75, -0.4, 2.4);
    check("ls", 4.75, 4.0, 0.4);
    check("ls", 4.75, 8.0, 0.5);
    check("ls", 4.75, -0.4, 2.7);
    check("f", 4.5, 20.0, 0.5);
    check("f", 4.5, -1.0, 2.5);
    check("f", 4.75, -1.0, 2.7);
    check("hc", 4.5, 4.0, 0.26);
    check("hc", 4.5, -4.0, 3.98);
    check("hc", 4.5, -0.02, 4.4);
    check("hct", 4.5, 4.0, 0.26);
    check("hct", 4.5, -4.0, 3.98);
    check("ahc", 3.0, -4.0, 2.58);
    check("ahc", 4.5, -8.0, 3.94);
    check("lvc", 3.0, -12.0, 2.4);
    check("lvc", 3.0, 12.0, 0.4);
    assert_eq!(family("ls").input_microamps, Some((-400.0, 20.0)));
    assert_eq!(family("74").input_microamps, Some((-1600.0, 40.0)));
}

/// The worst level of an output that sinks or gives at least so much.
fn worst(family: &Family, is_low: bool) -> f64 {
    let levels = family.outputs.iter().filter(|level| level.is_low == is_low);
    let volts = levels.map(|level| level.volts);
    if is_low {
        volts.fold(f64::MIN, f64::max)
    } else {
        volts.fold(f64::MAX, f64::min)
    }
}

/// What drives what at these supplies, by the levels alone; computed by hand from the data sheets above.
#[test]
fn what_drives_what() {
    let check = |from: &str, to: &str, supply: f64, works: bool| {
        let levels = family(to).input_at(supply).expect("a supply it works at");
        let low = levels.low - worst(family(from), true);
        let high = worst(family(from), false) - levels.high;
        assert_eq!(
            low > 0.0 && high > 0.0,
            works,
            "{from} to {to}: {low} {high}"
        );
    };
    check("ls", "ls", 5.0, true);
    check("ls", "hc", 4.5, false);
    check("ls", "hct", 5.0, true);
    check("hc", "ls", 5.0, true);
    check("lvc", "ls", 5.0, true);
    check("lvc", "hc", 5.0, false);
    check("lvc", "hct", 5.0, true);
    check("ls", "lvc", 3.3, true);
    check("nmos-ttl", "ls", 5.0, true);
    check("nmos-ttl", "hc", 5.0, false);
    check("ls", "z80-clock", 5.0, false);
    check("ls", "8080", 5.0, false);
    check("hct", "z80-clock", 5.0, false);
    // The inputs of LVC stand 5 V from an LS output; those of HC on 3.3 V do not.
    assert_eq!(family("lvc").stands, Some(Stands::Volts(5.5)));
    assert_eq!(family("hc").stands, Some(Stands::AboveSupply(0.5)));
    assert_eq!(family("hc").unpowered, Some(Unpowered::Feed));
    // Fan-out of LS into LS, low and high: 20 each.
    let (low, high) = family("ls").input_microamps.expect("currents");
    assert!(near(8000.0 / -low, 20.0) && near(400.0 / high, 20.0));
}

#[test]
fn families_with_ttl_inputs_agree() {
    for id in ["74", "ls", "s", "als", "f", "hct", "act", "ahct"] {
        let levels = family(id).input_at(5.0).expect("5 V");
        assert!(near(levels.low, 0.8) && near(levels.high, 2.0), "{id}");
    }
}

#[test]
fn timing_symbols_are_known() {
    for device in library().devices() {
        for (symbol, time) in &device.timing {
            assert!(
                library().timing_symbol(symbol).is_some(),
                "{} {symbol}",
                device.id
            );
            let long = symbol.ends_with("max") || symbol == "tREF";
            assert!(
                *time <= if long { 1e7 } else { 2000.0 },
                "{} {symbol}",
                device.id
            );
        }
    }
}

/// Speed grades of one device, by their access or clock: a faster one is in no figure slower.
#[test]
fn faster_grades_are_faster() {
    let grades = |device: &Device| device.family.clone();
    let mut compared = 0;
    for one in library().devices() {
        for other in library().devices() {
            let related = one.variant_of.as_deref() == Some(&other.id)
                || (one.variant_of.is_some() && one.variant_of == other.variant_of);
            // Logic families trade speed for other things, so only grades of one family are set side by side.
            if !related || grades(one) != grades(other) {
                continue;
            }
            let key = ["tRAC", "tACC", "tCYC"]
                .into_iter()
                .find(|key| one.timing.contains_key(*key) && other.timing.contains_key(*key));
            let Some(key) = key else { continue };
            if one.timing[key] >= other.timing[key] {
                continue;
            }
            compared += 1;
            for (symbol, time) in &one.timing {
                let kind = library().timing_symbol(symbol).expect("a symbol").kind;
                let Some(slower) = other.timing.get(symbol) else {
                    continue;
                };
                let good = if kind.smaller_is_faster() {
                    time <= slower
                } else {
                    time >= slower
                };
                assert!(good, "{} {symbol} against {}", one.id, other.id);
            }
        }
    }
    assert!(compared > 40, "{compared}");
}

/// Times that follow from one another.
#[test]
fn times_agree_within_a_device() {
    for device in library().devices() {
        let time = |symbol| device.timing.get(symbol).copied();
        let at_most = |one, other| {
            if let (Some(one), Some(other)) = (time(one), time(other)) {
                assert!(one <= other, "{}: {one} above {other}", device.id);
            }
        };
        at_most("tCAC", "tRAC");
        at_most("tRAC", "tRC");
        at_most("tRAS", "tRC");
        at_most("tOE", "tCE");
        at_most("tACC", "tRC");
        at_most("tCYC", "tCYCmax");
        at_most("tRAC", "tRAS");
        if let (Some(pulse), Some(rest), Some(cycle)) = (time("tRAS"), time("tRP"), time("tRC")) {
            assert!(pulse + rest <= cycle, "{}", device.id);
        }
        if let (Some(high), Some(low), Some(cycle)) = (time("tCH"), time("tCL"), time("tCYC")) {
            assert!(high + low <= cycle, "{}", device.id);
        }
    }
    // 128 rows in 2 ms and 256 rows in 4 ms are the same 15.6 us a row (classiccmp list; minuszerodegrees.net).
    for (id, rows) in [
        ("4116", 128.0),
        ("4164", 128.0),
        ("41256", 256.0),
        ("4416", 256.0),
        ("4464", 256.0),
    ] {
        let device = library().device(id).expect("a device");
        assert!(near(device.timing["tREF"] / rows, 15_625.0), "{id}");
    }
}

/// Schottky is faster than low-power Schottky, function by function.
#[test]
fn schottky_is_faster() {
    let mut compared = 0;
    for device in library()
        .devices()
        .filter(|device| device.family.as_deref() == Some("s"))
    {
        let base = device
            .variant_of
            .as_deref()
            .and_then(|id| library().device(id));
        let slow = base.and_then(|base| base.timing.get("tPD"));
        if let (Some(fast), Some(slow)) = (device.timing.get("tPD"), slow) {
            assert!(fast < slow, "{}", device.id);
            compared += 1;
        }
    }
    assert!(compared >= 15, "{compared}");
}

#[test]
fn supplies_are_within_what_destroys() {
    for device in library().devices() {
        for supply in &device.supplies {
            let volts = library().supply_volts(device, &supply.pin);
            if let (Some((low, high)), Some(most)) = (volts, library().maxima(device).supply_volts)
                && supply.rail.as_deref() == Some("+5V")
            {
                assert!(low <= 5.25 && high <= most, "{} {}", device.id, supply.pin);
            }
            if let Some((low, high)) = supply.volts {
                let named = supply.rail.as_deref().and_then(rail_volts);
                assert!(
                    named.is_none_or(|volts| low <= volts && volts <= high),
                    "{} {}",
                    device.id,
                    supply.pin
                );
            }
        }
    }
}

fn rail_volts(rail: &str) -> Option<f64> {
    rail.replace("3V3", "3.3")
        .trim_end_matches('V')
        .parse()
        .ok()
}

/// A mode's chance by kind of part stands in the order that repairs show.
#[test]
fn what_fails_more_fails_more() {
    let chance = |id: &str| -> f64 {
        let device = library().device(id).unwrap_or_else(|| panic!("{id}"));
        device.modes().map(|mode| mode.chance).sum()
    };
    let order = |ids: &[&str]| {
        for pair in ids.windows(2) {
            assert!(
                chance(pair[0]) < chance(pair[1]),
                "{} and {}",
                pair[0],
                pair[1]
            );
        }
    };
    order(&["74hct00", "74ls00", "74ls245", "z80a", "tms9918a"]);
    order(&["62256", "2114", "4164", "4116"]);
    order(&[
        "ceramic-cap",
        "resistor",
        "tantalum",
        "electrolytic",
        "film-x2",
        "nicd-battery",
    ]);
    order(&["z84c0008", "z80a"]);
    order(&["gal16v8", "pal16l8"]);
    order(&["39sf010", "27128"]);
}

#[test]
fn trade_rules_are_read() {
    for mount in [Mount::Socket, Mount::Soldered, Mount::Plug] {
        let rule = library().handling(mount).expect("a rule");
        assert!(rule.survives > 0.9 && rule.harms_board < 0.1, "{mount:?}");
        assert!(rule.minutes > 0.0 && rule.ages_per_year < 0.01, "{mount:?}");
    }
    let (socket, soldered) = (
        library().handling(Mount::Socket),
        library().handling(Mount::Soldered),
    );
    assert!(socket.expect("a rule").survives > soldered.expect("a rule").survives);
    let accuracy = |unit| library().usual_accuracy(unit).expect("a rule");
    assert_eq!(accuracy(Unit::Volt).instrument, "multimeter");
    assert_eq!(accuracy(Unit::Hertz).instrument, "frequency-counter");
    assert_eq!(accuracy(Unit::Watt).instrument, "instrument");
    let kind = |symbol| library().timing_symbol(symbol).expect("a symbol").kind;
    assert_eq!(kind("tRAC"), TimingKind::Access);
    assert_eq!(kind("tREF"), TimingKind::LongestCycle);
}
