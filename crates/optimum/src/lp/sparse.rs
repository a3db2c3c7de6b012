//! Lists of (index, value) pairs laid end to end.

/// Compressed lists: row by row, or column by column.
#[derive(Debug, Clone, Default)]
pub(crate) struct Sparse {
    start: Vec<usize>,
    entries: Vec<(u32, f64)>,
}

impl Sparse {
    /// From lists as they are.
    pub(crate) fn from_lists<'l>(lists: impl IntoIterator<Item = &'l [(u32, f64)]>) -> Sparse {
        let mut sparse = Sparse {
            start: vec![0],
            entries: Vec::new(),
        };
        for list in lists {
            sparse.entries.extend_from_slice(list);
            sparse.start.push(sparse.entries.len());
        }
        sparse
    }

    /// From entries (list, index, value) in any order.
    pub(crate) fn from_entries(lists: usize, all: &[(u32, u32, f64)]) -> Sparse {
        let mut start = vec![0; lists + 1];
        for &(list, ..) in all {
            start[list as usize + 1] += 1;
        }
        for at in 0..lists {
            start[at + 1] += start[at];
        }
        let mut next = start.clone();
        let mut entries = vec![(0, 0.0); all.len()];
        for &(list, index, value) in all {
            let slot = &mut next[list as usize];
            entries[*slot] = (index, value);
            *slot += 1;
        }
        Sparse { start, entries }
    }

    /// One list.
    pub(crate) fn list(&self, at: usize) -> &[(u32, f64)] {
        &self.entries[self.start[at]..self.start[at + 1]]
    }

    /// How many lists there are.
    pub(crate) fn len(&self) -> usize {
        self.start.len().saturating_sub(1)
    }

    /// How many pairs there are in all.
    pub(crate) fn pairs(&self) -> usize {
        self.entries.len()
    }

    /// The same pairs by index: the list of `i` has (list, value) for each pair (i, value).
    pub(crate) fn transposed(&self, lists: usize) -> Sparse {
        let mut start = vec![0; lists + 1];
        for &(index, _) in &self.entries {
            start[index as usize + 1] += 1;
        }
        for at in 0..lists {
            start[at + 1] += start[at];
        }
        let mut next = start.clone();
        let mut entries = vec![(0, 0.0); self.entries.len()];
        for list in 0..self.len() {
            for &(index, value) in self.list(list) {
                let slot = &mut next[index as usize];
                entries[*slot] = (narrow(list), value);
                *slot += 1;
            }
        }
        Sparse { start, entries }
    }
}

/// An index as it is kept.
#[expect(
    clippy::cast_possible_truncation,
    reason = "models have far fewer than 2^32 columns"
)]
pub(crate) fn narrow(index: usize) -> u32 {
    index as u32
}
