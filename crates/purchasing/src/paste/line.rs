//! Lines read as sentences: `3 × 4164, 150 ns  3.90  11.70`, `4164-150ns 8 at 3.40`, and carts with one thing a line.

use units::{Currency, Decimal};

use super::numbers::{Figure, Mark, figure};
use super::table::{above_zero, level, short, value};
use super::{Paste, Pasted, Row};
use crate::request::Break;

/// Most pieces that a bare number before a price is taken for; above it is part of a name, as in `6264 4.20`.
const MOST_BARE: u32 = 1000;

/// Reads one offer as it is said: a name, then a price, or `8 at 3.40` as often as there are breaks; `pack 2`, `least 5` and
/// `stock 40` may follow.
///
/// ```
/// let row = purchasing::read_typed("4164-150ns 1 at 3.90 8 at 3.40 stock 40").unwrap();
/// assert_eq!((row.name.as_str(), row.breaks.len(), row.stock), ("4164-150ns", 2, Some(40)));
/// ```
///
/// # Errors
/// What was expected, and what is there.
pub fn read_typed(text: &str) -> Result<Row, String> {
    let mut words: Vec<&str> = text.split_whitespace().collect();
    let mut row = Row {
        line: 1,
        ..Row::default()
    };
    while let [.., key, number] = words.as_slice() {
        let place = match key.to_lowercase().as_str() {
            "pack" => &mut row.pack,
            "least" => &mut row.least,
            "stock" => &mut row.stock,
            _ => break,
        };
        let count = number
            .trim_end_matches(',')
            .parse()
            .ok()
            .filter(|n| *n <= 1_000_000 && (*n > 0 || *key == "stock"));
        *place =
            Some(count.ok_or_else(|| {
                format!("expected a whole number after `{key}`, found `{number}`")
            })?);
        words.truncate(words.len() - 2);
    }
    while let [.., count, at, price] = words.as_slice() {
        if !is_at(at) {
            break;
        }
        let from: u32 = count
            .trim_end_matches(['+', 'x', '×', ','])
            .parse()
            .ok()
            .filter(|n| (1..=1_000_000).contains(n))
            .ok_or_else(|| format!("expected a quantity before `{at}`, found `{count}`"))?;
        row.breaks.push(Break {
            from,
            each: typed_price(price)?,
        });
        words.truncate(words.len() - 3);
    }
    if row.breaks.is_empty() {
        let price = words
            .pop()
            .ok_or("expected a name and a price such as `4164-150ns 3.90`, found nothing")?;
        row.breaks.push(Break {
            from: 1,
            each: typed_price(price)?,
        });
    }
    row.whole = row.breaks.len() > 1;
    row.breaks.sort_by_key(|level| level.from);
    if let Some(pair) = row
        .breaks
        .windows(2)
        .find(|pair| pair[0].from == pair[1].from)
    {
        return Err(format!(
            "expected one price for {}, found two",
            pair[0].from
        ));
    }
    if let Some(pair) = words
        .windows(2)
        .find(|pair| is_at(pair[0]) && figure(pair[1]).is_some())
    {
        return Err(format!(
            "expected the prices at the end, found `{} {}` before it",
            pair[0], pair[1]
        ));
    }
    row.name = words.join(" ").trim_matches(['"', ',']).to_string();
    if row.name.is_empty() {
        return Err(format!(
            "expected a name before the price, found `{}`",
            short(text)
        ));
    }
    row.doubt = super::dearer(&row.breaks);
    Ok(row)
}

fn is_at(word: &str) -> bool {
    matches!(word.to_lowercase().as_str(), "at" | "@" | "for")
}

fn typed_price(word: &str) -> Result<Decimal, String> {
    let figure =
        figure(word).ok_or_else(|| format!("expected a price such as 3.40, found `{word}`"))?;
    // typed by hand, `3,400` is no thousand
    let price = figure.value(Some(if word.contains(',') {
        Mark::Comma
    } else {
        Mark::Point
    }));
    above_zero(price.unwrap_or_default(), word)
}

/// Reads each line by itself, or the lines of each thing together where names and numbers stand on lines of their own.
pub(super) fn read_lines(pasted: &mut Pasted, text: &str, how: Paste<'_>) {
    let lines: Vec<(usize, &str)> = text
        .lines()
        .enumerate()
        .map(|(n, line)| (n + 1, line.trim()))
        .filter(|(_, line)| !line.is_empty())
        .collect();
    let bare = lines
        .iter()
        .filter(|(_, line)| amount(line).is_some())
        .count();
    let things: Vec<(usize, String)> = if bare >= 2 && bare * 3 >= lines.len() {
        pasted
            .notes
            .push("Names and numbers stand on lines of their own.".to_string());
        together(&lines)
    } else {
        lines
            .iter()
            .map(|(n, line)| (*n, (*line).to_string()))
            .collect()
    };
    let mark = text_mark(&things);
    for (line, thing) in things {
        match sentence(pasted, &thing, mark, how) {
            Ok(Some(row)) => pasted.rows.push(Row { line, ..row }),
            Ok(None) => pasted
                .notes
                .push(format!("Line {line} is left out: `{}`.", short(&thing))),
            Err(why) => pasted.refuse(line, why),
        }
    }
}

/// A line that is a number alone, or a number with a word of the cart: `Qty: 3`, `€3.90`, `× 3`.
fn amount(line: &str) -> Option<Figure> {
    let lower = line.to_lowercase();
    let words = [
        "qty:",
        "qty",
        "quantity:",
        "quantity",
        "price:",
        "total:",
        "×",
        "x",
        "menge:",
        "preis:",
        "stk",
        "pcs",
    ];
    let mut rest = lower.trim();
    for word in words {
        rest = rest
            .strip_prefix(word)
            .or(rest.strip_suffix(word))
            .unwrap_or(rest)
            .trim();
    }
    figure(rest)
}

/// Each name with the numbers that follow it, as one line.
fn together(lines: &[(usize, &str)]) -> Vec<(usize, String)> {
    let mut things: Vec<(usize, String)> = Vec::new();
    let mut numbers = false;
    for (n, line) in lines {
        match (amount(line), things.last_mut()) {
            (Some(figure), Some((_, thing))) => {
                numbers = true;
                let sign = figure.sign.as_deref().unwrap_or_default();
                thing.push_str(&format!("  {sign}{}", figure.text().replace(' ', "")));
            }
            (None, Some((_, thing))) if !numbers => {
                thing.push(' ');
                thing.push_str(line);
            }
            _ => {
                numbers = false;
                things.push((*n, (*line).to_string()));
            }
        }
    }
    things
}

fn text_mark(things: &[(usize, String)]) -> Option<Mark> {
    let says = things
        .iter()
        .flat_map(|(_, thing)| run(thing).1)
        .filter_map(|one| one.says);
    let says: Vec<Mark> = says.collect();
    let commas = says.iter().filter(|mark| **mark == Mark::Comma).count();
    match (commas * 2).cmp(&says.len()) {
        std::cmp::Ordering::Greater => Some(Mark::Comma),
        std::cmp::Ordering::Less => Some(Mark::Point),
        std::cmp::Ordering::Equal => None,
    }
}

/// The words before the numbers at the end of a line, and these numbers.
fn run(line: &str) -> (Vec<&str>, Vec<Figure>) {
    let mut words: Vec<&str> = line.split_whitespace().collect();
    let mut figures = Vec::new();
    while let Some(last) = words.last() {
        let sole = [
            "€", "$", "£", "each", "ea", "=", "@", "at", "x", "×", "pcs", "Stk",
        ];
        if sole.contains(last) || Currency::from_code(last).is_some() {
            // `3.90 EUR`: the sign belongs to the number before it
            let sign = *last;
            if let [.., number, _] = words.as_slice()
                && let Some(one) = figure(&format!("{number} {sign}"))
                    .filter(|_| number.starts_with(|c: char| c.is_ascii_digit()))
            {
                figures.insert(0, one);
                words.truncate(words.len() - 2);
                continue;
            }
            words.pop();
            continue;
        }
        let Some(one) = figure(last) else { break };
        figures.insert(0, one);
        words.pop();
    }
    (words, figures)
}

fn sentence(
    pasted: &mut Pasted,
    line: &str,
    mark: Option<Mark>,
    how: Paste<'_>,
) -> Result<Option<Row>, String> {
    if line
        .split_whitespace()
        .any(|word| matches!(word, "at" | "@"))
        && let Ok(row) = read_typed(line)
    {
        return Ok(Some(row));
    }
    let (mut words, mut figures) = run(line);
    if !figures.iter().any(Figure::is_price) {
        return Ok(None);
    }
    let mut quantity = before(&mut words);
    // whole numbers that end the name: `SRAM 6264  4.20`
    let mut tail = Vec::new();
    while let [first, rest @ ..] = figures.as_slice() {
        let Some(count) = first.whole().filter(|_| rest.iter().any(Figure::is_price)) else {
            break;
        };
        let first = figures.remove(0);
        let last = figures.first().is_none_or(Figure::is_price);
        if quantity.is_none()
            && last
            && count <= MOST_BARE
            && !(words.is_empty() && tail.is_empty())
        {
            quantity = Some(count);
        } else {
            tail.push(first.text().to_string());
        }
    }
    let name = words
        .iter()
        .map(|word| (*word).to_string())
        .chain(tail)
        .collect::<Vec<_>>()
        .join(" ");
    let name = name
        .trim_matches([',', ':', '-', ' ', '•', '*'])
        .to_string();
    if ["total", "subtotal", "shipping", "postage", "vat", "sum"]
        .contains(&name.to_lowercase().as_str())
    {
        return Ok(None);
    }
    if name.is_empty() {
        return Err(format!(
            "expected a name before the price, found `{}`",
            short(line)
        ));
    }
    let mut prices = Vec::new();
    for figure in &figures {
        prices.push(value(pasted, figure, mark, how)?);
    }
    let level = match prices.as_slice() {
        // `4164 x 4 = 12.00`
        [total] if quantity.is_some() && ends_in_total(line) => {
            level(quantity, None, Some(*total))?
        }
        [each] => level(quantity, Some(*each), None)?,
        [each, total] => level(quantity, Some(*each), Some(*total))?,
        _ => {
            return Err(format!(
                "expected one or two prices, found {}",
                prices.len()
            ));
        }
    };
    let doubt = quantity.is_none().then(|| bare_count(&name)).flatten();
    Ok(Some(Row {
        doubt: doubt.map(|count| {
            format!("may be the price of {count}: a count is read where it is written `{count} x`")
        }),
        name,
        breaks: vec![level],
        ..Row::default()
    }))
}

/// What stands behind the last `=` is the total.
fn ends_in_total(line: &str) -> bool {
    let total = line.rsplit_once('=');
    total.is_some_and(|(_, total)| figure(total.trim()).is_some())
}

/// A number before a name that could be how many.
fn bare_count(name: &str) -> Option<u32> {
    let (first, rest) = name.split_once(' ')?;
    let count = first.parse().ok().filter(|count| (2..=100).contains(count));
    count.filter(|_| rest.chars().any(char::is_alphanumeric))
}

/// A quantity at the start: `3 ×`, `3x`, `3 pcs`.
fn before(words: &mut Vec<&str>) -> Option<u32> {
    let (count, used) = match words.as_slice() {
        [first, second, _, ..]
            if ["x", "×", "pcs", "pc", "stk"].contains(&second.to_lowercase().as_str()) =>
        {
            (first.parse().ok()?, 2)
        }
        [first, _, ..] => (first.strip_suffix(['x', '×'])?.parse().ok()?, 1),
        _ => return None,
    };
    words.drain(..used);
    Some(count)
}
