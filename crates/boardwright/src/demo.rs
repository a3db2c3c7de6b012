//! The demo: an invented club's pile, made afresh in a folder of its own.

use crate::args;
use crate::pages;
use crate::printer::{Form, Printer};
use crate::problem::stop;
use crate::text;
use crate::verbs::unwritable;
use serde::Serialize;
use std::fs;
use std::path::Path;
use std::sync::Arc;
use workshop::views::{Bench, JobCard, Ledger, PlanView};
use workshop::{Clock, ErrorKind, OpenOptions, PlanLimits, Workshop};

/// Marks a folder as a demo's.
const MARKER: &str = "this-is-a-demo.txt";
const MARKER_TEXT: &str = "\
This folder was made by `boardwright demo` and is made afresh each time that runs.
Nothing in it is real. Remove this file to keep the folder as it is.
";

/// When the pile has been played.
const EVENING: &str = "2026-11-12T20:40[Europe/Berlin]";

/// What the demo's folder begins with.
const FILES: &[(&str, &str)] = &[
    (
        "workshop.toml",
        include_str!("../../../examples/ostrel/workshop.toml"),
    ),
    (
        "remedies.toml",
        include_str!("../../../examples/ostrel/remedies.toml"),
    ),
    (
        "boards/ostrel-8-r2.toml",
        include_str!("../../../examples/ostrel/boards/ostrel-8-r2.toml"),
    ),
    (
        "vendors/farside-parts.toml",
        include_str!("../../../examples/ostrel/vendors/farside-parts.toml"),
    ),
    (
        "vendors/kettle-and-sons.toml",
        include_str!("../../../examples/ostrel/vendors/kettle-and-sons.toml"),
    ),
    (
        "vendors/lowtide-surplus.toml",
        include_str!("../../../examples/ostrel/vendors/lowtide-surplus.toml"),
    ),
    (
        "vendors/northgate.toml",
        include_str!("../../../examples/ostrel/vendors/northgate.toml"),
    ),
    (
        "vendors/tarnside.toml",
        include_str!("../../../examples/ostrel/vendors/tarnside.toml"),
    ),
];
const PILE: &str = include_str!("../../../examples/ostrel/pile.toml");

/// What a run leaves behind, beside [`FILES`].
const JOURNAL: [&str; 3] = ["journal.db", "journal.db-wal", "journal.db-shm"];

/// This evening's plan.
#[derive(Debug, Serialize)]
struct Evening {
    folder: String,
    bench: Bench,
    machines: Vec<JobCard>,
    plan: PlanView,
    order: Ledger,
}

/// Makes the folder, plays the pile, prints this evening's plan and serves the pages.
pub(crate) fn run(args: &args::Demo, printer: &Printer) -> anyhow::Result<()> {
    make_folder(&args.dir)?;
    let workshop = play(&args.dir)?;
    let evening = evening(&workshop, &args.dir)?;
    printer.answer("demo", &evening, || {
        text::evening(
            &evening.folder,
            &evening.bench,
            &evening.machines,
            &evening.plan,
            &evening.order,
        )
    })?;
    if args.once {
        return Ok(());
    }
    if printer.form == Form::Text {
        printer.raw("\n")?;
    }
    pages::serve(Arc::new(workshop), &args.address, printer)
}

/// The clock of a folder: in a demo's it stays on the demo's evening, so that everyone reads the same arrival days.
pub(crate) fn clock(dir: &Path) -> anyhow::Result<Clock> {
    if dir.join(MARKER).is_file() {
        return Ok(Clock::Fixed(EVENING.parse()?));
    }
    Ok(Clock::System)
}

/// Plays the pile; the clock is the pile's, so that each run says the same.
fn play(dir: &Path) -> anyhow::Result<Workshop> {
    Workshop::open(
        dir,
        OpenOptions {
            who: None,
            clock: clock(dir)?,
        },
    )?
    .play(PILE)?;
    Ok(Workshop::open(
        dir,
        OpenOptions {
            who: None,
            clock: clock(dir)?,
        },
    )?)
}

fn evening(workshop: &Workshop, dir: &Path) -> anyhow::Result<Evening> {
    let bench = workshop.bench()?;
    let cards = bench.rows.iter().map(|row| workshop.card(&row.tag));
    Ok(Evening {
        folder: dir.display().to_string(),
        machines: cards.collect::<Result<_, _>>()?,
        plan: workshop.plan(&PlanLimits::default())?,
        order: workshop.order(&PlanLimits::default())?,
        bench,
    })
}

/// An empty or new folder, or one that a demo made, with fresh files.
fn make_folder(dir: &Path) -> anyhow::Result<()> {
    let marked = dir.join(MARKER).is_file();
    let taken = dir.exists()
        && !marked
        && fs::read_dir(dir).map_or(true, |mut entries| entries.next().is_some());
    if taken {
        let message = format!("`{}` is there already and no demo made it", dir.display());
        return Err(stop(
            ErrorKind::Refused,
            message,
            "name another folder with --dir",
        ));
    }
    let journal = dir.join("journal.db");
    write(&dir.join(MARKER), MARKER_TEXT)?;
    for name in JOURNAL {
        let path = journal.with_file_name(name);
        match fs::remove_file(&path) {
            Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
                return Err(unwritable(&path, &error));
            }
            _ => {}
        }
    }
    FILES
        .iter()
        .try_for_each(|(name, text)| write(&dir.join(name), text))
}

fn write(path: &Path, text: &str) -> anyhow::Result<()> {
    let parent = path.parent().unwrap_or(Path::new(""));
    fs::create_dir_all(parent)
        .and_then(|()| fs::write(path, text))
        .map_err(|error| unwritable(path, &error))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_that_is_no_demo_is_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        fs::write(dir.path().join("mine.txt"), "mine").unwrap();
        let error = make_folder(dir.path()).unwrap_err();
        assert!(
            error
                .to_string()
                .ends_with("is there already and no demo made it"),
            "{error}"
        );
        assert_eq!(fs::read_dir(dir.path()).unwrap().count(), 1);
    }

    #[test]
    fn a_demo_folder_is_made_afresh_and_keeps_what_others_put_there() {
        let dir = tempfile::tempdir().unwrap();
        let dir = dir.path().join("demo");
        make_folder(&dir).unwrap();
        fs::write(dir.join("journal.db"), "old").unwrap();
        fs::write(dir.join("mine.txt"), "mine").unwrap();
        fs::write(dir.join("workshop.toml"), "changed").unwrap();
        make_folder(&dir).unwrap();
        assert!(!dir.join("journal.db").exists());
        assert_eq!(fs::read_to_string(dir.join("mine.txt")).unwrap(), "mine");
        assert_eq!(
            fs::read_to_string(dir.join("workshop.toml")).unwrap(),
            FILES[0].1
        );
    }

    #[test]
    fn a_file_in_the_way_is_left_alone() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("demo");
        fs::write(&file, "mine").unwrap();
        assert!(make_folder(&file).is_err());
        assert_eq!(fs::read_to_string(&file).unwrap(), "mine");
    }

    #[test]
    fn every_file_of_the_example_is_embedded() {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
        let mut found = Vec::new();
        for dir in ["", "boards", "vendors"] {
            for entry in fs::read_dir(root.join(dir)).unwrap() {
                let path = entry.unwrap().path();
                let name = path
                    .strip_prefix(&root)
                    .unwrap()
                    .to_str()
                    .unwrap()
                    .replace('\\', "/");
                if name.ends_with(".toml") && name != "pile.toml" {
                    found.push(name);
                }
            }
        }
        found.sort();
        let mut embedded: Vec<String> = FILES.iter().map(|(name, _)| (*name).to_owned()).collect();
        embedded.sort();
        assert_eq!(embedded, found);
    }
}
