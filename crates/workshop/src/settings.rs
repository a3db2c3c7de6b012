//! `workshop.toml`: money, minutes, instruments, people.

use std::collections::BTreeMap;

use catalogue::Library;
use serde::Deserialize;
use units::{Currency, Decimal, Money, Quantity, Reading, Unit};

use crate::{Error, ErrorKind};

/// What stands in a new workshop folder.
pub(crate) const DEFAULT: &str = r#"# The workshop's own figures. Everything here can be changed at any time.
name = "workshop"
currency = "EUR"               # ISO 4217
# country = "DE"               # then customs are reckoned for vendors that say theirs
rate_per_hour = "12.00"        # what an hour at the bench is worth to you
horizon_years = 3              # how long a repaired machine is to last
evening_minutes = 150
members = ["me"]
harm_cost = "24.00"            # lost when a check harms a part
unknown_price = "8.00"         # taken for a part that nobody offers yet
plan_seconds = 10              # how long a plan is looked for; what has no proof by then is shown with its gap
ask_again_days = 14            # a price seen longer ago than this is worth asking again

[worth]                        # of a machine that works, and of one left as it is; by board id, or for all
default = { working = "80.00", hold = "10.00" }
# default = { working = "80.00", hold = "10.00", as_it_stands = "12.00" }   # what a buyer pays, fees and postage taken off

[set_ups]                      # minutes to get ready, paid once for all checks that share it
lid-off = 3
powered = 1
oscilloscope = 4

[rates]                        # what one unit of another currency costs, for vendors abroad
# USD = "0.92"
# GBP = { rate = "1.17", seen = "2026-11-02" }

# An instrument's name is the set-up that checks ask for; without one, such checks come last.
# Accuracy: percent of the reading and counts of the last digit. `display` is the count of its display, `digit` the worth of one count.
[[instrument]]
id = "multimeter"
title = "multimeter"
measures = ["voltage", "current", "resistance"]
percent = 0.8
counts = 3
display = 2000
source = "common practice, no source"
"#;

/// Where a figure comes from when nothing is said.
pub(crate) const NO_SOURCE: &str = "common practice, no source";

/// The workshop's own figures.
#[derive(Debug, Clone)]
pub(crate) struct Settings {
    pub(crate) name: String,
    pub(crate) currency: Currency,
    /// Where parcels go, `DE`, if said.
    pub(crate) country: Option<String>,
    pub(crate) rate_per_hour: i64,
    pub(crate) evening_minutes: f64,
    /// How long a repaired machine is to last.
    pub(crate) horizon_years: f64,
    pub(crate) members: Vec<String>,
    pub(crate) instruments: Vec<Instrument>,
    worth: BTreeMap<String, Worth>,
    pub(crate) set_ups: BTreeMap<String, f64>,
    /// What one unit of another currency costs in the workshop's.
    pub(crate) rates: BTreeMap<Currency, Decimal>,
    /// The day on which a rate was seen, if said.
    pub(crate) rates_seen: BTreeMap<Currency, String>,
    /// Lost when a check harms a part.
    pub(crate) harm_cost: i64,
    /// Taken for a part that nobody offers yet.
    pub(crate) unknown_price: i64,
    /// How long a plan is looked for.
    pub(crate) plan_seconds: f64,
    /// A price seen longer ago than so many days is worth asking again.
    pub(crate) ask_again_days: i64,
}

/// Worth of a machine, in smallest coins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Worth {
    pub(crate) working: i64,
    pub(crate) hold: i64,
    /// What a buyer pays for it as it stands.
    pub(crate) as_it_stands: Option<i64>,
}

/// An instrument on the bench.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Instrument {
    pub(crate) id: String,
    pub(crate) title: String,
    pub(crate) measures: Vec<Unit>,
    pub(crate) percent: f64,
    pub(crate) counts: f64,
    pub(crate) digit: Option<f64>,
    pub(crate) display: Option<f64>,
    pub(crate) source: String,
}

impl Settings {
    /// Worth of a machine with this board.
    pub(crate) fn worth(&self, board: &str) -> Worth {
        let found = self.worth.get(board).or_else(|| self.worth.get("default"));
        found.copied().unwrap_or(Worth {
            working: 0,
            hold: 0,
            as_it_stands: None,
        })
    }

    /// Amounts in this currency can be reckoned with.
    pub(crate) fn knows(&self, currency: Currency) -> bool {
        currency == self.currency || self.rates.contains_key(&currency)
    }

    /// Money a bench minute costs, in whole currency.
    pub(crate) fn rate_per_minute(&self) -> f64 {
        crate::words::from_coins(self.rate_per_hour, self.currency) / 60.0
    }

    /// The instrument for a reading in this unit, by the set-ups a check asks for.
    pub(crate) fn instrument(&self, set_up: &[String], unit: Unit) -> Instrument {
        let named = self
            .instruments
            .iter()
            .find(|instrument| set_up.contains(&instrument.id));
        let fitting = || {
            self.instruments
                .iter()
                .find(|instrument| instrument.measures.contains(&unit))
        };
        named
            .or_else(fitting)
            .cloned()
            .unwrap_or_else(|| usual(unit))
    }

    /// Reads `workshop.toml`.
    pub(crate) fn read(text: &str) -> Result<Settings, Error> {
        let raw: Raw = toml::from_str(text).map_err(|error| wrong(error.to_string().trim_end()))?;
        let mut problems = Vec::new();
        let settings = raw.checked(&mut problems);
        if problems.is_empty() {
            Ok(settings)
        } else {
            Err(wrong(&problems.join("\n")))
        }
    }
}

impl Instrument {
    /// The sources of error of a reading: the instrument's own, and the digits that were not written down.
    pub(crate) fn components(&self, reading: &Reading) -> Vec<journal::Component> {
        let digit = self
            .digit
            .or_else(|| self.display.map(|display| count(reading.value, display)));
        let own = journal::Component {
            percent: self.percent,
            counts: self.counts,
            digit: digit.unwrap_or(reading.digit),
        };
        let rounded = digit.is_some_and(|digit| reading.digit > digit * 1.000_001);
        let rounding = journal::Component {
            percent: 0.0,
            counts: 0.5,
            digit: reading.digit,
        };
        if rounded {
            vec![own, rounding]
        } else {
            vec![own]
        }
    }
}

/// Worth of one count of a display with ranges of 2, 20, 200 and so on.
fn count(value: f64, display: f64) -> f64 {
    let leading = display.log10().fract();
    let size = value.abs().max(1e-15).log10();
    let range = 10f64.powf((size - leading).ceil() + leading);
    range / display
}

/// What instruments of a kind usually do, as the catalogue has it.
fn usual(unit: Unit) -> Instrument {
    let rule = Library::built_in().usual_accuracy(unit);
    let id = rule.map_or("instrument", |rule| rule.instrument.as_str());
    Instrument {
        id: id.to_string(),
        title: id.replace('-', " "),
        measures: vec![unit],
        percent: rule.map_or(0.0, |rule| rule.percent),
        counts: rule.map_or(0.0, |rule| rule.counts),
        digit: None,
        display: None,
        source: NO_SOURCE.to_string(),
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Raw {
    name: Option<String>,
    currency: Option<String>,
    country: Option<String>,
    rate_per_hour: Option<Amount>,
    horizon_years: Option<f64>,
    evening_minutes: Option<f64>,
    #[serde(default)]
    members: Vec<String>,
    #[serde(default)]
    worth: BTreeMap<String, RawWorth>,
    #[serde(default)]
    set_ups: BTreeMap<String, f64>,
    #[serde(default)]
    rates: BTreeMap<String, RawRate>,
    harm_cost: Option<Amount>,
    unknown_price: Option<Amount>,
    plan_seconds: Option<f64>,
    ask_again_days: Option<i64>,
    #[serde(default)]
    instrument: Vec<RawInstrument>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawWorth {
    working: Amount,
    hold: Option<Amount>,
    as_it_stands: Option<Amount>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RawInstrument {
    id: String,
    title: Option<String>,
    #[serde(default)]
    measures: Vec<String>,
    #[serde(default)]
    percent: f64,
    #[serde(default)]
    counts: f64,
    digit: Option<String>,
    display: Option<f64>,
    source: Option<String>,
}

/// `"0.92"`, or with the day on which it was seen.
#[derive(Deserialize)]
#[serde(untagged)]
enum RawRate {
    Plain(String),
    Dated { rate: String, seen: String },
}

/// `"12.00"` or `12`; a float with a point would not be exact.
#[derive(Deserialize)]
#[serde(untagged)]
enum Amount {
    Text(String),
    Whole(i64),
}

impl Raw {
    fn checked(self, problems: &mut Vec<String>) -> Settings {
        let code = self.currency.unwrap_or_else(|| "EUR".to_string());
        let currency = Currency::from_code(&code).unwrap_or_else(|| {
            problems.push(format!(
                "currency: expected an ISO 4217 code such as `EUR`, found `{code}`"
            ));
            Currency::EUR
        });
        let amount =
            |key: &str, amount: Option<Amount>, default: i64, problems: &mut Vec<String>| {
                let text = match amount {
                    None => return default,
                    Some(Amount::Text(text)) => text,
                    Some(Amount::Whole(whole)) => whole.to_string(),
                };
                match Money::parse(&text, currency) {
                    Ok(money) if money.currency == currency && money.to_minor() >= 0 => {
                        money.to_minor()
                    }
                    Ok(_) => {
                        problems.push(format!(
                            "{key}: expected an amount in {currency}, not negative, found `{text}`"
                        ));
                        default
                    }
                    Err(error) => {
                        problems.push(format!("{key}: {error}"));
                        default
                    }
                }
            };
        let whole = Money::parse("12", currency).map_or(0, |money| money.to_minor());
        let rate_per_hour = amount("rate_per_hour", self.rate_per_hour, whole, problems);
        let mut worth = BTreeMap::new();
        for (board, raw) in self.worth {
            let working = amount(
                &format!("worth.{board}.working"),
                Some(raw.working),
                0,
                problems,
            );
            let hold = amount(&format!("worth.{board}.hold"), raw.hold, 0, problems);
            let key = format!("worth.{board}.as_it_stands");
            let sold = raw
                .as_it_stands
                .map(|sold| amount(&key, Some(sold), 0, problems));
            let one = Worth {
                working,
                hold,
                as_it_stands: sold,
            };
            worth.insert(board, one);
        }
        let harm_cost = amount("harm_cost", self.harm_cost, 2 * whole, problems);
        let unknown_price = amount("unknown_price", self.unknown_price, 2 * whole / 3, problems);
        let evening_minutes = self.evening_minutes.unwrap_or(150.0);
        positive("evening_minutes", evening_minutes, problems);
        let horizon_years = self.horizon_years.unwrap_or(3.0);
        positive("horizon_years", horizon_years, problems);
        let plan_seconds = self.plan_seconds.unwrap_or(10.0);
        if !(0.0..=600.0).contains(&plan_seconds) {
            problems.push(format!(
                "plan_seconds: expected seconds from 0 to 600, found `{plan_seconds}`"
            ));
        }
        for (set_up, minutes) in &self.set_ups {
            if !(0.0..=1000.0).contains(minutes) {
                problems.push(format!(
                    "set_ups.{set_up}: expected minutes from 0 to 1000, found `{minutes}`"
                ));
            }
        }
        let mut rates = BTreeMap::new();
        let mut rates_seen = BTreeMap::new();
        for (code, raw) in &self.rates {
            let (text, seen) = match raw {
                RawRate::Plain(rate) => (rate, None),
                RawRate::Dated { rate, seen } => (rate, Some(seen)),
            };
            if let Some((currency, seen)) = Currency::from_code(code).zip(seen) {
                rates_seen.insert(currency, seen.clone());
            }
            let rate = units::parse_amount(text)
                .ok()
                .filter(|rate| *rate > Decimal::ZERO);
            match Currency::from_code(code).zip(rate) {
                Some((currency, rate)) => drop(rates.insert(currency, rate)),
                None => problems.push(format!(
                    "rates.{code}: expected a currency code and an amount such as `USD = \"0.92\"`, found `{text}`"
                )),
            }
        }
        Settings {
            name: self.name.unwrap_or_else(|| "workshop".to_string()),
            currency,
            country: self.country,
            rate_per_hour,
            evening_minutes,
            horizon_years,
            members: self.members,
            instruments: self
                .instrument
                .into_iter()
                .map(|raw| raw.checked(problems))
                .collect(),
            worth,
            set_ups: self.set_ups,
            rates,
            rates_seen,
            harm_cost,
            unknown_price,
            plan_seconds,
            ask_again_days: self.ask_again_days.unwrap_or(14).clamp(0, 36_500),
        }
    }
}

impl RawInstrument {
    fn checked(self, problems: &mut Vec<String>) -> Instrument {
        let id = self.id;
        let mut measures = Vec::new();
        for name in &self.measures {
            match Unit::from_quantity_name(name) {
                Some(unit) => measures.push(unit),
                None => problems.push(format!(
                    "instrument {id}: expected a quantity such as `voltage`, found `{name}`"
                )),
            }
        }
        let digit = self.digit.and_then(|text| match text.parse::<Quantity>() {
            Ok(quantity) if quantity.value > 0.0 => Some(quantity.value),
            Ok(_) => {
                problems.push(format!(
                    "instrument {id}: expected a digit above 0, found `{text}`"
                ));
                None
            }
            Err(error) => {
                problems.push(format!("instrument {id}: {error}"));
                None
            }
        });
        for (key, value) in [("percent", self.percent), ("counts", self.counts)] {
            if !(0.0..=10_000.0).contains(&value) {
                problems.push(format!(
                    "instrument {id}: expected {key} from 0 to 10000, found `{value}`"
                ));
            }
        }
        if let Some(display) = self.display {
            positive(&format!("instrument {id}: display"), display, problems);
        }
        Instrument {
            title: self.title.unwrap_or_else(|| id.clone()),
            id,
            measures,
            percent: self.percent,
            counts: self.counts,
            digit,
            display: self.display,
            source: self.source.unwrap_or_else(|| NO_SOURCE.to_string()),
        }
    }
}

fn positive(key: &str, value: f64, problems: &mut Vec<String>) {
    if !(value > 0.0 && value < 1e7) {
        problems.push(format!("{key}: expected a number above 0, found `{value}`"));
    }
}

fn wrong(text: &str) -> Error {
    Error::new(
        ErrorKind::Usage,
        format!("workshop.toml cannot be read\n{text}"),
    )
    .hint("mend workshop.toml in the workshop folder, then try again")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_default_is_read() {
        let settings = Settings::read(DEFAULT).unwrap();
        assert_eq!(settings.rate_per_hour, 1200);
        assert_eq!(
            settings.worth("any"),
            Worth {
                working: 8000,
                hold: 1000,
                as_it_stands: None,
            }
        );
        assert_eq!(settings.instrument(&[], Unit::Volt).id, "multimeter");
        assert_eq!(settings.instrument(&[], Unit::Hertz).source, NO_SOURCE);
    }

    #[test]
    fn all_that_is_wrong_is_said_at_once() {
        let check = |text: &str, says: &[&str]| {
            let message = Settings::read(text).unwrap_err().message;
            for part in says {
                assert!(message.contains(part), "{message}");
            }
        };
        check(
            "currency = 'doubloon'\nrate_per_hour = 'much'",
            &["found `doubloon`", "rate_per_hour: expected an amount"],
        );
        check(
            "[[instrument]]\nid = 'x'\nmeasures = ['joy']\npercent = -1",
            &["found `joy`", "percent from 0"],
        );
        check("colour = 'green'", &["unknown field `colour`"]);
        check("rate_per_hour = 12.5", &["rate_per_hour"]);
        check(
            "evening_minutes = 0",
            &["evening_minutes: expected a number above 0"],
        );
        check("\u{0}\u{1}", &["workshop.toml cannot be read"]);
    }

    #[test]
    fn counts_of_a_display() {
        let check = |value: f64, display: f64, digit: f64| {
            let found = count(value, display);
            assert!(
                (found - digit).abs() < 1e-9 * digit,
                "{value} on {display}: {found}"
            );
        };
        check(4.77, 2000.0, 0.01);
        check(0.74, 2000.0, 0.001);
        check(19.9, 2000.0, 0.01);
        check(20.1, 2000.0, 0.1);
        check(4.77, 6000.0, 0.001);
        check(6.1, 6000.0, 0.01);
    }

    #[test]
    fn digits_left_out_widen_a_reading() {
        let settings = Settings::read(DEFAULT).unwrap();
        let meter = settings.instrument(&[], Unit::Volt);
        let reading = |text| units::parse_reading(text, Unit::Volt).unwrap();
        assert_eq!(meter.components(&reading("4.77")).len(), 1);
        assert_eq!(meter.components(&reading("5")).len(), 2);
    }
}
