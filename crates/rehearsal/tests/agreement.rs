//! The bench against the diagnosis: how often stories end in which findings, and what the diagnosis says of their chance.
//!
//! Two readings of the same rules that share no code. Boards and stories are those that the diagnosis is tried on against
//! its enumeration: events, lots, the mule, swaps, harms, blunders, intermittent modes, supplies.

#[expect(dead_code, reason = "only small boards are drawn here")]
#[path = "../../diagnosis/tests/support/boards.rs"]
mod boards;

use std::collections::BTreeMap;

use boards::{Dice, Size};
use catalogue::Library;
use diagnosis::{Action, BenchStep, Diagnosis, Shown, Situation};
use rehearsal::{Seeded, retold};

/// What each finding of a story showed.
fn seen(steps: &[BenchStep]) -> Vec<String> {
    let shown = steps.iter().filter_map(|step| match &step.action {
        Action::Measure(measure) => Some(&measure.shown),
        _ => None,
    });
    shown
        .map(|shown| match shown {
            Shown::Outcome(id) => id.clone(),
            other => format!("{other:?}"),
        })
        .collect()
}

/// Chi-square of counted endings against their chances, with its degrees of freedom: endings expected fewer than five
/// times, and those never seen, are one cell.
fn chi_square(counts: &BTreeMap<Vec<String>, (u32, f64)>, times: u32) -> (f64, u32) {
    let times = f64::from(times);
    let (mut chi, mut cells) = (0.0, 0);
    let mut add = |count: f64, expected: f64| {
        chi += (count - expected) * (count - expected) / expected;
        cells += 1;
    };
    let (mut rest, mut left) = (times, 1.0);
    for &(count, chance) in counts.values() {
        if chance * times >= 5.0 {
            add(f64::from(count), chance * times);
            rest -= f64::from(count);
            left -= chance;
        }
    }
    if left * times >= 1.0 {
        add(rest, left * times);
    } else {
        assert!(rest <= 12.0, "{rest} endings of chance {left} together");
    }
    (chi, cells - 1)
}

/// Plays a story many times and compares.
fn compare(situation: &Situation, seed: u64, times: u32) -> Result<(f64, u32), String> {
    let mut counts: BTreeMap<Vec<String>, (u32, f64)> = BTreeMap::new();
    for time in 0..times {
        let mut coins = Seeded::new(seed, u64::from(time));
        let steps = retold(situation, &mut coins).map_err(|error| error.to_string())?;
        let entry = counts.entry(seen(&steps)).or_insert_with(|| {
            let told = Situation {
                steps: steps.clone(),
                ..situation.clone()
            };
            let chance = Diagnosis::of(&told).map_or(f64::NAN, |found| found.p_findings());
            (0, chance)
        });
        entry.0 += 1;
        if entry.1.is_nan() || entry.1 <= 0.0 {
            return Err(format!("{steps:?} was seen and has chance {}", entry.1));
        }
    }
    Ok(chi_square(&counts, times))
}

fn drawn(seed: u64) -> (String, Situation) {
    let mut dice = Dice::new(seed);
    let size = Size::small(&mut dice);
    let text = boards::board(&mut dice, size);
    let profile = catalogue::parse_profile(&text, "board.toml", &Library::default())
        .unwrap_or_else(|problems| panic!("{text}\n{problems:?}"));
    let situation = boards::story(&mut dice, profile, size);
    (text, situation)
}

#[test]
fn findings_come_as_often_as_the_diagnosis_says() {
    let (mut sum, mut degrees) = (0.0, 0);
    for seed in 0..250 {
        let (text, situation) = drawn(seed);
        let (chi, cells) = compare(&situation, seed, 1500)
            .unwrap_or_else(|error| panic!("seed {seed}: {error}\n{text}"));
        // beyond five standard deviations of one story's chi-square
        let bound = f64::from(cells) + 5.0 * (2.0 * f64::from(cells)).sqrt() + 6.0;
        assert!(
            chi <= bound,
            "seed {seed}: chi-square {chi} with {cells} degrees\n{text}\n{:?}",
            situation.steps
        );
        sum += chi;
        degrees += cells;
    }
    // all stories together: within four standard deviations
    let degrees = f64::from(degrees);
    let off = (sum - degrees) / (2.0 * degrees).sqrt();
    assert!(
        off.abs() < 4.0,
        "chi-square {sum} with {degrees} degrees, {off} standard deviations"
    );
}
