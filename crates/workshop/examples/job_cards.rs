//! Times the demo's job cards and prints them as JSON; run by `cargo xtask bench diagnosis`.
//!
//! Cold: the folder is opened and one card asked for. Warm: what the card will need after its next finding was reckoned ahead, as the
//! pages do while somebody works at the machine; one more finding was written, then the card is asked for again. Unready: the same
//! with nothing reckoned ahead.

use std::{error::Error, fs, io::Write, path::Path, time::Instant};

use workshop::{Clock, OpenOptions, Workshop};

/// The product's.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

/// The demo's evening.
const EVENING: &str = "2026-11-12T20:40[Europe/Berlin]";
/// What each machine is seen to do once more.
const FINDING: &str = "picture black";

fn main() -> Result<(), Box<dyn Error>> {
    let repeats: usize = match std::env::args().nth(1) {
        Some(word) => word.parse()?,
        None => 9,
    };
    let demo = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    let folder = tempfile::tempdir()?;
    copy(&demo, folder.path())?;
    open(folder.path())?.play(&fs::read_to_string(demo.join("pile.toml"))?)?;
    let rows = open(folder.path())?.bench()?.rows;
    let tags = || rows.iter().map(|row| &row.tag);
    // a program that was opened just now has got nothing ready yet
    let cold = tags().map(|tag| cold(folder.path(), tag, repeats));
    let cold: Vec<Vec<f64>> = cold.collect::<Result<_, _>>()?;
    let mut lines = Vec::new();
    for (tag, cold) in tags().zip(cold) {
        let warm = warm_card(folder.path(), tag, repeats, true)?;
        let unready = warm_card(folder.path(), tag, repeats, false)?;
        lines.push(format!(
            "{{\"machine\": \"{tag}\", \"cold\": {cold:?}, \"warm\": {warm:?}, \"unready\": {unready:?}}}"
        ));
    }
    writeln!(std::io::stdout(), "[{}]", lines.join(",\n "))?;
    Ok(())
}

fn open(folder: &Path) -> Result<Workshop, Box<dyn Error>> {
    let options = OpenOptions {
        who: None,
        clock: Clock::Fixed(EVENING.parse()?),
    };
    Ok(Workshop::open(folder, options)?)
}

/// Seconds from a closed folder to the card.
fn cold(folder: &Path, tag: &str, repeats: usize) -> Result<Vec<f64>, Box<dyn Error>> {
    let mut seconds = Vec::new();
    for _ in 0..repeats {
        let start = Instant::now();
        let workshop = open(folder)?;
        workshop.card(tag)?;
        // the card is there; that the folder is closed again keeps nobody waiting
        seconds.push(start.elapsed().as_secs_f64());
    }
    Ok(seconds)
}

/// Seconds to the card after one more finding; the finding is taken back each time.
fn warm_card(
    folder: &Path,
    tag: &str,
    repeats: usize,
    ahead: bool,
) -> Result<Vec<f64>, Box<dyn Error>> {
    let workshop = open(folder)?;
    let mut seconds = Vec::new();
    for _ in 0..repeats {
        workshop.card(tag)?;
        if ahead {
            workshop.reckon_ahead(tag, || true)?;
        }
        workshop.measure(tag, FINDING)?;
        let start = Instant::now();
        workshop.card(tag)?;
        seconds.push(start.elapsed().as_secs_f64());
        workshop.undo(None)?;
    }
    Ok(seconds)
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
