//! Piles with a known optimum.

mod common;

use planning::{Error, Goal, Plan, Settings, frontier, revalue, solve};

fn check(name: &str) -> Plan {
    let file = common::read(name);
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

/// The largest expected number of working machines at each money limit.
fn check_frontier(name: &str) {
    let file = common::read(name);
    let known = file.proven["frontier"].as_array().unwrap();
    let money: Vec<i64> = known
        .iter()
        .map(|point| point["money"].as_i64().unwrap())
        .collect();
    let settings = Settings {
        goal: Goal::Working,
        ..Settings::default()
    };
    let points = frontier(&file.instance, &settings, &money).unwrap();
    for (point, known) in points.iter().zip(known) {
        let most = known["most_working"].as_f64().unwrap();
        assert!(point.proven, "{name} at {}", point.money);
        assert!(
            (point.working - most).abs() < 1e-4,
            "{name} at {}: {} {most}",
            point.money,
            point.working
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

/// The best value when at least so many machines are to work.
fn check_least_working(name: &str) {
    let mut file = common::read(name);
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
}

#[test]
fn too_many_wanted_is_told_with_the_most_there_can_be() {
    let mut file = common::read("veldra-6-111");
    file.instance.limits.least_working = Some(5.5);
    let error = solve(&file.instance, &Settings::default()).unwrap_err();
    let Error::TooFewWorking { wanted, most } = error else {
        panic!("{error}");
    };
    assert!((wanted, most) == (5.5, most) && (most - 2.786_532).abs() < 1e-4);
}
