//! Which item a vendor's words mean.

use std::collections::{BTreeMap, BTreeSet};

use crate::{names::plain, workshop::State};

/// Items by name, with the words that vendors use for them.
pub(crate) struct Items {
    known: BTreeMap<String, BTreeSet<String>>,
    /// Vendor and his words, from what was taken before.
    learnt: BTreeMap<(String, String), String>,
    /// What remedies of the pile's boards ask for.
    wanted: BTreeSet<String>,
}

/// What a vendor's words were taken for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Meant {
    /// This item.
    Item(String),
    /// One of several, or none that is known; kept under a name of its own.
    Open {
        /// The name it is kept under.
        own: String,
        /// Items that it could be.
        near: Vec<String>,
    },
}

impl Items {
    /// All items that remedies ask for, vendors offer, or the drawer holds.
    pub(crate) fn of(state: &State) -> Items {
        let mut items = Items {
            known: BTreeMap::new(),
            learnt: BTreeMap::new(),
            wanted: BTreeSet::new(),
        };
        if let Ok(boards) = state.boards() {
            for board in boards.values() {
                for part in &board.parts {
                    let library = &state.folder.library;
                    let remedies = library.remedies_for(part.device.as_deref(), &board.id);
                    for remedy in remedies {
                        items.wanted.extend(remedy.fitted().cloned());
                        let build = remedy.build.as_ref().and_then(|id| library.build(id));
                        let parts = build.into_iter().flat_map(|build| &build.uses);
                        items.wanted.extend(parts.map(|(item, _)| item.clone()));
                    }
                }
            }
        }
        for item in &items.wanted {
            items.known.entry(item.clone()).or_default();
        }
        for offer in &state.folder.offers {
            let words = items.known.entry(offer.item.clone()).or_default();
            words.insert(plain(&offer.title));
            let key = (offer.vendor.clone(), plain(&offer.title));
            items.learnt.insert(key, offer.item.clone());
        }
        items
    }

    /// A remedy of the pile's boards asks for it.
    pub(crate) fn is_wanted(&self, item: &str) -> bool {
        self.wanted.contains(item)
    }

    /// The item of these names, the vendor's number first.
    pub(crate) fn meant(&self, vendor: &str, names: &[&str]) -> Meant {
        let names: Vec<&str> = names
            .iter()
            .copied()
            .filter(|name| !name.is_empty())
            .collect();
        for name in &names {
            if let Some(item) = self.exact(vendor, name) {
                return Meant::Item(item);
            }
        }
        let words: BTreeSet<String> = names.iter().flat_map(|name| words(name)).collect();
        let mut best: Vec<&String> = Vec::new();
        let mut most = 0;
        for item in self.known.keys() {
            let Some(fit) = fit(item, &words) else {
                continue;
            };
            match fit.cmp(&most) {
                std::cmp::Ordering::Greater => (most, best) = (fit, vec![item]),
                std::cmp::Ordering::Equal => best.push(item),
                std::cmp::Ordering::Less => {}
            }
        }
        match best.as_slice() {
            [one] => Meant::Item((*one).clone()),
            several => Meant::Open {
                own: own_name(names.last().copied().unwrap_or_default()),
                near: several.iter().take(3).map(|item| (*item).clone()).collect(),
            },
        }
    }

    fn exact(&self, vendor: &str, name: &str) -> Option<String> {
        let name = plain(name);
        let learnt = self.learnt.get(&(vendor.to_string(), name.clone()));
        let named = || self.known.keys().find(|item| plain(item) == name);
        let called = || {
            let mut all = self.known.iter().filter(|(_, words)| words.contains(&name));
            all.next()
                .map(|(item, _)| item)
                .filter(|_| all.next().is_none())
        };
        learnt.or_else(named).or_else(called).cloned()
    }
}

/// Words that say in which state a part is sold; one that the vendor names must be the item's too.
const STATES: [(&str, &[&str]); 3] = [
    ("used", &["used", "pulled", "refurbished", "gebraucht"]),
    ("nos", &["nos", "old", "vintage"]),
    ("modern", &["modern", "equivalent", "replacement"]),
];

/// How many words of an item's name the vendor's words hold; nothing if one is missing.
fn fit(item: &str, said: &BTreeSet<String>) -> Option<usize> {
    let mut fit = 0;
    let own = words(item);
    for word in &own {
        let package = ["dip", "so", "to", "soic", "plcc"].iter().any(|kind| {
            word.strip_prefix(kind)
                .is_some_and(|rest| rest.chars().all(|c| c.is_ascii_digit()))
        });
        let state = STATES.iter().find(|(name, _)| name == word);
        let there = match state {
            Some((_, other)) => other.iter().any(|one| said.contains(*one)),
            None => said.contains(word),
        };
        match (there, package) {
            (true, _) => fit += 1,
            (false, true) => {}
            (false, false) => return None,
        }
    }
    // something sold as used is no new one
    let other_state = STATES[..1].iter().any(|(name, words)| {
        !own.iter().any(|word| word == name) && words.iter().any(|one| said.contains(*one))
    });
    (fit > 0 && !other_state).then_some(fit)
}

/// Words of letters and digits, lower case; a number with the unit behind it is one word.
fn words(name: &str) -> Vec<String> {
    let lower = name.to_lowercase();
    let mut words: Vec<String> = Vec::new();
    for word in lower.split(|c: char| !(c.is_alphanumeric() || c == '.')) {
        let word = word.trim_matches('.');
        let unit = ["ns", "mhz", "khz", "v", "a", "pins"].contains(&word);
        match words.last_mut() {
            Some(last) if unit && last.chars().all(|c| c.is_ascii_digit() || c == '.') => {
                let joined = format!("{last}{word}");
                words.push(joined);
            }
            _ if !word.is_empty() => words.push(word.to_string()),
            _ => {}
        }
    }
    words
}

/// A name for what no remedy asks for: `crystal-14.000-mhz`.
fn own_name(name: &str) -> String {
    let lower = name.to_lowercase();
    let words = lower
        .split(|c: char| !(c.is_alphanumeric() || c == '.'))
        .filter(|word| !word.is_empty());
    let mut own = words.collect::<Vec<_>>().join("-");
    if own.is_empty() {
        own = "item".to_string();
    }
    own.chars().take(60).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn items() -> Items {
        let known = [
            "4164-150ns",
            "4164-used",
            "74ls245-dip20",
            "74hct245-so20",
            "z80a-dip40",
            "z80a-used",
            "crystal-14.000",
            "ov-2-nos",
            "ov-2-used",
        ];
        let mut items = Items {
            known: known
                .iter()
                .map(|item| ((*item).to_string(), BTreeSet::new()))
                .collect(),
            learnt: BTreeMap::new(),
            wanted: BTreeSet::new(),
        };
        items.learnt.insert(
            ("swan".to_string(), "dram x".to_string()),
            "4164-150ns".to_string(),
        );
        items
    }

    #[test]
    fn words_of_a_vendor() {
        let check = |names: &[&str], expect: &str| {
            let found = match items().meant("swan", names) {
                Meant::Item(item) => item,
                Meant::Open { own, near } => format!("{own}? {}", near.join(" ")),
            };
            assert_eq!(found, expect, "{names:?}");
        };
        check(&["4164-150ns"], "4164-150ns");
        check(&["A-17", "4164, 150 ns"], "4164-150ns");
        check(&["DRAM X"], "4164-150ns");
        check(&["74LS245N"], "74ls245n? ");
        check(&["74LS245"], "74ls245-dip20");
        check(&["Z80A CPU, used"], "z80a-used");
        check(&["Z80A CPU"], "z80a-dip40");
        check(&["crystal 14.000 MHz"], "crystal-14.000");
        check(&["OV-2 video controller, new old stock"], "ov-2-nos");
        check(&["OV-2 video controller"], "ov-2-video-controller? ");
        check(&["ferrite bead"], "ferrite-bead? ");
        check(&["…"], "item? ");
    }
}
