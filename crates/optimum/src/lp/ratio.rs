//! Which variable enters the basis: the ratio test of the dual method, with variables going from bound to bound as long
//! as that makes the step longer.

/// Reduced costs may be of the wrong sign by this much for the sake of a better pivot.
const HARRIS: f64 = 1e-9;

/// A row that is short by less than this is satisfied.
const NOTHING: f64 = 1e-9;

/// A pivot smaller than this is taken only if there is no other.
const SMALL: f64 = 1e-5;

/// A variable whose reduced cost becomes zero along the step.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Candidate {
    pub(crate) variable: u32,
    /// Size of its entry in the pivot row.
    pub(crate) size: f64,
    /// Size of its reduced cost.
    pub(crate) cost: f64,
    /// From bound to bound.
    pub(crate) range: f64,
}

impl Candidate {
    fn ratio(&self) -> f64 {
        self.cost / self.size
    }
}

/// What the test found.
pub(crate) enum Choice {
    /// The row cannot be satisfied by any values of the variables.
    None,
    /// The position of the entering candidate; the candidates before `flipped` go to their other bound.
    Enter { at: usize, flipped: usize },
}

/// Chooses among the candidates, which are sorted as needed. `short` is by how much the leaving variable is out of its bounds.
pub(crate) fn choose(candidates: &mut [Candidate], short: f64) -> Choice {
    let mut slope = short;
    let mut passed = 0;
    // sort in parts: nearly always only the smallest ratios matter
    let mut sorted = 0;
    loop {
        if passed == candidates.len() {
            return Choice::None;
        }
        if passed == sorted {
            sorted = sort_some(candidates, sorted);
        }
        let candidate = candidates[passed];
        let after = slope - candidate.size * candidate.range;
        if after < NOTHING {
            break;
        }
        slope = after;
        passed += 1;
    }
    enter(candidates, passed)
}

/// Brings the next smallest ratios to the front of the unsorted rest; returns the end of the sorted part.
fn sort_some(candidates: &mut [Candidate], sorted: usize) -> usize {
    let rest = &mut candidates[sorted..];
    let by_ratio = |a: &Candidate, b: &Candidate| {
        a.ratio()
            .total_cmp(&b.ratio())
            .then(b.size.total_cmp(&a.size))
            .then(a.variable.cmp(&b.variable))
    };
    let part = (sorted + 16).min(rest.len());
    if part < rest.len() {
        rest.select_nth_unstable_by(part, by_ratio);
    }
    rest[..part].sort_unstable_by(by_ratio);
    sorted + part
}

/// The largest pivot within the tolerance; a small one only if nothing before it is larger.
fn enter(candidates: &[Candidate], passed: usize) -> Choice {
    let reach = candidates[passed..]
        .iter()
        .map(|candidate| (candidate.cost + HARRIS) / candidate.size)
        .fold(f64::INFINITY, f64::min);
    let mut best = passed;
    for (at, candidate) in candidates.iter().enumerate().skip(passed) {
        if candidate.ratio() <= reach && candidate.size > candidates[best].size {
            best = at;
        }
    }
    if candidates[best].size < SMALL
        && let Some(earlier) = (0..passed).rev().find(|&at| candidates[at].size >= SMALL)
    {
        return Choice::Enter {
            at: earlier,
            flipped: earlier,
        };
    }
    Choice::Enter {
        at: best,
        flipped: passed,
    }
}
