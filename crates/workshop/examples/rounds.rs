//! Times the next rounds over 30 machines and prints them as JSON; run by `cargo xtask bench diagnosis`.
//!
//! Ranking: 30 machines × 20 looks with made-up savings, as `diagnosis::rounds` and `diagnosis::groups` put them in order. Whole:
//! 30 machines of the demo's board, most of which showed something, from what is on file to the finished answer; cold with
//! the folder just opened, warm after one finding more.

use std::{collections::BTreeSet, error::Error, fs, io::Write, path::Path, time::Instant};

use diagnosis::{Look, SetUps};
use workshop::{Clock, OpenOptions, TakeIn, Workshop};

/// The product's.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// The demo's evening.
const EVENING: &str = "2026-11-12T20:40[Europe/Berlin]";
const MACHINES: usize = 30;
const CHECKS: usize = 20;
/// What each machine of the pile showed, in the order of the tags and again from the start.
const PICTURES: [&str; 6] = ["black", "start", "garbage", "no-sync", "black", "white"];
const SOUNDS: [&str; 6] = ["three", "three", "none", "cannot", "skip", "none"];

fn main() -> Result<(), Box<dyn Error>> {
    let repeats: usize = match std::env::args().nth(1) {
        Some(word) => word.parse()?,
        None => 9,
    };
    let ranking = ranking(repeats);
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    let folder = tempfile::tempdir()?;
    copy(&demo, folder.path())?;
    pile(&open(folder.path())?)?;
    let mut cold = Vec::new();
    for _ in 0..repeats {
        let start = Instant::now();
        let found = open(folder.path())?.rounds()?;
        cold.push(start.elapsed().as_secs_f64());
        assert!(!found.rounds.is_empty(), "there is something to look at");
    }
    let mut warm = Vec::new();
    let workshop = open(folder.path())?;
    for _ in 0..repeats {
        workshop.rounds()?;
        workshop.measure("T-01", "+5v 4.98")?;
        let start = Instant::now();
        workshop.rounds()?;
        warm.push(start.elapsed().as_secs_f64());
        workshop.undo(None)?;
    }
    writeln!(
        std::io::stdout(),
        "{{\"ranking\": {ranking:?},\n \"cold\": {cold:?},\n \"warm\": {warm:?}}}"
    )?;
    Ok(())
}

/// Seconds to rank looks whose savings are known.
fn ranking(repeats: usize) -> Vec<f64> {
    // savings, minutes and set-ups that differ from look to look and repeat from run to run
    let figure = |machine: usize, check: usize| (machine * 37 + check * 101) % 97;
    let needs = |check: usize| -> BTreeSet<usize> {
        (0..10)
            .filter(|set_up| (check * 7 + set_up * 3) % 10 < 3)
            .collect()
    };
    let look = |machine: usize, check: usize| Look {
        machine,
        saving: figure(machine, check) as f64 / 20.0 - 1.0,
        minutes: 1.0 + (check % 5) as f64,
        set_ups: needs(check),
    };
    let looks: Vec<Look> = (0..MACHINES)
        .flat_map(|machine| (0..CHECKS).map(move |check| (machine, check)))
        .map(|(machine, check)| look(machine, check))
        .collect();
    let set_ups = SetUps {
        rate_per_minute: 0.2,
        minutes: (0..10).map(f64::from).collect(),
    };
    let mut seconds = Vec::new();
    for _ in 0..repeats {
        let start = Instant::now();
        let found = (
            diagnosis::rounds(&looks, &set_ups),
            diagnosis::groups(&looks, &set_ups),
        );
        seconds.push(start.elapsed().as_secs_f64());
        assert!(found.0.complete && !found.0.rounds.is_empty());
    }
    seconds
}

/// Thirty machines, five in six of which showed something.
fn pile(workshop: &Workshop) -> Result<(), Box<dyn Error>> {
    workshop.take_in(&TakeIn {
        line: format!("{MACHINES} from Harbour Street, 900.00"),
        board: Some("ostrel-8-r2".to_owned()),
        ..TakeIn::default()
    })?;
    for (check, shown) in [("picture", PICTURES), ("sound", SOUNDS)] {
        let values: Vec<&str> = (0..MACHINES).map(|n| shown[n % shown.len()]).collect();
        workshop.round_line(check, &values.join(" "))?;
    }
    Ok(())
}

fn open(folder: &Path) -> Result<Workshop, Box<dyn Error>> {
    let options = OpenOptions {
        who: None,
        clock: Clock::Fixed(EVENING.parse()?),
    };
    Ok(Workshop::open(folder, options)?)
}

fn copy(from: &Path, to: &Path) -> std::io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}
