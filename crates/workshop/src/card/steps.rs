//! The next steps of a job card, what each answer would mean, and the best course without them.

use std::collections::BTreeMap;

use catalogue::Check;
use diagnosis::{Course, Economy, Step};
use journal::Truth;

use super::{Case, at_hand};
use crate::{
    reckon::{Reckoned, too_much},
    say,
    tries::{Mule, shorts},
    views::NextStep,
    words::{coins, minutes, percent, sentence, to_coins},
    workshop::Result,
};

/// Waiting until the machine is seen not to work must save so much more to be worth a word, in money.
const WORTH_WAITING: f64 = 0.5;
/// A look that tells less tells nothing, in bits.
const LEAST_BITS: f64 = 0.01;
/// Steps of a course that are named.
const MOST_STEPS: usize = 4;

impl Case<'_> {
    /// What the savings are measured against; where none pays now, which would if the machine turned out not to work.
    pub(super) fn next_note(&self, next: &[NextStep], steps: &[Step], in_order: bool) -> String {
        let currency = self.state.folder.settings.currency;
        let rate = coins(self.state.folder.settings.rate_per_hour, currency);
        if in_order && !next.is_empty() {
            return format!(
                "No one look pays for itself, at {rate} an hour; if you go on, this is the board's order, what all else needs first."
            );
        }
        if !next.is_empty() {
            return format!("Saved against fitting suspects one at a time, at {rate} an hour.");
        }
        let fits = |step: &&Step| at_hand(self.machine, self.board, &step.check);
        let fitting = steps.iter().filter(fits);
        let later = diagnosis::first_of_most(fitting, |step| step.saving_later)
            .filter(|step| step.saving_later >= WORTH_WAITING)
            .and_then(|step| Some((self.board.check(&step.check)?, step.saving_later)));
        let later = later.map(|(check, saving)| {
            format!(
                " See whether it works; if it does not, {} saves {}.",
                say::check_at(check),
                coins(to_coins(saving, currency), currency)
            )
        });
        format!(
            "No further look pays for itself now.{}",
            later.unwrap_or_default()
        )
    }

    /// The next three: looks at the machine, and chips tried in the mule where that saves more.
    pub(super) fn next(
        &self,
        steps: &[Step],
        tries: &[Step],
        mule: Option<&Mule>,
        economy: &Economy,
    ) -> Vec<NextStep> {
        let fits = |step: &&Step| at_hand(self.machine, self.board, &step.check);
        let pays = |step: &&Step| step.saving > 0.0;
        let mut chosen: Vec<&Step> = steps.iter().filter(fits).filter(pays).take(3).collect();
        // a chip is tried for what it is; once for each is enough
        for one in tries.iter().filter(pays) {
            let behind = chosen
                .iter()
                .position(|other| other.saving < one.saving)
                .unwrap_or(chosen.len());
            chosen.insert(behind, one);
        }
        chosen.truncate(3);
        if chosen.is_empty() && self.latest().is_empty() {
            chosen = steps.iter().filter(fits).take(3).collect();
        }
        chosen
            .into_iter()
            .filter_map(|step| match (&step.tried, mule) {
                (Some(part), Some(mule)) => self.tried(part, step, mule, economy),
                _ => self.next_step(step, economy),
            })
            .collect()
    }

    /// It does not work, and leaving it so is the best course that needs no further look.
    pub(super) fn is_given_up(&self, course: &Course) -> bool {
        course.remedies.is_empty() && course.works < 0.5 && !self.bad_findings().is_empty()
    }

    /// The first three looks in the board's order that tell anything: what all else needs comes before what needs it.
    pub(super) fn in_order(
        &self,
        now: &Reckoned,
        steps: &[Step],
        economy: &Economy,
    ) -> Result<Vec<NextStep>> {
        let predictions = now.diagnosis.predictions_of_group(&self.machine.tag);
        let predictions = predictions.map_err(|error| too_much(&error))?;
        let tells = |step: &Step| {
            let mut same = predictions.iter().filter(|one| one.check == step.check);
            same.any(|one| one.entropy_fall_bits >= LEAST_BITS)
        };
        let missing = |step: &Step| {
            let mut set_ups = step.new_set_ups.iter();
            set_ups.any(|set_up| economy.missing.contains(set_up))
        };
        let in_order = self.board.checks.iter();
        let open = in_order.filter_map(|check| steps.iter().find(|step| step.check == check.id));
        let open = open.filter(|step| at_hand(self.machine, self.board, &step.check));
        Ok(open
            .filter(|step| !missing(step) && tells(step))
            .take(3)
            .filter_map(|step| self.next_step(step, economy))
            .collect())
    }

    /// A chip that goes into the mule, and what is looked at there.
    fn tried(&self, part: &str, step: &Step, mule: &Mule, economy: &Economy) -> Option<NextStep> {
        let look = self.next_step(step, economy)?;
        let name = say::short(part);
        let check = self.board.check(&step.check)?;
        Some(NextStep {
            title: format!(
                "Try {name} in the mule: {}.",
                crate::words::small(&say::check_at(check))
            ),
            how: "Both off; it changes places with the mule's, the mule is looked at, then each goes home."
                .to_string(),
            act: Some(format!("swap {part} {}", mule.tag)),
            caution: shorts(self.board, part).or(look.caution),
            ..look
        })
    }

    pub(super) fn next_step(&self, step: &Step, economy: &Economy) -> Option<NextStep> {
        let check = self.board.check(&step.check)?;
        let missing = step
            .new_set_ups
            .iter()
            .find(|set_up| economy.missing.contains(set_up));
        let mut how = sentence(&check.how);
        let needs: Vec<String> = step
            .new_set_ups
            .iter()
            .map(|set_up| set_up.replace('-', " "))
            .collect();
        if !needs.is_empty() {
            how = format!("{how} Needs: {}.", needs.join(", "));
        }
        let currency = self.state.folder.settings.currency;
        Some(NextStep {
            check: check.id.clone(),
            act: None,
            title: sentence(&crate::words::capital(&say::check_at(check))),
            how: how.trim().to_string(),
            caution: check.caution.clone(),
            minutes: step.minutes,
            saves: coins(to_coins(step.saving, currency), currency),
            saves_later: Some(step.saving_later)
                .filter(|later| *later >= WORTH_WAITING + step.saving.max(0.0) * 1.2)
                .map(|later| coins(to_coins(later, currency), currency)),
            missing: missing.map(|set_up| set_up.replace('-', " ")),
            outcomes: self.outcomes(check, step),
        })
    }

    /// `black (62 %): then U9 dead, 91 %`.
    pub(super) fn outcomes(&self, check: &Check, step: &Step) -> Vec<String> {
        let then: BTreeMap<&str, &Option<diagnosis::ModeChance>> = step
            .then
            .iter()
            .map(|(outcome, mode)| (outcome.as_str(), mode))
            .collect();
        let one = |(outcome, chance): &(String, f64)| {
            let word = say::outcome_word(check, outcome);
            let lead = then.get(outcome.as_str()).and_then(|mode| mode.as_ref());
            let lead = lead.map(|lead| {
                let part = match &lead.holder {
                    diagnosis::Holder::Position { part, .. } => part,
                    diagnosis::Holder::Outside(id) | diagnosis::Holder::Marked(id) => id,
                };
                format!(
                    ": then {}, {}",
                    say::mode_short(self.board, part, &lead.mode),
                    percent(lead.chance)
                )
            });
            format!("{word} ({}){}", percent(*chance), lead.unwrap_or_default())
        };
        step.outcomes
            .iter()
            .filter(|(_, chance)| *chance >= 0.005)
            .map(one)
            .collect()
    }

    pub(super) fn course(&self, course: &Course, economy: &Economy) -> String {
        if matches!(self.machine.settled, Some(Truth::Works)) {
            return String::new();
        }
        let currency = self.state.folder.settings.currency;
        let value = coins(to_coins(course.value, currency), currency);
        if course.remedies.is_empty() {
            let hold = coins(
                self.state.folder.settings.worth(&self.machine.board).hold,
                currency,
            );
            return format!("Best left as it is, worth {hold}.");
        }
        let remedies = course
            .remedies
            .iter()
            .filter_map(|index| economy.remedies.get(*index));
        let mut steps: Vec<String> = remedies
            .map(|remedy| format!("{} {}", say::short(&remedy.part), remedy.title))
            .collect();
        let more = steps.len().saturating_sub(MOST_STEPS);
        steps.truncate(MOST_STEPS);
        let then = if more > 0 {
            format!(", then {} more", crate::words::number(more))
        } else {
            String::new()
        };
        let first = if course.look_first {
            "See whether it works; if not, "
        } else {
            ""
        };
        format!(
            "{first}{}{then}, each with a retest until it works. That takes {} on average, it works with {}, and {value} is left after \
             cost.",
            steps.join(", then "),
            minutes(course.minutes),
            percent(course.works),
        )
    }
}
