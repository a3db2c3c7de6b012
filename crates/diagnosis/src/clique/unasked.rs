//! Entries that nothing above asks for: the message entry they go into meets no entry of the clique above, as another factor there has
//! nothing to offer.

use super::{Kind, RowKept, Shape, listing::Said};
use crate::order::ones;

impl Shape {
    /// Drops them, with what findings say of them: given are the clique, the finding and what it says by entry, in the order of the cliques.
    pub(super) fn drop_unasked(&mut self, said: &mut [Said]) {
        let asked = self.asked();
        let mut said = said.iter_mut().peekable();
        let mut keep: Vec<bool> = Vec::with_capacity(self.base.len());
        let (mut entries, mut rows) = (0, 0);
        let mut places = Vec::with_capacity(self.places.len());
        let mut parts = Vec::new();
        for index in 0..self.count() {
            let node = self.node(index);
            let (first, width) = (node.entries.start, node.children.len());
            let (of_node, of_row) = (node.rows.clone(), node.places);
            let begin = &mut self.begins[index];
            begin.entries = entries;
            begin.rows = rows;
            begin.places = places.len() as u32;
            parts.clear();
            for (number, row) in of_node.enumerate() {
                let RowKept { group, kind } = self.rows[row];
                let groups = self.groups_of(kind).iter();
                let asked = groups.map(|&beside| asked[group as usize + usize::from(beside)]);
                let before = keep.len();
                keep.extend(asked);
                let of_kind = &keep[before..];
                let kept = of_kind.iter().filter(|keep| **keep).count();
                if kept == 0 {
                    continue;
                }
                let kind = if kept < of_kind.len() {
                    let bits = of_kind.iter().enumerate();
                    let bits = bits.fold(0, |all, (bit, &keep)| all | u64::from(keep) << bit);
                    self.part_of(&mut parts, (kind, bits), width)
                } else {
                    kind
                };
                self.rows[rows as usize] = RowKept { group, kind };
                places.extend_from_slice(&self.places[of_row + number * width..][..width]);
                entries += kept as u32;
                rows += 1;
            }
            while let Some((_, _, values)) = said.next_if(|(node, ..)| *node == index) {
                retain(values, &keep[first..]);
            }
        }
        let end = self.count();
        let end = &mut self.begins[end];
        end.entries = entries;
        end.rows = rows;
        end.places = places.len() as u32;
        self.places = places;
        self.rows.truncate(rows as usize);
        retain(&mut self.base, &keep);
        retain(&mut self.base_low, &keep);
    }

    /// By message entry: the clique above asks for it in an entry that is asked for itself.
    fn asked(&self) -> Vec<bool> {
        let mut asked = vec![false; self.all_groups()];
        for node in self.nodes().rev() {
            if node.parent.is_none() {
                asked[node.groups.clone()].fill(true);
            }
            let width = node.children.len();
            if width == 0 {
                continue;
            }
            for row in self.rows(&node) {
                let each = row.groups.iter().zip(row.offsets.chunks_exact(width));
                for (&beside, offsets) in each {
                    if !asked[row.group + usize::from(beside)] {
                        continue;
                    }
                    for (&place, &offset) in row.places.iter().zip(offsets) {
                        asked[place as usize + usize::from(offset)] = true;
                    }
                }
            }
        }
        asked
    }

    /// The kind of rows that has these of another's entries, a bit for each; a new one if the clique has none so far.
    fn part_of(
        &mut self,
        parts: &mut Vec<((u32, u64), u32)>,
        part: (u32, u64),
        width: usize,
    ) -> u32 {
        if let Some((_, kind)) = parts.iter().find(|(of, _)| *of == part) {
            return *kind;
        }
        let Kind { classes, offsets } = self.kinds[part.0 as usize];
        for entry in ones(std::iter::once(part.1)) {
            let at = classes as usize + entry;
            self.classes.push(self.classes[at]);
            self.in_row.push(self.in_row[at]);
            let at = offsets as usize + entry * width;
            self.offsets.extend_from_within(at..at + width);
        }
        let kind = self.kinds.len() as u32 - 1;
        self.kinds.push(Kind {
            classes: self.classes.len() as u32,
            offsets: self.offsets.len() as u32,
        });
        parts.push((part, kind));
        kind
    }
}

/// Keeps the entries that are marked.
fn retain(values: &mut Vec<f64>, keep: &[bool]) {
    let mut keep = keep.iter();
    values.retain(|_| keep.next() == Some(&true));
}
