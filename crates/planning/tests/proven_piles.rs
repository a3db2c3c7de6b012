//! Piles with a known optimum.

use std::path::Path;

use cases::{Pile, read_pile};
use planning::{Error, Goal, Plan, Settings, revalue, solve};

/// A file of `tests/data`.
fn read(name: &str) -> Pile {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data");
    read_pile(&folder.join(format!("{name}.json"))).unwrap()
}

fn check(name: &str) -> Plan {
    let file = read(name);
    let plan = solve(&file.instance, &Settings::default()).unwrap();
    let best = file.proven["best"]["value"].as_f64().unwrap();
    assert!(plan.proven, "{name}: {} {}", plan.value, plan.bound);
    assert!(
        (plan.value / 100.0 - best).abs() < 0.01,
        "{name}: {} {best}",
        plan.value
    );
    assert_eq!(revalue(&file.instance, &plan).unwrap().value, plan.value);
    plan
}

#[test]
fn best_of_six_machines() {
    check("veldra-6-111");
}

#[test]
fn best_of_eight_machines() {
    check("veldra-8-12");
}

#[test]
fn best_of_twelve_machines() {
    check("veldra-12-113");
}

#[test]
fn best_of_twenty_four_machines() {
    check("veldra-24-15");
}

#[test]
fn best_of_sixteen_uncertain_machines() {
    check("veldra-16-14");
}

fn at_money(instance: &planning::Instance, settings: &Settings, money: i64) -> planning::Plan {
    let mut instance = instance.clone();
    instance.limits.money = Some(money);
    solve(&instance, settings).unwrap()
}

/// The largest expected number of working machines at each money limit.
fn check_frontier(name: &str) {
    let file = read(name);
    let settings = Settings {
        goal: Goal::Working,
        ..Settings::default()
    };
    let points = file.proven["frontier"].as_array().unwrap();
    assert!(!points.is_empty());
    for known in points {
        let money = known["money"].as_i64().unwrap();
        let most = known["most_working"].as_f64().unwrap();
        let point = at_money(&file.instance, &settings, money);
        assert!(
            point.proven && (point.working - most).abs() <= 1e-4,
            "{name} at {money}: {point:?} {most}"
        );
    }
}

#[test]
fn most_working_of_six_machines_by_money() {
    check_frontier("veldra-6-111");
}

#[test]
fn most_working_of_eight_machines_by_money() {
    check_frontier("veldra-8-12");
}

#[test]
fn most_working_of_twelve_machines_by_money() {
    check_frontier("veldra-12-113");
}

#[test]
fn most_working_of_twenty_four_machines_by_money() {
    check_frontier("veldra-24-15");
}

#[test]
fn most_working_of_sixteen_machines_by_money() {
    check_frontier("veldra-16-14");
}

/// The best value never falls with more money, and its last point is the plan without the lower limit.
#[test]
fn worth_by_money() {
    let file = read("veldra-12-113");
    let steps: [i64; 9] = std::array::from_fn(|step| step as i64 * 1200);
    let points = steps.map(|money| at_money(&file.instance, &Settings::default(), money));
    assert!(points.iter().all(|point| point.proven));
    assert!(
        points
            .windows(2)
            .all(|pair| pair[0].value <= pair[1].value + 0.01)
    );
    let best = file.proven["best"]["value"].as_f64().unwrap();
    assert!((points[8].value / 100.0 - best).abs() < 0.01);
}

#[test]
fn a_search_cut_short_still_gives_a_plan_and_a_bound() {
    let file = read("veldra-24-15");
    let settings = Settings {
        node_limit: Some(1),
        ..Settings::default()
    };
    let plan = solve(&file.instance, &settings).unwrap();
    let best = file.proven["best"]["value"].as_f64().unwrap() * 100.0;
    assert!(plan.value <= best + 1.0 && plan.bound >= best - 1.0);
    assert!(plan.value >= 0.95 * best, "{} {best}", plan.value);
    assert_eq!(revalue(&file.instance, &plan).unwrap().money, plan.money);
}

/// The best value when at least so many machines are to work.
fn check_least_working(name: &str) {
    let mut file = read(name);
    let known = &file.proven["with_least_working"];
    file.instance.limits.least_working = known["least_working"].as_f64();
    let plan = solve(&file.instance, &Settings::default()).unwrap();
    assert!(plan.proven);
    let value = known["value"].as_f64().unwrap();
    assert!(
        (plan.value / 100.0 - value).abs() < 0.01,
        "{name}: {} {value}",
        plan.value
    );
}

#[test]
fn best_with_a_least_number_working() {
    check_least_working("veldra-6-111");
    check_least_working("veldra-8-12");
    check_least_working("veldra-12-113");
    check_least_working("veldra-24-15");
}

#[test]
fn too_many_wanted_is_told_with_the_most_there_can_be() {
    let mut file = read("veldra-6-111");
    file.instance.limits.least_working = Some(5.5);
    let error = solve(&file.instance, &Settings::default()).unwrap_err();
    let Error::TooFewWorking { wanted, most } = error else {
        panic!("{error}");
    };
    assert!((wanted, most) == (5.5, most) && (most - 2.786_532).abs() < 1e-4);
}
