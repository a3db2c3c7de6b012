//! The names of a profile and what they stand for.

use std::collections::BTreeMap;

use crate::fields::At;
use crate::problem::{Problems, shown};
use crate::profile::{Mode, RailSide, Site, Target};
use crate::range::expand_range;
use crate::source::Span;

/// What has a name in a profile.
#[derive(Debug, Default)]
pub(crate) struct Names {
    /// Modes of each part.
    parts: BTreeMap<String, Vec<(String, Site)>>,
    rails: BTreeMap<String, ()>,
    functions: BTreeMap<String, ()>,
}

/// Ids that must be used once.
#[derive(Debug, Default)]
pub(crate) struct Once {
    seen: BTreeMap<String, (Span, &'static str)>,
}

impl Once {
    /// Takes an id down; a second use of it is a problem.
    pub(crate) fn check(
        &mut self,
        name: &At<String>,
        what: &'static str,
        problems: &mut Problems<'_>,
    ) -> bool {
        let Some((first, kind)) = self.seen.get(&name.value) else {
            self.seen
                .insert(name.value.clone(), (name.span.clone(), what));
            return true;
        };
        let hint = if first.is_empty() {
            format!("{kind} of this name comes from the devices' roles")
        } else {
            format!(
                "{kind} of this name is at line {}",
                problems.source().place(first.start).0
            )
        };
        problems.add_with(
            &name.span,
            "a name used once",
            format!("{} again", shown(&name.value)),
            Some(hint),
        );
        false
    }
}

impl Names {
    pub(crate) fn add_part(&mut self, reference: &str, modes: &[Mode]) {
        let modes = modes
            .iter()
            .map(|mode| (mode.id.clone(), mode.site))
            .collect();
        self.parts.insert(reference.to_owned(), modes);
    }

    pub(crate) fn add_rail(&mut self, name: &str) {
        self.rails.insert(name.to_owned(), ());
    }

    pub(crate) fn add_function(&mut self, id: &str) {
        self.functions.insert(id.to_owned(), ());
    }

    pub(crate) fn has_part(&self, reference: &str) -> bool {
        self.parts.contains_key(reference)
    }

    pub(crate) fn has_function(&self, id: &str) -> bool {
        self.functions.contains_key(id)
    }

    /// What a name stands for, if it is a function, a rail or one side of a rail.
    pub(crate) fn find_target(&self, name: &str) -> Option<Target> {
        let rail = |name: &str, side| {
            self.rails
                .contains_key(name)
                .then(|| Target::Rail(name.to_owned(), side))
        };
        if let Some(rail_name) = name.strip_suffix(".present") {
            return rail(rail_name, RailSide::Present);
        }
        if let Some(rail_name) = name.strip_suffix(".high") {
            return rail(rail_name, RailSide::High);
        }
        rail(name, RailSide::Whole).or_else(|| {
            self.has_function(name)
                .then(|| Target::Function(name.to_owned()))
        })
    }

    /// A function or rail that must exist.
    pub(crate) fn target(&self, name: &At<String>, problems: &mut Problems<'_>) -> Option<Target> {
        let target = self.find_target(&name.value);
        if target.is_none() {
            let what = if self.has_part(&name.value) {
                "a function or a rail (a part is neither)"
            } else {
                "a function or a rail of this profile"
            };
            let known = self
                .functions
                .keys()
                .chain(self.rails.keys())
                .map(String::as_str);
            problems.unknown(&name.span, what, &name.value, known);
        }
        target
    }

    /// A function, or a rail meaning its `present`.
    pub(crate) fn present(&self, name: &At<String>, problems: &mut Problems<'_>) -> Option<Target> {
        match self.target(name, problems)? {
            Target::Rail(_, RailSide::High) => {
                problems.add(
                    &name.span,
                    "a function or a rail's `present`",
                    shown(&name.value),
                );
                None
            }
            Target::Rail(rail, _) => Some(Target::Rail(rail, RailSide::Present)),
            function => Some(function),
        }
    }

    /// A function that must exist.
    pub(crate) fn function(
        &self,
        name: &At<String>,
        problems: &mut Problems<'_>,
    ) -> Option<String> {
        if self.has_function(&name.value) {
            return Some(name.value.clone());
        }
        let known = self.functions.keys().map(String::as_str);
        problems.unknown(&name.span, "a function of this profile", &name.value, known);
        None
    }

    /// Parts by reference, range (`U16-U23`) or pattern (`U*`).
    pub(crate) fn parts(&self, name: &At<String>, problems: &mut Problems<'_>) -> Vec<String> {
        if let Some(found) = self.find_parts(&name.value) {
            return found;
        }
        self.unknown_part(name, &name.value, problems);
        Vec::new()
    }

    /// The parts that a reference, range or pattern names, if they all exist.
    pub(crate) fn find_parts(&self, name: &str) -> Option<Vec<String>> {
        if self.has_part(name) {
            return Some(vec![name.to_owned()]);
        }
        if let Some(prefix) = name.strip_suffix('*') {
            let found: Vec<String> = self
                .parts
                .keys()
                .filter(|part| part.starts_with(prefix))
                .cloned()
                .collect();
            return Some(found).filter(|found| !found.is_empty());
        }
        expand_range(name).filter(|members| members.iter().all(|member| self.has_part(member)))
    }

    fn unknown_part(&self, name: &At<String>, shown_name: &str, problems: &mut Problems<'_>) {
        let known = self.parts.keys().map(String::as_str);
        problems.unknown(&name.span, "a part of this profile", shown_name, known);
    }

    /// Modes by `U1.dead`; the part may be a range or a pattern, and a pattern takes those parts that have the mode.
    pub(crate) fn modes(
        &self,
        name: &At<String>,
        site: Option<Site>,
        problems: &mut Problems<'_>,
    ) -> Vec<(String, String)> {
        let Some((part, mode)) = name.value.rsplit_once('.') else {
            problems.add(&name.span, "a mode as `U1.dead`", shown(&name.value));
            return Vec::new();
        };
        let Some(mut parts) = self.find_parts(part) else {
            self.unknown_part(name, part, problems);
            return Vec::new();
        };
        if part.ends_with('*') && parts.iter().any(|part| self.has_mode(part, mode, site)) {
            parts.retain(|part| self.has_mode(part, mode, site));
        }
        if let Some(without) = parts.iter().find(|part| !self.has_mode(part, mode, site)) {
            let what = match site {
                Some(Site::Chip) => format!("a chip mode of {}", shown(without)),
                _ => format!("a mode of {}", shown(without)),
            };
            let known = self.parts[without]
                .iter()
                .filter(|(_, known)| site.is_none_or(|site| site == *known));
            problems.unknown(&name.span, &what, mode, known.map(|(id, _)| id.as_str()));
            return Vec::new();
        }
        parts
            .into_iter()
            .map(|part| (part, mode.to_owned()))
            .collect()
    }

    fn has_mode(&self, part: &str, mode: &str, site: Option<Site>) -> bool {
        let modes = self.parts.get(part).map(Vec::as_slice).unwrap_or_default();
        modes
            .iter()
            .any(|(id, known)| id == mode && site.is_none_or(|site| site == *known))
    }

    /// Everything that `needs` may name.
    pub(crate) fn all(&self) -> impl Iterator<Item = &str> {
        self.parts
            .keys()
            .chain(self.rails.keys())
            .chain(self.functions.keys())
            .map(String::as_str)
    }
}
