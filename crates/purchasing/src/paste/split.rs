//! Lines into cells: which sign stands between them, quoted cells, lines that are no part of the table.

use super::Refused;

/// The cells of a text, each row with the number of its first line.
pub(super) struct Cells {
    pub(super) rows: Vec<(usize, Vec<String>)>,
    /// What stands between the cells, in words.
    pub(super) between: &'static str,
}

/// Signs that may stand between cells, in the order in which ties are broken.
const SIGNS: [(char, &str); 4] = [
    ('\t', "tabs"),
    (';', "semicolons"),
    ('|', "bars"),
    (',', "commas"),
];

/// The cells, if the lines have a common number of them.
///
/// # Errors
/// If a quoted cell has no end.
pub(super) fn table(text: &str) -> Result<Option<Cells>, Refused> {
    let mut best: Option<(f64, Cells)> = None;
    let mut open = None;
    for (sign, between) in SIGNS {
        match quoted(text, sign) {
            Ok(rows) => keep_better(&mut best, rows, between),
            Err(refused) => open = open.or(text.contains(sign).then_some(refused)),
        }
    }
    if best.is_none() {
        keep_better(&mut best, spaced(text), "wide gaps");
    }
    match (best, open) {
        (Some((_, cells)), _) => Ok(Some(cells)),
        (None, Some(refused)) => Err(refused),
        (None, None) => Ok(None),
    }
}

/// Share of the lines that have the commonest number of cells; a table has at least two columns.
fn keep_better(
    best: &mut Option<(f64, Cells)>,
    rows: Vec<(usize, Vec<String>)>,
    between: &'static str,
) {
    let filled: Vec<usize> = rows
        .iter()
        .filter(|(_, cells)| cells.iter().any(|cell| !cell.is_empty()))
        .map(|(_, cells)| cells.len())
        .collect();
    let count = |width: usize| filled.iter().filter(|one| **one == width).count();
    let usual = filled
        .iter()
        .copied()
        .max_by_key(|width| (count(*width), *width));
    let Some(usual) = usual.filter(|usual| *usual >= 2) else {
        return;
    };
    #[expect(clippy::cast_precision_loss, reason = "numbers of lines are small")]
    let share = count(usual) as f64 / filled.len() as f64;
    if share >= 0.6 && best.as_ref().is_none_or(|(known, _)| share > *known + 1e-9) {
        *best = Some((share, Cells { rows, between }));
    }
}

/// Cells between `sign`; a cell in double quotes may hold the sign, line ends, and quotes written twice.
fn quoted(text: &str, sign: char) -> Result<Vec<(usize, Vec<String>)>, Refused> {
    let mut rows = Vec::new();
    let mut cells: Vec<String> = Vec::new();
    let mut cell = String::new();
    let (mut line, mut start) = (1, 1);
    // the line on which the open quote began
    let mut open: Option<usize> = None;
    let mut chars = text.chars().peekable();
    while let Some(c) = chars.next() {
        match (c, open) {
            ('"', Some(_)) if chars.peek() == Some(&'"') => {
                chars.next();
                cell.push('"');
            }
            ('"', Some(_)) => open = None,
            ('"', None) if cell.trim().is_empty() => {
                cell.clear();
                open = Some(line);
            }
            ('\n', None) => {
                cells.push(std::mem::take(&mut cell).trim().to_string());
                rows.push((start, std::mem::take(&mut cells)));
                line += 1;
                start = line;
            }
            (c, None) if c == sign => cells.push(std::mem::take(&mut cell).trim().to_string()),
            (c, _) => {
                line += usize::from(c == '\n');
                cell.push(if c == '\n' { ' ' } else { c });
            }
        }
    }
    if let Some(line) = open {
        return Err(Refused {
            line,
            why: "expected a closing quote, found the end of the text; a quote inside a cell is written twice"
                .to_string(),
        });
    }
    cells.push(cell.trim().to_string());
    rows.push((start, cells));
    rows.retain(|(_, cells)| cells.iter().any(|cell| !cell.is_empty()));
    Ok(rows)
}

/// Cells between two blanks or more, as columns copied off a page come.
fn spaced(text: &str) -> Vec<(usize, Vec<String>)> {
    let cells = |line: &str| {
        line.split("  ")
            .map(str::trim)
            .filter(|cell| !cell.is_empty())
            .map(str::to_string)
            .collect::<Vec<_>>()
    };
    let rows = text
        .lines()
        .enumerate()
        .map(|(n, line)| (n + 1, cells(line)));
    rows.filter(|(_, cells)| !cells.is_empty()).collect()
}
