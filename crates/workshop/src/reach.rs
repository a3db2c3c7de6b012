//! Which parts a finding can speak about, by what the functions need.

use std::collections::BTreeSet;

use catalogue::{Check, Mode, Need, Part, Profile, RailFault, RailSide, Target, Tells};

/// Functions and rails, closed under what they need.
#[derive(Debug, Default)]
pub(crate) struct Reach {
    functions: BTreeSet<String>,
    rails: BTreeSet<(String, RailSide)>,
}

impl Reach {
    /// What an outcome of a check tells of.
    pub(crate) fn of(profile: &Profile, check: &Check, outcome: Option<usize>) -> Reach {
        let mut reach = Reach::default();
        match &check.tells {
            Tells::Target { target, .. } => reach.add(profile, target),
            Tells::Rows(rows) => {
                let shows = |row: &&catalogue::Row| {
                    outcome.is_none_or(|index| {
                        row.shows.get(index).is_some_and(|chance| *chance >= 0.1)
                    })
                };
                for target in rows.iter().filter(shows).flat_map(|row| &row.fails) {
                    reach.add(profile, target);
                }
            }
        }
        reach
    }

    fn add(&mut self, profile: &Profile, target: &Target) {
        match target {
            Target::Rail(name, RailSide::Whole) => {
                self.rails.insert((name.clone(), RailSide::Present));
                self.rails.insert((name.clone(), RailSide::High));
            }
            Target::Rail(name, side) => {
                self.rails.insert((name.clone(), *side));
            }
            Target::Function(id) => {
                if !self.functions.insert(id.clone()) {
                    return;
                }
                for need in profile
                    .function(id)
                    .map(|function| function.needs.as_slice())
                    .unwrap_or_default()
                {
                    if let Need::Target { target, .. } = need {
                        self.add(profile, target);
                    }
                }
            }
        }
    }

    /// It can be brought about by this mode.
    pub(crate) fn holds(&self, profile: &Profile, part: &Part, mode: &Mode) -> bool {
        let spoils = mode.spoils.iter().any(|spoil| self.has(&spoil.target));
        let feeds = profile.rails.iter().any(|rail| {
            let side = match mode.rail {
                RailFault::Low => RailSide::Present,
                RailFault::High => RailSide::High,
            };
            rail.fed_by.contains(&part.reference) && self.rails.contains(&(rail.name.clone(), side))
        });
        let needed = || {
            self.functions
                .iter()
                .filter_map(|id| profile.function(id))
                .any(|function| {
                    let spared = mode.spares.contains(&function.id);
                    function.needs.iter().any(|need| match need {
                        Need::Part(reference) => *reference == part.reference && !spared,
                        Need::Mode {
                            part: reference,
                            mode: id,
                            chance,
                        } => *reference == part.reference && *id == mode.id && *chance > 0.0,
                        Need::Target { .. } => false,
                    })
                })
        };
        spoils || feeds || needed()
    }

    /// It can be brought about by this outside thing.
    pub(crate) fn holds_outside(&self, profile: &Profile, id: &str) -> bool {
        let outside = profile.outside.iter().find(|outside| outside.id == id);
        outside.is_some_and(|outside| outside.serves.iter().any(|target| self.has(target)))
    }

    /// It speaks of this function.
    pub(crate) fn tells_of(&self, function: &str) -> bool {
        self.functions.contains(function)
    }

    fn has(&self, target: &Target) -> bool {
        match target {
            Target::Function(id) => self.functions.contains(id),
            Target::Rail(name, RailSide::High) => {
                self.rails.contains(&(name.clone(), RailSide::High))
            }
            Target::Rail(name, _) => self.rails.contains(&(name.clone(), RailSide::Present)),
        }
    }
}
