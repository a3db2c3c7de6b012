//! The take-in line `9 from Harbour Street, 270.00` and its exceptions.

use catalogue::{Event, Profile, Scope};
use units::{Currency, Money};

use crate::{
    entry::find_tag,
    names::{best, choices, fit, nearest, plain},
    pile::tag_parts,
    words::quoted,
};

/// Most machines of one lot.
const MOST: u64 = 500;

/// Tag of the mule.
pub(crate) const MULE: &str = "mule";

/// A take-in line as it was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct LotLine {
    pub(crate) count: usize,
    pub(crate) from: String,
    /// In smallest coins.
    pub(crate) price: i64,
}

/// An exception as it was understood.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Exception {
    /// A position without a chip.
    Absent { tag: String, part: String },
    /// Something known from the history.
    Event {
        tag: String,
        event: String,
        title: String,
    },
    /// Something known of the whole lot.
    LotEvent { event: String, title: String },
}

/// Reads `9 from Harbour Street, 270.00`.
pub(crate) fn lot_line(line: &str, currency: Currency) -> Result<LotLine, String> {
    let example = format!(
        "such as `9 from Harbour Street, 270.00`, found {}",
        quoted(line)
    );
    if line.len() > 1000 {
        return Err("expected a line of at most 1000 characters".to_string());
    }
    let line = line.trim();
    let (first, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let count =
        count(first).ok_or_else(|| format!("expected a number of machines first, {example}"))?;
    if count == 0 || count > MOST {
        return Err(format!("expected 1 to {MOST} machines, found `{first}`"));
    }
    let (place, price) = split_price(rest, currency)
        .ok_or_else(|| format!("expected a price at the end, {example}; write `, 0` for a gift"))?;
    let place = ["machines", "machine", "pieces", "boards"]
        .iter()
        .find_map(|word| place.strip_prefix(word))
        .unwrap_or(place)
        .trim();
    let word = |rest: &&str| rest.is_empty() || rest.starts_with(char::is_whitespace);
    let from = place
        .strip_prefix("from")
        .filter(word)
        .unwrap_or(place)
        .trim();
    if from.is_empty() {
        return Err(format!("expected where they came from, {example}"));
    }
    let minor = price.to_minor();
    if price.currency != currency {
        return Err(format!(
            "expected a price in {currency}, found {price}; reckon it over first"
        ));
    }
    if minor < 0 {
        return Err(format!(
            "expected a price of 0 or more, found {}",
            price.amount_text()
        ));
    }
    Ok(LotLine {
        count: usize::try_from(count).unwrap_or(1),
        from: from.to_string(),
        price: minor,
    })
}

/// The line speaks of the mule: `the mule`.
pub(crate) fn is_mule(line: &str) -> bool {
    let line = plain(line);
    let word = ["the ", "a ", "our ", "my ", "1 ", "one "]
        .iter()
        .find_map(|start| line.strip_prefix(start))
        .unwrap_or(&line);
    word == MULE
}

/// The mule's tag, if another is there already by the name that was given.
pub(crate) fn mule_tag(named: Option<&str>, taken: &[String]) -> Result<String, String> {
    let tag = named.map_or(MULE, str::trim);
    let sound = !tag.is_empty()
        && tag.len() <= 20
        && tag
            .chars()
            .all(|c| c.is_alphanumeric() || "-_.".contains(c))
        && !tag.ends_with(|c: char| c.is_ascii_digit());
    if !sound {
        return Err(format!(
            "expected a name that ends in a letter, such as `mule-b`, found {}",
            quoted(tag)
        ));
    }
    if taken.iter().any(|other| plain(other) == plain(tag)) {
        return Err(format!(
            "there is {} already; give the mule of another board a name of its own, such as `mule-b`, as its first tag",
            quoted(tag)
        ));
    }
    Ok(tag.to_string())
}

fn count(word: &str) -> Option<u64> {
    const WORDS: [&str; 12] = [
        "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven",
        "twelve",
    ];
    let named = (1..)
        .zip(WORDS)
        .find(|(_, name)| name.eq_ignore_ascii_case(word))
        .map(|(n, _)| n);
    named.or_else(|| word.trim_end_matches(['x', '×']).parse().ok())
}

/// The place before the price, and the price: behind the first comma or `for` after which an amount stands.
fn split_price(rest: &str, currency: Currency) -> Option<(&str, Money)> {
    let cuts = rest
        .match_indices(", ")
        .chain(rest.match_indices(','))
        .chain(rest.match_indices(" for "));
    let mut cuts: Vec<(usize, &str)> = cuts.collect();
    cuts.sort();
    cuts.into_iter().find_map(|(at, cut)| {
        let price = Money::parse(rest[at + cut.len()..].trim(), currency).ok()?;
        Some((rest[..at].trim(), price))
    })
}

/// The tags of a new lot.
pub(crate) fn new_tags(
    first: Option<&str>,
    count: usize,
    taken: &[String],
) -> Result<Vec<String>, String> {
    let (prefix, number, width) = match first.map(str::trim) {
        Some(tag) => {
            let sound = !tag.is_empty()
                && tag.len() <= 20
                && tag
                    .chars()
                    .all(|c| c.is_alphanumeric() || "-_.".contains(c));
            let parts = tag_parts(tag).filter(|_| sound);
            parts.ok_or_else(|| {
                format!("expected a first tag such as `T-01`, found {}", quoted(tag))
            })?
        }
        None => {
            let highest = taken
                .iter()
                .filter_map(|tag| tag_parts(tag))
                .filter(|(prefix, ..)| *prefix == "T-");
            (
                "T-",
                highest
                    .map(|(_, number, _)| number)
                    .max()
                    .unwrap_or(0)
                    .saturating_add(1),
                2,
            )
        }
    };
    let last = number
        .checked_add(count as u64)
        .ok_or("expected a smaller first tag")?;
    let tags: Vec<String> = (number..last)
        .map(|n| format!("{prefix}{n:0width$}"))
        .collect();
    match tags.iter().find(|tag| taken.contains(tag)) {
        Some(tag) => Err(format!(
            "there is a machine {tag} already; name a first tag that is free"
        )),
        None => Ok(tags),
    }
}

/// Splits texts into single exceptions.
pub(crate) fn pieces(texts: &[String]) -> Vec<&str> {
    texts
        .iter()
        .flat_map(|text| text.split([';', '\n']))
        .map(str::trim)
        .filter(|piece| !piece.is_empty())
        .collect()
}

/// The board an exception names, if it names one: `T-03 board ostrel-8-r2`.
pub(crate) fn board_exception(
    piece: &str,
    tags: &[String],
) -> Option<Result<(String, String), String>> {
    let (tag, rest) = piece.split_once(char::is_whitespace)?;
    let (word, board) = rest.trim().split_once(char::is_whitespace)?;
    if !["board", "starter"].contains(&word.to_lowercase().as_str()) {
        return None;
    }
    Some(find_tag(tag, tags).map(|tag| (tag, board.trim().to_string())))
}

/// Reads an exception other than a board: `T-06 U9 absent`, `T-06 battery leaked`, `lot damp`.
pub(crate) fn exception<'p>(
    piece: &str,
    tags: &[String],
    profile: impl Fn(&str) -> Option<&'p Profile>,
) -> Result<Vec<Exception>, String> {
    let example = "such as `T-06 U9 absent` or `T-06 battery leaked`";
    let Some((who, what)) = piece.split_once(|c: char| c.is_whitespace() || c == ':') else {
        return Err(format!(
            "expected a machine and what is different, {example}, found {}",
            quoted(piece)
        ));
    };
    let what = what.trim();
    if ["lot", "all"].contains(&who.to_lowercase().as_str()) {
        let board = tags
            .first()
            .and_then(|tag| profile(tag))
            .ok_or("no board")?;
        let event = find_event(what, board, Some(Scope::Lot))?;
        return Ok(vec![Exception::LotEvent {
            event: event.id.clone(),
            title: event.title.clone(),
        }]);
    }
    let tag = find_tag(who, tags)?;
    let board = profile(&tag).ok_or_else(|| format!("{tag} has no board"))?;
    if let Some(parts) = absent(what) {
        return parts
            .into_iter()
            .map(|part| {
                Ok(Exception::Absent {
                    tag: tag.clone(),
                    part: find_part(part, board)?,
                })
            })
            .collect();
    }
    let event = find_event(what, board, None)?;
    Ok(vec![match event.scope {
        Scope::Machine => Exception::Event {
            tag,
            event: event.id.clone(),
            title: event.title.clone(),
        },
        Scope::Lot => Exception::LotEvent {
            event: event.id.clone(),
            title: event.title.clone(),
        },
    }])
}

/// The positions of `U9, U10 and U11 absent`.
fn absent(what: &str) -> Option<Vec<&str>> {
    let (parts, last) = what.rsplit_once(char::is_whitespace)?;
    if !["absent", "missing", "empty", "gone"].contains(&last.to_lowercase().as_str()) {
        return None;
    }
    let parts = parts.trim();
    let parts = parts
        .strip_suffix(" is")
        .or_else(|| parts.strip_suffix(" are"))
        .unwrap_or(parts);
    Some(
        parts
            .split([',', ' '])
            .filter(|part| !part.is_empty() && *part != "and")
            .collect(),
    )
}

/// The position that was typed.
pub(crate) fn find_part(typed: &str, board: &Profile) -> Result<String, String> {
    let found = board
        .parts
        .iter()
        .find(|part| part.reference.eq_ignore_ascii_case(typed.trim()));
    found.map(|part| part.reference.clone()).ok_or_else(|| {
        let near = nearest(typed, board.parts.iter().map(|part| &*part.reference));
        let near = if near.is_empty() {
            String::new()
        } else {
            format!("; nearest are {}", choices(near))
        };
        format!(
            "the board `{}` has no part {}{near}",
            board.id,
            quoted(typed)
        )
    })
}

fn find_event<'p>(
    typed: &str,
    board: &'p Profile,
    scope: Option<Scope>,
) -> Result<&'p Event, String> {
    let events = || {
        board
            .events
            .iter()
            .filter(|event| scope.is_none_or(|scope| event.scope == scope))
    };
    let word = plain(typed);
    let straight =
        best(events().filter_map(|event| Some((fit(&word, [&*event.id, &*event.title])?, event))));
    let found = match straight {
        Some((_, found)) => found,
        None => same_words(&word, events()),
    };
    match found.as_slice() {
        [one] => Ok(one),
        [] => {
            let known: Vec<&str> = events().map(|event| &*event.id).collect();
            let known = match known.len() {
                0 => "; this board knows no such events".to_string(),
                1..=8 => format!("; known are {}", choices(known)),
                _ => format!("; nearest are {}", choices(nearest(typed, known))),
            };
            Err(format!(
                "expected `U9 absent`, a board or something that happened, found {}{known}",
                quoted(typed)
            ))
        }
        many => Err(format!(
            "{} could be {}",
            quoted(typed),
            choices(many.iter().map(|event| &*event.id))
        )),
    }
}

/// Events that share the most words with what was typed, whatever their order: `leaking battery`.
fn same_words<'p>(typed: &str, events: impl Iterator<Item = &'p Event>) -> Vec<&'p Event> {
    let stem = |word: &str| word.chars().take(4).collect::<String>();
    let typed: Vec<String> = typed
        .split(' ')
        .filter(|word| word.len() > 2 && *word != "the")
        .map(stem)
        .collect();
    let count = |event: &Event| {
        let name = plain(&format!("{} {}", event.id, event.title));
        typed
            .iter()
            .filter(|part| name.split(' ').any(|word| word.starts_with(part.as_str())))
            .count()
    };
    let counted: Vec<(usize, &Event)> = events.map(|event| (count(event), event)).collect();
    let most = counted.iter().map(|(count, _)| *count).max().unwrap_or(0);
    if most == 0 {
        return Vec::new();
    }
    counted
        .into_iter()
        .filter(|(count, _)| *count == most)
        .map(|(_, event)| event)
        .collect()
}

/// A price shared out so that the shares add up to it.
pub(crate) fn shares(price: i64, count: usize) -> Vec<i64> {
    let count = i64::try_from(count.max(1)).unwrap_or(1);
    let (each, rest) = (price.div_euclid(count), price.rem_euclid(count));
    (0..count)
        .map(|index| each + i64::from(index < rest))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use catalogue::{Block, Cause, Mount, Part};
    use proptest::prelude::*;

    fn board() -> Profile {
        let part = |reference: &str| Part {
            reference: reference.to_string(),
            title: String::new(),
            block: "all".to_string(),
            device: None,
            mount: Mount::Socket,
            optional: false,
            modes: Vec::new(),
            area: None,
        };
        let event = |id: &str, title: &str, scope| Event {
            id: id.to_string(),
            title: title.to_string(),
            chance: 0.1,
            scope,
            causes: vec![Cause {
                part: "U9".to_string(),
                mode: "dead".to_string(),
                chance: 0.3,
            }],
        };
        Profile {
            id: "small".to_string(),
            blocks: vec![Block {
                id: "all".to_string(),
                title: "All".to_string(),
            }],
            parts: vec![part("U9"), part("U10"), part("X1")],
            events: vec![
                event("battery-leaked", "The battery leaked", Scope::Machine),
                event("overvoltage", "The supply ran too high", Scope::Machine),
                event("damp", "The lot stood in a damp place", Scope::Lot),
            ],
            ..Profile::default()
        }
    }

    fn check(line: &str, count: usize, from: &str, price: i64) {
        let found = lot_line(line, Currency::EUR).unwrap_or_else(|error| panic!("{line}: {error}"));
        assert_eq!(
            found,
            LotLine {
                count,
                from: from.to_string(),
                price
            }
        );
    }

    #[test]
    fn the_mule() {
        for line in ["the mule", "Mule", "our mule", "1 mule"] {
            assert!(is_mule(line), "{line}");
        }
        for line in ["9 mules from here, 1", "a mule from here, 2.00", ""] {
            assert!(!is_mule(line), "{line}");
        }
        let taken = ["T-01".to_string(), "mule".to_string()];
        assert_eq!(mule_tag(None, &taken[..1]).unwrap(), "mule");
        assert_eq!(mule_tag(Some("mule-b"), &taken).unwrap(), "mule-b");
        for (named, problem) in [
            (None, "there is `mule` already"),
            (Some("M-1"), "ends in a letter"),
        ] {
            assert!(mule_tag(named, &taken).unwrap_err().contains(problem));
        }
    }

    #[test]
    fn lots() {
        check("9 from Harbour Street, 270.00", 9, "Harbour Street", 27000);
        check("9 from Harbour Street, 270,00", 9, "Harbour Street", 27000);
        check("9 from Harbour Street, 270", 9, "Harbour Street", 27000);
        check(
            "9 from Harbour Street, 270.00 EUR",
            9,
            "Harbour Street",
            27000,
        );
        check(
            "nine machines from Harbour Street for 270",
            9,
            "Harbour Street",
            27000,
        );
        check(
            "3 from the attic, north side, 12.50",
            3,
            "the attic, north side",
            1250,
        );
        check("one from a friend, 0", 1, "a friend", 0);
        check("2 boards from Quay 7, 15", 2, "Quay 7", 1500);
    }

    fn refuse(line: &str, expect: &str) {
        assert_eq!(lot_line(line, Currency::EUR).unwrap_err(), expect, "{line}");
    }

    #[test]
    fn lots_refused() {
        let example = "such as `9 from Harbour Street, 270.00`, found";
        refuse(
            "",
            &format!("expected a number of machines first, {example} ``"),
        );
        refuse(
            "some from here, 5",
            &format!("expected a number of machines first, {example} `some from here, 5`"),
        );
        refuse("0 from here, 5", "expected 1 to 500 machines, found `0`");
        refuse(
            "9 from Harbour Street",
            &format!(
                "expected a price at the end, {example} `9 from Harbour Street`; write `, 0` for a gift"
            ),
        );
        refuse(
            "9 from Harbour Street, much",
            &format!(
                "expected a price at the end, {example} `9 from Harbour Street, much`; write `, 0` for a gift"
            ),
        );
        refuse(
            "9 from, 270",
            &format!("expected where they came from, {example} `9 from, 270`"),
        );
        refuse(
            "9 from here, -5",
            "expected a price of 0 or more, found -5.00",
        );
        refuse(
            "9 from here, 5 USD",
            "expected a price in EUR, found 5.00 USD; reckon it over first",
        );
    }

    #[test]
    fn tags() {
        let taken: Vec<String> = ["T-07", "T-02", "M-1"].map(str::to_string).to_vec();
        assert_eq!(new_tags(None, 2, &taken).unwrap(), ["T-08", "T-09"]);
        assert_eq!(new_tags(None, 1, &[]).unwrap(), ["T-01"]);
        assert_eq!(new_tags(Some("M-2"), 2, &taken).unwrap(), ["M-2", "M-3"]);
        assert_eq!(
            new_tags(Some("T-98"), 3, &taken).unwrap(),
            ["T-98", "T-99", "T-100"]
        );
        let refused =
            |first, expect: &str| assert_eq!(new_tags(Some(first), 1, &taken).unwrap_err(), expect);
        refused(
            "T-07",
            "there is a machine T-07 already; name a first tag that is free",
        );
        refused("T", "expected a first tag such as `T-01`, found `T`");
        refused("a b1", "expected a first tag such as `T-01`, found `a b1`");
        refused(
            "T-18446744073709551615",
            "expected a first tag such as `T-01`, found `T-18446744073709551615`",
        );
    }

    #[test]
    fn exceptions() {
        let board = board();
        let tags: Vec<String> = ["T-01", "T-02"].map(str::to_string).to_vec();
        let read = |piece: &str| exception(piece, &tags, |_| Some(&board));
        let absent = |tag: &str, part: &str| Exception::Absent {
            tag: tag.to_string(),
            part: part.to_string(),
        };
        assert_eq!(read("T-01 U9 absent").unwrap(), [absent("T-01", "U9")]);
        assert_eq!(
            read("t2 u9, U10 and x1 are missing").unwrap(),
            [
                absent("T-02", "U9"),
                absent("T-02", "U10"),
                absent("T-02", "X1")
            ]
        );
        for text in [
            "battery leaked",
            "battery-leaked",
            "leaked battery",
            "the battery had leaked",
        ] {
            let [Exception::Event { event, .. }] = &read(&format!("T-01 {text}")).unwrap()[..]
            else {
                panic!("{text}")
            };
            assert_eq!(event, "battery-leaked");
        }
        assert!(matches!(
            &read("lot damp").unwrap()[..],
            [Exception::LotEvent { .. }]
        ));
        let refuse =
            |piece: &str, expect: &str| assert_eq!(read(piece).unwrap_err(), expect, "{piece}");
        refuse(
            "T-09 U9 absent",
            "there is no machine `T-09`; nearest are `T-01` or `T-02`",
        );
        refuse(
            "T-01 U8 absent",
            "the board `small` has no part `U8`; nearest are `U9`, `U10` or `X1`",
        );
        refuse(
            "T-01 fell down",
            "expected `U9 absent`, a board or something that happened, found `fell down`; known are `battery-leaked`, `overvoltage` or `damp`",
        );
        refuse(
            "T-01",
            "expected a machine and what is different, such as `T-06 U9 absent` or `T-06 battery leaked`, found `T-01`",
        );
        assert_eq!(
            board_exception("T-01 starter z80-micro", &tags),
            Some(Ok(("T-01".to_string(), "z80-micro".to_string())))
        );
        assert_eq!(board_exception("T-01 U9 absent", &tags), None);
    }

    proptest! {
        #[test]
        fn shares_add_up(price in 0i64..1_000_000_000, count in 1usize..500) {
            let shares = shares(price, count);
            prop_assert_eq!(shares.len(), count);
            prop_assert_eq!(shares.iter().sum::<i64>(), price);
            prop_assert!(shares.iter().max().unwrap() - shares.iter().min().unwrap() <= 1);
        }

        #[test]
        fn any_line_is_read_without_panic(line in ".*") {
            let _ = lot_line(&line, Currency::EUR);
            let board = board();
            let _ = exception(&line, &["T-01".to_string()], |_| Some(&board));
            let _ = new_tags(Some(&line), 3, &[]);
        }
    }
}
