//! Things to branch on besides single variables: part of a row in which at most one variable is yes.
//!
//! One of many ways to repair a machine being "no" says next to nothing; "none of the ways that use this item" says a lot.

use std::collections::BTreeSet;

use crate::form::Form;
use crate::lp::narrow;
use crate::model::Relation;

/// Different sizes of coefficients for which parts of a row are made.
const SIZES: usize = 12;

/// Groups at most.
const MOST: usize = 4_000;

/// At most one of the row's variables is yes: either none of `part`, or one of `part` and nothing else.
#[derive(Debug, Clone)]
pub(crate) struct Group {
    /// The row that allows only one.
    pub(crate) row: usize,
    pub(crate) part: Vec<u32>,
    /// The row's other variables.
    pub(crate) rest: Vec<u32>,
    /// A variable that must be yes for any of the row to be yes.
    pub(crate) gate: Option<u32>,
}

struct OneOf {
    row: usize,
    members: Vec<u32>,
    gate: Option<u32>,
}

/// All groups that the rows suggest.
pub(crate) fn groups(form: &Form) -> Vec<Group> {
    let one_of: Vec<OneOf> = (0..form.rows.len())
        .filter_map(|row| one_of(form, row))
        .collect();
    // for each variable the rows in which it is one of several
    let mut member_of: Vec<Vec<usize>> = vec![Vec::new(); form.width()];
    for (at, one) in one_of.iter().enumerate() {
        for &j in &one.members {
            member_of[j as usize].push(at);
        }
    }
    let mut seen: BTreeSet<(usize, Vec<u32>)> = BTreeSet::new();
    let mut found = Vec::new();
    let mut add = |at: usize, part: Vec<u32>| {
        let one: &OneOf = &one_of[at];
        if part.len() > 1 && found.len() < MOST && seen.insert((at, part.clone())) {
            let rest = one
                .members
                .iter()
                .copied()
                .filter(|j| part.binary_search(j).is_err());
            found.push(Group {
                row: one.row,
                rest: rest.collect(),
                part,
                gate: one.gate,
            });
        }
    };
    for (at, one) in one_of.iter().enumerate() {
        add(at, one.members.clone());
        for &j in &one.members {
            let others = one.members.iter().copied().filter(|&other| other != j);
            if one.members.len() <= SIZES {
                add(at, others.collect());
            }
        }
    }
    for (row, content) in form.rows.iter().enumerate() {
        let mut inside: Vec<(usize, u32, f64)> = Vec::new();
        for &(j, c) in &content.terms {
            inside.extend(member_of[j as usize].iter().map(|&at| (at, j, c.abs())));
        }
        inside.sort_by(|a, b| a.0.cmp(&b.0).then(a.2.total_cmp(&b.2)));
        for chunk in inside.chunk_by(|a, b| a.0 == b.0) {
            if one_of[chunk[0].0].row != row {
                parts(chunk, &mut add);
            }
        }
    }
    found
}

/// The members with at least each size of coefficient.
fn parts(chunk: &[(usize, u32, f64)], add: &mut impl FnMut(usize, Vec<u32>)) {
    let starts: Vec<usize> = (0..chunk.len())
        .filter(|&i| i == 0 || chunk[i].2 > chunk[i - 1].2 * (1.0 + 1e-9))
        .collect();
    if starts.len() > SIZES {
        return;
    }
    for start in starts {
        let mut part: Vec<u32> = chunk[start..].iter().map(|entry| entry.1).collect();
        part.sort_unstable();
        add(chunk[0].0, part);
    }
}

/// The row, if it says that at most one of several yes-or-no variables is yes (if another one is).
fn one_of(form: &Form, row: usize) -> Option<OneOf> {
    let content = &form.rows[row];
    if content.relation == Relation::AtLeast || content.terms.len() < 3 {
        return None;
    }
    let unit = content.terms.iter().map(|term| term.1).fold(0.0, f64::max);
    let mut members = Vec::new();
    let mut gate = None;
    for &(j, c) in &content.terms {
        if !form.is_binary(j as usize) {
            return None;
        }
        if c == unit {
            members.push(j);
        } else if c == -unit && gate.is_none() {
            gate = Some(j);
        } else {
            return None;
        }
    }
    let right = if gate.is_some() { 0.0 } else { unit };
    members.sort_unstable();
    (content.right == right && unit > 0.0 && members.len() > 1).then_some(OneOf {
        row,
        members,
        gate,
    })
}

impl Group {
    /// How much of the group is yes.
    pub(crate) fn sum(&self, values: &[f64]) -> f64 {
        self.part.iter().map(|&j| values[j as usize]).sum()
    }

    /// Bounds when none of the group is yes.
    pub(crate) fn none(&self) -> impl Iterator<Item = (u32, f64, f64)> + '_ {
        self.part.iter().map(|&j| (j, 0.0, 0.0))
    }

    /// Bounds when one of the group is yes; `width` is the number of variables, after which the logicals come.
    pub(crate) fn one(&self, width: usize) -> impl Iterator<Item = (u32, f64, f64)> + '_ {
        let rest = self.rest.iter().map(|&j| (j, 0.0, 0.0));
        let gate = self.gate.iter().map(|&j| (j, 1.0, 1.0));
        let logical = (narrow(width + self.row), 0.0, 0.0);
        rest.chain(gate).chain([logical])
    }
}
