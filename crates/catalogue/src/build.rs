//! Boards built at home: what one is made of, and what making a batch takes.

use crate::fields::{At, Fields};
use crate::problem::Problems;
use crate::read::title;

/// A board that can be built at home.
#[derive(Debug, Clone, PartialEq)]
pub struct Build {
    /// Identifier; in the drawer a finished board lies under this name.
    pub id: String,
    /// In words.
    pub title: String,
    /// Items in one board, and how many of each.
    pub uses: Vec<(String, u32)>,
    /// Minutes once for each batch.
    pub set_up_minutes: f64,
    /// Minutes to assemble one.
    pub minutes: f64,
    /// Minutes to program one.
    pub program_minutes: f64,
    /// Chance that one that was built is good.
    pub yields: f64,
    /// Where the values come from.
    pub source: String,
}

/// Reads a `[[build]]` table.
pub(crate) fn read_builds(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<Vec<At<Build>>> {
    let id = fields.id("id", problems);
    let title = title(fields, problems);
    if !fields.has("uses") {
        fields.missing("uses", problems);
    }
    let mut uses = Vec::new();
    for mut row in fields.tables("uses", "an item of a board", problems) {
        let item = row.need("item", problems);
        let item = item.and_then(|item| item.text("the name of an item", problems));
        let n = row.take("n").map_or(Some(1), |n| count(n, problems));
        row.finish(problems);
        uses.extend(item.zip(n).map(|(item, n)| (item.value, n)));
    }
    let mut minutes = |key, problems: &mut Problems<'_>| fields.minutes(key, problems);
    let set_up_minutes = minutes("set_up_minutes", problems).unwrap_or(0.0);
    let program_minutes = minutes("program_minutes", problems).unwrap_or(0.0);
    let each = fields
        .need("minutes", problems)
        .and_then(|item| item.minutes(problems));
    let yields = fields
        .need("yield", problems)
        .and_then(|item| item.chance(problems));
    let source = fields.text("source", problems).map(|source| source.value);
    let id = id?;
    let build = Build {
        title: title.unwrap_or_else(|| id.value.clone()),
        id: id.value,
        uses,
        set_up_minutes,
        minutes: each?,
        program_minutes,
        yields: yields?,
        source: source.unwrap_or_else(|| "common practice, no source".to_owned()),
    };
    Some(vec![At::new(build, id.span)])
}

fn count(item: crate::fields::Item<'_>, problems: &mut Problems<'_>) -> Option<u32> {
    let whole = |n: f64| n.fract() == 0.0 && (1.0..=1000.0).contains(&n);
    let n = item.number("a whole number from 1 to 1000", whole, problems)?;
    #[expect(
        clippy::cast_possible_truncation,
        clippy::cast_sign_loss,
        reason = "a whole number from 1 to 1000"
    )]
    Some(n as u32)
}
