//! Chips that change places: with another machine, the mule, or a loose chip.

use catalogue::Profile;

use crate::{
    Error, ErrorKind,
    acts::mark,
    entry::find_tag,
    intake::find_part,
    names::choices,
    pile::{Machine, Place},
    rows::owner,
    words::quoted,
    workshop::{Result, State},
};

/// What a swap means for what is looked at next.
pub(crate) fn exchanged(a: (&str, &str), b: (&str, &str)) -> String {
    let place = |(tag, part): (&str, &str)| format!("{part} of {}", owner(tag));
    if a.0 == b.0 {
        return format!(
            "{} and {} have changed places. Look again: does the fault go with the chip, or stay?",
            a.1,
            place(b)
        );
    }
    format!(
        "{} and {} have changed places. Look at both: does the fault go with the chip, or stay?",
        place(a),
        place(b)
    )
}

/// A swap by the other machine, the mule, or the mark of a chip.
pub(crate) fn swap(
    state: &State,
    machine: &Machine,
    part: String,
    board: &Profile,
    typed: &Typed<'_>,
) -> Result<journal::Act> {
    let with = typed.with.trim();
    let there = match (state.pile.marks.get(with), typed.there) {
        (Some(Place::Loose), _) => return swap_in(state, machine, part, board, typed),
        (Some(Place::In { machine, part }), None) => (machine.clone(), part.clone()),
        (_, there) => {
            let tags = state.tags();
            let other = find_tag(with, &tags).map_err(|problem| {
                let loose = |(mark, place): (&String, &Place)| {
                    (*place == Place::Loose).then(|| mark.clone())
                };
                let marks: Vec<String> = state.pile.marks.iter().filter_map(loose).collect();
                let problem = match marks.as_slice() {
                    [] => format!("{problem}, and no loose chip has a mark"),
                    marks => format!(
                        "{problem}; loose chips are marked {}",
                        choices(marks.iter().map(String::as_str))
                    ),
                };
                Error::new(ErrorKind::NotFound, problem)
                    .hint("name a machine, `mule`, or the mark of a loose chip")
            })?;
            (other, there.map_or(part.clone(), str::to_string))
        }
    };
    let other = state.machine(&there.0)?;
    let their_board = state.folder.board(&other.board)?;
    let refuse = |problem| Error::new(ErrorKind::NotFound, problem).hint("nothing was written");
    let there = (there.0, find_part(&there.1, &their_board).map_err(refuse)?);
    one_type(
        (&machine.tag, board, &part),
        (&there.0, &their_board, &there.1),
    )?;
    Ok(journal::Act::Swap {
        part,
        with: there.0,
        there: there.1,
    })
}

/// A marked chip goes only where chips of its type sit.
pub(crate) fn fits(
    state: &State,
    machine: &Machine,
    part: &str,
    board: &Profile,
    mark: &str,
) -> Result<()> {
    let Some((tag, from)) = state.pile.origins.get(mark) else {
        return Ok(());
    };
    let their_board = state.folder.board(&state.machine(tag)?.board)?;
    one_type((&machine.tag, board, part), (tag, &their_board, from))
}

/// Refuses positions, each by tag, board and part, that hold chips of two types.
fn one_type(here: (&str, &Profile, &str), there: (&str, &Profile, &str)) -> Result<()> {
    let device =
        |board: &Profile, part: &str| board.part(part).and_then(|part| part.device.clone());
    let (ours, theirs) = (device(here.1, here.2), device(there.1, there.2));
    let same = ours == theirs && (ours.is_some() || (here.2 == there.2 && here.1.id == there.1.id));
    if !same {
        let named = |device: Option<String>| {
            device.map_or_else(|| "an unnamed part".to_string(), |device| quoted(&device))
        };
        return Err(Error::new(
            ErrorKind::Refused,
            format!(
                "expected two chips of one type, found {} in {} of {} and {} in {} of {}",
                named(ours),
                here.2,
                here.0,
                named(theirs),
                there.2,
                there.0
            ),
        )
        .hint("nothing was written"));
    }
    Ok(())
}

/// A loose chip goes in, what was there comes out with a mark.
fn swap_in(
    state: &State,
    machine: &Machine,
    part: String,
    board: &Profile,
    typed: &Typed<'_>,
) -> Result<journal::Act> {
    fits(state, machine, &part, board, typed.with.trim())?;
    let own = machine.marked.get(&part);
    let given = mark(typed.old_mark)?;
    if own.is_none() && given.is_none() && !machine.empty.contains(&part) {
        let suggestion = format!("{}-{part}", machine.tag);
        return Err(Error::new(
            ErrorKind::Refused,
            format!(
                "{part} of {} has no mark yet, so nobody could tell it from others once it is out",
                machine.tag
            ),
        )
        .hint(format!(
            "put a dot or a sticker on it and say so: `--old-mark {suggestion}`"
        )));
    }
    debug_assert!(state.pile.marks.contains_key(typed.with.trim()));
    Ok(journal::Act::Fit {
        part,
        chip: journal::Chip::Marked(typed.with.trim().to_string()),
        old_mark: given,
    })
}

/// A swap as it was typed.
pub(crate) struct Typed<'t> {
    pub(crate) with: &'t str,
    pub(crate) there: Option<&'t str>,
    pub(crate) old_mark: &'t Option<String>,
}
