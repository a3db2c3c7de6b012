//! The smallest of the ISCAS-85 circuits with lines stuck at 0 or 1: what the diagnosis holds possible against simulation.
//!
//! Netlist: Brglez & Fujiwara, "A neutral netlist of 10 combinational benchmark circuits and a target translator in Fortran",
//! ISCAS 1985. Counts of 17 lines, 34 faults and 22 faults after collapsing: Bryan, "The ISCAS'85 benchmark circuits and netlist
//! format", MCNC 1988.

use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

use cases::made;
use catalogue::{Check, Function, Need, Profile};
use diagnosis::{Action, BenchStep, Diagnosis, Machine, Measure, Shown, Situation, Supply};

/// Output and inputs of each NAND, inputs before outputs.
const GATES: [(u32, [u32; 2]); 6] = [
    (10, [1, 3]),
    (11, [3, 6]),
    (16, [2, 11]),
    (19, [11, 7]),
    (22, [10, 16]),
    (23, [16, 19]),
];
const INPUTS: [u32; 5] = [1, 2, 3, 6, 7];
const OUTPUTS: [u32; 2] = [22, 23];
const PATTERNS: usize = 1 << INPUTS.len();
const TAG: &str = "T-01";

/// A line: a net, or the branch of a net that leads to a gate where it leads to several.
type Line = (u32, Option<u32>);
/// A line stuck at 0 or 1.
type Fault = (Line, bool);

fn lines() -> Vec<Line> {
    let mut readers: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
    for (gate, inputs) in GATES {
        inputs
            .iter()
            .for_each(|&net| readers.entry(net).or_default().push(gate));
    }
    let nets = INPUTS.into_iter().chain(GATES.map(|(gate, _)| gate));
    let mut lines: Vec<Line> = nets.map(|net| (net, None)).collect();
    for (net, gates) in readers.into_iter().filter(|(_, gates)| gates.len() > 1) {
        lines.extend(gates.into_iter().map(|gate| (net, Some(gate))));
    }
    lines
}

fn faults() -> Vec<Fault> {
    let lines = lines().into_iter();
    lines
        .flat_map(|line| [(line, false), (line, true)])
        .collect()
}

/// What the outputs show for a pattern.
fn simulate(pattern: usize, fault: Option<Fault>) -> [bool; 2] {
    let stuck = |line: Line, value: bool| match fault {
        Some((at, stuck)) if at == line => stuck,
        _ => value,
    };
    let mut nets: BTreeMap<u32, bool> = BTreeMap::new();
    for (bit, net) in INPUTS.into_iter().enumerate() {
        nets.insert(net, stuck((net, None), pattern >> bit & 1 == 1));
    }
    for (gate, inputs) in GATES {
        let all = inputs
            .iter()
            .all(|&net| stuck((net, Some(gate)), nets[&net]));
        nets.insert(gate, stuck((gate, None), !all));
    }
    OUTPUTS.map(|net| nets[&net])
}

fn name((net, gate): Line) -> String {
    gate.map_or_else(|| format!("L{net}"), |gate| format!("L{net}-{gate}"))
}

fn mode(stuck: bool) -> &'static str {
    if stuck { "at-1" } else { "at-0" }
}

/// A look at one output under one pattern.
fn look(pattern: usize, output: usize) -> String {
    format!("p{pattern}-{}", OUTPUTS[output])
}

/// Lines as parts; for each pattern and output a function that needs the modes which simulation says it shows.
fn circuit() -> Profile {
    let parts = lines().into_iter().map(|line| {
        let mut part = made::part(&name(line), made::mode(mode(false), 0.001));
        part.modes.push(made::mode(mode(true), 0.001));
        part
    });
    let mut functions = Vec::new();
    let mut checks: Vec<Check> = Vec::new();
    for pattern in 0..PATTERNS {
        let whole = simulate(pattern, None);
        for (output, right) in whole.into_iter().enumerate() {
            let shows = |fault: &Fault| simulate(pattern, Some(*fault))[output] != right;
            let needs = faults()
                .into_iter()
                .filter(shows)
                .map(|(line, stuck)| Need::Mode {
                    part: name(line),
                    mode: mode(stuck).to_owned(),
                    chance: 1.0,
                });
            let id = look(pattern, output);
            functions.push(Function {
                id: id.clone(),
                title: String::new(),
                needs: needs.collect(),
                leak: 0.0,
            });
            checks.push(made::telling(&id, &id, [0.0, 0.0]));
        }
    }
    Profile {
        id: "c17".to_owned(),
        blocks: vec![made::block()],
        parts: parts.collect(),
        functions,
        checks,
        ..Profile::default()
    }
}

/// The single faults that the diagnosis holds possible after these patterns showed this.
fn possible(circuit: &Arc<Profile>, seen: &[(usize, [bool; 2])]) -> BTreeSet<(String, String)> {
    let looks = seen.iter().flat_map(|&(pattern, shown)| {
        let whole = simulate(pattern, None);
        (0..OUTPUTS.len())
            .map(move |output| (look(pattern, output), shown[output] == whole[output]))
    });
    let steps = looks.map(|(check, right)| BenchStep {
        time: None,
        action: Action::Measure(Measure {
            machine: TAG.to_owned(),
            check,
            shown: Shown::Outcome(if right { "pass" } else { "fail" }.to_owned()),
            person: None,
            minutes_on: None,
            supply: Supply::Usual,
        }),
    });
    let situation = Situation {
        profiles: BTreeMap::from([(circuit.id.clone(), Arc::clone(circuit))]),
        machines: vec![Machine {
            tag: TAG.to_owned(),
            profile: circuit.id.clone(),
            ..Machine::default()
        }],
        steps: steps.collect(),
        ..Situation::default()
    };
    let diagnosis = Diagnosis::of(&situation).unwrap();
    // none and all single ones come before any pair
    let explanations = diagnosis.explanations(TAG, faults().len() + 1).unwrap();
    let single = explanations.into_iter().filter(|one| one.modes.len() == 1);
    single.flat_map(|one| one.modes).collect()
}

fn named(faults: impl Iterator<Item = Fault>) -> BTreeSet<(String, String)> {
    faults
        .map(|(line, stuck)| (name(line), mode(stuck).to_owned()))
        .collect()
}

#[test]
fn each_pattern_leaves_what_simulation_leaves() {
    assert_eq!((lines().len(), faults().len()), (17, 34));
    let circuit = Arc::new(circuit());
    for pattern in 0..PATTERNS {
        for shown in [[false, false], [false, true], [true, false], [true, true]] {
            let agrees = |fault: &Fault| simulate(pattern, Some(*fault)) == shown;
            let expected = named(faults().into_iter().filter(agrees));
            assert_eq!(
                possible(&circuit, &[(pattern, shown)]),
                expected,
                "{pattern:05b} {shown:?}"
            );
        }
    }
}

#[test]
fn all_patterns_leave_the_published_classes() {
    let circuit = Arc::new(circuit());
    let classes: BTreeSet<BTreeSet<(String, String)>> = faults()
        .into_iter()
        .map(|fault| {
            let seen: Vec<_> = (0..PATTERNS)
                .map(|pattern| (pattern, simulate(pattern, Some(fault))))
                .collect();
            let left = possible(&circuit, &seen);
            assert!(
                left.contains(&(name(fault.0), mode(fault.1).to_owned())),
                "{fault:?}"
            );
            left
        })
        .collect();
    assert_eq!(classes.len(), 22);
}
