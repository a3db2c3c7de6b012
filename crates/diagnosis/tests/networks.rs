//! Synthetic fault networks with exact reference values, each turned into a board profile.

use std::path::Path;

fn check_network(name: &str) {
    let file = Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/networks")
        .join(name);
    let network = cases::read_network(&file).unwrap_or_else(|error| panic!("{error}"));
    for (index, set) in network.sets.iter().enumerate() {
        let answer = cases::answer_network(&network, index, &set.steps)
            .unwrap_or_else(|error| panic!("{name} {index}: {error}"));
        assert!(set.expected.is_object(), "{name} {index} expects something");
        let wrong = cases::network_differences(&answer, &set.expected);
        assert!(wrong.is_empty(), "{name} {index}:\n{}", wrong.join("\n"));
    }
}

#[test]
fn small_networks() {
    for name in [
        "small_two_8.json",
        "small_three_12.json",
        "small_deep_16.json",
        "small_three_24.json",
    ] {
        check_network(name);
    }
}

#[test]
fn larger_networks() {
    for name in [
        "three_rand_32.json",
        "deep_local_32.json",
        "two_rand_64.json",
    ] {
        check_network(name);
    }
}
