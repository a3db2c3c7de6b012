//! Documented repairs on starter profiles: the yardstick holds, and nothing of the causes is looked at.

use std::collections::BTreeMap;
use std::path::PathBuf;

use cases::replay::{
    Mapping, Repair, Replay, count_blocks, fits, read_base_rates, read_repairs, replay, summary,
};

fn folder() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/repairs")
}

fn text() -> String {
    std::fs::read_to_string(folder().join("cases.json")).expect("the repairs are there")
}

fn mapping() -> Mapping {
    Mapping::read(&folder().join("mapping.json")).expect("good rules")
}

fn base() -> BTreeMap<String, f64> {
    read_base_rates(&folder().join("base_rates.csv")).expect("base rates")
}

fn replays(repairs: &[Repair]) -> Vec<Replay> {
    let (mapping, base) = (mapping(), base());
    let fitting = repairs.iter().filter(|repair| fits(repair));
    fitting
        .map(|repair| replay(repair, &mapping, &base).expect("a repair that can be reckoned with"))
        .collect()
}

/// The counts behind the starters' chances are those of the repairs; those of all kinds are the collection's own.
#[test]
fn rates_are_counted_from_the_repairs() {
    let repairs = read_repairs(&folder().join("cases.json")).expect("repairs");
    let base = base();
    for kind in ["home", "sbc", "arcade"] {
        let (counts, cases) = count_blocks(&repairs, Some(kind));
        let (all, all_cases) = count_blocks(&repairs, None);
        let rates = catalogue::block_rates(kind);
        assert_eq!(rates.len(), 13);
        for rate in rates {
            let count =
                |counts: &BTreeMap<String, u32>| counts.get(&rate.block).copied().unwrap_or(0);
            assert_eq!(
                rate.of_kind,
                (count(&counts), cases),
                "{kind}: {}",
                rate.block
            );
            assert_eq!(rate.of_all, (count(&all), all_cases), "{}", rate.block);
            let share = f64::from(rate.of_all.0) / f64::from(rate.of_all.1);
            assert!((base[&rate.block] - share).abs() < 6e-5, "{}", rate.block);
        }
    }
}

/// What the repairs say is better than base rates alone, also in the bad half of drawn collections.
#[test]
fn findings_are_better_than_base_rates() {
    let repairs = read_repairs(&folder().join("cases.json")).expect("repairs");
    let replays = replays(&repairs);
    assert_eq!(replays.len(), 46);
    let all: Vec<&Replay> = replays.iter().collect();
    let summary = summary(&all).expect("some");
    assert!(
        summary.after_score.mean > summary.base_score.mean,
        "{summary:?}"
    );
    assert!(
        summary.after_score.mean > summary.before_score.mean,
        "{summary:?}"
    );
    assert!(summary.gain.low > 0.0, "{summary:?}");
    assert!(summary.after_front.mean >= 0.75, "{summary:?}");
}

/// With other causes written into the file, the findings and all chances stay the same.
#[test]
fn causes_are_not_looked_at() {
    let mut other: serde_json::Value = serde_json::from_str(&text()).expect("JSON");
    for repair in other.as_array_mut().expect("a list") {
        repair["causes"] = serde_json::json!([{ "block": "sound" }]);
        repair["located_by"] = serde_json::Value::Null;
        repair["event"] = serde_json::Value::Null;
    }
    let file =
        std::env::temp_dir().join(format!("boardwright-replays-{}.json", std::process::id()));
    std::fs::write(&file, other.to_string()).expect("a file");
    let changed = read_repairs(&file).expect("repairs");
    std::fs::remove_file(&file).expect("the file goes");
    let own = read_repairs(&folder().join("cases.json")).expect("repairs");
    for (one, other) in replays(&own[..12]).iter().zip(replays(&changed[..12])) {
        assert_eq!(one.findings, other.findings, "{}", one.id);
        assert_eq!(one.answers, other.answers, "{}", one.id);
        assert_eq!(one.after.blocks, other.after.blocks, "{}", one.id);
        assert_eq!(other.confirmed, ["sound"]);
    }
}

fn likelihood(text: &str, findings: &[(&str, &str)]) -> diagnosis::Diagnosis {
    let profile =
        catalogue::parse_profile(text, "mine", catalogue::Library::built_in()).expect("a profile");
    let measure = |&(check, outcome): &(&str, &str)| diagnosis::BenchStep {
        time: None,
        action: diagnosis::Action::Measure(diagnosis::Measure {
            machine: "T-01".to_owned(),
            check: check.to_owned(),
            shown: diagnosis::Shown::Outcome(outcome.to_owned()),
            person: None,
            minutes_on: None,
            supply: diagnosis::Supply::Usual,
        }),
    };
    let situation = diagnosis::Situation {
        machines: vec![diagnosis::Machine {
            tag: "T-01".to_owned(),
            profile: profile.id.clone(),
            ..diagnosis::Machine::default()
        }],
        profiles: [(profile.id.clone(), std::sync::Arc::new(profile))].into(),
        steps: findings.iter().map(measure).collect(),
        ..diagnosis::Situation::default()
    };
    diagnosis::Diagnosis::of(&situation).expect("an answer")
}

/// What a split keeps, by posteriors: everything, where the whole has one mode; else all but what two bad pieces at once add.
#[test]
fn a_block_in_pieces_is_judged_as_the_whole_was() {
    let findings = [("picture", "nosync"), ("start", "pass"), ("gates", "pass")];
    let library = catalogue::Library::built_in();
    let text = catalogue::starter_text("z80-micro").expect("a starter");
    let (head, rest) = text.split_once("ref = \"VIDEO\"").expect("the video block");
    let (video, tail) = rest.split_once("\n]").expect("its modes");
    let one = video
        .split("mode = [")
        .next()
        .expect("what stands before the modes");
    let one_mode = format!(
        "{head}ref = \"VIDEO\"{one}mode = [{{ id = \"dead\", title = \"gives nothing\", chance = 0.2 }},\n]{tail}"
    );
    for (text, most) in [(one_mode.as_str(), 1e-9), (text.as_str(), 0.02)] {
        let list = "U21 6845; U22-U25 74ls166";
        let split = catalogue::split_board(text, "mine", "VIDEO", list, library).expect("a split");
        let whole = likelihood(text, &findings);
        let pieces = likelihood(&split.text, &findings);
        let ratio = pieces.p_findings() / whole.p_findings();
        assert!((ratio - 1.0).abs() <= most, "{ratio}");
        let others = |diagnosis: &diagnosis::Diagnosis| -> BTreeMap<String, f64> {
            let modes = diagnosis.modes_of("T-01").into_iter();
            modes
                .filter_map(|mode| match mode.holder {
                    diagnosis::Holder::Position { part, .. }
                        if part != "VIDEO" && !split.pieces.contains(&part) =>
                    {
                        Some((format!("{part}.{}", mode.mode), mode.chance))
                    }
                    _ => None,
                })
                .collect()
        };
        let (was, is) = (others(&whole), others(&pieces));
        assert_eq!(was.len(), is.len());
        for (mode, chance) in &was {
            assert!(
                (chance - is[mode]).abs() <= most,
                "{mode}: {chance} {}",
                is[mode]
            );
        }
    }
}
