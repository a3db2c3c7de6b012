//! What the versions of a function have in common.
//!
//! A function is looked at over and over while parts are touched in between. Each version fails by what no act changed, the core of the
//! function, or by what was touched. Needing distributes over OR: whoever needs a version needs the core of it, which is the same at
//! every look, and what was touched. So a touched supply puts one variable an epoch beside the functions behind it, not a version
//! of each.

use std::collections::{BTreeMap, BTreeSet};

use crate::graph::{Cause, Graph, JOINT_TARGET, OrId};

/// An OR after sharing: its causes, and other ORs it takes in whole.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Shared {
    pub(crate) causes: BTreeSet<Cause>,
    pub(crate) parts: BTreeSet<usize>,
    /// Something that is asked or was seen hangs on it.
    pub(crate) needed: bool,
}

/// The two ORs that a version consists of.
#[derive(Debug, Clone, Copy, Default)]
struct Halves {
    core: Option<usize>,
    touched: Option<usize>,
}

/// The ORs of the graph in the order of their numbers, and those that they share after them; `used` are those that are looked at.
pub(crate) fn share(graph: &Graph, used: impl Iterator<Item = OrId>) -> Vec<Shared> {
    let mut versions: BTreeMap<(usize, usize), Vec<OrId>> = BTreeMap::new();
    for (id, or) in graph.ors.iter().enumerate() {
        // several functions asked for at once are no function: each such OR stands alone
        let alone = (or.target == JOINT_TARGET).then_some(id);
        let key = (
            or.machine,
            alone.map_or(or.target, |id| JOINT_TARGET - 1 - id),
        );
        versions.entry(key).or_default().push(id);
    }
    let mut sharing = Sharing {
        graph,
        of: vec![None; graph.ors.len()],
        shared: vec![Shared::default(); graph.ors.len()],
        known: BTreeMap::new(),
    };
    let groups: Vec<Vec<OrId>> = versions.into_values().collect();
    let mut group_of = vec![0; graph.ors.len()];
    for (number, ids) in groups.iter().enumerate() {
        ids.iter().for_each(|&id| group_of[id] = number);
    }
    for ids in &groups {
        sharing.split(ids, &groups, &group_of);
    }
    let mut shared = sharing.shared;
    let mut open: Vec<usize> = used.collect();
    while let Some(id) = open.pop() {
        if std::mem::replace(&mut shared[id].needed, true) {
            continue;
        }
        open.extend(&shared[id].parts);
        open.extend(shared[id].causes.iter().filter_map(needs));
    }
    shared
}

/// The OR that a cause needs.
fn needs(cause: &Cause) -> Option<OrId> {
    match cause {
        Cause::Function { or, .. } => Some(*or),
        _ => None,
    }
}

struct Sharing<'a> {
    graph: &'a Graph,
    /// By OR of the graph, once it is split.
    of: Vec<Option<Halves>>,
    shared: Vec<Shared>,
    /// ORs after those of the graph.
    known: BTreeMap<Shared, usize>,
}

impl Sharing<'_> {
    /// Splits the versions of a function, those it needs before it; functions form no cycle.
    fn split(&mut self, ids: &[OrId], groups: &[Vec<OrId>], group_of: &[usize]) {
        if self.of[ids[0]].is_some() {
            return;
        }
        let graph = self.graph;
        for needed in ids
            .iter()
            .flat_map(|&id| graph.ors[id].causes.iter())
            .filter_map(needs)
        {
            self.split(&groups[group_of[needed]], groups, group_of);
        }
        let expanded: Vec<Shared> = ids.iter().map(|&id| self.expanded(id)).collect();
        if let [id] = ids {
            self.of[*id] = Some(Halves {
                core: Some(*id),
                touched: None,
            });
            self.shared[*id].causes.clone_from(&expanded[0].causes);
            self.shared[*id].parts.clone_from(&expanded[0].parts);
            return;
        }
        let core = common(&expanded);
        let mut rest: Vec<Shared> = expanded.iter().map(|one| without(one, &core)).collect();
        self.group(&mut rest);
        let core = self.node(core);
        for (&id, rest) in ids.iter().zip(rest) {
            let touched = self.node(rest);
            self.of[id] = Some(Halves { core, touched });
            self.shared[id]
                .parts
                .extend(core.into_iter().chain(touched));
        }
    }

    /// A version with the halves of what it needs in place of the whole.
    fn expanded(&self, id: OrId) -> Shared {
        let mut expanded = Shared::default();
        for cause in self.graph.ors[id].causes.iter() {
            let Cause::Function { or, draw, chance } = cause else {
                expanded.causes.insert(cause.clone());
                continue;
            };
            let Halves { core, touched } = self.of[*or].unwrap_or_default();
            for half in core.into_iter().chain(touched) {
                if chance.get() < 1.0 {
                    expanded.causes.insert(Cause::Function {
                        or: half,
                        draw: *draw,
                        chance: *chance,
                    });
                } else {
                    expanded.parts.insert(half);
                }
            }
        }
        expanded
    }

    /// Causes that stand together in the same versions become one OR.
    fn group(&mut self, versions: &mut [Shared]) {
        let mut members: BTreeMap<&Cause, Vec<usize>> = BTreeMap::new();
        for (version, one) in versions.iter().enumerate() {
            for cause in &one.causes {
                members.entry(cause).or_default().push(version);
            }
        }
        let mut together: BTreeMap<Vec<usize>, BTreeSet<Cause>> = BTreeMap::new();
        for (cause, versions) in members {
            together.entry(versions).or_default().insert(cause.clone());
        }
        for (at, causes) in together {
            if at.len() < 2 || causes.len() < 2 {
                continue;
            }
            let grouped = Shared {
                causes,
                ..Shared::default()
            };
            for version in at {
                versions[version] = without(&versions[version], &grouped);
                versions[version].parts.extend(self.node(grouped.clone()));
            }
        }
    }

    /// The number of an OR of these causes and parts; none if there are none.
    fn node(&mut self, one: Shared) -> Option<usize> {
        match (one.causes.len(), one.parts.len()) {
            (0, 0) => return None,
            (0, 1) => return one.parts.first().copied(),
            _ => {}
        }
        let next = self.shared.len();
        let number = *self.known.entry(one.clone()).or_insert(next);
        if number == next {
            self.shared.push(one);
        }
        Some(number)
    }
}

/// What is in all versions.
fn common(versions: &[Shared]) -> Shared {
    let mut common = versions[0].clone();
    for other in &versions[1..] {
        common.causes.retain(|cause| other.causes.contains(cause));
        common.parts.retain(|part| other.parts.contains(part));
    }
    common
}

fn without(one: &Shared, other: &Shared) -> Shared {
    Shared {
        causes: one.causes.difference(&other.causes).cloned().collect(),
        parts: one.parts.difference(&other.parts).copied().collect(),
        needed: false,
    }
}
