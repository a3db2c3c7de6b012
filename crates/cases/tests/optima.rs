//! Optima of plans and orders drawn at random against a general solver from PyPI, on the same exported models.

use std::{
    env, fs,
    path::{Path, PathBuf},
    process::Command,
};

use cases::{Draw, made_order, made_pile};
use planning::{Filler, Goal};
use serde_json::Value;

/// Relative, as the solver's own tolerance is.
const SAME: f64 = 1e-6;

/// What the solver makes of models in MPS format, in their order.
fn by_the_library(models: &[(String, String)], folder: &str) -> Vec<Value> {
    let python = env::var_os("BOARDWRIGHT_PYTHON").expect(
        "found no BOARDWRIGHT_PYTHON, expected a Python with the libraries: run `cargo xtask test`",
    );
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join(folder);
    fs::create_dir_all(&folder).expect("a folder");
    let files: Vec<PathBuf> = models
        .iter()
        .map(|(name, text)| {
            let file = folder.join(format!("{name}.mps"));
            fs::write(&file, text).expect("a file");
            file
        })
        .collect();
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/bench/planning.py");
    let output = Command::new(python)
        .arg(script)
        .args(["120", "1e-10"])
        .args(&files)
        .output()
        .expect("Python starts");
    let text = String::from_utf8(output.stdout).expect("UTF-8");
    assert!(
        output.status.success(),
        "{text}{}",
        String::from_utf8_lossy(&output.stderr)
    );
    // the library greets on the same stream
    text.lines()
        .filter(|line| line.starts_with('{'))
        .map(|line| serde_json::from_str(line).expect("a line of JSON"))
        .collect()
}

fn check(name: &str, found: f64, library: &Value, expected: f64) {
    assert_eq!(library["proven"], Value::Bool(true), "{name}");
    let apart = (found - expected).abs() / expected.abs().max(1.0);
    assert!(apart <= SAME, "{name}: found {found}, expected {expected}");
}

/// Three to twelve machines, with money loose or tight, for the largest worth or the most working machines.
#[test]
fn random_plans_agree() {
    let mut models = Vec::new();
    let mut found = Vec::new();
    let mut passed_over = 0;
    for seed in 0.. {
        if found.len() == 60 {
            break;
        }
        let machines = 3 + usize::try_from(seed % 10_u64).expect("small");
        let mut pile = made_pile(Draw {
            machines,
            seed,
            faults: if seed.is_multiple_of(2) { 2 } else { 4 },
            mixed: seed.is_multiple_of(2),
        });
        if seed.is_multiple_of(3) {
            pile.limits.money = pile.limits.money.map(|money| money / 3);
        }
        let settings = planning::Settings {
            goal: if seed.is_multiple_of(7) {
                Goal::Working
            } else {
                Goal::Worth
            },
            ..planning::Settings::default()
        };
        let plan = planning::solve(&pile, &settings).expect("a plan");
        if !plan.proven {
            // more ways to repair a machine than are looked at: the bound says so, and the model is not the whole truth
            passed_over += 1;
            continue;
        }
        let (text, constant) = planning::to_mps(&pile, &settings, Filler::Packs).expect("a model");
        models.push((format!("plan-{seed}"), text));
        found.push((settings.goal, plan, constant));
    }
    assert!(passed_over <= 12, "{passed_over} passed over");
    let answers = by_the_library(&models, "plans");
    assert_eq!(answers.len(), models.len());
    for (((name, _), (goal, plan, constant)), answer) in models.iter().zip(&found).zip(&answers) {
        let objective = answer["objective"].as_f64().expect("a number");
        match goal {
            Goal::Worth => check(name, plan.value, answer, 100.0 * objective + constant),
            Goal::Working => check(name, plan.working, answer, objective + constant),
        }
    }
    let repaired = |plan: &planning::Plan| plan.working > 0.5;
    let some = found.iter().filter(|(_, plan, _)| repaired(plan)).count();
    assert!(some > 50, "{some} plans repair anything");
}

/// One to thirty lines at two to six vendors, a third of them with duty and tax.
#[test]
fn random_orders_agree() {
    let mut models = Vec::new();
    let mut found = Vec::new();
    for seed in 0..60_u32 {
        let request = made_order(1 + seed % 30, 2 + seed % 5, u64::from(seed));
        let parcels = purchasing::cheapest(&request, &purchasing::Settings::default());
        let parcels = parcels.expect("parcels");
        assert!(parcels.proven, "{seed}");
        let text = purchasing::to_mps(&request).expect("a model");
        models.push((format!("order-{seed}"), text));
        found.push(parcels.landed.to_minor() + parcels.hassle.to_minor());
    }
    let answers = by_the_library(&models, "orders");
    assert_eq!(answers.len(), models.len());
    for (((name, _), found), answer) in models.iter().zip(&found).zip(&answers) {
        let objective = answer["objective"].as_f64().expect("a number");
        // less than half a coin of it decides between equally cheap orders
        let expected = objective.floor();
        let found = i32::try_from(*found).expect("a small sum");
        check(name, f64::from(found), answer, expected);
    }
}
