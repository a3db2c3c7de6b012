//! What a write had to say, kept in memory for the page that follows the redirect.

use std::{
    collections::VecDeque,
    hash::{BuildHasher, Hasher, RandomState},
    sync::{Mutex, PoisonError},
};

/// Sayings kept at most; the oldest go first.
const KEPT: usize = 64;

/// The answer to a write, as the next page shows it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Said {
    /// The machine it is about, if it is about one.
    pub tag: Option<String>,
    /// What was understood or done, a sentence each.
    pub sentences: Vec<String>,
    /// What it changed.
    pub changed: String,
    /// Journal lines written: they can be taken back from here.
    pub lines: Vec<i64>,
}

/// Sayings by an id that cannot be guessed, so that no link can put words into a page.
#[derive(Debug, Default)]
pub(crate) struct Sayings {
    kept: Mutex<VecDeque<(String, Said)>>,
}

impl Sayings {
    /// Keeps this and answers the id under which the next page finds it.
    pub(crate) fn keep(&self, said: Said) -> String {
        let id = random_id();
        let mut kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.push_back((id.clone(), said));
        while kept.len() > KEPT {
            kept.pop_front();
        }
        id
    }

    /// What was kept under this id. A reloaded page says it again.
    pub(crate) fn find(&self, id: &str) -> Option<Said> {
        let kept = self.kept.lock().unwrap_or_else(PoisonError::into_inner);
        kept.iter()
            .find(|(known, _)| known == id)
            .map(|(_, said)| said.clone())
    }
}

/// 128 bits from the operating system's randomness, which seeds the standard hasher.
fn random_id() -> String {
    let half = || RandomState::new().build_hasher().finish();
    format!("{:016x}{:016x}", half(), half())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn saying(text: &str) -> Said {
        Said {
            sentences: vec![text.to_owned()],
            ..Said::default()
        }
    }

    #[test]
    fn found_by_its_id_only() {
        let sayings = Sayings::default();
        let id = sayings.keep(saying("one"));
        assert_eq!(sayings.find(&id), Some(saying("one")));
        assert_eq!(
            sayings.find(&id),
            Some(saying("one")),
            "a reload says it again"
        );
        assert_eq!(sayings.find("one"), None);
        assert_ne!(id, sayings.keep(saying("one")));
    }

    #[test]
    fn the_oldest_go_first() {
        let sayings = Sayings::default();
        let first = sayings.keep(saying("first"));
        for _ in 0..KEPT {
            sayings.keep(saying("later"));
        }
        assert_eq!(sayings.find(&first), None);
    }
}
