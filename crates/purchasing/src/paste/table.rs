//! A table of cells into rows of offers.

use units::Decimal;

use super::columns::{Role, by_heading, by_shape};
use super::numbers::{Figure, Mark, currency, figure};
use super::split::Cells;
use super::{Column, Paste, Pasted, Row};
use crate::request::Break;

/// Words of lines that sell nothing.
const SUMS: [&str; 12] = [
    "total", "subtotal", "sum", "shipping", "postage", "vat", "tax", "delivery", "gesamt",
    "versand", "summe", "handling",
];

/// Reads the cells into `pasted`.
pub(super) fn read(pasted: &mut Pasted, cells: &Cells, how: Paste<'_>) {
    let width = usual_width(cells);
    let full = |row: &&(usize, Vec<String>)| row.1.len() == width;
    let heading = cells
        .rows
        .iter()
        .position(|row| full(&row) && is_heading(&row.1));
    let body = &cells.rows[heading.map_or(0, |at| at + 1)..];
    let roles = match how.columns {
        Some(named) => match named_roles(named, width) {
            Ok(roles) => roles,
            Err(why) => return pasted.refuse(1, why),
        },
        None => guessed(cells, heading, width),
    };
    for (at, role) in roles.iter().enumerate() {
        let heading = heading.and_then(|row| cells.rows[row].1.get(at).cloned());
        pasted.columns.push(Column {
            heading: heading
                .filter(|text| !text.is_empty())
                .unwrap_or_else(|| format!("column {}", at + 1)),
            role: *role,
        });
    }
    pasted.notes.push(format!(
        "{} columns between {}.",
        roles.len(),
        cells.between
    ));
    let before = &cells.rows[..heading.unwrap_or(0)];
    for (line, cells) in before {
        pasted.notes.push(format!(
            "Line {line} is left out: `{}`.",
            short(&cells.join(" "))
        ));
    }
    if !roles
        .iter()
        .any(|role| matches!(role, Role::Each | Role::Total | Role::From(_)))
    {
        let line = body.first().map_or(1, |row| row.0);
        return pasted.refuse(line, "no column of prices was found; say what the columns are, such as `name, quantity, each`");
    }
    if !roles
        .iter()
        .any(|role| matches!(role, Role::Name | Role::Code))
    {
        let line = body.first().map_or(1, |row| row.0);
        return pasted.refuse(line, "no column of names was found; say what the columns are, such as `name, quantity, each`");
    }
    let mark = mark(body, &roles);
    if mark == Some(Mark::Comma) {
        pasted.notes.push("Prices have decimal commas.".to_string());
    }
    for (line, cells) in body {
        add(pasted, *line, cells, &roles, mark, how);
    }
}

fn usual_width(cells: &Cells) -> usize {
    let widths: Vec<usize> = cells.rows.iter().map(|row| row.1.len()).collect();
    let count = |width: usize| widths.iter().filter(|one| **one == width).count();
    widths
        .iter()
        .copied()
        .max_by_key(|width| (count(*width), *width))
        .unwrap_or(0)
}

/// At least two cells are known headings, and none is a price.
fn is_heading(cells: &[String]) -> bool {
    let known = cells
        .iter()
        .filter(|cell| by_heading(cell).is_some())
        .count();
    let priced = cells
        .iter()
        .any(|cell| figure(cell).is_some_and(|one| one.is_price()));
    let words = cells
        .iter()
        .any(|cell| by_heading(cell).is_some_and(|role| !matches!(role, Role::From(_))));
    known >= 2 && words && !priced
}

fn named_roles(named: &str, width: usize) -> Result<Vec<Role>, String> {
    let roles: Result<Vec<Role>, String> = named
        .split(',')
        .map(|word| {
            Role::named(word).ok_or_else(|| {
                format!(
                    "expected `name`, `code`, `quantity`, `each`, `total`, `from 10`, `pack`, `least`, `stock`, `currency` or `-` for a column, found `{}`",
                    word.trim()
                )
            })
        })
        .collect();
    let roles = roles?;
    if roles.len() != width {
        return Err(format!(
            "expected what the {width} columns are, found {} words",
            roles.len()
        ));
    }
    Ok(roles)
}

/// By the headings, the rest by shape; a role that only one column can have goes to the first.
fn guessed(cells: &Cells, heading: Option<usize>, width: usize) -> Vec<Role> {
    let rows: Vec<&Vec<String>> = cells.rows[heading.map_or(0, |at| at + 1)..]
        .iter()
        .filter(|row| row.1.len() == width && !is_sum(&row.1))
        .map(|row| &row.1)
        .collect();
    let shapes = by_shape(&rows, width);
    let Some(heading) = heading else {
        return shapes;
    };
    let mut roles: Vec<Role> = Vec::new();
    for cell in &cells.rows[heading].1 {
        let role = by_heading(cell).unwrap_or(Role::Other);
        let again = !matches!(role, Role::Other | Role::From(_)) && roles.contains(&role);
        roles.push(match (role, again) {
            // a second column of words is the longer description
            (Role::Name, true) => Role::Other,
            (_, true) => Role::Other,
            (role, false) => role,
        });
    }
    let missing = |roles: &[Role], wanted: Role| !roles.contains(&wanted);
    for (at, shape) in shapes.iter().enumerate() {
        let unnamed = roles[at] == Role::Other && by_heading(&cells.rows[heading].1[at]).is_none();
        if unnamed
            && missing(&roles, *shape)
            && matches!(shape, Role::Name | Role::Each | Role::Quantity | Role::Code)
        {
            roles[at] = *shape;
        }
    }
    roles
}

/// The decimal mark that most prices must have.
fn mark(body: &[(usize, Vec<String>)], roles: &[Role]) -> Option<Mark> {
    let priced = |role: &Role| matches!(role, Role::Each | Role::Total | Role::From(_));
    let says = body.iter().flat_map(|(_, cells)| {
        let prices = cells.iter().zip(roles).filter(|(_, role)| priced(role));
        prices.filter_map(|(cell, _)| figure(cell)?.says)
    });
    let (mut points, mut commas) = (0, 0);
    for mark in says {
        match mark {
            Mark::Point => points += 1,
            Mark::Comma => commas += 1,
        }
    }
    match commas.cmp(&points) {
        std::cmp::Ordering::Greater => Some(Mark::Comma),
        std::cmp::Ordering::Less => Some(Mark::Point),
        std::cmp::Ordering::Equal => None,
    }
}

fn is_sum(cells: &[String]) -> bool {
    let first = cells.iter().find(|cell| !cell.is_empty());
    let words = first.map(|cell| cell.to_lowercase()).unwrap_or_default();
    let word = words.split([' ', ':', '(']).next().unwrap_or_default();
    SUMS.contains(&word)
}

fn add(
    pasted: &mut Pasted,
    line: usize,
    cells: &[String],
    roles: &[Role],
    mark: Option<Mark>,
    how: Paste<'_>,
) {
    let filled = cells.iter().filter(|cell| !cell.is_empty()).count();
    if is_sum(cells) || filled <= 1 {
        pasted.notes.push(format!(
            "Line {line} is left out: `{}`.",
            short(&cells.join(" "))
        ));
        return;
    }
    if cells.len() != roles.len() {
        return pasted.refuse(
            line,
            format!(
                "expected {} cells as in the other lines, found {}",
                roles.len(),
                cells.len()
            ),
        );
    }
    match row(pasted, line, cells, roles, mark, how) {
        Ok(row) => pasted.rows.push(row),
        Err(why) => pasted.refuse(line, why),
    }
}

fn row(
    pasted: &mut Pasted,
    line: usize,
    cells: &[String],
    roles: &[Role],
    mark: Option<Mark>,
    how: Paste<'_>,
) -> Result<Row, String> {
    let mut row = Row {
        line,
        ..Row::default()
    };
    let (mut quantity, mut each, mut total) = (None, None, None);
    for (cell, role) in cells.iter().zip(roles).filter(|(cell, _)| !cell.is_empty()) {
        match role {
            Role::Name => row.name = cell.clone(),
            Role::Code => row.code = cell.clone(),
            Role::Quantity => quantity = Some(whole(cell, "a quantity")?),
            Role::Pack => row.pack = Some(whole(cell, "a pack")?).filter(|n| *n > 0),
            Role::Least => row.least = Some(whole(cell, "a least quantity")?).filter(|n| *n > 0),
            // "in stock" and the like say no number
            Role::Stock => row.stock = leading(cell),
            Role::Each => each = Some(price(pasted, cell, mark, how)?),
            Role::Total => total = Some(price(pasted, cell, mark, how)?),
            Role::From(from) => row.breaks.push(Break {
                from: *from,
                each: above_zero(price(pasted, cell, mark, how)?, cell)?,
            }),
            Role::Currency => note_currency(pasted, cell, how)?,
            Role::Other => {}
        }
    }
    row.whole = !row.breaks.is_empty();
    row.breaks.sort_by_key(|level| level.from);
    if row.name.is_empty() {
        row.name = row.code.clone();
    }
    if row.name.is_empty() {
        return Err("expected a name, found an empty cell".to_string());
    }
    if row.breaks.is_empty() {
        row.breaks.push(level(quantity, each, total)?);
    }
    Ok(row)
}

/// The price at the quantity of the cart.
pub(super) fn level(
    quantity: Option<u32>,
    each: Option<Decimal>,
    total: Option<Decimal>,
) -> Result<Break, String> {
    let from = quantity.unwrap_or(1);
    if from == 0 {
        return Err("expected a quantity of 1 or more, found 0".to_string());
    }
    let each = match (each, total) {
        (Some(each), Some(total)) => {
            let product = each.checked_mul(Decimal::from(from)).unwrap_or_default();
            // a price of one that was rounded to the cent still belongs to its line
            if (product - total).abs() * Decimal::from(200) > Decimal::from(from)
                && product != total
            {
                return Err(format!(
                    "{from} at {each} make {product}, but the line says {total}"
                ));
            }
            each
        }
        (Some(each), None) => each,
        (None, Some(total)) => total / Decimal::from(from),
        (None, None) => return Err("expected a price, found an empty cell".to_string()),
    };
    Ok(Break {
        from,
        each: above_zero(each, &each.to_string())?,
    })
}

/// Zero and less are no prices.
pub(super) fn above_zero(each: Decimal, written: &str) -> Result<Decimal, String> {
    if each <= Decimal::ZERO {
        return Err(format!("expected a price above 0, found `{written}`"));
    }
    if each > Decimal::from(1_000_000) {
        return Err(format!(
            "expected a price of at most a million, found `{written}`"
        ));
    }
    Ok(each.normalize())
}

fn whole(cell: &str, what: &str) -> Result<u32, String> {
    let number = figure(cell).and_then(|figure| {
        let value = figure.value(Some(Mark::Point))?;
        value.fract().is_zero().then(|| u32::try_from(value).ok())?
    });
    let number = number.or_else(|| leading(cell).filter(|_| !cell.starts_with('-')));
    number
        .filter(|number| *number <= 1_000_000)
        .ok_or_else(|| format!("expected {what} such as 3, found `{}`", short(cell)))
}

/// The whole number at the start of a cell: `40 in stock`.
fn leading(cell: &str) -> Option<u32> {
    let digits: String = cell
        .trim_start_matches(['>', '~', '+'])
        .chars()
        .take_while(char::is_ascii_digit)
        .collect();
    digits.parse().ok()
}

fn price(
    pasted: &mut Pasted,
    cell: &str,
    mark: Option<Mark>,
    how: Paste<'_>,
) -> Result<Decimal, String> {
    let Some(found) = figure(cell) else {
        return Err(format!("expected a price, found `{}`", short(cell)));
    };
    value(pasted, &found, mark, how)
}

/// The worth of a price, its currency kept.
pub(super) fn value(
    pasted: &mut Pasted,
    found: &Figure,
    mark: Option<Mark>,
    how: Paste<'_>,
) -> Result<Decimal, String> {
    if let Some(sign) = &found.sign {
        note_currency(pasted, sign, how)?;
    }
    found.value(mark).ok_or_else(|| {
        format!(
            "`{}` can be read with a decimal point or with thousands; write it with two decimals",
            found.text()
        )
    })
}

fn note_currency(pasted: &mut Pasted, sign: &str, how: Paste<'_>) -> Result<(), String> {
    let Some(found) = currency(sign, how.currency) else {
        return Err(format!(
            "expected a currency such as EUR, found `{}`",
            short(sign)
        ));
    };
    match pasted.currency {
        Some(known) if known != found => Err(format!(
            "expected prices in {known} as in the lines before, found {found}"
        )),
        _ => {
            pasted.currency = Some(found);
            Ok(())
        }
    }
}

/// At most forty characters of a text.
pub(super) fn short(text: &str) -> String {
    let mut short: String = text.trim().chars().take(40).collect();
    if short.len() < text.trim().len() {
        short.push('…');
    }
    short
}
