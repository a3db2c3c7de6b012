//! Cliques of which only the entries are kept that can be other than 0.
//!
//! A clique's entries are listed by walking its variables one after the other; where a table or a message from below has
//! nothing to offer for the states so far, the walk turns back. What a finding says does not count here, so that findings can be left out
//! later, nor do sums that happen to cancel: an entry that is left out is 0 whatever is asked.

use crate::{
    error::Error,
    layers::Layers,
    model::{Table, Var},
    order::Arrangement,
};

/// A message that a state combination does not reach.
const MISSING: u32 = u32::MAX;

/// States tried in a walk, by entry that may be kept.
const STEPS_BY_ENTRY: usize = 8;
/// States that may always be tried.
const FREE_STEPS: usize = 1 << 20;

/// Largest number of state combinations for which a lookup by plain index is kept.
const DENSE: u64 = 1 << 18;

/// One eliminated variable with all that speaks of it.
#[derive(Debug, Clone)]
pub(crate) struct Bucket {
    pub(crate) var: Var,
    separator: Vec<Var>,
    /// Number of the separator's combination in each message entry, the last variable varying fastest.
    keys: Vec<u64>,
    /// State of the variable in each entry.
    state: Vec<u16>,
    /// Where the entries of each message entry begin, and the end.
    starts: Vec<u32>,
    /// Product of the tables that never change.
    pub(crate) base: Layers,
    /// Tables of findings, by entry.
    pub(crate) evidence: Vec<Vec<f64>>,
    /// Buckets whose message comes here, with the message's entry for each entry of the clique.
    pub(crate) children: Vec<(usize, Vec<u32>)>,
    pub(crate) parent: Option<usize>,
}

impl Bucket {
    pub(crate) fn len(&self) -> usize {
        self.state.len()
    }

    /// A table's number for each entry; none if it asks for other variables.
    pub(crate) fn stretched(&self, table: &Table, states: &[usize]) -> Option<Vec<f64>> {
        // by variable of the separator: its stride in the key and in the table
        let mut own = 0;
        let mut strides = vec![0; self.separator.len()];
        let mut stride = 1;
        for var in table.vars.iter().rev() {
            if *var == self.var {
                own = stride;
            } else {
                strides[self.separator.iter().position(|other| other == var)?] = stride;
            }
            stride *= states[*var];
        }
        let mut values = Vec::with_capacity(self.len());
        for (range, &key) in self.starts.windows(2).zip(&self.keys) {
            let mut key = key;
            let mut at = 0;
            for (var, stride) in self.separator.iter().zip(&strides).rev() {
                at += (key % states[*var] as u64) as usize * stride;
                key /= states[*var] as u64;
            }
            let entries = &self.state[range[0] as usize..range[1] as usize];
            values.extend(
                entries
                    .iter()
                    .map(|&state| table.values[at + usize::from(state) * own]),
            );
        }
        Some(values)
    }

    /// Sums the variable out.
    pub(crate) fn sum(&self, product: &Layers) -> Layers {
        product.sums(&self.starts)
    }

    /// Multiplies each message entry's number into its entries.
    pub(crate) fn multiply_by_group(&self, product: &mut Layers, message: &Layers) {
        for (group, range) in self.starts.windows(2).enumerate() {
            product.multiply_range(range[0] as usize..range[1] as usize, message.at(group));
        }
    }

    pub(crate) fn weigh_states(&self, product: &mut Layers, weights: &[f64]) {
        let by: Vec<f64> = self
            .state
            .iter()
            .map(|&state| weights[usize::from(state)])
            .collect();
        product.weigh(&by);
    }

    /// Adds the entries up by the state of the variable.
    pub(crate) fn by_state(&self, belief: &Layers, reading: [f64; 2], sums: &mut [f64]) {
        belief.add_by_class(&self.state, reading, sums);
    }
}

/// Where a finding's table is: (finding, bucket, index).
pub(crate) type InBucket = (usize, usize, usize);

/// What goes into each bucket, before its entries are listed.
pub(crate) struct Plan<'a> {
    states: &'a [usize],
    bucket_of: &'a [usize],
    rough: Vec<Rough>,
}

/// A bucket before its entries are listed.
struct Rough {
    /// Separator first, the eliminated variable last.
    vars: Vec<Var>,
    parent: Option<usize>,
    fixed: Vec<Table>,
    evidence: Vec<(Table, usize)>,
    /// Weight of the second state in the layer with the fault.
    carrier: Option<f64>,
    children: Vec<usize>,
}

/// The entries of a message.
struct Reached {
    vars: Vec<Var>,
    lookup: Lookup,
}

/// From the number of a state combination to the entry of the message.
enum Lookup {
    Dense(Vec<u32>),
    Sorted(Vec<u64>),
}

impl Lookup {
    fn of(keys: &[u64], size: u64) -> Self {
        if size > DENSE {
            return Self::Sorted(keys.to_vec());
        }
        let mut dense = vec![MISSING; size as usize];
        for (entry, &key) in keys.iter().enumerate() {
            dense[key as usize] = entry as u32;
        }
        Self::Dense(dense)
    }

    fn find(&self, key: u64) -> u32 {
        match self {
            Self::Dense(dense) => dense[key as usize],
            Self::Sorted(keys) => keys
                .binary_search(&key)
                .map_or(MISSING, |entry| entry as u32),
        }
    }
}

impl<'a> Plan<'a> {
    pub(crate) fn new(arranged: Arrangement, states: &'a [usize], bucket_of: &'a [usize]) -> Self {
        let mut rough: Vec<Rough> = arranged
            .cliques
            .into_iter()
            .zip(arranged.parents)
            .map(|(mut vars, parent)| {
                vars.rotate_left(1);
                let separator = vars.len() - 1;
                vars[..separator].sort_unstable_by_key(|&var| std::cmp::Reverse(bucket_of[var]));
                Rough {
                    parent,
                    vars,
                    fixed: Vec::new(),
                    evidence: Vec::new(),
                    carrier: None,
                    children: Vec::new(),
                }
            })
            .collect();
        for index in 0..rough.len() {
            if let Some(parent) = rough[index].parent {
                rough[parent].children.push(index);
            }
        }
        Self {
            states,
            bucket_of,
            rough,
        }
    }

    /// Takes in a table that never changes; one without variables is handed back as a number.
    pub(crate) fn fixed(&mut self, table: Table) -> f64 {
        match self.home(&table) {
            Some(bucket) => {
                self.rough[bucket].fixed.push(table);
                1.0
            }
            None => table.values[0],
        }
    }

    /// Takes in what was found; a table without variables is handed back as a number.
    pub(crate) fn finding(&mut self, table: Table, finding: usize) -> f64 {
        match self.home(&table) {
            Some(bucket) => {
                self.rough[bucket].evidence.push((table, finding));
                1.0
            }
            None => table.values[0],
        }
    }

    /// A variable whose second state means that the unmodelled fault sits here.
    pub(crate) fn carrier(&mut self, var: Var, weight: f64) {
        self.rough[self.bucket_of[var]].carrier = Some(weight);
    }

    fn home(&self, table: &Table) -> Option<usize> {
        table.vars.iter().map(|&var| self.bucket_of[var]).min()
    }

    /// Lists the entries of all buckets and says where the tables of findings are.
    pub(crate) fn build(self, most: usize) -> Result<(Vec<Bucket>, Vec<InBucket>), Error> {
        let mut findings = Vec::new();
        let mut buckets = Vec::with_capacity(self.rough.len());
        let mut reached: Vec<Option<Reached>> = Vec::with_capacity(self.rough.len());
        let mut left = most;
        for (index, rough) in self.rough.into_iter().enumerate() {
            let here = rough.evidence.iter().enumerate();
            findings.extend(here.map(|(at, (_, finding))| (*finding, index, at)));
            let messages: Vec<Reached> = rough
                .children
                .iter()
                .filter_map(|&child| reached[child].take())
                .collect();
            let (bucket, own) =
                list(rough, self.states, &messages, left).ok_or_else(|| too_large(most))?;
            left -= bucket.len();
            buckets.push(bucket);
            reached.push(Some(own));
        }
        Ok((buckets, findings))
    }
}

/// The refusal of a network that would need more entries than these.
pub(crate) fn too_large(most: usize) -> Error {
    Error::new(format!(
        "the findings tie too much together for an exact answer: more than {:.0} million table entries; settle a part that was swapped or looked at often",
        most as f64 / 1e6
    ))
}

/// Lists a bucket's entries; none if there are more than `most`.
fn list(
    rough: Rough,
    states: &[usize],
    messages: &[Reached],
    most: usize,
) -> Option<(Bucket, Reached)> {
    let sizes: Vec<usize> = rough.vars.iter().map(|&var| states[var]).collect();
    let size = sizes[..sizes.len() - 1]
        .iter()
        .try_fold(1_u64, |size, &states| size.checked_mul(states as u64))?;
    let mut walk = Walk {
        sizes: &sizes,
        most,
        factors: Vec::new(),
        moves: vec![Vec::new(); sizes.len()],
        complete: vec![Vec::new(); sizes.len()],
        fixed: rough.fixed.len(),
        evidence: rough.evidence.len(),
        carrier: rough.carrier,
        steps: 0,
        key: 0,
        state: Vec::new(),
        starts: Vec::new(),
        keys: Vec::new(),
        base: Layers::default(),
        evidence_values: vec![Vec::new(); rough.evidence.len()],
        maps: vec![Vec::new(); messages.len()],
    };
    for table in &rough.fixed {
        walk.add(Source::Fixed(&table.values), &table.vars, &rough.vars);
    }
    for (table, _) in &rough.evidence {
        walk.add(Source::Finding(&table.values), &table.vars, &rough.vars);
    }
    for message in messages {
        walk.add(Source::Message(&message.lookup), &message.vars, &rough.vars);
    }
    if (0..walk.factors.len()).all(|factor| walk.factors[factor].vars > 0 || walk.is_open(factor)) {
        walk.step(0)?;
    }
    walk.starts.push(walk.state.len() as u32);
    if rough.parent.is_none() && walk.keys.is_empty() {
        // nothing is possible: the total is 0
        walk.keys.push(0);
        walk.starts.push(0);
    }
    let Walk {
        state,
        starts,
        keys,
        base,
        evidence_values,
        maps,
        ..
    } = walk;
    let mut vars = rough.vars;
    let var = vars.pop()?;
    let lookup = Lookup::of(&keys, size);
    let bucket = Bucket {
        var,
        separator: vars.clone(),
        keys,
        state,
        starts,
        base,
        evidence: evidence_values,
        children: rough.children.into_iter().zip(maps).collect(),
        parent: rough.parent,
    };
    Some((bucket, Reached { vars, lookup }))
}

/// Something that speaks of a clique's variables.
struct Factor<'a> {
    source: Source<'a>,
    vars: usize,
    /// Number of the state combination so far.
    at: u64,
    /// For a message: the entry found.
    entry: u32,
}

enum Source<'a> {
    Fixed(&'a [f64]),
    Finding(&'a [f64]),
    Message(&'a Lookup),
}

/// A walk over the state combinations of a clique.
struct Walk<'a> {
    sizes: &'a [usize],
    most: usize,
    /// Fixed tables first, then findings, then messages.
    factors: Vec<Factor<'a>>,
    /// By variable: the factors that know it, with their stride.
    moves: Vec<Vec<(usize, u64)>>,
    /// By variable: the factors that are complete with it.
    complete: Vec<Vec<usize>>,
    fixed: usize,
    evidence: usize,
    carrier: Option<f64>,
    steps: usize,
    /// Number of the separator's combination so far.
    key: u64,
    state: Vec<u16>,
    starts: Vec<u32>,
    keys: Vec<u64>,
    base: Layers,
    evidence_values: Vec<Vec<f64>>,
    maps: Vec<Vec<u32>>,
}

impl<'a> Walk<'a> {
    fn add(&mut self, source: Source<'a>, vars: &[Var], clique: &[Var]) {
        let factor = self.factors.len();
        let mut stride = 1;
        let mut last = 0;
        for var in vars.iter().rev() {
            let depth = clique
                .iter()
                .position(|other| other == var)
                .unwrap_or_else(|| unreachable!("a clique holds its tables"));
            self.moves[depth].push((factor, stride));
            stride *= self.sizes[depth] as u64;
            last = last.max(depth);
        }
        if !vars.is_empty() {
            self.complete[last].push(factor);
        }
        self.factors.push(Factor {
            source,
            vars: vars.len(),
            at: 0,
            entry: 0,
        });
    }

    /// The factor does not forbid the combination.
    fn is_open(&mut self, factor: usize) -> bool {
        let factor = &mut self.factors[factor];
        match factor.source {
            Source::Fixed(values) => values[factor.at as usize] != 0.0,
            Source::Finding(_) => true,
            Source::Message(lookup) => {
                factor.entry = lookup.find(factor.at);
                factor.entry != MISSING
            }
        }
    }

    /// Walks the states of one variable and all that follow; none if there are too many entries.
    fn step(&mut self, depth: usize) -> Option<()> {
        let last = depth + 1 == self.sizes.len();
        let begin = self.state.len();
        let key = self.key;
        for state in 0..self.sizes[depth] {
            let open = (0..self.complete[depth].len())
                .all(|place| self.is_open(self.complete[depth][place]));
            if open && last {
                self.entry(state)?;
            } else if open {
                self.key = key * self.sizes[depth] as u64 + state as u64;
                self.step(depth + 1)?;
            }
            for &(factor, stride) in &self.moves[depth] {
                self.factors[factor].at += stride;
            }
        }
        // a walk that turns back too often is given up like one that lists too much
        self.steps += self.sizes[depth];
        if self.steps > STEPS_BY_ENTRY * self.most + FREE_STEPS {
            return None;
        }
        let states = self.sizes[depth] as u64;
        for &(factor, stride) in &self.moves[depth] {
            self.factors[factor].at -= stride * states;
        }
        self.key = key;
        if last && self.state.len() > begin {
            self.keys.push(key);
            self.starts.push(begin as u32);
        }
        Some(())
    }

    fn entry(&mut self, state: usize) -> Option<()> {
        if self.state.len() == self.most {
            return None;
        }
        let (fixed, rest) = self.factors.split_at(self.fixed);
        let (findings, messages) = rest.split_at(self.evidence);
        let value = |factor: &Factor<'_>| match factor.source {
            Source::Fixed(values) | Source::Finding(values) => values[factor.at as usize],
            Source::Message(_) => 1.0,
        };
        let product: f64 = fixed.iter().map(value).product();
        self.base.push(match self.carrier {
            Some(weight) if state == 1 => [0.0, product * weight],
            _ => [product, 0.0],
        });
        for (values, factor) in self.evidence_values.iter_mut().zip(findings) {
            values.push(value(factor));
        }
        for (map, factor) in self.maps.iter_mut().zip(messages) {
            map.push(factor.entry);
        }
        self.state.push(state as u16);
        Some(())
    }
}
