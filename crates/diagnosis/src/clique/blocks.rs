//! Message entries that no row knows. A message lies in blocks, within which only those variables differ that differ within a row of its
//! clique or of the one above; a block that no row goes into and none asks for is left out.

use super::Shape;
use crate::model::Var;

/// Blocks of a clique's message.
#[derive(Debug)]
pub(super) struct Blocks {
    /// Message entries in each.
    size: usize,
    /// By block that is left: its number among all.
    left: Vec<u32>,
}

impl Blocks {
    /// The number of an entry's state combination.
    pub(super) fn state(&self, entry: usize) -> usize {
        self.left[entry / self.size] as usize * self.size + entry % self.size
    }
}

impl Shape {
    /// Leaves them out.
    pub(super) fn drop_blocks(&mut self, states: &[usize]) {
        let sizes = self.block_sizes(states);
        let known = self.known_blocks(&sizes);
        // by clique and block: where it begins now
        let mut now: Vec<Vec<u32>> = Vec::with_capacity(self.count());
        let before: Vec<usize> = (0..self.count())
            .map(|index| self.groups(index).start)
            .collect();
        let mut groups = 0;
        self.blocks.reserve_exact(self.count());
        for (index, (known, &size)) in known.iter().zip(&sizes).enumerate() {
            self.begins[index].groups = groups;
            let mut left = Vec::new();
            let mut begins = Vec::with_capacity(known.len());
            for (block, _) in known.iter().enumerate() {
                begins.push(groups);
                if known[block] {
                    left.push(block as u32);
                    groups += size as u32;
                }
            }
            now.push(begins);
            self.blocks.push(Blocks { size, left });
        }
        let end = self.count();
        self.begins[end].groups = groups;
        let moved = |index: usize, entry: u32| {
            let place = entry as usize - before[index];
            now[index][place / sizes[index]] + (place % sizes[index]) as u32
        };
        for index in 0..end {
            let (begin, next) = (&self.begins[index], &self.begins[index + 1]);
            for row in &mut self.rows[begin.rows as usize..next.rows as usize] {
                row.group = moved(index, row.group);
            }
            let children = &self.children[begin.children as usize..next.children as usize];
            let places = &mut self.places[begin.places as usize..next.places as usize];
            for (place, &child) in places.iter_mut().zip(children.iter().cycle()) {
                *place = moved(child as usize, *place);
            }
        }
    }

    /// By clique: entries in a block of its message.
    fn block_sizes(&self, states: &[usize]) -> Vec<usize> {
        let size = |node: super::Node<'_>| {
            let inside: Vec<Var> = match node.parent {
                Some(parent) => self.node(parent).inside(states),
                None => Vec::new(),
            };
            let last = node.separator.iter().rev();
            let last = last.take_while(|var| inside.contains(var));
            let in_row_above: usize = last.map(|&var| states[var]).product();
            in_row_above.max(node.wide)
        };
        self.nodes().map(size).collect()
    }

    /// By clique, for each block of its message: some row knows it.
    fn known_blocks(&self, sizes: &[usize]) -> Vec<Vec<bool>> {
        let blocks =
            |(node, &size): (super::Node<'_>, &usize)| vec![false; node.groups.len() / size];
        let mut known: Vec<Vec<bool>> = self.nodes().zip(sizes).map(blocks).collect();
        for (index, node) in self.nodes().enumerate() {
            let mut know = |index: usize, entry: usize| {
                let block = (entry - self.groups(index).start) / sizes[index];
                known[index][block] = true;
            };
            if node.parent.is_none() {
                know(index, node.groups.start);
            }
            for row in self.rows(&node) {
                know(index, row.group);
                for (&child, &place) in node.children.iter().zip(row.places) {
                    know(child as usize, place as usize);
                }
            }
        }
        known
    }
}
