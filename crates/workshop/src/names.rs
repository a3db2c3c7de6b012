//! Finding a thing by what a person typed.

use crate::words::quoted;

/// How well a typed name fits, best first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fit {
    /// The name itself.
    Exact,
    /// Another name it goes by.
    Other,
    /// The start of one of its names.
    Start,
    /// The starts of some of its words, in order.
    Words,
}

/// Lower case, one space between words; hyphens and underscores count as spaces.
pub(crate) fn plain(text: &str) -> String {
    let spaced = text.to_lowercase().replace(['-', '_', '\u{a0}'], " ");
    // A sign is part of a rail's name.
    let text = if text.trim_start().starts_with('-') {
        format!("-{}", spaced.trim_start())
    } else {
        spaced
    };
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// Words that tell nothing by themselves.
const FILLERS: [&str; 5] = ["a", "an", "the", "of", "at"];

/// How well `typed` fits a thing with these names; the first is its own. `typed` is [`plain`].
pub(crate) fn fit<'n>(typed: &str, names: impl IntoIterator<Item = &'n str>) -> Option<Fit> {
    if typed.is_empty() {
        return None;
    }
    let telling = typed.split(' ').any(|word| !FILLERS.contains(&word));
    let mut best: Option<Fit> = None;
    for (index, name) in names.into_iter().enumerate() {
        let name = plain(name);
        let fit = if name == typed {
            if index == 0 { Fit::Exact } else { Fit::Other }
        } else if !telling {
            continue;
        } else if name.starts_with(typed) {
            Fit::Start
        } else if words_in_order(typed, &name) {
            Fit::Words
        } else {
            continue;
        };
        best = Some(best.map_or(fit, |old| old.min(fit)));
    }
    best
}

fn words_in_order(typed: &str, name: &str) -> bool {
    let mut words =
        name.split(|c: char| c.is_whitespace() || matches!(c, ',' | '?' | '(' | ')' | ':'));
    typed
        .split(' ')
        .all(|part| words.any(|word| word.starts_with(part)))
}

/// The things that fit best, with how well.
pub(crate) fn best<T: Copy>(fits: impl IntoIterator<Item = (Fit, T)>) -> Option<(Fit, Vec<T>)> {
    let mut fits: Vec<(Fit, T)> = fits.into_iter().collect();
    let top = fits.iter().map(|(fit, _)| *fit).min()?;
    fits.retain(|(fit, _)| *fit == top);
    Some((top, fits.into_iter().map(|(_, thing)| thing).collect()))
}

/// The three names nearest to what was typed.
pub(crate) fn nearest<'n>(typed: &str, known: impl IntoIterator<Item = &'n str>) -> Vec<&'n str> {
    nearest_of(typed, known.into_iter().map(|name| (name, [name])))
}

/// Letters from which on what was typed may be the beginning of a name.
const LEAST_BEGINNING: usize = 3;

/// The same of things that go by several names; the first of each pair is said.
pub(crate) fn nearest_of<'n, N: IntoIterator<Item = &'n str>>(
    typed: &str,
    known: impl IntoIterator<Item = (&'n str, N)>,
) -> Vec<&'n str> {
    let typed: String = plain(typed).chars().take(64).collect();
    // what begins with all that was typed is nearest, however long it is
    let far = |name: &str| {
        let name = plain(name);
        let begins = typed.len() >= LEAST_BEGINNING && name.starts_with(&typed);
        (!begins, strsim::damerau_levenshtein(&typed, &name))
    };
    let mut known: Vec<((bool, usize), &str)> = known
        .into_iter()
        .filter_map(|(name, names)| Some((names.into_iter().map(far).min()?, name)))
        .collect();
    known.sort();
    known.dedup_by_key(|(_, name)| *name);
    known.into_iter().take(3).map(|(_, name)| name).collect()
}

/// `` `a`, `b` or `c` ``.
pub(crate) fn choices<'n>(names: impl IntoIterator<Item = &'n str>) -> String {
    let names: Vec<String> = names.into_iter().map(quoted).collect();
    crate::words::listed(&names, "or")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_nearest_by_any_of_its_names() {
        let known = [
            ("bit0", vec!["bit0"]),
            ("cpu-reset", vec!["cpu-reset", "cpu", "reset"]),
        ];
        assert_eq!(nearest_of("rset", known), ["cpu-reset", "bit0"]);
    }

    #[test]
    fn fits() {
        let names = ["cpu-clock", "ck", "Clock at the CPU"];
        let check = |typed: &str, expect: Option<Fit>| {
            assert_eq!(fit(&plain(typed), names), expect, "{typed}")
        };
        check("cpu-clock", Some(Fit::Exact));
        check("CPU clock", Some(Fit::Exact));
        check("ck", Some(Fit::Other));
        check("clock at the cpu", Some(Fit::Other));
        check("cpu", Some(Fit::Start));
        check("clock cpu", Some(Fit::Words));
        check("cl cpu", Some(Fit::Words));
        check("cpu at", None);
        check("at", None);
        check("at the", None);
        check("", None);
    }

    #[test]
    fn near_names() {
        assert_eq!(
            nearest("pictur", ["sound", "picture", "clock"])[0],
            "picture"
        );
        assert_eq!(choices(["a", "b"]), "`a` or `b`");
    }

    #[test]
    fn rails_keep_their_sign() {
        assert_eq!(plain("-5V"), "-5v");
        assert_eq!(plain("+5 V"), "+5 v");
        assert_eq!(plain("dot-clock_2"), "dot clock 2");
    }
}
