//! Piles to plan: reads a file of the plan format into a [`planning::Instance`].

use std::{collections::BTreeMap, fs, path::Path};

use planning::{
    Break, Build, Count, Fault, Instance, Limits, Machine, Offer, Remedy, Scenario, Step, Vendor,
};
use serde::Deserialize;
use serde_json::{Value, json};

use crate::error::Error;

/// A pile with its name and the values that were proven for it elsewhere.
#[derive(Debug, Clone)]
pub struct Pile {
    /// The file's name without its ending.
    pub name: String,
    /// What there is to decide.
    pub instance: Instance,
    /// The field `proven` as it stands, or null.
    pub proven: Value,
}

/// Reads one file.
///
/// # Errors
/// If the file cannot be read or is not of this format.
pub fn read_pile(file: &Path) -> Result<Pile, Error> {
    let text = fs::read_to_string(file).map_err(|error| Error::unreadable(file, &error))?;
    let raw: RawPile = serde_json::from_str(&text).map_err(|error| Error::json(file, &error))?;
    let name = file.file_stem().unwrap_or_default().to_string_lossy();
    Ok(Pile {
        name: name.into_owned(),
        proven: raw.proven.clone(),
        instance: raw.into_instance(),
    })
}

/// A pile in the fields of the format.
pub fn pile_to_json(instance: &Instance) -> Value {
    let counts = |list: &[Count]| -> Value {
        list.iter()
            .map(|count| json!({"item": count.item, "n": count.n}))
            .collect()
    };
    let vendors = instance.vendors.iter().map(|vendor| {
        let steps = vendor.shipping.iter();
        let steps: Value = steps
            .map(|s| json!({"from": s.from, "fee": s.fee}))
            .collect();
        json!({"id": vendor.id, "hassle": vendor.hassle, "shipping": steps})
    });
    let offers = instance.offers.iter().map(|offer| {
        let breaks = offer.breaks.iter();
        let breaks: Value = breaks.map(|b| json!({"from": b.from, "each": coins(b)})).collect();
        json!({"vendor": offer.vendor, "item": offer.item, "pack": offer.pack, "stock": offer.stock, "breaks": breaks})
    });
    let builds = instance.builds.iter().map(|b| {
        json!({"id": b.id, "makes": b.makes, "setup_minutes": b.setup_minutes,
            "unit_minutes": b.unit_minutes, "uses": counts(&b.uses)})
    });
    let remedies = instance.remedies.iter().map(|r| {
        json!({"id": r.id, "device": r.device, "item": r.item, "minutes": r.minutes, "works": r.works, "modes": r.modes})
    });
    let machines = instance.machines.iter().map(|m| {
        let scenarios: Value = m.scenarios.iter().map(scenario_to_json).collect();
        json!({"id": m.id, "value": m.value, "hold_value": m.hold_value, "base_minutes": m.base_minutes,
            "scenarios": scenarios, "donor": counts(&m.donor)})
    });
    let limits = &instance.limits;
    json!({
        "rate_per_minute": instance.rate_per_minute,
        "limits": {"money": limits.money, "minutes": limits.minutes, "least_working": limits.least_working},
        "on_hand": instance.on_hand,
        "vendors": vendors.collect::<Value>(),
        "offers": offers.collect::<Value>(),
        "builds": builds.collect::<Value>(),
        "remedies": remedies.collect::<Value>(),
        "machines": machines.collect::<Value>(),
    })
}

/// The format has whole coins.
fn coins(level: &Break) -> i64 {
    i64::try_from(level.each.round()).unwrap_or(i64::MAX)
}

fn scenario_to_json(scenario: &Scenario) -> Value {
    let faults = scenario.faults.iter();
    let faults: Value = faults
        .map(|f| json!({"part": f.part, "device": f.device, "mode": f.mode}))
        .collect();
    json!({"chance": scenario.chance, "faults": faults})
}

#[derive(Deserialize)]
struct RawPile {
    rate_per_minute: f64,
    limits: RawLimits,
    #[serde(default)]
    on_hand: BTreeMap<String, u32>,
    vendors: Vec<RawVendor>,
    offers: Vec<RawOffer>,
    builds: Vec<RawBuild>,
    remedies: Vec<RawRemedy>,
    machines: Vec<RawMachine>,
    #[serde(default)]
    proven: Value,
}

#[derive(Deserialize)]
struct RawLimits {
    money: Option<i64>,
    minutes: Option<f64>,
    least_working: Option<f64>,
}

#[derive(Deserialize)]
struct RawVendor {
    id: String,
    #[serde(default)]
    hassle: i64,
    shipping: Vec<RawStep>,
}

#[derive(Deserialize)]
struct RawStep {
    from: i64,
    fee: i64,
}

#[derive(Deserialize)]
struct RawOffer {
    vendor: String,
    item: String,
    pack: u32,
    stock: Option<u32>,
    breaks: Vec<RawBreak>,
}

#[derive(Deserialize)]
struct RawBreak {
    from: u32,
    each: i64,
}

#[derive(Deserialize)]
struct RawBuild {
    id: String,
    makes: String,
    setup_minutes: u32,
    unit_minutes: u32,
    uses: Vec<RawCount>,
}

#[derive(Deserialize)]
struct RawCount {
    item: String,
    n: u32,
}

#[derive(Deserialize)]
struct RawRemedy {
    id: String,
    device: String,
    item: Option<String>,
    minutes: u32,
    works: f64,
    modes: Vec<String>,
}

#[derive(Deserialize)]
struct RawMachine {
    id: String,
    value: i64,
    hold_value: i64,
    base_minutes: u32,
    scenarios: Vec<RawScenario>,
    donor: Vec<RawCount>,
}

#[derive(Deserialize)]
struct RawScenario {
    chance: f64,
    faults: Vec<RawFault>,
}

#[derive(Deserialize)]
struct RawFault {
    part: String,
    device: String,
    mode: String,
}

impl RawPile {
    fn into_instance(self) -> Instance {
        Instance {
            rate_per_minute: self.rate_per_minute,
            limits: Limits {
                money: self.limits.money,
                minutes: self.limits.minutes,
                least_working: self.limits.least_working,
            },
            on_hand: self.on_hand,
            vendors: all(self.vendors, vendor),
            offers: all(self.offers, offer),
            builds: all(self.builds, build),
            remedies: all(self.remedies, remedy),
            machines: all(self.machines, machine),
        }
    }
}

fn all<R, T>(list: Vec<R>, turn: fn(R) -> T) -> Vec<T> {
    list.into_iter().map(turn).collect()
}

fn vendor(raw: RawVendor) -> Vendor {
    Vendor {
        id: raw.id,
        hassle: raw.hassle,
        shipping: all(raw.shipping, |RawStep { from, fee }| Step { from, fee }),
    }
}

fn offer(raw: RawOffer) -> Offer {
    Offer {
        vendor: raw.vendor,
        item: raw.item,
        pack: raw.pack,
        stock: raw.stock,
        breaks: all(raw.breaks, |RawBreak { from, each }| Break {
            from,
            each: each.into(),
        }),
    }
}

fn count(RawCount { item, n }: RawCount) -> Count {
    Count { item, n }
}

fn build(raw: RawBuild) -> Build {
    Build {
        id: raw.id,
        makes: raw.makes,
        setup_minutes: raw.setup_minutes,
        unit_minutes: raw.unit_minutes,
        uses: all(raw.uses, count),
    }
}

fn remedy(raw: RawRemedy) -> Remedy {
    Remedy {
        id: raw.id,
        device: raw.device,
        item: raw.item,
        minutes: raw.minutes,
        works: raw.works,
        later: 0.0,
        modes: raw.modes,
    }
}

fn machine(raw: RawMachine) -> Machine {
    Machine {
        id: raw.id,
        value: raw.value,
        hold_value: raw.hold_value,
        sell_value: None,
        base_minutes: raw.base_minutes,
        scenarios: all(raw.scenarios, |raw| Scenario {
            chance: raw.chance,
            faults: all(raw.faults, |RawFault { part, device, mode }| Fault {
                part,
                device,
                mode,
            }),
        }),
        donor: all(raw.donor, count),
    }
}
