//! Looks at targets: the ORs that a look under a condition finds.

use std::{borrow::Cow, sync::Arc};

use catalogue::Mode;

use crate::{
    graph::{
        Cause, Chance, Graph, JOINT_TARGET, Link, OrId, Show, State, View, Visible, Warmth,
        sort_from,
    },
    wiring::{Maybe, Needed, Wiring, short},
};

impl Graph {
    /// The OR of a target of a machine as a look under this condition would find it now.
    pub(crate) fn look(&mut self, machine: usize, target: usize, view: View) -> OrId {
        self.looking(machine, view, |looker| looker.target(target))
    }

    /// Looks under a condition; what was looked at before under the same one is known.
    fn looking<T>(
        &mut self,
        machine: usize,
        view: View,
        look: impl FnOnce(&mut Looker<'_>) -> T,
    ) -> T {
        let board = &mut self.boards[machine];
        let known = board.looked.iter().position(|(other, _)| *other == view);
        let known = known.unwrap_or_else(|| {
            let none = vec![Maybe::NONE; board.wiring.count()];
            board.looked.push((view, none));
            board.looked.len() - 1
        });
        let mut looker = Looker {
            wiring: Arc::clone(&board.wiring),
            done: std::mem::take(&mut board.looked[known].1),
            graph: self,
            machine,
            view,
            causes: Vec::new(),
        };
        let answer = look(&mut looker);
        let done = looker.done;
        self.boards[machine].looked[known].1 = done;
        answer
    }

    /// The OR that fails if any of these targets fails.
    pub(crate) fn any_of(&mut self, machine: usize, targets: &[usize], view: View) -> OrId {
        if let [target] = targets {
            return self.look(machine, *target, view);
        }
        self.looking(machine, view, |looker| {
            for &target in targets {
                looker.function_cause(target, JOINT_TARGET, 1.0);
            }
            looker.or(JOINT_TARGET, 0)
        })
    }
}

/// Builds the ORs of one look.
struct Looker<'a> {
    graph: &'a mut Graph,
    machine: usize,
    wiring: Arc<Wiring>,
    view: View,
    done: Vec<Maybe>,
    /// Causes of the ORs that are being built, those of the innermost last.
    causes: Vec<Cause>,
}

impl Looker<'_> {
    fn target(&mut self, target: usize) -> OrId {
        if let Some(or) = self.done[target].get() {
            return or;
        }
        let start = self.causes.len();
        self.causes_of(target);
        let or = self.or(target, start);
        self.done[target] = Maybe::of(or);
        or
    }

    /// The OR of the causes from a place on, which are taken away.
    fn or(&mut self, target: usize, start: usize) -> OrId {
        sort_from(&mut self.causes, start);
        let causes = &self.causes[start..];
        let or = self.graph.or(self.machine, target, causes);
        self.causes.truncate(start);
        or
    }

    fn function_cause(&mut self, from: usize, to: usize, chance: f64) {
        let or = short(self.target(from));
        self.causes.push(Cause::Function {
            or,
            draw: (short(self.machine), short(from), short(to)),
            chance: Chance::of(chance),
        });
    }

    fn causes_of(&mut self, target: usize) {
        let wiring = Arc::clone(&self.wiring);
        if let Some(leak) = wiring.leak(target) {
            self.common_causes(target, leak);
        }
        if let (true, Some(power)) = (self.view.bench_supply, self.view.power)
            && wiring.leak(target).is_some()
            && wiring.is_supplied(target)
        {
            let power = short(power);
            self.causes.push(Cause::BenchSupply { power });
        }
        for need in wiring.needs(target) {
            match *need {
                Needed::Part(part) => {
                    let part = part as usize;
                    if self.is_empty(part) && !self.acts_on_nothing(part) {
                        self.causes.push(Cause::Always);
                    }
                }
                Needed::Target(from, chance) => {
                    self.function_cause(from as usize, target, chance);
                }
            }
        }
        self.state_causes(target);
    }

    /// Leak, unmodelled fault, outside things.
    fn common_causes(&mut self, target: usize, leak: f64) {
        let board = &self.graph.boards[self.machine];
        let machine = short(self.machine);
        let number = short(target);
        if leak > 0.0 && !board.mule {
            self.causes.push(Cause::Leak {
                machine,
                target: number,
                chance: Chance::of(leak),
            });
        }
        if board.unmodelled && board.profile.unmodelled > 0.0 && !board.mule {
            self.causes.push(Cause::Unmodelled {
                machine,
                target: number,
            });
        }
        for thing in self.wiring.serving(target) {
            if let Some(number) = board.things[thing].get()
                && !(self.view.bench_supply && self.wiring.serves_rail(thing))
            {
                let thing = short(number);
                self.causes.push(Cause::Outside { thing });
            }
        }
    }

    /// A part that a bench supply replaces.
    fn acts_on_nothing(&self, part: usize) -> bool {
        self.view.bench_supply && self.wiring.feeds(part)
    }

    fn is_empty(&self, part: usize) -> bool {
        let board = &self.graph.boards[self.machine];
        board.positions[part].chip().is_none() && !board.profile.parts[part].optional
    }

    /// The chips and places whose modes break this target.
    fn state_causes(&mut self, target: usize) {
        for acting in self.wiring.acting_on(target) {
            let part = self.wiring.acting_part(acting);
            if self.acts_on_nothing(part) {
                continue;
            }
            let position = self.graph.boards[self.machine].positions[part];
            let Some(chip) = position.chip() else {
                continue;
            };
            let chip = self.graph.chips[chip].state();
            for state in [Some(chip), position.place()].into_iter().flatten() {
                let link = Link {
                    state: short(state),
                    machine: short(self.machine),
                    part: short(part),
                    target: short(target),
                };
                let cause = self.state_cause(link, acting);
                self.causes.extend(cause);
            }
        }
    }

    fn state_cause(&mut self, link: Link, acting: usize) -> Option<Cause> {
        let State { kind, possible, .. } = self.graph.states[link.state as usize];
        if possible.is_empty() {
            return None;
        }
        let board = &self.graph.boards[self.machine];
        let chances = if self.graph.is_own(kind, board, link.part as usize) {
            Cow::Borrowed(self.wiring.acting_breaks(acting, kind.site()))
        } else {
            self.graph.breaks(link)
        };
        let power = Maybe::from(self.view.power);
        let mut visible = Visible::default();
        let (mut drawn, mut coin) = (Maybe::NONE, Maybe::NONE);
        let modes = self.graph.modes_of(kind).iter();
        for (number, (mode, chance)) in modes.zip(chances.iter()).enumerate() {
            let set = match self.seen(mode) {
                _ if !possible.has(number) || *chance <= 0.0 => continue,
                Seen::Never => continue,
                Seen::Always => &mut visible.always,
                Seen::IfWarm => {
                    coin = power;
                    &mut visible.if_warm
                }
            };
            set.set(number, true);
            if mode.shows < 1.0 && self.view.warmth != Warmth::All {
                drawn = power;
            }
        }
        if visible == Visible::default() {
            return None;
        }
        let visible = self.graph.number_visible(visible);
        let show = Show {
            visible,
            drawn,
            coin,
        };
        Some(Cause::State { link, show })
    }

    fn seen(&self, mode: &Mode) -> Seen {
        let after = mode.after_minutes;
        let steady = mode.shows >= 1.0 && after <= 0.0;
        match (steady, self.view.warmth) {
            (true, _) | (_, Warmth::All) => Seen::Always,
            (false, _) if self.view.power.is_none() => Seen::Never,
            (false, _) if after <= 0.0 => Seen::Always,
            (false, Warmth::Minutes(minutes)) if minutes >= after => Seen::Always,
            (false, Warmth::Minutes(_)) => Seen::Never,
            (false, Warmth::Coin) => Seen::IfWarm,
        }
    }
}

/// Whether a mode that is present is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Seen {
    Never,
    Always,
    IfWarm,
}
