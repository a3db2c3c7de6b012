//! The entry line: `+5v 4.77; picture black; dot clock 8.004M; 12 min`.

use catalogue::{Check, Profile, Target, Tells};
use journal::{Shown, Supply};
use units::{Quantity, Reading, parse_reading};

use crate::{
    names::{self, Fit, best, choices, fit, nearest_of, plain},
    settings::Settings,
    words::quoted,
};

/// Longest line that is read; a line typed at the bench has a hundred characters.
const LONGEST: usize = 4000;

/// A bare voltage or current above so many times its limits is asked about.
const MOST_TIMES: f64 = 20.0;
/// With its unit written it is refused above so many times its limits, if it is so many volts, amperes or seconds at least.
const MOST_TIMES_WRITTEN: f64 = 100.0;
const LEAST_WRITTEN: f64 = 100.0;

/// A finding as it was understood.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Finding {
    pub(crate) check: String,
    /// The value as typed.
    pub(crate) text: String,
    pub(crate) shown: Shown,
    /// Where the instrument's accuracy comes from, for readings.
    pub(crate) source: Option<String>,
}

/// A line as it was understood.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Understanding {
    pub(crate) findings: Vec<Finding>,
    /// The supply, if the line says which.
    pub(crate) supply: Option<Supply>,
    pub(crate) minutes_on: Option<f64>,
}

/// What is wrong with a line; all of it.
pub(crate) type Problems = Vec<String>;

/// Reads entry lines for one board.
pub(crate) struct Reader<'a> {
    pub(crate) profile: &'a Profile,
    pub(crate) settings: &'a Settings,
    /// The check that a bare value belongs to.
    pub(crate) open: Option<&'a Check>,
}

impl<'a> Reader<'a> {
    /// Reads a whole line.
    pub(crate) fn line(&self, line: &str) -> Result<Understanding, Problems> {
        if line.len() > LONGEST {
            return Err(vec![format!(
                "expected a line of at most {LONGEST} characters, found {}",
                line.len()
            )]);
        }
        let mut understanding = Understanding::default();
        let mut problems = Vec::new();
        let pieces = line.split([';', '\n']).flat_map(|piece| {
            let (finding, minutes) = with_minutes(piece);
            [finding, minutes]
        });
        for piece in pieces.map(str::trim).filter(|piece| !piece.is_empty()) {
            match condition(piece) {
                Some(Condition::Supply(supply)) => understanding.supply = Some(supply),
                Some(Condition::Minutes(minutes)) => understanding.minutes_on = Some(minutes),
                None => match self.piece(piece) {
                    Ok(finding) => understanding.findings.push(finding),
                    Err(problem) => problems.push(problem),
                },
            }
        }
        if understanding.findings.is_empty() && problems.is_empty() {
            problems.push(
                "expected a check and what it showed, such as `picture black`, found nothing"
                    .to_string(),
            );
        }
        if problems.is_empty() {
            Ok(understanding)
        } else {
            Err(problems)
        }
    }

    /// The check with this name.
    pub(crate) fn check(&self, typed: &str) -> Result<&'a Check, String> {
        match self.checks(typed) {
            Some((_, found)) => match found.as_slice() {
                [one] => Ok(one),
                many => Err(format!(
                    "{} could be {}",
                    quoted(typed),
                    choices(many.iter().map(|check| &*check.id))
                )),
            },
            None => Err(self.unknown(typed)),
        }
    }

    /// What a value shows of a check.
    pub(crate) fn value(&self, check: &Check, typed: &str) -> Result<Finding, String> {
        let finding = |shown, source| Finding {
            check: check.id.clone(),
            text: typed.trim().to_string(),
            shown,
            source,
        };
        let word = plain(typed);
        if word.is_empty() {
            return Err(format!(
                "`{}`: expected {}, found nothing",
                check.id,
                self.expected(check)
            ));
        }
        if ["skip", "skipped"].contains(&word.as_str()) {
            return Ok(finding(Shown::Skipped, None));
        }
        if [
            "cannot",
            "cannot tell",
            "cannot be done",
            "cannot be tested",
        ]
        .contains(&word.as_str())
        {
            return Ok(finding(Shown::Cannot, None));
        }
        if let Some(outcome) = outcome(check, &word)? {
            return Ok(finding(Shown::Outcome(outcome), None));
        }
        let Some(limits) = check.limits else {
            return Err(format!(
                "`{}`: expected {}, found {}",
                check.id,
                self.expected(check),
                quoted(typed)
            ));
        };
        let numeric = typed
            .trim()
            .starts_with(|c: char| c.is_ascii_digit() || "+-.,\u{2212}".contains(c));
        if !numeric {
            return Err(format!(
                "`{}`: expected {}, found {}",
                check.id,
                self.expected(check),
                quoted(typed)
            ));
        }
        let reading =
            read(typed, &limits).map_err(|problem| format!("`{}`: {problem}", check.id))?;
        let instrument = self.settings.instrument(&check.set_up, limits.unit);
        let shown = Shown::Reading {
            value: reading.value,
            unit: limits.unit.symbol().to_string(),
            digit: reading.digit,
            components: instrument.components(&reading),
            instrument: instrument.title,
        };
        Ok(finding(shown, Some(instrument.source)))
    }

    fn piece(&self, piece: &str) -> Result<Finding, String> {
        let words: Vec<&str> = piece
            .split([' ', '\t', '\u{a0}', '=', ':'])
            .filter(|word| !word.is_empty())
            .collect();
        let mut tries = Vec::new();
        for split in (1..=words.len().min(12)).rev() {
            let (name, value) = words.split_at(split);
            let Some((how, found)) = self.checks(&name.join(" ")) else {
                continue;
            };
            let value = value.join(" ");
            let readable: Vec<Finding> = found
                .iter()
                .filter_map(|check| self.value(check, &value).ok())
                .collect();
            tries.push(Try {
                how,
                found,
                value,
                readable,
            });
        }
        // The best name whose value can be read; of equal ones the longest.
        tries.sort_by_key(|one| (one.readable.is_empty(), one.how));
        let bare = self.open.map(|check| self.value(check, piece));
        match (tries.into_iter().next(), bare) {
            (Some(one), _) if one.readable.len() == 1 => Ok(one.readable[0].clone()),
            (Some(one), _) if one.readable.len() > 1 => Err(format!(
                "{} could be {}; write one of these",
                quoted(piece),
                choices(one.readable.iter().map(|finding| &*finding.check))
            )),
            (Some(one), Some(Ok(bare))) if one.how > Fit::Other => Ok(bare).inspect(|_| drop(one)),
            (Some(one), _) => match one.found.as_slice() {
                [check] => Err(self.value(check, &one.value).err().unwrap_or_default()),
                many => Err(format!(
                    "{} could be {}",
                    quoted(piece),
                    choices(many.iter().map(|check| &*check.id))
                )),
            },
            (None, Some(Ok(bare))) => Ok(bare),
            (None, Some(Err(problem))) if words.len() == 1 => Err(problem),
            (None, _) => Err(self.unknown(piece)),
        }
    }

    /// The checks whose names fit best.
    fn checks(&self, typed: &str) -> Option<(Fit, Vec<&'a Check>)> {
        let typed = plain(typed);
        let squeezed = typed.replace(' ', "");
        best(self.profile.checks.iter().filter_map(|check| {
            let names = std::iter::once(&check.id)
                .chain(&check.aliases)
                .chain([&check.title])
                .map(String::as_str);
            let by_name = fit(&typed, names);
            let by_rail = rail(check)
                .filter(|rail| rail.to_lowercase() == squeezed)
                .map(|_| Fit::Start);
            let how = match (by_name, by_rail) {
                (Some(name), Some(rail)) => name.min(rail),
                (name, rail) => name.or(rail)?,
            };
            Some((how, check))
        }))
    }

    fn unknown(&self, typed: &str) -> String {
        let known = self.profile.checks.iter().map(|check| {
            // each word of `cpu-reset` is one that a person may have meant
            let words = check.id.split('-').chain([&*check.id]);
            (
                &*check.id,
                words.chain(check.aliases.iter().map(|alias| &**alias)),
            )
        });
        let word = typed.split_whitespace().next().unwrap_or(typed);
        format!(
            "expected a check, found {}; nearest are {}",
            quoted(typed),
            choices(nearest_of(word, known))
        )
    }

    fn expected(&self, check: &Check) -> String {
        let words = check
            .outcomes
            .iter()
            .map(|outcome| &*outcome.id)
            .chain(["cannot", "skip"]);
        match check.limits {
            Some(limits) => format!(
                "a {} such as `{}`, or {}",
                limits.unit.quantity_name(),
                example(&limits),
                choices(words)
            ),
            None => choices(words),
        }
    }
}

struct Try<'a> {
    how: Fit,
    found: Vec<&'a Check>,
    value: String,
    readable: Vec<Finding>,
}

/// The rail a check tells of.
fn rail(check: &Check) -> Option<&str> {
    match &check.tells {
        Tells::Target {
            target: Target::Rail(name, _),
            ..
        } => Some(name),
        _ => None,
    }
}

/// The outcome that a sound board shows.
pub(crate) fn good_outcome(check: &Check) -> Option<usize> {
    match &check.tells {
        Tells::Target { .. } => Some(0),
        Tells::Rows(rows) => {
            let shows = &rows.last()?.shows;
            (0..shows.len()).max_by(|&a, &b| shows[a].total_cmp(&shows[b]).then(b.cmp(&a)))
        }
    }
}

fn outcome(check: &Check, word: &str) -> Result<Option<String>, String> {
    const GOOD: &[&str] = &["pass", "ok", "okay", "good", "fine", "yes", "works"];
    const BAD: &[&str] = &[
        "fail",
        "bad",
        "no",
        "none",
        "dead",
        "nothing",
        "no signal",
        "not ok",
        "wrong",
    ];
    let fits = check
        .outcomes
        .iter()
        .filter_map(|outcome| Some((fit(word, [&*outcome.id, &*outcome.title])?, outcome)));
    let found = best(fits);
    if let Some((Fit::Exact | Fit::Other, found)) = &found {
        return Ok(found.first().map(|outcome| outcome.id.clone()));
    }
    if GOOD.contains(&word) {
        return Ok(good_outcome(check)
            .and_then(|index| check.outcomes.get(index))
            .map(|outcome| outcome.id.clone()));
    }
    if BAD.contains(&word) {
        let good = good_outcome(check);
        let bad: Vec<_> = check
            .outcomes
            .iter()
            .enumerate()
            .filter(|(index, _)| Some(*index) != good)
            .collect();
        return match bad.as_slice() {
            [(_, one)] => Ok(Some(one.id.clone())),
            many if found.is_none() => Err(format!(
                "`{}`: {} could be {}; write which",
                check.id,
                quoted(word),
                choices(many.iter().map(|(_, outcome)| &*outcome.id))
            )),
            _ => Ok(None),
        };
    }
    match found {
        None => Ok(None),
        Some((_, found)) => match found.as_slice() {
            [one] => Ok(Some(one.id.clone())),
            many => Err(format!(
                "`{}`: {} could be {}; write which",
                check.id,
                quoted(word),
                choices(many.iter().map(|outcome| &*outcome.id))
            )),
        },
    }
}

enum Condition {
    Supply(Supply),
    Minutes(f64),
}

/// A finding, and how long the machine was on: `picture black after 20 min`, `picture black, minutes 20`.
fn with_minutes(piece: &str) -> (&str, &str) {
    let says = |at: &usize| {
        let tail = piece[*at..].trim();
        let begins = ["after ", "minutes ", "minute "]
            .iter()
            .any(|word| tail.starts_with(word));
        begins && condition(tail).is_some()
    };
    let mut spaces = piece.match_indices(' ').map(|(at, _)| at);
    match spaces.find(says) {
        Some(at) => (piece[..at].trim_end_matches([',', ' ']), &piece[at..]),
        None => (piece, ""),
    }
}

/// A piece that says how the whole line was measured.
fn condition(piece: &str) -> Option<Condition> {
    let word = plain(piece);
    let word = word.strip_prefix("after ").unwrap_or(&word);
    match word {
        "supply bench" | "bench supply" | "on bench supply" => {
            return Some(Condition::Supply(Supply::Bench));
        }
        "supply own" | "own supply" | "supply usual" => {
            return Some(Condition::Supply(Supply::Usual));
        }
        _ => {}
    }
    if piece.contains(['-', '\u{2212}']) {
        return None;
    }
    let minutes = |text: &str| {
        let minutes: f64 = text.trim().replace(',', ".").parse().ok()?;
        (0.0..=10_000.0)
            .contains(&minutes)
            .then_some(Condition::Minutes(minutes))
    };
    let before = ["minutes on", "minutes", "mins", "min"]
        .iter()
        .find_map(|unit| word.strip_suffix(unit));
    let after = ["minutes ", "minute ", "min "]
        .iter()
        .find_map(|unit| word.strip_prefix(unit));
    before.or(after).and_then(minutes)
}

/// A reading; a bare number is in the unit the limits are printed in, or in the other usual one if that alone makes sense.
fn read(typed: &str, limits: &units::Limits) -> Result<Reading, String> {
    let typed = typed.trim();
    let read = |text: &str| -> Result<Reading, String> {
        let reading = parse_reading(text, limits.unit).map_err(|error| error.to_string())?;
        Ok(Reading {
            unit: Some(limits.unit),
            ..reading
        })
    };
    let bare = typed
        .chars()
        .all(|c| c.is_ascii_digit() || "+-.,\u{2212}".contains(c));
    let (Some(other), true) = (other_unit(limits), bare) else {
        let reading = read(typed)?;
        if bare && is_absurd(&reading, limits, MOST_TIMES) {
            let near = read(&format!("{typed} m{}", limits.unit.symbol()))?;
            return Err(format!(
                "{} would be {reading}; if {near} is meant, write the unit",
                quoted(typed)
            ));
        }
        let far = reading.value.abs() >= LEAST_WRITTEN;
        if far && is_absurd(&reading, limits, MOST_TIMES_WRITTEN) {
            return Err(format!(
                "{} is {:.0} times the limit there; look at the unit",
                quoted(typed),
                reading.value.abs() / largest(limits)
            ));
        }
        return Ok(reading);
    };
    let base = read(typed)?;
    let prefixed = read(&format!("{typed} {other}"))?;
    let (far, near) = (
        distance(base.value, limits),
        distance(prefixed.value, limits),
    );
    if far.min(near) > 0.0 && (far - near).abs() < 1.0 {
        return Err(format!(
            "{} could be {prefixed} or {base}; write the unit",
            quoted(typed)
        ));
    }
    let printed_in_base = display_unit(limits) == limits.unit.symbol();
    let base_is_meant = if printed_in_base {
        far <= near
    } else {
        far < near
    };
    Ok(if base_is_meant { base } else { prefixed })
}

/// A voltage, current or time many times what its limits speak of: more likely a slip than a fault.
fn is_absurd(reading: &Reading, limits: &units::Limits, times: f64) -> bool {
    let unit = limits.unit;
    let slips = matches!(
        unit,
        units::Unit::Volt | units::Unit::Ampere | units::Unit::Second
    );
    let largest = largest(limits);
    slips && largest > 0.0 && reading.value.abs() > times * largest
}

/// The limit that is farther from 0.
fn largest(limits: &units::Limits) -> f64 {
    let edges = [limits.low, limits.high].into_iter().flatten();
    edges.map(f64::abs).fold(0.0, f64::max)
}

/// The unit beside the base unit in which a bare number could be meant.
fn other_unit(limits: &units::Limits) -> Option<String> {
    let shown = display_unit(limits);
    if shown != limits.unit.symbol() {
        return Some(shown).filter(|unit| !unit.is_empty());
    }
    let small = matches!(limits.unit, units::Unit::Volt | units::Unit::Ampere)
        && [limits.low, limits.high]
            .into_iter()
            .flatten()
            .all(|edge| edge.abs() < 1.0);
    small.then(|| format!("m{shown}"))
}

/// How many powers of ten a value lies outside.
fn distance(value: f64, limits: &units::Limits) -> f64 {
    if limits.contains(value) || value == 0.0 {
        return 0.0;
    }
    let edges = [limits.low, limits.high]
        .into_iter()
        .flatten()
        .filter(|edge| *edge != 0.0);
    edges
        .map(|edge| (value.abs() / edge.abs()).log10().abs())
        .fold(f64::INFINITY, f64::min)
}

/// The unit with its prefix in which limits are printed: `ms`.
pub(crate) fn display_unit(limits: &units::Limits) -> String {
    let text = crate::say::limits_text(limits);
    match text.rsplit(' ').next() {
        Some(last) if limits.unit.symbol().is_empty() || !last.ends_with(limits.unit.symbol()) => {
            String::new()
        }
        Some(last) => last.to_string(),
        None => String::new(),
    }
}

/// A value within the limits, as one would type it.
fn example(limits: &units::Limits) -> String {
    let value = match (limits.low, limits.high) {
        (Some(low), Some(high)) => (low + high) / 2.0,
        (Some(edge), None) | (None, Some(edge)) => edge,
        (None, None) => 1.0,
    };
    Quantity {
        value,
        unit: limits.unit,
    }
    .rounded(3)
}

/// Splits the line of a round: one value a machine in order, or `T-03=4.98; T-05=black`, machines as typed.
pub(crate) fn round_entries(
    line: &str,
    tags: &[String],
) -> Result<Vec<(String, String)>, Problems> {
    if line.len() > LONGEST {
        return Err(vec![format!(
            "expected a line of at most {LONGEST} characters, found {}",
            line.len()
        )]);
    }
    let named = line.contains('=') || line.contains(';');
    if named {
        by_tag(line)
    } else {
        in_order(line, tags)
    }
}

fn by_tag(line: &str) -> Result<Vec<(String, String)>, Problems> {
    let mut entries = Vec::new();
    let mut problems = Vec::new();
    for piece in line
        .split([';', '\n'])
        .map(str::trim)
        .filter(|piece| !piece.is_empty())
    {
        match piece
            .split_once('=')
            .or_else(|| piece.split_once([' ', ':']))
        {
            Some((tag, value)) => entries.push((tag.trim().to_string(), value.trim().to_string())),
            None => problems.push(format!(
                "expected a machine and a value such as `T-03=4.98`, found {}",
                quoted(piece)
            )),
        }
    }
    if problems.is_empty() {
        Ok(entries)
    } else {
        Err(problems)
    }
}

fn in_order(line: &str, tags: &[String]) -> Result<Vec<(String, String)>, Problems> {
    let values = values(line);
    if values.len() != tags.len() {
        let expected = match tags.len() {
            1 => "one value for one machine".to_string(),
            count => format!(
                "{count} values, one a machine from {} to {}",
                tags[0],
                tags[count - 1]
            ),
        };
        return Err(vec![format!(
            "expected {expected}, found {}; write `skip` for a machine left out, or name them: `T-03=4.98; T-05=fail`",
            values.len()
        )]);
    }
    Ok(tags.iter().cloned().zip(values).collect())
}

/// Values separated by spaces or commas with a space; a unit that stands apart belongs to the number before it.
fn values(line: &str) -> Vec<String> {
    let mut values: Vec<String> = Vec::new();
    for word in line.split_whitespace() {
        let word = word.trim_end_matches(',');
        let unit =
            units::Unit::from_symbol(word.trim_start_matches(['m', 'k', 'M', 'µ', 'u', 'n']))
                .is_some()
                || units::Unit::from_symbol(word).is_some();
        match values.last_mut() {
            Some(last) if unit && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ if word.is_empty() => {}
            _ => values.push(word.to_string()),
        }
    }
    values
}

/// The tag that was typed: `T-03`, `t03`, `3`, `the mule`.
pub(crate) fn find_tag(typed: &str, tags: &[String]) -> Result<String, String> {
    let squeezed = |text: &str| text.to_lowercase().replace(['-', ' '], "");
    let want = squeezed(typed.trim().strip_prefix("the ").unwrap_or(typed));
    if let Some(tag) = tags.iter().find(|tag| squeezed(tag) == want) {
        return Ok(tag.clone());
    }
    let figures = want.trim_start_matches(|c: char| !c.is_ascii_digit());
    if let Ok(number) = figures.parse::<u64>() {
        let prefix = want.strip_suffix(figures).unwrap_or_default();
        let same = |tag: &&String| {
            crate::pile::tag_parts(tag).is_some_and(|(own, n, _)| {
                n == number && (prefix.is_empty() || squeezed(own) == prefix)
            })
        };
        let mut found = tags.iter().filter(same);
        if let (Some(tag), None) = (found.next(), found.next()) {
            return Ok(tag.clone());
        }
    }
    if tags.is_empty() {
        return Err(format!(
            "there is no machine {}; nothing is taken in yet",
            quoted(typed)
        ));
    }
    let near = names::nearest(typed, tags.iter().map(String::as_str));
    Err(format!(
        "there is no machine {}; nearest are {}",
        quoted(typed),
        choices(near)
    ))
}

#[cfg(test)]
#[path = "entry_tests.rs"]
mod tests;
