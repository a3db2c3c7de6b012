//! What is done to machines and chips.

use catalogue::{Mount, Part, Site};

use crate::{
    error::Error,
    graph::{
        ChipState, Graph, Kind, ModeSet, Origin, Own, Position, State, StateId, Touch, View, Warmth,
    },
    situation::{Chip, Places, Treatment, Truth},
    wiring::{Maybe, short},
};

use super::{Unrolled, What};

impl Unrolled {
    /// Takes the chip out; gives it its mark.
    pub(super) fn pull(&mut self, position: Position, mark: Option<String>) -> Result<(), Error> {
        let board = &self.graph.boards[position.0];
        let part = &board.profile.parts[position.1].reference;
        let Some(chip) = board.positions[position.1].chip() else {
            return Err(Error::new(format!(
                "found no chip in `{part}` of machine `{}`, expected one to take out",
                board.tag
            )));
        };
        self.take_out(chip, mark)
    }

    fn take_out(&mut self, chip: usize, mark: Option<String>) -> Result<(), Error> {
        let mut chips = 0..self.graph.chips.len();
        if let Some(mark) = &mark
            && chips.any(|other| other != chip && self.graph.mark(other) == Some(mark))
        {
            return Err(Error::new(format!(
                "found mark `{mark}` on another chip already, expected a mark that is free"
            )));
        }
        let state = &mut self.graph.chips[chip];
        if let Some(mark) = mark {
            state.mark = Maybe::of(self.graph.marks.len());
            self.graph.marks.push(mark.into());
        }
        if let Some(position) = state.position() {
            state.put(None);
            self.graph.changed(position.0).positions[position.1].put(None);
        }
        Ok(())
    }

    fn put_in(&mut self, chip: usize, position: Position) {
        self.graph.chips[chip].put(Some(position));
        self.graph.changed(position.0).positions[position.1].put(Some(chip));
    }

    pub(super) fn fit(
        &mut self,
        machine: &str,
        part: &str,
        chip: &Chip,
        old_mark: Option<String>,
    ) -> Result<(), Error> {
        let position = self.position(self.machine(machine)?, part)?;
        let new = match chip {
            Chip::Marked(mark) => {
                let chip = self.marked(mark)?;
                if let Some(at) = self.graph.chips[chip].position() {
                    let board = &self.graph.boards[at.0];
                    return Err(Error::new(format!(
                        "found chip `{mark}` in `{}` of machine `{}`, expected a loose chip; pull it there first",
                        board.profile.parts[at.1].reference, board.tag
                    )));
                }
                chip
            }
            Chip::New { works } => self.new_chip(position, *works),
        };
        if let Some(old) = self.graph.boards[position.0].positions[position.1].chip() {
            self.take_out(old, old_mark)?;
        }
        self.put_in(new, position);
        self.touch(position, Touch::Reseat);
        self.new_epoch(position.0);
        Ok(())
    }

    /// A chip from outside: what is not good is shared over the part's chip modes by their chances.
    fn new_chip(&mut self, position: Position, works: f64) -> usize {
        let kind = Kind::of(position, Site::Chip);
        let own = Own::New { works };
        let chances = self.graph.own(kind, own).into_iter();
        let state = self.graph.add_state(State {
            kind,
            origin: Origin::Prior(own),
            possible: ModeSet::of(chances.map(|chance| chance > 0.0)),
        });
        self.graph.chips.push(ChipState::new(state, None));
        self.graph.chips.len() - 1
    }

    pub(super) fn swap(&mut self, a: &(String, String), b: &(String, String)) -> Result<(), Error> {
        let at_a = self.position(self.machine(&a.0)?, &a.1)?;
        let at_b = self.position(self.machine(&b.0)?, &b.1)?;
        if at_a == at_b {
            return Err(Error::new(format!(
                "found `{}` of machine `{}` swapped with itself, expected two positions",
                a.1, a.0
            )));
        }
        let chip_at = |graph: &Graph, at: Position| graph.boards[at.0].positions[at.1].chip();
        let (chip_a, chip_b) = (chip_at(&self.graph, at_a), chip_at(&self.graph, at_b));
        for chip in [chip_a, chip_b].into_iter().flatten() {
            self.take_out(chip, None)?;
        }
        for (chip, at) in [(chip_a, at_b), (chip_b, at_a)] {
            if let Some(chip) = chip {
                self.put_in(chip, at);
            }
        }
        for at in [at_a, at_b] {
            self.touch(at, Touch::Reseat);
        }
        self.new_epoch(at_a.0);
        if at_a.0 != at_b.0 {
            self.new_epoch(at_b.0);
        }
        Ok(())
    }

    pub(super) fn treat(
        &mut self,
        machine: &str,
        treatment: Treatment,
        places: &Places,
    ) -> Result<(), Error> {
        let machine = self.machine(machine)?;
        let positions = match places {
            Places::Parts(parts) => parts
                .iter()
                .map(|part| self.position(machine, part))
                .collect::<Result<Vec<_>, _>>()?,
            Places::Block(block) => self.block_positions(machine, block, treatment)?,
        };
        let touch = match treatment {
            Treatment::Reseat => Touch::Reseat,
            Treatment::Resolder => Touch::Resolder,
            Treatment::Clean => Touch::Clean,
        };
        for position in positions {
            self.touch(position, touch);
        }
        self.new_epoch(machine);
        Ok(())
    }

    fn block_positions(
        &self,
        machine: usize,
        block: &str,
        treatment: Treatment,
    ) -> Result<Vec<Position>, Error> {
        let profile = &self.graph.boards[machine].profile;
        if !profile.blocks.iter().any(|other| other.id == block) {
            return Err(Error::new(format!(
                "found block `{block}`, expected a block of board `{}`",
                profile.id
            )));
        }
        let concerned = |part: &Part| {
            part.block == block
                && !(treatment == Treatment::Reseat && part.mount == Mount::Soldered)
        };
        Ok((0..profile.parts.len())
            .filter(|&part| concerned(&profile.parts[part]))
            .map(|part| (machine, part))
            .collect())
    }

    /// A new version of a place: cured if bad, damaged if good.
    pub(super) fn touch(&mut self, position: Position, touch: Touch) {
        let board = &self.graph.boards[position.0];
        let Some(from) = board.positions[position.1].place() else {
            return;
        };
        let mut state = self.graph.states[from];
        state.possible.set(0, true);
        let from = short(from);
        state.origin = Origin::Act { from, touch };
        let place = self.graph.add_state(state);
        self.graph.changed(position.0).positions[position.1].touch(place);
    }

    pub(super) fn settle(
        &mut self,
        index: usize,
        machine: Option<&str>,
        truth: &Truth,
    ) -> Result<(), Error> {
        let what = match (truth, machine) {
            (Truth::MarkedMode { mark, mode }, _) => {
                let state = self.graph.chips[self.marked(mark)?].state();
                self.mode_finding(state, mode)?
            }
            (_, None) => {
                return Err(Error::new(
                    "found a truth without a machine, expected a machine's tag or a chip's mark",
                ));
            }
            (Truth::Mode { part, mode }, Some(tag)) => {
                let position = self.position(self.machine(tag)?, part)?;
                let held = self.graph.boards[position.0].positions[position.1];
                let on_place = |&place: &StateId| self.graph.modes(place).position(mode).is_some();
                let state = match (held.place().filter(on_place), held.chip()) {
                    (Some(place), _) => place,
                    (None, Some(chip)) => self.graph.chips[chip].state(),
                    (None, None) => {
                        return Err(Error::new(format!(
                            "found no chip in `{part}` of machine `{tag}`, expected one that can be `{mode}`"
                        )));
                    }
                };
                self.mode_finding(state, mode)?
            }
            (Truth::Unmodelled, Some(tag)) => {
                let machine = self.machine(tag)?;
                let board = &self.graph.boards[machine];
                if !board.unmodelled || board.mule || board.profile.unmodelled <= 0.0 {
                    return Err(Error::new(format!(
                        "found a fault outside the profile on `{tag}`, expected a machine that can have one"
                    )));
                }
                What::Unmodelled { machine }
            }
            (Truth::Works, Some(tag)) => {
                let machine = self.machine(tag)?;
                let view = View {
                    power: Some(self.graph.new_power()),
                    warmth: Warmth::All,
                    bench_supply: false,
                };
                let targets = self.graph.boards[machine].wiring.sides();
                What::Works {
                    ors: targets
                        .map(|target| self.graph.look(machine, target, view))
                        .collect(),
                }
            }
        };
        self.find(index, what);
        Ok(())
    }

    fn mode_finding(&self, state: StateId, mode: &str) -> Result<What, Error> {
        let modes = self.graph.modes(state);
        let found = modes.position(mode);
        found.map(|mode| What::Mode { state, mode }).ok_or_else(|| {
            let known: Vec<&str> = modes.iter().map(|mode| mode.id.as_str()).collect();
            Error::new(format!("found mode `{mode}`, expected one of {known:?}"))
        })
    }

    fn marked(&self, mark: &str) -> Result<usize, Error> {
        let mut chips = 0..self.graph.chips.len();
        chips
            .find(|&chip| self.graph.mark(chip) == Some(mark))
            .ok_or_else(|| {
                Error::new(format!(
                    "found mark `{mark}`, expected the mark of a chip that was pulled"
                ))
            })
    }

    pub(super) fn position(&self, machine: usize, part: &str) -> Result<Position, Error> {
        let board = &self.graph.boards[machine];
        board
            .wiring
            .part(part)
            .map(|index| (machine, index))
            .ok_or_else(|| {
                Error::new(format!(
                    "found part `{part}`, expected a part of board `{}` of machine `{}`",
                    board.profile.id, board.tag
                ))
            })
    }
}
