//! What to do next, reckoned again from the listed worlds: courses of remedies and what each check saves.

use std::collections::BTreeMap;

use catalogue::{Check, Need, Profile, Rail, Site};
use diagnosis::{Action, Course, Diagnosis, Economy, RemedyCost, Shown, Situation, Step};

use super::bench;
use super::boards::{self, Dice, Size};
use super::worlds::{self, End};

/// A suspect: the chip or the place of a position.
type Suspect = (String, bool);

/// An economy drawn at random: remedies for most parts, some set-ups standing or missing.
fn economy(dice: &mut Dice, profile: &Profile) -> Economy {
    let mut remedies = Vec::new();
    for part in &profile.parts {
        for site in [Site::Chip, Site::Place] {
            for _ in 0..dice.below(3) {
                remedies.push(RemedyCost {
                    part: part.reference.clone(),
                    site,
                    minutes: 1.0 + dice.below(20) as f64,
                    // odd sums, so that no two suspects are equally worth trying
                    money: dice.below(12) as f64 + 0.0137 * (remedies.len() as f64).powf(1.3),
                    works: *dice.pick(&[1.0, 0.9, 0.6]),
                    title: "a remedy".to_owned(),
                });
            }
        }
    }
    let set_ups = ["powered".to_owned(), "lid-off".to_owned()];
    let standing: Vec<String> = set_ups.iter().filter(|_| dice.odds(30)).cloned().collect();
    let rest = set_ups.iter().filter(|s| !standing.contains(s));
    let missing = rest.filter(|_| dice.odds(20)).cloned().collect();
    Economy {
        rate_per_minute: *dice.pick(&[0.2, 0.5, 1.0]),
        worth: *dice.pick(&[40.0, 100.0, 300.0]),
        hold: *dice.pick(&[0.0, 10.0]),
        retest_minutes: *dice.pick(&[0.0, 3.0]),
        remedies,
        set_up_minutes: BTreeMap::from([(set_ups[0].clone(), 2.0), (set_ups[1].clone(), 4.0)]),
        standing,
        missing,
        harm_cost: *dice.pick(&[0.0, 30.0]),
    }
}

fn cost(economy: &Economy, remedy: &RemedyCost) -> f64 {
    remedy.money + economy.rate_per_minute * (remedy.minutes + economy.retest_minutes)
}

/// The suspects of a set of modes; what is not of a position stays as it is called.
fn suspects(profile: &Profile, set: &[String]) -> Vec<Suspect> {
    set.iter()
        .map(|name| match name.split_once('.') {
            Some((part, mode)) if profile.part(part).is_some() => {
                let mode = profile.part(part).and_then(|part| part.mode(mode));
                let place = mode.is_some_and(|mode| mode.site == Site::Place);
                (part.to_owned(), place)
            }
            _ => (name.clone(), false),
        })
        .collect()
}

/// The best course when each end has this weight (they need not add up to 1).
fn best_course(
    profile: &Profile,
    economy: &Economy,
    empty: &[String],
    ends: &[End],
    weights: &[f64],
) -> Course {
    best_course_in_order(profile, economy, empty, ends, weights, weights)
}

/// The same with the suspects in the order of other weights.
fn best_course_in_order(
    profile: &Profile,
    economy: &Economy,
    empty: &[String],
    ends: &[End],
    ordering: &[f64],
    weights: &[f64],
) -> Course {
    let total: f64 = weights.iter().sum();
    let all: f64 = ordering.iter().sum();
    let sets: Vec<Vec<Suspect>> = ends.iter().map(|e| suspects(profile, &e.set)).collect();
    let mut chances: BTreeMap<&Suspect, f64> = BTreeMap::new();
    for (set, weight) in sets.iter().zip(ordering) {
        for suspect in set {
            *chances.entry(suspect).or_default() += weight / all;
        }
    }
    // the cheapest remedy by chance for each suspect, best suspects first
    let by_chance = |index: &usize| {
        let remedy = &economy.remedies[*index];
        cost(economy, remedy) / remedy.works
    };
    let remedy_for = |suspect: &Suspect| {
        let fits = (0..economy.remedies.len()).filter(|&index| {
            let remedy = &economy.remedies[index];
            (remedy.part.clone(), remedy.site == Site::Place) == *suspect
        });
        fits.min_by(|a, b| by_chance(a).total_cmp(&by_chance(b)))
    };
    let mut tried: Vec<(&Suspect, usize, f64)> = Vec::new();
    for (suspect, &chance) in &chances {
        let best = remedy_for(suspect);
        if let Some(best) = best.filter(|_| chance >= 1e-3) {
            tried.push((suspect, best, chance / by_chance(&best)));
        }
    }
    tried.sort_by(|a, b| b.2.total_cmp(&a.2));
    tried.truncate(8);
    // by number of remedies: the chance that all bad suspects have been put right
    let mut done = vec![0.0; tried.len() + 1];
    for ((end, set), weight) in ends.iter().zip(&sets).zip(weights) {
        for (count, done) in done.iter_mut().enumerate() {
            let still = |(name, suspect): (&String, &Suspect)| -> f64 {
                let own = tried[..count].iter().filter(|(t, ..)| *t == suspect);
                let own: f64 = own
                    .map(|(_, index, _)| 1.0 - economy.remedies[*index].works)
                    .product();
                // another chip was pressed into the place
                let fitted = tried[..count]
                    .iter()
                    .any(|((part, place), ..)| suspect.1 && !place && *part == suspect.0);
                let mode = name
                    .split_once('.')
                    .and_then(|(part, mode)| profile.part(part)?.mode(mode));
                own * if fitted {
                    1.0 - mode.map_or(0.0, |mode| mode.cured_by.reseat)
                } else {
                    1.0
                }
            };
            let right: f64 = end
                .set
                .iter()
                .zip(set)
                .map(|one| 1.0 - still(one))
                .product();
            *done += right * weight / total;
        }
    }
    let value =
        |works: f64, spent: f64| works * economy.worth + (1.0 - works) * economy.hold - spent;
    // nothing works before each empty position has a chip
    let missing: Vec<Option<usize>> = empty
        .iter()
        .map(|part| remedy_for(&(part.clone(), false)))
        .collect();
    let Some(first) = missing.into_iter().collect::<Option<Vec<usize>>>() else {
        return as_it_is(economy);
    };
    let mut course = Course {
        remedies: first.clone(),
        value: 0.0,
        works: 0.0,
        minutes: 0.0,
        look_first: false,
    };
    let (mut spent, mut filled) = (0.0, 1.0);
    for index in first {
        let remedy = &economy.remedies[index];
        spent += cost(economy, remedy);
        course.minutes += remedy.minutes + economy.retest_minutes;
        filled *= remedy.works;
    }
    let mut best = as_it_is(economy);
    for count in 0..=tried.len() {
        if count > 0 {
            let remedy = &economy.remedies[tried[count - 1].1];
            let mut still = 1.0 - course.works;
            if count == 1 && empty.is_empty() {
                // it may work already: look first, or do the first remedy all the same
                let look = economy.retest_minutes * economy.rate_per_minute;
                course.look_first = look < course.works * cost(economy, remedy);
                if course.look_first {
                    spent += look;
                    course.minutes += economy.retest_minutes;
                } else {
                    still = 1.0;
                }
            }
            spent += still * cost(economy, remedy);
            course.minutes += still * (remedy.minutes + economy.retest_minutes);
            course.remedies.push(tried[count - 1].1);
        }
        course.works = filled * done[count];
        course.value = value(course.works, spent);
        if course.value > best.value || empty.is_empty() && count == 0 {
            best = course.clone();
        }
    }
    best
}

/// What the outcomes of a check are worth, what it costs, and its minutes.
fn saving(
    profile: &Profile,
    economy: &Economy,
    empty: &[String],
    ends: &[End],
    check: &Check,
    without: f64,
) -> (f64, f64, f64) {
    let count = ends.first().map_or(0, |end| end.shows[&check.id].len());
    let mut with = 0.0;
    for outcome in 0..count {
        let weights: Vec<f64> = ends
            .iter()
            .map(|end| end.share * end.shows[&check.id][outcome])
            .collect();
        let chance: f64 = weights.iter().sum();
        if chance > 0.0 {
            with += chance * best_course(profile, economy, empty, ends, &weights).value;
        }
    }
    let new = check
        .set_up
        .iter()
        .filter(|s| !economy.standing.contains(s));
    let set_up: f64 = new.filter_map(|s| economy.set_up_minutes.get(s)).sum();
    let minutes = check.minutes + set_up;
    let harm: f64 = ends
        .iter()
        .flat_map(|end| {
            let harms = end.harms.get(&check.id).into_iter().flatten();
            // what could not be done harms nothing
            let done: f64 = end.shows[&check.id][..check.outcomes.len()].iter().sum();
            harms.map(move |(_, _, chance)| end.share * done * chance)
        })
        .sum();
    let cost = minutes * economy.rate_per_minute + harm * economy.harm_cost;
    (with - without, cost, minutes)
}

/// The same where the check is only made after it was seen that the machine does not work.
fn saving_later(
    profile: &Profile,
    economy: &Economy,
    empty: &[String],
    ends: &[End],
    check: &Check,
    cost: f64,
) -> f64 {
    // a machine without a chip that it needs does not work; another one does if nothing is bad
    let broken = |end: &End| f64::from(u8::from(!empty.is_empty() || !end.set.is_empty()));
    let best = |likelihood: &dyn Fn(&End) -> f64| {
        let ordering: Vec<f64> = ends.iter().map(|end| end.share * likelihood(end)).collect();
        let weights: Vec<f64> = ordering
            .iter()
            .zip(ends)
            .map(|(weight, end)| weight * broken(end))
            .collect();
        let share: f64 = weights.iter().sum();
        if share <= 0.0 {
            return (0.0, 0.0);
        }
        let course = best_course_in_order(profile, economy, empty, ends, &ordering, &weights);
        (share, course.value)
    };
    let (share, without) = best(&|_| 1.0);
    let count = ends.first().map_or(0, |end| end.shows[&check.id].len());
    let with: f64 = (0..count)
        .map(|outcome| best(&|end| end.shows[&check.id][outcome]))
        .map(|(share, value)| share * value)
        .sum();
    with - share * (without + cost)
}

fn as_it_is(economy: &Economy) -> Course {
    Course {
        remedies: Vec::new(),
        value: economy.hold,
        works: 0.0,
        minutes: 0.0,
        look_first: false,
    }
}

/// Positions without a chip at the end of the story, where the board needs one.
fn empty(situation: &Situation, tag: &str) -> Vec<String> {
    let profile = situation.profiles.values().next().expect("a profile");
    let machine = situation.machines.iter().find(|m| m.tag == tag);
    let mut empty: Vec<String> = machine.expect("a machine").empty.clone();
    for step in &situation.steps {
        match &step.action {
            Action::Pull { machine, part, .. } if machine == tag => empty.push(part.clone()),
            Action::Fit { machine, part, .. } if machine == tag => empty.retain(|e| e != part),
            _ => {}
        }
    }
    let needed = |reference: &String| {
        let need = Need::Part(reference.clone());
        let feeds = |rail: &Rail| rail.fed_by.contains(reference);
        profile.rails.iter().any(feeds) || profile.functions.iter().any(|f| f.needs.contains(&need))
    };
    empty.retain(|part| needed(part) && profile.part(part).is_some_and(|part| !part.optional));
    empty.sort();
    empty
}

/// What was compared.
#[derive(Default)]
struct Tally {
    wrong: Vec<String>,
    courses: usize,
    savings: usize,
    /// Checks whose outcomes would mislead the greedy order, and by how much at most.
    misled: usize,
    worst: f64,
}

impl Tally {
    /// Within 1e-9 of what is at stake.
    fn number(&mut self, what: &str, found: f64, expected: f64, stake: f64) {
        if (found - expected).abs() > 1e-9 * stake {
            self.wrong
                .push(format!("{what}: found {found}, enumerated {expected}"));
        }
    }
}

fn compare(seed: u64, tally: &mut Tally) {
    let mut dice = Dice::new(seed);
    let size = Size::small(&mut dice);
    let text = boards::board(&mut dice, size);
    let situation = boards::story(&mut dice, bench::read(&text), size);
    let Some(expected) = worlds::enumerate_ends(&situation, 5_000) else {
        return;
    };
    if expected.p < 1e-9 {
        return;
    }
    let profile = situation.profiles.values().next().expect("a profile");
    let economy = economy(&mut dice, profile);
    let diagnosis = Diagnosis::of(&situation).expect("a diagnosis");
    for machine in &situation.machines {
        let tag = &machine.tag;
        let (steps, course) = diagnosis.next(tag, &economy).expect("advice");
        let empty = empty(&situation, tag);
        let ends = &expected.ends[tag];
        let weights: Vec<f64> = ends.iter().map(|end| end.share).collect();
        let own = best_course(profile, &economy, &empty, ends, &weights);
        let what = format!("seed {seed} {tag}");
        tally.courses += 1;
        tally.number(
            &format!("{what} value"),
            course.value,
            own.value,
            economy.worth,
        );
        let alone = diagnosis.course(tag, &economy).expect("a course");
        let alone = alone.value;
        tally.number(&format!("{what} alone"), alone, own.value, economy.worth);
        // where going on is worth exactly nothing, either course will do
        if course.remedies == own.remedies {
            tally.number(&format!("{what} works"), course.works, own.works, 1.0);
            tally.number(
                &format!("{what} minutes"),
                course.minutes,
                own.minutes,
                100.0,
            );
        }
        assert_eq!(
            steps.len(),
            expected
                .predictions
                .keys()
                .filter(|(of, _)| of == tag)
                .count(),
            "{what}"
        );
        for step in &steps {
            let check = profile.check(&step.check).expect("a check");
            let (gain, cost, minutes) = saving(profile, &economy, &empty, ends, check, own.value);
            let what = format!("{what} {}", check.id);
            tally.savings += 1;
            tally.number(
                &format!("{what} saving"),
                step.saving,
                gain - cost,
                economy.worth,
            );
            tally.number(&format!("{what} minutes"), step.minutes, minutes, 1.0);
            let later = saving_later(profile, &economy, &empty, ends, check, cost);
            tally.number(
                &format!("{what} saving later"),
                step.saving_later,
                later,
                economy.worth,
            );
            if gain < -1e-9 {
                tally.misled += 1;
                tally.worst = tally.worst.max(-gain / economy.worth);
            }
        }
        check_order(&what, &economy, profile, &steps);
    }
}

/// The largest saving first, to nine places; those whose instrument is missing last.
fn check_order(what: &str, economy: &Economy, profile: &Profile, steps: &[Step]) {
    let key = |step: &Step| {
        let check = profile.check(&step.check).expect("a check");
        let missing = check.set_up.iter().any(|s| economy.missing.contains(s));
        (missing, -(step.saving * 1e9).round())
    };
    for pair in steps.windows(2) {
        assert!(key(&pair[0]) <= key(&pair[1]), "{what}: {pair:?}");
    }
}

#[test]
fn courses_and_savings() {
    let mut tally = Tally::default();
    for seed in 0..500 {
        compare(seed, &mut tally);
    }
    assert!(tally.wrong.is_empty(), "{}", tally.wrong.join("\n"));
    let Tally {
        courses,
        savings,
        misled,
        worst,
        ..
    } = tally;
    assert!(
        courses > 300 && savings > 300,
        "{courses} courses, {savings} savings"
    );
    // a check never costs more than itself, up to the greedy order of the courses
    assert!(
        misled * 50 <= savings,
        "{misled} of {savings} checks mislead"
    );
    assert!(worst < 0.02, "a check misleads by {worst} of the worth");
}

/// A supply that may run too high kills the video chip once the picture is looked at.
const HARMFUL: &str = r#"
[board]
id = "b"
unmodelled = 0.0
[[block]]
id = "one"
[[rail]]
name = "+5V"
volts = 5.0
fed_by = ["U30"]
[[part]]
ref = "U30"
block = "one"
[[part.mode]]
id = "high"
chance = 0.2
rail = "high"
[[part]]
ref = "U9"
block = "one"
[[part.mode]]
id = "dead"
chance = 0.3
[[part]]
ref = "U8"
block = "one"
[[part.mode]]
id = "dead"
chance = 0.3
[[function]]
id = "sync"
needs = ["U9"]
[[function]]
id = "colour"
needs = ["U8"]
[[check]]
id = "rail5"
minutes = 2
set_up = ["powered"]
tells = "+5V.high"
false_pass = 0.01
false_fail = 0.01
blunder = 0.0
[[check]]
id = "picture"
minutes = 1
set_up = ["powered"]
harms = [{ when = "+5V.high", mode = "U9.dead", chance = 0.8 }]
tells = "sync"
false_pass = 0.01
false_fail = 0.01
blunder = 0.0
[[check]]
id = "look-inside"
minutes = 1
set_up = ["scope"]
tells = "colour"
false_pass = 0.0
false_fail = 0.0
blunder = 0.0
"#;

#[test]
fn the_supply_comes_first_where_a_check_may_harm() {
    let remedy = |part: &str| RemedyCost {
        part: part.to_owned(),
        site: Site::Chip,
        minutes: 20.0,
        money: 20.0,
        works: 1.0,
        title: "another".to_owned(),
    };
    let first = |harm_cost: f64, rail_seen: Option<&str>, missing: &[&str]| -> Vec<String> {
        let profile = bench::read(HARMFUL);
        let economy = Economy {
            rate_per_minute: 0.5,
            worth: 150.0,
            remedies: vec![remedy("U30"), remedy("U9"), remedy("U8")],
            harm_cost,
            missing: missing.iter().map(|&set_up| set_up.to_owned()).collect(),
            ..Economy::default()
        };
        let shown = rail_seen.map(|outcome| Shown::Outcome(outcome.to_owned()));
        let steps = shown.map(|shown| bench::measured("T-1", "rail5", shown));
        let situation = bench::one_machine(profile, steps.into_iter().collect());
        let diagnosis = Diagnosis::of(&situation).expect("a diagnosis");
        let (steps, _) = diagnosis.next("T-1", &economy).expect("advice");
        steps.into_iter().map(|step| step.check).collect()
    };
    // nothing is lost by a harmed chip: the supply is not looked at before the picture
    let picture = |list: &[String]| list.iter().position(|check| check == "picture");
    let rail = |list: &[String]| list.iter().position(|check| check == "rail5");
    let careless = first(0.0, None, &[]);
    assert!(picture(&careless) < rail(&careless), "{careless:?}");
    let careful = first(100.0, None, &[]);
    assert!(rail(&careful) < picture(&careful), "{careful:?}");
    // once the supply is known to be good, the picture comes first again
    let passed = first(100.0, Some("pass"), &["scope"]);
    assert_eq!(passed, ["picture", "look-inside"]);
    // the best check needs an instrument he lacks
    let missing = first(100.0, None, &["scope"]);
    assert_eq!(missing.last().map(String::as_str), Some("look-inside"));
}
