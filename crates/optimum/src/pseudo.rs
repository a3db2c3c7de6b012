//! What branching has cost so far: how much the bound rose for each thing that can be branched on.

/// Rises of one side.
#[derive(Debug, Clone, Copy, Default)]
struct Side {
    sum: f64,
    times: u32,
}

/// Rises of all things, per unit of distance.
#[derive(Debug, Clone)]
pub(crate) struct Pseudo {
    down: Vec<Side>,
    up: Vec<Side>,
    all: Side,
}

impl Pseudo {
    pub(crate) fn new(things: usize) -> Pseudo {
        Pseudo {
            down: vec![Side::default(); things],
            up: vec![Side::default(); things],
            all: Side::default(),
        }
    }

    /// Notes that a branch over `distance` raised the bound by `rise`.
    pub(crate) fn note(&mut self, thing: usize, up: bool, distance: f64, rise: f64) {
        let unit = rise.max(0.0) / distance.max(1e-4);
        let side = if up { &mut self.up } else { &mut self.down };
        for side in [&mut side[thing], &mut self.all] {
            side.sum += unit;
            side.times += 1;
        }
    }

    /// How often the less known side was seen.
    pub(crate) fn seen(&self, thing: usize) -> u32 {
        self.down[thing].times.min(self.up[thing].times)
    }

    /// The rises to expect, down and up.
    pub(crate) fn expect(&self, thing: usize, fraction: f64) -> (f64, f64) {
        let usual = mean(self.all).unwrap_or(1.0);
        let down = mean(self.down[thing]).unwrap_or(usual);
        let up = mean(self.up[thing]).unwrap_or(usual);
        (down * fraction, up * (1.0 - fraction))
    }
}

fn mean(side: Side) -> Option<f64> {
    (side.times > 0).then(|| side.sum / f64::from(side.times))
}

/// Good where both sides rise.
pub(crate) fn score((down, up): (f64, f64)) -> f64 {
    down.max(1e-6) * up.max(1e-6)
}
