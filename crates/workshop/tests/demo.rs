//! The demo's evening, played.

use std::{fs, path::Path};

use workshop::{Clock, OpenOptions, Workshop};

fn copy(from: &Path, to: &Path) {
    fs::create_dir_all(to).unwrap();
    for entry in fs::read_dir(from).unwrap() {
        let entry = entry.unwrap();
        let target = to.join(entry.file_name());
        if entry.path().is_dir() { copy(&entry.path(), &target) } else { drop(fs::copy(entry.path(), target).unwrap()) }
    }
}

fn demo() -> (tempfile::TempDir, Workshop) {
    let example = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../examples/ostrel");
    let dir = tempfile::tempdir().unwrap();
    copy(&example, dir.path());
    let clock = Clock::Fixed("2026-11-12T18:00:00[Europe/Berlin]".parse().unwrap());
    let workshop = Workshop::open(dir.path(), OpenOptions { who: None, clock }).unwrap();
    let pile = fs::read_to_string(example.join("pile.toml")).unwrap();
    workshop.play(&pile).unwrap_or_else(|error| panic!("{}", error.message));
    (dir, workshop)
}

fn is_shared<T: Send + Sync>() {}

#[test]
fn a_workshop_may_be_shared() {
    is_shared::<Workshop>();
}

#[test]
fn print() {
    let start = std::time::Instant::now();
    let (_dir, workshop) = demo();
    let mut out = format!("{:?}\n", start.elapsed());
    let save = |out: &String| fs::write("/tmp/demo-cards.txt", out).unwrap();
    save(&out);
    for tag in 1..=9 {
        let start = std::time::Instant::now();
        let card = workshop.card(&format!("T-{tag:02}")).unwrap_or_else(|e| panic!("{}", e.message));
        out += &format!("\n==== {} {:?} {} [{}] p={:e}\n{}\n", card.tag, start.elapsed(), card.paid, card.state, card.p_findings, card.heading);
        if let Some(d) = &card.doubt { out += &format!("DOUBT {} {} {} ({})\n", d.before, d.text, d.after, d.chance); }
        for s in &card.next { out += &format!("NEXT {} min saves {} {:?}: {} | {} | {:?} | {:?}\n", s.minutes, s.saves, s.missing, s.title, s.how, s.caution, s.outcomes); }
        out += &format!("{}\nCOURSE {}\n", card.next_note, card.course);
        for s in &card.suspects { out += &format!("{:.3} {:?} {} {}\n", s.chance, s.was, s.title, s.why); }
        out += &format!("unmodelled {}\n", card.unmodelled);
        for s in &card.explanations { out += &format!("{:.3} {}\n", s.share, s.title); }
        out += &format!("others {}\n", card.others);
        for r in &card.journal { out += &format!("{} {} {} {} | {} | {} | {:?}\n", r.line, r.time, r.who, r.text, r.entered, r.after, r.taken_back); }
    }
    save(&out);
    let start = std::time::Instant::now();
    let bench = workshop.bench().unwrap();
    out += &format!("\n=== BENCH {:?} {}\n{}\n{:?} {:?}\n", start.elapsed(), bench.heading, bench.summary, bench.progress, bench.money);
    out += &format!("{:?}\n", bench.checks.iter().map(|c| (&c.title, &c.at, &c.limits, &c.unit)).collect::<Vec<_>>());
    for r in &bench.rows { out += &format!("{} {:?} | {} {:?} [{}]\n", r.tag, r.cells.iter().map(|c| format!("{:?} {}", c.state, c.text)).collect::<Vec<_>>(), r.says, r.chance, r.state); }
    save(&out);
    let start = std::time::Instant::now();
    let plan = workshop.plan(&workshop::PlanLimits::default()).unwrap();
    out += &format!("\n=== PLAN {:?}\n{}\n{} gap {}\n", start.elapsed(), plan.heading, plan.proof, plan.gap);
    for d in &plan.decisions { out += &format!("{} {} [{}] {} {} ({} {} {})\n", d.money, d.tag, d.decision, d.title, d.text, d.chance, d.minutes, d.worth); }
    for r in plan.other_costs.iter().chain(&plan.sum).chain(&plan.changes) { out += &format!("{:>10} {}\n", r.amount, r.text); }
    for c in &plan.curve { out += &format!("{c:?}\n"); }
    out += &format!("{:#?}\n", plan.notes);
    save(&out);
    let start = std::time::Instant::now();
    let order = workshop.order(&workshop::PlanLimits::default()).unwrap();
    out += &format!("\n=== ORDER {:?}\n{:#?}\n", start.elapsed(), order);
    fs::write("/tmp/demo-cards.txt", out).unwrap();
}
