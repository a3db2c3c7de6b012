//! When a search has to end, and what it need not find.

use std::cell::Cell;
use std::time::{Duration, Instant};

/// Time and nodes, counted over all parts of a search.
#[derive(Debug)]
pub(crate) struct Limits {
    end: Option<Instant>,
    most: Option<u64>,
    gap: f64,
    nodes: Cell<u64>,
}

impl Limits {
    pub(crate) fn new(time: Option<Duration>, most: Option<u64>, gap: f64) -> Limits {
        Limits {
            end: time.map(|time| Instant::now() + time),
            most,
            gap,
            nodes: Cell::new(0),
        }
    }

    /// What is better by less is of no use.
    pub(crate) fn gap(&self) -> f64 {
        self.gap
    }

    /// Limits of a part: at most so many nodes, and no longer than the whole.
    pub(crate) fn part(&self, most: u64) -> Limits {
        Limits {
            end: self.end,
            most: Some(most),
            gap: self.gap,
            nodes: Cell::new(0),
        }
    }

    pub(crate) fn count(&self) {
        self.nodes.set(self.nodes.get() + 1);
    }

    pub(crate) fn nodes(&self) -> u64 {
        self.nodes.get()
    }

    pub(crate) fn reached(&self) -> bool {
        self.most.is_some_and(|most| self.nodes.get() >= most) || self.out_of_time()
    }

    pub(crate) fn out_of_time(&self) -> bool {
        self.end.is_some_and(|end| Instant::now() >= end)
    }
}
