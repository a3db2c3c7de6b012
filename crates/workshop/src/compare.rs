//! Two revisions of a board side by side: what changed, and what it means for what was already found.

use std::{collections::BTreeSet, sync::Arc};

use catalogue::{About, Change, Difference, Profile, differences};
use journal::Line;
use serde::Serialize;

use crate::{
    Error, ErrorKind, Workshop,
    own_board::{OwnBoard, refused},
    reckon::{Boards, Reckoned},
    say,
    told::{Told, ToldLine},
    words::{capital, counted, listed, percent},
    workshop::{Result, State},
};

/// A board to compare.
#[derive(Debug, Clone, Copy)]
pub enum Revision<'a> {
    /// One of the workshop, or a starter.
    Board(&'a str),
    /// A file's name and its bytes.
    File(&'a str, &'a [u8]),
}

/// What changed, and whether the new revision was taken.
#[derive(Debug, Clone, Serialize)]
pub struct Compared {
    /// Differences.
    pub differences: usize,
    /// Machines taken in as the old revision.
    pub machines: usize,
    /// Journal lines that count now and would not count any more.
    pub lost: Vec<i64>,
    /// The new revision was put in place of the old one.
    pub taken: bool,
    /// What changed, in sentences.
    pub says: Told,
}

impl Workshop {
    /// Compares two revisions of a board, and says what the new one means for the machines that were taken in as the old one.
    /// If asked, the new revision's file takes the place of the old one's, which is kept beside it.
    ///
    /// # Errors
    /// If one cannot be read, or the new one is to be taken and is of another board.
    pub fn compare_boards(
        &self,
        old: Revision<'_>,
        new: Revision<'_>,
        take: bool,
    ) -> Result<Compared> {
        let (state, now) = {
            let inner = self.fresh()?;
            (inner.state(), inner.now())
        };
        let before = profile(&state, old)?;
        let after = profile(&state, new)?;
        let differences = differences(&before, &after);
        let holding: Vec<&str> = state
            .pile
            .machines
            .iter()
            .filter(|machine| machine.board == before.id)
            .map(|machine| machine.tag.as_str())
            .collect();
        let mut says = heading(&before, &after, &differences);
        for about in [
            About::Board,
            About::Rail,
            About::Part,
            About::Event,
            About::Function,
            About::Check,
            About::Outside,
        ] {
            let lines = differences
                .iter()
                .filter(|one| one.about == about)
                .map(difference_line);
            says.section(title(about), lines.collect());
        }
        let lost = if holding.is_empty() || differences.is_empty() {
            Vec::new()
        } else if before.id == after.id {
            means(&state, &before, &after, &mut says)?
        } else {
            let many = counted(holding.len(), "machine", "machines");
            says.say(format!("{} stay with {}.", capital(&many), before.id));
            Vec::new()
        };
        let taken = take && !differences.is_empty();
        if taken {
            self.take_revision(&state, old, new, &before, &after, &mut says, &now)?;
        }
        Ok(Compared {
            differences: differences.len(),
            machines: holding.len(),
            lost,
            taken,
            says,
        })
    }

    /// Puts a file in the place of a board's own, which is kept beside it.
    #[expect(
        clippy::too_many_arguments,
        reason = "both revisions as typed and as read, and where to say so"
    )]
    fn take_revision(
        &self,
        state: &State,
        old: Revision<'_>,
        new: Revision<'_>,
        before: &Profile,
        after: &Profile,
        says: &mut Told,
        now: &jiff::ZonedDateTime,
    ) -> Result<()> {
        let (Revision::Board(id), Revision::File(_, bytes)) = (old, new) else {
            let message = "expected a board of the workshop and a file to take in its place";
            return Err(Error::new(ErrorKind::Usage, message)
                .hint("nothing was written; name the board first, then the file"));
        };
        if before.id != after.id {
            let message = format!(
                "expected a file of the board {}, found one of {}",
                before.id, after.id
            );
            let hint = "nothing was written; a board of another id goes into the folder `boards` by itself";
            return Err(Error::new(ErrorKind::Refused, message).hint(hint));
        }
        let own = OwnBoard::find(self.dir(), &state.folder, id)?;
        let text = String::from_utf8_lossy(bytes);
        let kept = own.keep(&now.strftime("%Y%m%d-%H%M%S").to_string())?;
        own.write(&text)?;
        says.say(format!(
            "It was put in the place of {}; the old one is kept as {kept}.",
            own.name
        ));
        Ok(())
    }
}

fn profile(state: &State, revision: Revision<'_>) -> Result<Arc<Profile>> {
    match revision {
        Revision::Board(id) => state.folder.board(id),
        Revision::File(name, bytes) => {
            let read = catalogue::parse_profile_bytes(bytes, name, &state.folder.library);
            let read = match (read, state) {
                (Ok(read), state) => match state.folder.nets(&read.id) {
                    Ok(nets) => {
                        catalogue::parse_profile_with_nets(bytes, name, &state.folder.library, nets)
                    }
                    Err(_) => Ok(read),
                },
                (Err(problems), _) => Err(problems),
            };
            read.map(Arc::new)
                .map_err(|problems| refused(&problems, "mend the file, then try again"))
        }
    }
}

fn heading(before: &Profile, after: &Profile, differences: &[Difference]) -> Told {
    let names = if before.id == after.id {
        format!("the two revisions of {}", before.id)
    } else {
        format!("{} and {}", before.id, after.id)
    };
    Told::new(match differences.len() {
        0 => format!("Nothing differs between {names}."),
        1 => format!("One difference between {names}."),
        many => format!(
            "{} between {names}.",
            capital(&counted(many, "difference", "differences"))
        ),
    })
}

fn title(about: About) -> &'static str {
    match about {
        About::Board => "The board",
        About::Rail => "Rails",
        About::Part => "Parts",
        About::Event => "Events",
        About::Function => "Functions",
        About::Check => "Checks",
        About::Outside => "Outside",
    }
}

fn difference_line(one: &Difference) -> ToldLine {
    let words = match &one.change {
        Change::Added => "is new.".to_owned(),
        Change::Removed => "is gone.".to_owned(),
        Change::Changed(how) => format!("{}.", capital(&how.join("; "))),
    };
    ToldLine::new(one.name.clone(), words)
}

/// What the new revision means for the machines: lines that no longer count, and how the leading suspects change.
fn means(
    state: &State,
    before: &Profile,
    after: &Arc<Profile>,
    says: &mut Told,
) -> Result<Vec<i64>> {
    let boards = state.boards()?;
    let mut changed: Boards = boards.clone();
    changed.insert(before.id.clone(), Arc::clone(after));
    let now = Reckoned::of(&state.pile, &boards, &[], None)?;
    let then = match Reckoned::of(&state.pile, &changed, &[], None) {
        Ok(then) => then,
        Err(error) => {
            let line = ToldLine::new(
                "",
                format!("{}.", capital(error.message.trim_end_matches('.'))),
            );
            says.section(
                "The pile cannot be reckoned with the new revision",
                vec![line],
            );
            return Ok(now.setting.lines.clone());
        }
    };
    let counts = |reckoned: &Reckoned| -> BTreeSet<i64> {
        let out: Vec<i64> = reckoned.left_out.iter().map(|out| out.line).collect();
        reckoned
            .setting
            .lines
            .iter()
            .copied()
            .filter(|line| !out.contains(line))
            .collect()
    };
    let (with_old, with_new) = (counts(&now), counts(&then));
    let lost: Vec<i64> = with_old.difference(&with_new).copied().collect();
    let lines = lost.iter().filter_map(|line| lost_line(state, *line));
    says.section(
        "Would no longer count, and stay in the journal",
        lines.collect(),
    );
    let regained: Vec<String> = with_new
        .difference(&with_old)
        .map(ToString::to_string)
        .collect();
    if !regained.is_empty() {
        let sentence = format!("Lines {} would count again.", listed(&regained, "and"));
        says.section("Would count again", vec![ToldLine::new("", sentence)]);
    }
    let mut rows = Vec::new();
    for machine in state
        .pile
        .machines
        .iter()
        .filter(|machine| machine.board == before.id)
    {
        let lead = |reckoned: &Reckoned, board: &Profile| {
            let modes = reckoned.modes(machine, board);
            let first = modes.into_iter().next()?;
            let name = say::mode_short(board, &first.part, &first.mode);
            Some((name, first.chance))
        };
        if let (Some(old), Some(new)) = (lead(&now, before), lead(&then, after)) {
            let same = old.0 == new.0 && (old.1 - new.1).abs() < 0.005;
            let words = match same {
                true => format!("{} stays at {}.", old.0, percent(old.1)),
                false if old.0 == new.0 => {
                    format!("{} at {}, was {}.", new.0, percent(new.1), percent(old.1))
                }
                false => format!(
                    "{} at {}, was {} at {}.",
                    new.0,
                    percent(new.1),
                    old.0,
                    percent(old.1)
                ),
            };
            rows.push((same, ToldLine::new(machine.tag.clone(), words)));
        }
    }
    rows.sort_by_key(|(same, _)| *same);
    says.section(
        "The leading suspect of each machine",
        rows.into_iter().map(|(_, line)| line).collect(),
    );
    if lost.is_empty() {
        says.say("Every finding counts as before.");
    } else {
        says.say(format!(
            "{} would no longer count; nothing is deleted.",
            capital(&counted(lost.len(), "line", "lines"))
        ));
    }
    Ok(lost)
}

fn lost_line(state: &State, line: i64) -> Option<ToldLine> {
    let entry = state.pile.entry(line)?;
    let row = crate::rows::row(state, entry);
    let tag = entry.machine.clone().unwrap_or_default();
    let text = format!("{} {}", row.text, row.entered);
    let what = match &entry.line {
        Line::Finding { check, .. } => format!("the check `{check}`"),
        _ => String::new(),
    };
    let line = ToldLine::new(
        format!("line {line}"),
        format!("{tag}: {}.", text.trim().trim_end_matches('.')),
    );
    Some(line.under(what))
}
