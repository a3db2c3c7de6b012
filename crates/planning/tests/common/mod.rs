//! Reads the instance files of the tests.

use std::collections::BTreeMap;

use planning::{
    Break, Build, Count, Fault, Instance, Limits, Machine, Offer, Remedy, Scenario, Step, Vendor,
};
use serde_json::Value;

/// An instance file with its proven values.
pub(crate) struct File {
    pub(crate) instance: Instance,
    pub(crate) proven: Value,
}

/// Reads a file of `tests/data`.
pub(crate) fn read(name: &str) -> File {
    let path = format!("{}/tests/data/{name}.json", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    let json: Value = serde_json::from_str(&text).unwrap();
    File {
        instance: instance(&json),
        proven: json["proven"].clone(),
    }
}

fn instance(json: &Value) -> Instance {
    Instance {
        rate_per_minute: json["rate_per_minute"].as_f64().unwrap(),
        limits: Limits {
            money: json["limits"]["money"].as_i64(),
            minutes: json["limits"]["minutes"].as_f64(),
            least_working: json["limits"]["least_working"].as_f64(),
        },
        on_hand: BTreeMap::new(),
        vendors: list(&json["vendors"], vendor),
        offers: list(&json["offers"], offer),
        builds: list(&json["builds"], build),
        remedies: list(&json["remedies"], remedy),
        machines: list(&json["machines"], machine),
    }
}

fn list<T>(json: &Value, read: fn(&Value) -> T) -> Vec<T> {
    json.as_array().unwrap().iter().map(read).collect()
}

fn text(json: &Value) -> String {
    json.as_str().unwrap().to_string()
}

fn int(json: &Value) -> i64 {
    json.as_i64().unwrap()
}

fn small(json: &Value) -> u32 {
    u32::try_from(int(json)).unwrap()
}

fn vendor(json: &Value) -> Vendor {
    Vendor {
        id: text(&json["id"]),
        hassle: 0,
        shipping: list(&json["shipping"], |step| Step {
            from: int(&step["from"]),
            fee: int(&step["fee"]),
        }),
    }
}

fn offer(json: &Value) -> Offer {
    Offer {
        vendor: text(&json["vendor"]),
        item: text(&json["item"]),
        pack: small(&json["pack"]),
        stock: Some(small(&json["stock"])),
        breaks: list(&json["breaks"], |level| Break {
            from: small(&level["from"]),
            each: int(&level["each"]).into(),
        }),
    }
}

fn count(json: &Value) -> Count {
    Count {
        item: text(&json["item"]),
        n: small(&json["n"]),
    }
}

fn build(json: &Value) -> Build {
    Build {
        id: text(&json["id"]),
        makes: text(&json["makes"]),
        setup_minutes: small(&json["setup_minutes"]),
        unit_minutes: small(&json["unit_minutes"]),
        uses: list(&json["uses"], count),
    }
}

fn remedy(json: &Value) -> Remedy {
    Remedy {
        id: text(&json["id"]),
        device: text(&json["device"]),
        item: json["item"].as_str().map(str::to_string),
        minutes: small(&json["minutes"]),
        works: json["works"].as_f64().unwrap(),
        modes: list(&json["modes"], text),
    }
}

fn machine(json: &Value) -> Machine {
    Machine {
        id: text(&json["id"]),
        value: int(&json["value"]),
        hold_value: int(&json["hold_value"]),
        base_minutes: small(&json["base_minutes"]),
        scenarios: list(&json["scenarios"], |scenario| Scenario {
            chance: scenario["chance"].as_f64().unwrap(),
            faults: list(&scenario["faults"], |fault| Fault {
                part: text(&fault["part"]),
                device: text(&fault["device"]),
                mode: text(&fault["mode"]),
            }),
        }),
        donor: list(&json["donor"], count),
    }
}
