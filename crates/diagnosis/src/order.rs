//! In which order variables are summed out.

use std::{collections::BTreeMap, ops::Index};

use crate::{clique::Factor, model::Var, widest::widest};

/// What the greedy elimination takes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Greed {
    /// Fewest new edges, then smallest clique.
    Fill,
    /// Smallest clique, then fewest new edges.
    Size,
}

impl Greed {
    /// What decides where that is equal.
    fn other(self) -> Self {
        match self {
            Self::Fill => Self::Size,
            Self::Size => Self::Fill,
        }
    }
}

/// Which of several variables that cost the same goes first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Ties {
    Early,
    /// Auxiliaries come last in the model: summed out early, they leave smaller differences of large numbers.
    Late,
}

/// How many times smaller than a clique a set must be for messages to meet there that have not the same variables.
const WORTH_MEETING: f64 = 4.0;
/// Sizes of such sets below which it is not tried.
const SMALLEST_MEETING: f64 = 64.0;

/// Messages of a clique that are tried against each other, the smallest ones.
const MOST_MEETING: usize = 16;

/// Variables of a clique at most whose messages are tried against each other: a bit for each.
const MOST_IN_SET: usize = u128::BITS as usize;

/// Total size above which other orders are tried.
const SMALL_ENOUGH: f64 = 50_000.0;

/// State combinations of the variables that a clique sums out at most, where it can be split.
const MOST_CLASSES: usize = 1 << 6;

/// Cliques in the order in which their variables are summed out.
pub(crate) struct Arrangement {
    /// Each starts with the variables that it sums out, the others follow, those summed out last first.
    pub(crate) cliques: Sets,
    /// By clique: how many variables it sums out.
    pub(crate) summed: Vec<u32>,
    /// The clique that takes what is left.
    pub(crate) parents: Vec<Option<usize>>,
}

/// Sets of variables, one after the other.
pub(crate) struct Sets {
    vars: Vec<Var>,
    ends: Vec<u32>,
}

impl Sets {
    fn with_room(sets: usize) -> Self {
        Self {
            vars: Vec::with_capacity(3 * sets),
            ends: Vec::with_capacity(sets),
        }
    }

    fn push(
        &mut self,
        first: impl IntoIterator<Item = Var>,
        others: impl IntoIterator<Item = Var>,
    ) {
        self.vars.extend(first);
        self.vars.extend(others);
        self.ends.push(self.vars.len() as u32);
    }

    pub(crate) fn len(&self) -> usize {
        self.ends.len()
    }

    /// Variables of all sets together.
    pub(crate) fn vars(&self) -> usize {
        self.vars.len()
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = &[Var]> {
        (0..self.len()).map(|set| &self[set])
    }
}

impl Index<usize> for Sets {
    type Output = [Var];

    fn index(&self, set: usize) -> &[Var] {
        let begin = set.checked_sub(1).map_or(0, |before| self.ends[before]);
        &self.vars[begin as usize..self.ends[set] as usize]
    }
}

/// Finds an order. Messages over the same variables meet in a clique of their own before they reach a large one; the variable that such
/// a clique eliminates is new and has one state.
pub(crate) fn arrange<'a>(
    states: &mut Vec<usize>,
    factors: impl Iterator<Item = Factor<'a>>,
    ties: Ties,
) -> Arrangement {
    let cliques = eliminate(states, &Edges::of(states.len(), factors), ties);
    let order = Order::of(&cliques, states);
    let mut arranged = Arrangement {
        cliques: Sets::with_room(cliques.len()),
        summed: Vec::with_capacity(cliques.len()),
        parents: Vec::with_capacity(cliques.len()),
    };
    // where each clique of the order is now
    let mut now = vec![0; cliques.len()];
    for last in (0..cliques.len()).filter(|&index| !order.gone(index)) {
        let below = |&clique: &usize| order.below[clique];
        let chain: Vec<usize> = std::iter::successors(Some(last), below).collect();
        let children = chain.iter().flat_map(|&clique| &order.children[clique]);
        let children: Vec<usize> = children
            .copied()
            .filter(|&child| !order.gone(child))
            .collect();
        let whole = &cliques[chain[chain.len() - 1]];
        let meeting = Meeting::of(&children, &cliques, whole, states);
        let first = arranged.cliques.len();
        now[last] = first + meeting.nodes.len();
        for node in meeting.nodes {
            let new = states.len();
            states.push(1);
            let parent = node.parent.map_or(now[last], |parent| first + parent);
            arranged.push([new], order.late_first(&node.vars), Some(parent));
        }
        for (&child, node) in children.iter().zip(&meeting.of_child) {
            arranged.parents[now[child]] = Some(node.map_or(now[last], |node| first + node));
        }
        let summed = chain.iter().map(|&clique| cliques[clique][0]);
        arranged.push(summed, order.late_first(&cliques[last][1..]), None);
    }
    arranged
}

impl Arrangement {
    fn push(
        &mut self,
        summed: impl IntoIterator<Item = Var, IntoIter: ExactSizeIterator>,
        others: Vec<Var>,
        parent: Option<usize>,
    ) {
        let summed = summed.into_iter();
        self.summed.push(summed.len() as u32);
        self.cliques.push(summed, others);
        self.parents.push(parent);
    }
}

/// How the cliques of single variables hang together.
struct Order {
    /// By variable: the clique that eliminates it.
    place: Vec<usize>,
    /// By clique: those that hand it what is left.
    children: Vec<Vec<usize>>,
    parents: Vec<Option<usize>>,
    /// By clique: the one below whose variable is summed out together with its own, for it lies inside that one.
    below: Vec<Option<usize>>,
}

impl Order {
    fn of(cliques: &Sets, states: &[usize]) -> Self {
        let count = cliques.len();
        let mut order = Self {
            place: vec![0; count],
            children: vec![Vec::new(); count],
            parents: Vec::with_capacity(count),
            below: vec![None; count],
        };
        for (index, clique) in cliques.iter().enumerate() {
            order.place[clique[0]] = index;
        }
        let mut classes: Vec<usize> = cliques.iter().map(|clique| states[clique[0]]).collect();
        for (index, clique) in cliques.iter().enumerate() {
            let parent = clique[1..].iter().map(|&var| order.place[var]).min();
            order.parents.push(parent);
            let Some(parent) = parent else {
                continue;
            };
            order.children[parent].push(index);
            let inside = clique.len() == cliques[parent].len() + 1;
            let together = classes[index] * states[cliques[parent][0]];
            if inside && together <= MOST_CLASSES && order.below[parent].is_none() {
                order.below[parent] = Some(index);
                classes[parent] = together;
            }
        }
        order
    }

    /// Whether a clique's variable is summed out together with that of the one above.
    fn gone(&self, clique: usize) -> bool {
        self.parents[clique].is_some_and(|parent| self.below[parent] == Some(clique))
    }

    /// Variables in the opposite order.
    fn late_first(&self, vars: &[Var]) -> Vec<Var> {
        let mut vars = vars.to_vec();
        vars.sort_unstable_by_key(|&var| std::cmp::Reverse(self.place[var]));
        vars
    }
}

/// Where the messages to one clique meet.
struct Meeting {
    /// Smaller ones first.
    nodes: Vec<Node>,
    /// By child: the node its message goes to, or none for the clique itself.
    of_child: Vec<Option<usize>>,
}

struct Node {
    vars: Vec<Var>,
    parent: Option<usize>,
}

impl Meeting {
    fn of(children: &[usize], cliques: &Sets, clique: &[Var], states: &[usize]) -> Self {
        if children.len() < 2 {
            return Self {
                nodes: Vec::new(),
                of_child: vec![None; children.len()],
            };
        }
        let mut sets: BTreeMap<(usize, Vec<Var>), Vec<usize>> = BTreeMap::new();
        for (place, &child) in children.iter().enumerate() {
            let mut vars = cliques[child][1..].to_vec();
            vars.sort_unstable();
            if vars.len() < clique.len() {
                sets.entry((vars.len(), vars)).or_default().push(place);
            }
        }
        for vars in together(sets.keys().map(|(_, vars)| vars), clique, states) {
            sets.entry((vars.len(), vars)).or_default();
        }
        let sets: Vec<(Vec<Var>, Vec<usize>)> = sets
            .into_iter()
            .map(|((_, vars), members)| (vars, members))
            .collect();
        let inside = |small: &[Var], large: &[Var]| {
            small.len() < large.len() && small.iter().all(|var| large.binary_search(var).is_ok())
        };
        let above: Vec<Option<usize>> = (0..sets.len())
            .map(|set| (set + 1..sets.len()).find(|&other| inside(&sets[set].0, &sets[other].0)))
            .collect();
        let meets = |set: usize| {
            sets[set].1.len() + above.iter().filter(|above| **above == Some(set)).count() > 1
        };
        // sets that get a node of their own, renumbered
        let mut numbers = vec![None; sets.len()];
        let mut count = 0;
        for (set, number) in numbers.iter_mut().enumerate() {
            if meets(set) {
                *number = Some(count);
                count += 1;
            }
        }
        let mut of_child = vec![None; children.len()];
        let mut nodes = Vec::with_capacity(count);
        for (set, (vars, members)) in sets.iter().enumerate() {
            let parent = above[set].and_then(|above| numbers[above]);
            for &member in members {
                of_child[member] = numbers[set].or(parent);
            }
            if numbers[set].is_some() {
                nodes.push(Node {
                    vars: vars.clone(),
                    parent,
                });
            }
        }
        Self { nodes, of_child }
    }
}

/// Sets of variables at which messages to a clique meet that have not the same variables: far smaller than the clique, so that it costs
/// less to multiply them there than in each of its entries.
fn together<'a>(
    messages: impl Iterator<Item = &'a Vec<Var>>,
    clique: &[Var],
    states: &[usize],
) -> Vec<Vec<Var>> {
    let most = size_of(clique, states) / WORTH_MEETING;
    if most < SMALLEST_MEETING || clique.len() > MOST_IN_SET {
        return Vec::new();
    }
    let mut clique = clique.to_vec();
    clique.sort_unstable();
    let vars_of = |set: u128| (0..clique.len()).filter(move |place| set >> place & 1 == 1);
    let size = |set: u128| {
        let mut size = 1.0;
        for place in vars_of(set) {
            size *= states[clique[place]] as f64;
        }
        size
    };
    let set_of = |vars: &Vec<Var>| {
        let places = vars.iter().filter_map(|var| clique.binary_search(var).ok());
        places.fold(0, |set, place| set | 1 << place)
    };
    let mut open: Vec<u128> = messages.take(MOST_MEETING).map(set_of).collect();
    let mut met = Vec::new();
    loop {
        let mut least: Option<(f64, [usize; 2])> = None;
        for (a, &one) in open.iter().enumerate() {
            for (b, &other) in open.iter().enumerate().skip(a + 1) {
                let size = size(one | other);
                if size <= most && least.is_none_or(|(least, _)| size < least) {
                    least = Some((size, [a, b]));
                }
            }
        }
        let Some((_, [a, b])) = least else {
            return met;
        };
        let other = open.swap_remove(b);
        open[a] |= other;
        met.push(vars_of(open[a]).map(|place| clique[place]).collect());
    }
}

/// Eliminates greedily; each clique starts with its eliminated variable. Where the cliques come out large other rules of
/// choice are tried and the smallest result kept.
fn eliminate(states: &[usize], edges: &Edges, ties: Ties) -> Sets {
    let by = |greed, ties, least| eliminate_by(states, edges.clone(), greed, ties, least);
    let (mut best, mut least) = by(Greed::Size, ties, f64::INFINITY);
    let others = [
        (Greed::Fill, ties),
        (Greed::Size, Ties::Late),
        (Greed::Fill, Ties::Late),
    ];
    for (greed, ties) in others
        .into_iter()
        .take(if ties == Ties::Late { 1 } else { 3 })
    {
        if least <= SMALL_ENOUGH {
            break;
        }
        let (other, entries) = by(greed, ties, least);
        if entries < least {
            (best, least) = (other, entries);
        }
    }
    best
}

/// Entries of all cliques together, zeros included.
pub(crate) fn entries_of(cliques: &Sets, states: &[usize]) -> f64 {
    cliques.iter().map(|clique| size_of(clique, states)).sum()
}

/// Entries of a clique, zeros included.
#[inline(always)]
fn size_of(clique: &[Var], states: &[usize]) -> f64 {
    let mut size = 1.0;
    for &var in clique {
        size *= states[var] as f64;
    }
    size
}

/// Eliminates by one rule of choice; given up as soon as there are more entries than these. Their number stands beside the cliques.
fn eliminate_by(
    states: &[usize],
    mut edges: Edges,
    greed: Greed,
    ties: Ties,
    least: f64,
) -> (Sets, f64) {
    widest(
        #[inline(always)]
        || {
            let mut cliques = Sets::with_room(states.len());
            let left = eliminate_simplicial(&mut edges, &mut cliques, ties);
            let mut entries = entries_of(&cliques, states);
            let mut edges = edges.among(&left);
            let mut costs = Costs::of(&left, states, &edges, greed);
            let mut around = Vec::new();
            for _ in 0..left.len() {
                let var = costs.least(&edges, ties);
                around.clear();
                around.extend(edges.around(var));
                cliques.push([left[var]], around.iter().map(|&other| left[other]));
                entries += size_of(&cliques[cliques.len() - 1], states);
                if entries > least {
                    break;
                }
                costs.gone(var);
                edges.eliminate(var, &around);
                costs.reckon_anew(&edges);
            }
            (cliques, entries)
        },
    )
}

/// Eliminates what may always go first: variables around which all have met already (van den Eijkhof, Bodlaender & Koster, "Safe
/// reduction rules for weighted treewidth", Algorithmica 47, 2007). Those that are left are handed back.
#[inline(always)]
fn eliminate_simplicial(edges: &mut Edges, cliques: &mut Sets, ties: Ties) -> Vec<Var> {
    let count = edges.count();
    let mut open: Vec<Var> = (0..count).collect();
    if ties == Ties::Early {
        open.reverse();
    }
    let mut gone = vec![false; count];
    let mut around = Vec::new();
    while let Some(var) = open.pop() {
        if gone[var] || edges.fill(var) > 0 {
            continue;
        }
        around.clear();
        around.extend(edges.around(var));
        cliques.push([var], around.iter().copied());
        edges.take(var, &around);
        gone[var] = true;
        open.extend(&around);
    }
    (0..count).filter(|&var| !gone[var]).collect()
}

/// The cost of what is eliminated.
const GONE: u32 = u32::MAX;
/// What decides among equal ones where nobody asked for it yet.
const UNKNOWN: u32 = u32::MAX - 1;
/// Costs that are compared beside each other.
const BESIDE: usize = 16;

/// What it costs to eliminate each variable next.
struct Costs {
    /// How many states each has.
    states: Vec<u32>,
    greed: Greed,
    first: Vec<u32>,
    /// What decides among those that are equal, reckoned when it is asked for.
    second: Vec<u32>,
    /// Variables that cost the least.
    alike: Vec<Var>,
}

impl Costs {
    #[inline(always)]
    fn of(vars: &[Var], states: &[usize], edges: &Edges, greed: Greed) -> Self {
        let mut costs = Self {
            states: vars.iter().map(|&var| states[var] as u32).collect(),
            greed,
            first: Vec::with_capacity(vars.len()),
            second: vec![UNKNOWN; vars.len()],
            alike: Vec::new(),
        };
        for var in 0..vars.len() {
            let cost = costs.reckon(var, edges, greed);
            costs.first.push(cost);
        }
        costs
    }

    #[inline(always)]
    fn gone(&mut self, var: Var) {
        self.first[var] = GONE;
    }

    /// Reckons what the last elimination may have changed.
    #[inline(always)]
    fn reckon_anew(&mut self, edges: &Edges) {
        for var in ones(edges.stale.iter().copied()) {
            self.first[var] = self.reckon(var, edges, self.greed);
            self.second[var] = UNKNOWN;
        }
    }

    /// The one that costs least; of those that cost the same the first one, or the last one.
    #[inline(always)]
    fn least(&mut self, edges: &Edges, ties: Ties) -> Var {
        let mut least = GONE;
        for &cost in &self.first {
            least = least.min(cost);
        }
        self.alike.clear();
        for (number, costs) in self.first.chunks(BESIDE).enumerate() {
            let mut some = false;
            for &cost in costs {
                some |= cost == least;
            }
            if some {
                let alike = costs.iter().enumerate().filter(|(_, cost)| **cost == least);
                self.alike
                    .extend(alike.map(|(place, _)| number * BESIDE + place));
            }
        }
        let (mut best, mut second) = (0, UNKNOWN);
        for place in 0..self.alike.len() {
            let var = match ties {
                Ties::Early => self.alike[place],
                Ties::Late => self.alike[self.alike.len() - 1 - place],
            };
            if self.second[var] == UNKNOWN {
                self.second[var] = self.reckon(var, edges, self.greed.other());
            }
            if self.second[var] < second {
                (best, second) = (var, self.second[var]);
            }
        }
        best
    }

    #[inline(always)]
    fn reckon(&self, var: Var, edges: &Edges, greed: Greed) -> u32 {
        let cost = match greed {
            Greed::Fill => edges.fill(var),
            Greed::Size => {
                let mut size = self.states[var];
                for other in edges.around(var) {
                    size = size.saturating_mul(self.states[other]);
                }
                size
            }
        };
        cost.min(UNKNOWN - 1)
    }
}

/// Which variables meet: one bit for each pair.
#[derive(Clone)]
struct Edges {
    words: usize,
    bits: Vec<u64>,
    /// Those around which the last elimination may have changed something.
    stale: Vec<u64>,
    /// Room.
    row: Vec<u64>,
}

impl Edges {
    fn none(vars: usize) -> Self {
        let words = vars.div_ceil(64);
        Self {
            words,
            bits: vec![0; vars * words],
            stale: vec![0; words],
            row: vec![0; words],
        }
    }

    fn of<'a>(vars: usize, factors: impl Iterator<Item = Factor<'a>>) -> Self {
        let mut edges = Self::none(vars);
        for factor in factors {
            for a in factor.vars() {
                for b in factor.vars().filter(|&b| b != a) {
                    edges.join(a, b);
                }
            }
        }
        edges
    }

    /// Those among some variables that meet no others, numbered anew.
    #[inline(always)]
    fn among(&self, vars: &[Var]) -> Self {
        let mut places = vec![0; self.count()];
        for (place, &var) in vars.iter().enumerate() {
            places[var] = place;
        }
        let mut edges = Self::none(vars.len());
        for (place, &var) in vars.iter().enumerate() {
            for other in self.around(var) {
                edges.join(place, places[other]);
            }
        }
        edges
    }

    /// How many variables there are.
    #[inline(always)]
    fn count(&self) -> usize {
        self.bits.len().checked_div(self.words).unwrap_or(0)
    }

    #[inline(always)]
    fn row(&self, var: Var) -> &[u64] {
        &self.bits[var * self.words..(var + 1) * self.words]
    }

    #[inline(always)]
    fn join(&mut self, a: Var, b: Var) {
        self.bits[a * self.words + b / 64] |= 1 << (b % 64);
    }

    #[inline(always)]
    fn around(&self, var: Var) -> impl Iterator<Item = Var> {
        ones(self.row(var).iter().copied())
    }

    /// Edges that are missing among those around a variable.
    #[inline(always)]
    fn fill(&self, var: Var) -> u32 {
        let row = self.row(var);
        let mut missing = 0;
        for other in self.around(var) {
            for (a, b) in row.iter().zip(self.row(other)) {
                missing += (a & !b).count_ones();
            }
            // it is not its own neighbour
            missing -= 1;
        }
        missing / 2
    }

    /// Takes a variable away from those around it.
    #[inline(always)]
    fn take(&mut self, var: Var, around: &[Var]) {
        for &a in around {
            self.bits[a * self.words + var / 64] &= !(1 << (var % 64));
        }
        self.bits[var * self.words..(var + 1) * self.words].fill(0);
    }

    /// Joins all around a variable, and takes it away.
    #[inline(always)]
    fn eliminate(&mut self, var: Var, around: &[Var]) {
        let Self {
            words,
            bits,
            stale,
            row,
        } = self;
        let words = *words;
        row.copy_from_slice(&bits[var * words..(var + 1) * words]);
        stale.copy_from_slice(row);
        for &a in around {
            for (at, &row) in row.iter().enumerate() {
                let new = row & !bits[a * words + at];
                for b in ones(std::iter::once(new)) {
                    let b = at * 64 + b;
                    if b <= a {
                        continue;
                    }
                    bits[a * words + b / 64] |= 1 << (b % 64);
                    bits[b * words + a / 64] |= 1 << (a % 64);
                    // a new edge changes the fill of those that see both ends
                    for (word, stale) in stale.iter_mut().enumerate() {
                        *stale |= bits[a * words + word] & bits[b * words + word];
                    }
                }
            }
        }
        self.take(var, around);
        self.stale[var / 64] &= !(1 << (var % 64));
    }
}

/// See [`ones`].
pub(crate) struct Ones<I> {
    words: I,
    left: u64,
    /// Where the word after the present one begins.
    end: usize,
}

impl<I: Iterator<Item = u64>> Iterator for Ones<I> {
    type Item = usize;

    #[inline(always)]
    fn next(&mut self) -> Option<usize> {
        while self.left == 0 {
            self.left = self.words.next()?;
            self.end += 64;
        }
        let bit = self.left.trailing_zeros() as usize;
        self.left &= self.left - 1;
        Some(self.end - 64 + bit)
    }
}

/// The places of the bits that are set.
#[inline(always)]
pub(crate) fn ones<I: Iterator<Item = u64>>(words: I) -> Ones<I> {
    Ones {
        words,
        left: 0,
        end: 0,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Table;

    /// Entries of the order that is found for variables that meet in these sets.
    fn entries(states: &[usize], sets: &[&[Var]]) -> f64 {
        let table = |vars: &&[Var]| Table {
            vars: vars.to_vec(),
            values: Vec::new(),
        };
        let tables: Vec<Table> = sets.iter().map(table).collect();
        let edges = Edges::of(states.len(), tables.iter().map(Factor::Table));
        let cliques = eliminate(states, &edges, Ties::Early);
        assert_eq!(cliques.len(), states.len(), "each variable once");
        entries_of(&cliques, states)
    }

    #[test]
    fn the_smallest_is_kept() {
        let check = |states: &[usize], sets: &[&[Var]], expect: f64| {
            assert_eq!(entries(states, sets), expect, "{states:?} {sets:?}");
        };
        check(&[], &[], 0.0);
        check(&[2], &[], 2.0);
        // every variable may go at once; begun at the wrong end there are 200 entries more
        check(&[400, 300, 200], &[&[0, 1], &[1, 2]], 180_200.0);
        check(&[200, 300, 400], &[&[0, 1], &[1, 2]], 180_200.0);
    }

    #[test]
    fn what_is_far_too_large_is_counted_too() {
        let all: Vec<Var> = (0..1100).collect();
        assert_eq!(entries(&[2; 1100], &[&all]), f64::INFINITY);
    }
}
