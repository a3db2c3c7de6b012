//! What the versions of a function have in common.
//!
//! A function is looked at over and over while parts are touched in between. Each version fails by what no act changed, the core of the
//! function, or by what was touched. Needing distributes over OR: whoever needs a version needs the core of it, which is the same at
//! every look, and what was touched. So a touched supply puts one variable an epoch beside the functions behind it, not a version
//! of each.

use std::ops::Range;

use crate::{
    graph::{Cause, Graph, JOINT_TARGET, OrId, sort_from},
    wiring::{Maybe, short},
};

/// The ORs of the graph in the order of their numbers, and those that they share after them.
#[derive(Debug)]
pub(crate) struct Shared {
    ors: Vec<One>,
    causes: Vec<Cause>,
    parts: Vec<u32>,
}

/// An OR after sharing: where its causes are, and the other ORs that it takes in whole.
#[derive(Debug, Clone, Default)]
struct One {
    causes: Range<u32>,
    parts: Range<u32>,
    /// Something that is asked or was seen hangs on it.
    needed: bool,
}

/// What is in a range of a flat list.
fn within<'a, T>(all: &'a [T], range: &Range<u32>) -> &'a [T] {
    &all[range.start as usize..range.end as usize]
}

impl Shared {
    pub(crate) fn len(&self) -> usize {
        self.ors.len()
    }

    /// Something that is asked or was seen hangs on it.
    pub(crate) fn is_needed(&self, or: usize) -> bool {
        self.ors[or].needed
    }

    /// Why it may fail, in order.
    pub(crate) fn causes(&self, or: usize) -> &[Cause] {
        within(&self.causes, &self.ors[or].causes)
    }

    /// The ORs that it takes in whole, in order.
    pub(crate) fn parts(&self, or: usize) -> &[u32] {
        within(&self.parts, &self.ors[or].parts)
    }

    fn set(&mut self, or: usize, set: &Set) {
        let start = (short(self.causes.len()), short(self.parts.len()));
        self.causes.extend(&set.causes);
        self.parts.extend(&set.parts);
        self.ors[or].causes = start.0..short(self.causes.len());
        self.ors[or].parts = start.1..short(self.parts.len());
    }

    fn need(&mut self, used: impl Iterator<Item = OrId>) {
        let mut open: Vec<usize> = used.collect();
        while let Some(id) = open.pop() {
            if std::mem::replace(&mut self.ors[id].needed, true) {
                continue;
            }
            open.extend(self.parts(id).iter().map(|&part| part as usize));
            open.extend(self.causes(id).iter().filter_map(needs));
        }
    }
}

/// Causes and ORs that are taken in whole, each in order.
#[derive(Debug, Clone, Default)]
struct Set {
    causes: Vec<Cause>,
    parts: Vec<u32>,
}

/// The two ORs that a version consists of.
#[derive(Debug, Clone, Copy)]
struct Halves {
    core: Maybe,
    touched: Maybe,
}

impl Halves {
    const NONE: Self = Self {
        core: Maybe::NONE,
        touched: Maybe::NONE,
    };

    fn all(self) -> impl Iterator<Item = u32> {
        let all = [self.core, self.touched].into_iter();
        all.filter_map(Maybe::get).map(short)
    }
}

/// What the ORs share; `used` are those that are looked at.
pub(crate) fn share(graph: &Graph, used: impl Iterator<Item = OrId>) -> Shared {
    let count = graph.ors.len();
    let versions = Versions::of(graph);
    let mut sharing = Sharing {
        graph,
        of: vec![Halves::NONE; count],
        shared: Shared {
            ors: vec![One::default(); count],
            causes: Vec::with_capacity(graph.cause_count()),
            parts: Vec::new(),
        },
        split: vec![false; versions.ends.len()],
        known: Vec::new(),
    };
    for group in 0..versions.ends.len() {
        sharing.split(group, &versions);
    }
    let mut shared = sharing.shared;
    shared.need(used);
    shared
}

/// The versions of each function.
struct Versions {
    /// The ORs, those of a function together.
    ids: Vec<u32>,
    /// Where each group ends.
    ends: Vec<u32>,
    /// By OR.
    group_of: Vec<u32>,
}

impl Versions {
    fn of(graph: &Graph) -> Self {
        let mut ids: Vec<u32> = (0..short(graph.ors.len())).collect();
        // several functions asked for at once are no function: each such OR stands alone
        let key = |id: u32| {
            let or = &graph.ors[id as usize];
            let joint = or.target as usize == JOINT_TARGET;
            (
                or.machine,
                if joint { u32::MAX - 1 - id } else { or.target },
            )
        };
        ids.sort_by_key(|&id| key(id));
        let mut ends = Vec::with_capacity(ids.len());
        let mut group_of = vec![0; ids.len()];
        let mut end = 0;
        for group in ids.chunk_by(|&a, &b| key(a) == key(b)) {
            for &id in group {
                group_of[id as usize] = short(ends.len());
            }
            end += group.len();
            ends.push(short(end));
        }
        Self {
            ids,
            ends,
            group_of,
        }
    }

    fn group(&self, number: usize) -> &[u32] {
        let start = number.checked_sub(1).map_or(0, |before| self.ends[before]);
        within(&self.ids, &(start..self.ends[number]))
    }
}

/// The OR that a cause needs.
fn needs(cause: &Cause) -> Option<OrId> {
    match cause {
        Cause::Function { or, .. } => Some(*or as usize),
        _ => None,
    }
}

struct Sharing<'a> {
    graph: &'a Graph,
    /// By OR of the graph, once it is split.
    of: Vec<Halves>,
    shared: Shared,
    /// By group of versions.
    split: Vec<bool>,
    /// ORs after those of the graph, in the order of what they consist of.
    known: Vec<u32>,
}

impl Sharing<'_> {
    /// Splits the versions of a function, those it needs before it; functions form no cycle.
    fn split(&mut self, group: usize, versions: &Versions) {
        if std::mem::replace(&mut self.split[group], true) {
            return;
        }
        let ids = versions.group(group);
        let graph = self.graph;
        for &id in ids {
            for needed in graph.causes(id as usize).iter().filter_map(needs) {
                self.split(versions.group_of[needed] as usize, versions);
            }
        }
        if let [id] = *ids {
            self.of[id as usize].core = Maybe::of(id as usize);
            let alone = self.expanded(id);
            return self.shared.set(id as usize, &alone);
        }
        let mut rest: Vec<Set> = ids.iter().map(|&id| self.expanded(id)).collect();
        let core = common(&rest);
        for version in &mut rest {
            version.take_away(&core);
        }
        self.group(&mut rest);
        let core = self.node(&core);
        for (&id, rest) in ids.iter().zip(&rest) {
            let touched = self.node(rest);
            let halves = Halves { core, touched };
            self.of[id as usize] = halves;
            let mut parts: Vec<u32> = halves.all().collect();
            parts.sort_unstable();
            parts.dedup();
            let causes = Vec::new();
            self.shared.set(id as usize, &Set { causes, parts });
        }
    }

    /// A version with the halves of what it needs in place of the whole.
    fn expanded(&self, id: u32) -> Set {
        let all = self.graph.causes(id as usize);
        let mut set = Set {
            causes: Vec::with_capacity(all.len()),
            parts: Vec::new(),
        };
        for &cause in all {
            let Cause::Function { or, draw, chance } = cause else {
                set.causes.push(cause);
                continue;
            };
            for or in self.of[or as usize].all() {
                if chance.get() < 1.0 {
                    set.causes.push(Cause::Function { or, draw, chance });
                } else {
                    set.parts.push(or);
                }
            }
        }
        sort_from(&mut set.causes, 0);
        sort_from(&mut set.parts, 0);
        set
    }

    /// Causes that stand together in the same versions become one OR.
    fn group(&mut self, versions: &mut [Set]) {
        let each = versions.iter().enumerate();
        let mut members: Vec<(Cause, u32)> = each
            .flat_map(|(version, one)| one.causes.iter().map(move |&cause| (cause, short(version))))
            .collect();
        members.sort_unstable();
        let of_causes = members.chunk_by(|a, b| a.0 == b.0);
        let mut together: Vec<(Vec<u32>, Cause)> = of_causes
            .filter(|versions| versions.len() > 1)
            .map(|versions| (versions.iter().map(|one| one.1).collect(), versions[0].0))
            .collect();
        together.sort_unstable();
        let mut grouped = Vec::new();
        for group in together
            .chunk_by(|a, b| a.0 == b.0)
            .filter(|group| group.len() > 1)
        {
            let causes: Vec<Cause> = group.iter().map(|one| one.1).collect();
            grouped.extend(&causes);
            let parts = Vec::new();
            let node = self.node(&Set { causes, parts });
            for &version in &group[0].0 {
                let parts = &mut versions[version as usize].parts;
                parts.extend(node.get().map(short));
            }
        }
        grouped.sort_unstable();
        for version in versions {
            version
                .causes
                .retain(|cause| grouped.binary_search(cause).is_err());
            version.parts.sort_unstable();
            version.parts.dedup();
        }
    }

    /// The number of an OR of these causes and parts; none if there are none.
    fn node(&mut self, set: &Set) -> Maybe {
        match (&set.causes[..], &set.parts[..]) {
            ([], []) => return Maybe::NONE,
            ([], &[part]) => return Maybe::of(part as usize),
            _ => {}
        }
        let shared = &self.shared;
        let found = self.known.binary_search_by(|&known| {
            let known = known as usize;
            let of = (shared.causes(known), shared.parts(known));
            of.cmp(&(&set.causes, &set.parts))
        });
        match found {
            Ok(place) => Maybe::of(self.known[place] as usize),
            Err(place) => {
                let number = self.shared.len();
                self.shared.ors.push(One::default());
                self.shared.set(number, set);
                self.known.insert(place, short(number));
                Maybe::of(number)
            }
        }
    }
}

impl Set {
    /// Without what is in another one.
    fn take_away(&mut self, other: &Self) {
        let Self { causes, parts } = other;
        self.causes
            .retain(|cause| causes.binary_search(cause).is_err());
        self.parts.retain(|part| parts.binary_search(part).is_err());
    }
}

/// What is in all versions.
fn common(versions: &[Set]) -> Set {
    let mut common = versions[0].clone();
    for Set { causes, parts } in &versions[1..] {
        common
            .causes
            .retain(|cause| causes.binary_search(cause).is_ok());
        common
            .parts
            .retain(|part| parts.binary_search(part).is_ok());
    }
    common
}
