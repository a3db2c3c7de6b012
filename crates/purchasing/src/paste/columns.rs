//! What the columns of a table are: by their headings, then by the shapes of their numbers.

use super::numbers::{Figure, figure};

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// The vendor's words.
    Name,
    /// The vendor's number for it.
    Code,
    /// How many are in the cart, or from how many on the price holds.
    Quantity,
    /// The price of one.
    Each,
    /// The price of the line.
    Total,
    /// The price of one from so many on.
    From(u32),
    /// Sold in multiples of this.
    Pack,
    /// At least so many.
    Least,
    /// So many are in stock.
    Stock,
    /// The currency.
    Currency,
    /// Not used.
    Other,
}

impl Role {
    /// The word for it: `quantity`, `each from 10`.
    #[must_use]
    pub fn word(self) -> String {
        let word = WORDS.iter().find(|(_, role)| *role == self);
        match (self, word) {
            (Role::From(from), _) => format!("each from {from}"),
            (_, Some((word, _))) => (*word).to_string(),
            (_, None) => "-".to_string(),
        }
    }

    /// The role that a person named.
    pub(super) fn named(word: &str) -> Option<Role> {
        let word = word.trim().to_lowercase();
        let from = word
            .strip_prefix("each from ")
            .or(word.strip_prefix("from "));
        if let Some(from) = from.and_then(|from| from.trim().parse().ok()) {
            return Some(Role::From(from));
        }
        WORDS
            .iter()
            .find(|(known, _)| *known == word)
            .map(|(_, role)| *role)
    }
}

const WORDS: [(&str, Role); 10] = [
    ("name", Role::Name),
    ("code", Role::Code),
    ("quantity", Role::Quantity),
    ("each", Role::Each),
    ("total", Role::Total),
    ("pack", Role::Pack),
    ("least", Role::Least),
    ("stock", Role::Stock),
    ("currency", Role::Currency),
    ("-", Role::Other),
];

/// Words of headings, in several languages; the first that fits decides. Common practice, no source.
const HEADINGS: [(Role, &[&str]); 10] = [
    (
        Role::Total,
        &[
            "total",
            "subtotal",
            "sum",
            "amount",
            "line price",
            "extended",
            "ext",
            "gesamt",
            "gesamtpreis",
            "summe",
            "montant",
            "totale",
            "importe",
            "line total",
        ],
    ),
    (
        Role::Least,
        &[
            "moq",
            "minimum",
            "min",
            "least",
            "min qty",
            "mindestmenge",
            "min order",
            "minimum order",
        ],
    ),
    (
        Role::Pack,
        &[
            "pack",
            "multiple",
            "packing",
            "per pack",
            "ve",
            "pack size",
            "order multiple",
            "lot size",
        ],
    ),
    (
        Role::Stock,
        &[
            "stock",
            "available",
            "availability",
            "in stock",
            "on hand",
            "lager",
            "bestand",
            "verfügbar",
        ],
    ),
    (
        Role::Quantity,
        &[
            "quantity",
            "qty",
            "pcs",
            "pieces",
            "count",
            "menge",
            "anzahl",
            "stück",
            "stk",
            "quantité",
            "qté",
            "ilość",
            "cantidad",
            "from",
            "break",
            "price break",
            "ab",
        ],
    ),
    (
        Role::Each,
        &[
            "price",
            "unit price",
            "each",
            "unit cost",
            "cost",
            "preis",
            "stückpreis",
            "einzelpreis",
            "prix",
            "cena",
            "precio",
            "prezzo",
            "price each",
            "per piece",
            "net price",
            "prix unitaire",
        ],
    ),
    (Role::Currency, &["currency", "curr", "währung", "devise"]),
    (
        Role::Code,
        &[
            "code",
            "number",
            "sku",
            "part",
            "part number",
            "part no",
            "item no",
            "order code",
            "article no",
            "artikelnummer",
            "best.-nr",
            "bestellnummer",
            "ref",
            "reference",
            "référence",
            "mpn",
            "no",
            "nr",
            "id",
        ],
    ),
    (
        Role::Name,
        &[
            "name",
            "title",
            "description",
            "product",
            "article",
            "item",
            "artikel",
            "bezeichnung",
            "beschreibung",
            "désignation",
            "produkt",
            "nazwa",
            "text",
            "what",
        ],
    ),
    (
        Role::Other,
        &[
            "pos",
            "line",
            "image",
            "remove",
            "tax",
            "vat",
            "weight",
            "lead time",
            "delivery",
        ],
    ),
];

/// What a heading says; nothing if it is no heading known.
pub(super) fn by_heading(cell: &str) -> Option<Role> {
    let text = bare(cell);
    if text.is_empty() || text.chars().count() > 30 {
        return None;
    }
    if let Some(from) = break_heading(&text) {
        return Some(Role::From(from));
    }
    let exact = |words: &&[&str]| words.contains(&text.as_str());
    let within = |words: &&[&str]| {
        words
            .iter()
            .any(|word| word.len() > 2 && text.split(' ').any(|piece| piece == *word))
    };
    let by = |fits: &dyn Fn(&&[&str]) -> bool| {
        HEADINGS
            .iter()
            .find(|(_, words)| fits(words))
            .map(|(role, _)| *role)
    };
    by(&exact).or_else(|| by(&within))
}

/// Lower case, without brackets and what stands in them, without a currency.
fn bare(cell: &str) -> String {
    let cell = cell.to_lowercase();
    let open = cell.split(['(', '[']).next().unwrap_or_default();
    let words = open.split([' ', '_', '/', ':', '\u{a0}']).filter(|word| {
        !word.is_empty() && !["eur", "usd", "gbp", "€", "$", "£", "in"].contains(word)
    });
    let text = words.collect::<Vec<_>>().join(" ");
    text.trim_end_matches('.').to_string()
}

/// `10+`, `from 25`, `1-9`, `100 pcs`: a price from so many on.
fn break_heading(text: &str) -> Option<u32> {
    let text = text.replace('+', " ").replace(['-', '–'], " ");
    let mut from = None;
    for word in text.split_whitespace() {
        match word.parse::<u32>() {
            Ok(number) if from.is_none() => from = Some(number),
            Ok(_) => {}
            Err(_)
                if [
                    "from", "ab", "pcs", "pieces", "stk", "price", "each", "at", "x", "to", "off",
                    "qty", "up",
                ]
                .contains(&word) => {}
            Err(_) => return None,
        }
    }
    from.filter(|from| (1..=1_000_000).contains(from))
}

/// What columns without headings hold, judged by their cells.
pub(super) fn by_shape(rows: &[&Vec<String>], width: usize) -> Vec<Role> {
    let column = |at: usize| -> Vec<&str> {
        let cells = rows
            .iter()
            .filter_map(|row| row.get(at).map(String::as_str));
        cells.filter(|cell| !cell.is_empty()).collect()
    };
    let columns: Vec<Vec<&str>> = (0..width).map(column).collect();
    let figures: Vec<Vec<Figure>> = columns
        .iter()
        .map(|cells| cells.iter().filter_map(|cell| figure(cell)).collect())
        .collect();
    let numeric = |at: &usize| !columns[*at].is_empty() && figures[*at].len() == columns[*at].len();
    let priced = |at: &usize| numeric(at) && figures[*at].iter().any(Figure::is_price);
    let mut roles = vec![Role::Other; width];
    let prices: Vec<usize> = (0..width).filter(priced).collect();
    let counted = |at: &usize| numeric(at) && !priced(at) && !numbering(&figures[*at]);
    let counts: Vec<usize> = (0..width).filter(counted).collect();
    let trio = trio(rows, &counts, &prices);
    match (trio, prices.as_slice(), counts.as_slice()) {
        (Some((count, each, total)), ..) => {
            roles[count] = Role::Quantity;
            roles[each] = Role::Each;
            roles[total] = Role::Total;
        }
        (None, [each, ..], counts) => {
            roles[*each] = Role::Each;
            // figures of seven digits are numbers of articles
            let small = |at: &&usize| {
                figures[**at]
                    .iter()
                    .all(|one| one.whole().is_some_and(|n| n < 100_000))
            };
            if let Some(count) = counts.iter().find(small) {
                roles[*count] = Role::Quantity;
            }
        }
        _ => {}
    }
    name_texts(&mut roles, &columns, &figures);
    roles
}

/// 1, 2, 3: the numbers of the lines.
fn numbering(figures: &[Figure]) -> bool {
    let rises = |(n, figure): (usize, &Figure)| {
        figure.whole().and_then(|one| usize::try_from(one).ok()) == Some(n + 1)
    };
    figures.len() >= 2 && figures.iter().enumerate().all(rises)
}

/// Quantity, price of one, price of the line: such that the product holds in most rows.
fn trio(
    rows: &[&Vec<String>],
    counts: &[usize],
    prices: &[usize],
) -> Option<(usize, usize, usize)> {
    let holds = |count: usize, each: usize, total: usize| {
        let fits = rows.iter().filter(|row| {
            let cell = |at: usize| row.get(at).and_then(|cell| figure(cell));
            let (Some(count), Some(each), Some(total)) = (cell(count), cell(each), cell(total))
            else {
                return false;
            };
            let count = count.whole().map(units::Decimal::from);
            let mark = each.says.or(total.says);
            let product = count
                .zip(each.value(mark))
                .and_then(|(n, each)| n.checked_mul(each));
            product.is_some() && product == total.value(mark)
        });
        fits.count() * 2 > rows.len()
    };
    for &count in counts {
        for &each in prices {
            let total = prices
                .iter()
                .find(|total| **total != each && holds(count, each, **total));
            if let Some(total) = total {
                return Some((count, each, *total));
            }
        }
    }
    None
}

/// The columns of words: short ones with digits and no blanks are codes, the longest is the name.
fn name_texts(roles: &mut [Role], columns: &[Vec<&str>], figures: &[Vec<Figure>]) {
    let texts: Vec<usize> = (0..roles.len())
        .filter(|at| roles[*at] == Role::Other && figures[*at].len() < columns[*at].len())
        .collect();
    let length = |at: usize| -> usize {
        let cells = &columns[at];
        cells.iter().map(|cell| cell.chars().count()).sum::<usize>() / cells.len().max(1)
    };
    let longest = texts.iter().copied().max_by_key(|at| length(*at));
    let codes = (0..roles.len()).filter(|at| roles[*at] == Role::Other && Some(*at) != longest);
    let like_code = |at: &usize| {
        let cells = &columns[*at];
        let code = |cell: &&str| !cell.contains(' ') && cell.chars().any(|c| c.is_ascii_digit());
        !cells.is_empty() && cells.iter().all(code) && !numbering(&figures[*at])
    };
    let code = codes.filter(like_code).max_by_key(|at| length(*at));
    if let Some(code) = code {
        roles[code] = Role::Code;
    }
    if let Some(name) = longest {
        roles[name] = Role::Name;
    }
}
