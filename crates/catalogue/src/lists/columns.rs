//! What the columns of a parts list mean: by their headings, else by what stands in them.

use super::naming::Namer;
use super::references::references;
use super::table::Record;

/// One column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// What its heading says; empty where there is none.
    pub heading: String,
    /// What it is taken as.
    pub meaning: Meaning,
}

/// What a column is taken as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meaning {
    /// References of positions.
    Reference,
    /// What sits there.
    Value,
    /// How many.
    Quantity,
    /// The block of the board.
    Block,
    /// Whether it sits in a socket.
    Mount,
    /// What it is for.
    Title,
    /// Not read.
    Nothing,
}

/// Words by which a heading is known, the surest first.
const HEADINGS: [(Meaning, &[&str]); 6] = [
    (
        Meaning::Reference,
        &[
            "ref",
            "refs",
            "reference",
            "references",
            "reference(s)",
            "designator",
            "designators",
            "refdes",
            "ref des",
            "ref.",
            "position",
            "positions",
            "pos",
            "pos.",
            "location",
            "part",
        ],
    ),
    (
        Meaning::Value,
        &[
            "value",
            "device",
            "type",
            "chip",
            "ic",
            "part number",
            "part no",
            "part no.",
            "part name",
            "name",
            "mpn",
            "component",
            "description",
        ],
    ),
    (
        Meaning::Quantity,
        &[
            "qty",
            "qty.",
            "quantity",
            "quantities",
            "count",
            "pcs",
            "pieces",
            "number",
            "amount",
        ],
    ),
    (
        Meaning::Block,
        &["block", "section", "sheet", "area", "function"],
    ),
    (Meaning::Mount, &["mount", "mounting", "socket", "socketed"]),
    (
        Meaning::Title,
        &[
            "title",
            "description",
            "note",
            "notes",
            "remark",
            "remarks",
            "comment",
            "comments",
            "purpose",
            "use",
        ],
    ),
];

/// The columns if this record is a heading; a heading names at least references and one more.
pub(crate) fn heading(record: &Record) -> Option<Vec<Column>> {
    let mut columns: Vec<Column> = record
        .cells
        .iter()
        .map(|cell| Column {
            heading: cell.text.clone(),
            meaning: Meaning::Nothing,
        })
        .collect();
    for (meaning, words) in HEADINGS {
        let surest = words.iter().find_map(|word| {
            let fits = |column: &Column| {
                column.meaning == Meaning::Nothing && column.heading.to_lowercase() == *word
            };
            columns.iter().position(fits)
        });
        if let Some(index) = surest {
            columns[index].meaning = meaning;
        }
    }
    let has = |meaning| columns.iter().any(|column| column.meaning == meaning);
    (has(Meaning::Reference) && has(Meaning::Value)).then_some(columns)
}

/// A column of remarks that only ever says how a part sits is read as that.
pub(crate) fn mount_by_content(columns: &mut [Column], records: &[Record]) {
    if columns
        .iter()
        .any(|column| column.meaning == Meaning::Mount)
    {
        return;
    }
    let sits = |index: usize| {
        let cells = records.iter().map(|record| record.text(index));
        let mut words = cells.filter(|text| !text.is_empty()).peekable();
        words.peek().is_some()
            && words.all(|text| MOUNT_WORDS.contains(&text.to_lowercase().as_str()))
    };
    let free = |index: &usize| matches!(columns[*index].meaning, Meaning::Title | Meaning::Nothing);
    if let Some(index) = (0..columns.len()).filter(free).find(|index| sits(*index)) {
        columns[index].meaning = Meaning::Mount;
    }
}

/// How a part sits, where no heading says that a column tells it.
const MOUNT_WORDS: [&str; 5] = ["socket", "socketed", "soldered", "plug", "plugged"];

/// The columns by what stands in them: references in one, the names most often known in another.
pub(crate) fn by_content(records: &[Record], namer: &Namer<'_>) -> Option<Vec<Column>> {
    let width = records.iter().map(|record| record.cells.len()).max()?;
    let best = |score: &dyn Fn(&Record, usize) -> bool, taken: Option<usize>| {
        let count = |column: usize| {
            records
                .iter()
                .filter(|record| score(record, column))
                .count()
        };
        let columns = (0..width)
            .filter(|column| Some(*column) != taken)
            .map(|column| (count(column), column));
        columns
            .filter(|(count, _)| *count > 0)
            .max_by_key(|&(count, column)| (count, width - column))
    };
    let (_, of_references) = best(
        &|record, column| references(record.text(column)).is_ok(),
        None,
    )?;
    let known =
        |record: &Record, column: usize| namer.guess("U", record.text(column)).id().is_some();
    let named = |record: &Record, column: usize| {
        let text = record.text(column);
        text.contains(char::is_alphabetic) || text.len() > 3
    };
    let (_, of_values) =
        best(&known, Some(of_references)).or_else(|| best(&named, Some(of_references)))?;
    let quantity = (0..width).find(|&column| {
        column != of_references
            && column != of_values
            && records
                .iter()
                .all(|record| is_count(record, column, of_references))
    });
    let meaning = |column| match column {
        column if column == of_references => Meaning::Reference,
        column if column == of_values => Meaning::Value,
        column if Some(column) == quantity => Meaning::Quantity,
        _ => Meaning::Nothing,
    };
    let column = |column| Column {
        heading: String::new(),
        meaning: meaning(column),
    };
    Some((0..width).map(column).collect())
}

/// The cell holds as many as there are references.
fn is_count(record: &Record, column: usize, of_references: usize) -> bool {
    let count = references(record.text(of_references)).map(|read| read.names.len());
    record.text(column).parse().ok() == count.ok()
}
