//! Carts and tables as they come, read by headings and by shapes.

use expect_test::{Expect, expect};
use proptest::prelude::*;
use purchasing::{Paste, Pasted, read_pasted, read_typed};
use units::Currency;

fn show(read: &Pasted) -> String {
    let mut text = String::new();
    if !read.columns.is_empty() {
        let roles = read
            .columns
            .iter()
            .map(|column| format!("{}: {}", column.heading, column.role.word()));
        text += &format!("{}\n", roles.collect::<Vec<_>>().join(" | "));
    }
    for row in &read.rows {
        let levels = row
            .breaks
            .iter()
            .map(|level| format!("{} at {}", level.from, level.each));
        text += &format!(
            "{} [{}] {} = {}",
            row.line,
            row.code,
            row.name,
            levels.collect::<Vec<_>>().join(", ")
        );
        for (what, count) in [
            ("pack", row.pack),
            ("least", row.least),
            ("stock", row.stock),
        ] {
            if let Some(count) = count {
                text += &format!(", {what} {count}");
            }
        }
        text += row
            .doubt
            .as_deref()
            .map(|doubt| format!(" ({doubt})"))
            .unwrap_or_default()
            .as_str();
        text.push('\n');
    }
    for note in &read.notes {
        text += &format!("- {note}\n");
    }
    for refused in &read.refused {
        text += &format!("! {refused}\n");
    }
    if let Some(currency) = read.currency {
        text += &format!("{currency}\n");
    }
    text
}

fn check_bytes(bytes: &[u8], expected: Expect) {
    let how = Paste {
        currency: Currency::EUR,
        columns: None,
    };
    expected.assert_eq(&show(&read_pasted(bytes, how)));
}

fn check(text: &str, expected: Expect) {
    check_bytes(text.as_bytes(), expected);
}

#[test]
fn a_table_with_headings() {
    check(
        "Order code,Description,Qty,Unit price,Line total\r\nA-17,\"4164, 150 ns\",3,3.90,11.70\r\nB-2,\"2\"\" bolt\",1,0.05,0.05\r\n",
        expect![[r#"
            Order code: code | Description: name | Qty: quantity | Unit price: each | Line total: total
            2 [A-17] 4164, 150 ns = 3 at 3.9
            3 [B-2] 2" bolt = 1 at 0.05
            - 5 columns between commas.
        "#]],
    );
}

#[test]
fn decimal_commas_between_semicolons() {
    check(
        "Artikel;Menge;Preis (EUR);Gesamt\n74LS245;3;0,95;2,85\nRöhre;1;1.234,50;1.234,50\nVersand;;;4,90\n",
        expect![[r#"
            Artikel: name | Menge: quantity | Preis (EUR): each | Gesamt: total
            2 [] 74LS245 = 3 at 0.95
            3 [] Röhre = 1 at 1234.5
            - 4 columns between semicolons.
            - Prices have decimal commas.
            - Line 4 is left out: `Versand   4,90`.
        "#]],
    );
}

#[test]
fn price_breaks_in_columns() {
    check(
        "Part number\tStock\tMOQ\tPack\t1+\t10+\t100+\nNE555\t400\t1\t1\t0.60\t0.48\t0.27\nLM386\tin stock\t2\t2\t\t0.70\t0.75\n",
        expect![[r#"
            Part number: code | Stock: stock | MOQ: least | Pack: pack | 1+: each from 1 | 10+: each from 10 | 100+: each from 100
            2 [NE555] NE555 = 1 at 0.6, 10 at 0.48, 100 at 0.27, pack 1, least 1, stock 400
            3 [LM386] LM386 = 10 at 0.7, 100 at 0.75, pack 2, least 2 (100 cost 0.75 each, more than 10 at 0.7; look whether that is a slip)
            - 7 columns between tabs.
        "#]],
    );
}

#[test]
fn breaks_line_by_line() {
    check(
        "item;from;price\n4164-150ns;1;3.90\n4164-150ns;8;3.40\n4164-150ns;8;3.30\n",
        expect![[r#"
            item: name | from: quantity | price: each
            2 [] 4164-150ns = 1 at 3.9, 8 at 3.3 (two prices for 8, 3.4 and 3.3; the last one is taken)
            - 3 columns between semicolons.
        "#]],
    );
}

#[test]
fn no_headings() {
    check(
        "1;4711-A;crystal 14.000 MHz;2;1.75;3.50\n2;4712-B;9 V supply, certified;1;14.50;14.50\n3;4713-B;fuse;5;0.22;1.10\n",
        expect![[r#"
            column 1: - | column 2: code | column 3: name | column 4: quantity | column 5: each | column 6: total
            1 [4711-A] crystal 14.000 MHz = 2 at 1.75
            2 [4712-B] 9 V supply, certified = 1 at 14.5
            3 [4713-B] fuse = 5 at 0.22
            - 6 columns between semicolons.
        "#]],
    );
}

#[test]
fn a_cart_off_a_page() {
    check(
        "Your cart (3)\n\n3 x 4164, 150 ns   € 3,90   € 11,70\ncrystal 14.000 MHz  2  1,75 €  3,50 €\nSRAM 6264 4,20 €\nTotal 19,40 €\n",
        expect![[r#"
            3 [] 4164, 150 ns = 3 at 3.9
            4 [] crystal 14.000 MHz = 2 at 1.75
            5 [] SRAM 6264 = 1 at 4.2
            - Line 1 is left out: `Your cart (3)`.
            - Line 6 is left out: `Total 19,40 €`.
            EUR
        "#]],
    );
}

#[test]
fn one_thing_a_line() {
    check(
        "4164 memory, 150 ns\nQty: 3\n$3.90\n$11.70\nNE555 timer\nsingle\n5\n$0.60\n$3.00\n",
        expect![[r#"
            1 [] 4164 memory, 150 ns = 3 at 3.9
            5 [] NE555 timer single = 5 at 0.6
            - Names and numbers stand on lines of their own.
            USD
        "#]],
    );
}

#[test]
fn what_is_not_understood_is_told_with_its_line() {
    check(
        "name;quantity;each;total\nNE555;3;0.60;1.90\nLM386;0;1.20;0\nfuse;2;-0.22;-0.44\ndiode;10;free;0\nsocket;1;1,234;1,234\n;3;0.10;0.30\nfan;1;2.00\nled;1;0;0\n",
        expect![[r#"
            name: name | quantity: quantity | each: each | total: total
            6 [] socket = 1 at 1234
            - 4 columns between semicolons.
            ! line 2: 3 at 0.60 make 1.80, but the line says 1.90
            ! line 3: expected a quantity of 1 or more, found 0
            ! line 4: expected a price above 0, found `-0.22`
            ! line 5: expected a price, found `free`
            ! line 7: expected a name, found an empty cell
            ! line 8: expected 4 cells as in the other lines, found 3
            ! line 9: expected a price above 0, found `0`
        "#]],
    );
}

#[test]
fn without_prices_or_names() {
    check(
        "name;quantity\nNE555;3\nLM386;2\n",
        expect![[r#"
        name: name | quantity: quantity
        - 2 columns between semicolons.
        ! line 2: no column of prices was found; say what the columns are, such as `name, quantity, each`
    "#]],
    );
    check(
        "a;b\n1;2.00\n",
        expect![[r#"
        column 1: - | column 2: name
        - 2 columns between semicolons.
        ! line 1: no column of prices was found; say what the columns are, such as `name, quantity, each`
    "#]],
    );
    check(
        "name;each\n\"NE555;0.60\nLM386;1.20\n",
        expect![[r#"
        ! line 2: expected a closing quote, found the end of the text; a quote inside a cell is written twice
    "#]],
    );
    check("", expect![[""]]);
    check(
        "nothing here\n",
        expect![[r#"
        - Line 1 is left out: `nothing here`.
    "#]],
    );
}

#[test]
fn files_of_table_programs() {
    let text = "name;each\nRöhre;3,90 €\n";
    let wide: Vec<u16> = text.encode_utf16().collect();
    let little: Vec<u8> = [0xFF, 0xFE]
        .into_iter()
        .chain(wide.iter().flat_map(|unit| unit.to_le_bytes()))
        .collect();
    let big: Vec<u8> = wide.iter().flat_map(|unit| unit.to_be_bytes()).collect();
    check_bytes(
        &little,
        expect![[r#"
        name: name | each: each
        2 [] Röhre = 1 at 3.9
        - The text is UTF-16.
        - 2 columns between semicolons.
        - Prices have decimal commas.
        EUR
    "#]],
    );
    check_bytes(
        &big,
        expect![[r#"
        name: name | each: each
        2 [] Röhre = 1 at 3.9
        - The text is UTF-16.
        - 2 columns between semicolons.
        - Prices have decimal commas.
        EUR
    "#]],
    );
    check_bytes(
        b"\xEF\xBB\xBFname;each\nfuse;0,22\n",
        expect![[r#"
        name: name | each: each
        2 [] fuse = 1 at 0.22
        - 2 columns between semicolons.
        - Prices have decimal commas.
    "#]],
    );
    check_bytes(
        b"name;each\nR\xF6hre;3,90 \x80\n",
        expect![[r#"
        name: name | each: each
        2 [] Röhre = 1 at 3.9
        - The text is the Windows code page 1252.
        - 2 columns between semicolons.
        - Prices have decimal commas.
        EUR
    "#]],
    );
    check_bytes(
        b"\xFF\xFEn\0a\0m",
        expect![[r#"
        ! line 1: expected UTF-16, found an odd number of bytes; save it as UTF-8
    "#]],
    );
    check_bytes(
        b"name;each\nfu\x00se;0,22\n",
        expect![[r#"
        ! line 2: expected text, found a control character; save it as a text file
    "#]],
    );
}

#[test]
fn two_currencies_are_one_too_many() {
    check(
        "name;each\nNE555;0.60 USD\nLM386;1.20 EUR\n",
        expect![[r#"
        name: name | each: each
        2 [] NE555 = 1 at 0.6
        - 2 columns between semicolons.
        ! line 3: expected prices in USD as in the lines before, found EUR
        USD
    "#]],
    );
}

#[test]
fn columns_as_a_person_names_them() {
    let how = |columns| Paste {
        currency: Currency::EUR,
        columns: Some(columns),
    };
    let table = b"NE555;5;3.00;x\nLM386;2;1.40;y\n";
    expect![[r#"
        column 1: name | column 2: quantity | column 3: total | column 4: -
        1 [] NE555 = 5 at 0.6
        2 [] LM386 = 2 at 0.7
        - 4 columns between semicolons.
    "#]]
    .assert_eq(&show(&read_pasted(table, how("name, quantity, total, -"))));
    expect![[r#"
        ! line 1: expected what the 4 columns are, found 2 words
    "#]]
    .assert_eq(&show(&read_pasted(table, how("name, quantity"))));
    expect![[r#"
        ! line 1: expected `name`, `code`, `quantity`, `each`, `total`, `from 10`, `pack`, `least`, `stock`, `currency` or `-` for a column, found `dozen`
    "#]].assert_eq(&show(&read_pasted(table, how("name, dozen, each, -"))));
}

#[test]
fn typed() {
    let said = |text: &str| match read_typed(text) {
        Ok(row) => {
            let levels: Vec<String> = row
                .breaks
                .iter()
                .map(|level| format!("{} at {}", level.from, level.each))
                .collect();
            format!(
                "{}: {} {:?} {:?}",
                row.name,
                levels.join(", "),
                row.pack,
                row.stock
            )
        }
        Err(why) => why,
    };
    let cases = [
        ("4164-150ns 3.90", "4164-150ns: 1 at 3.9 None None"),
        ("4164-150ns 8 at 3,40", "4164-150ns: 8 at 3.4 None None"),
        (
            "4164-150ns 8 at 3.40, 1 at 3.90",
            "4164-150ns: 1 at 3.9, 8 at 3.4 None None",
        ),
        (
            "crystal 14.000 MHz 1.75 pack 2 stock 60",
            "crystal 14.000 MHz: 1 at 1.75 Some(2) Some(60)",
        ),
        ("fuse 0.22 stock 0", "fuse: 1 at 0.22 None Some(0)"),
        ("fuse -0.22", "expected a price above 0, found `-0.22`"),
        ("fuse 0", "expected a price above 0, found `0`"),
        ("fuse", "expected a price such as 3.40, found `fuse`"),
        ("3.40", "expected a name before the price, found `3.40`"),
        (
            "fuse 0 at 3.40",
            "expected a quantity before `at`, found `0`",
        ),
        (
            "fuse 1 at 3.40 1 at 3.50",
            "expected one price for 1, found two",
        ),
        (
            "fuse 0.22 pack none",
            "expected a whole number after `pack`, found `none`",
        ),
        (
            "",
            "expected a name and a price such as `4164-150ns 3.90`, found nothing",
        ),
    ];
    for (text, expected) in cases {
        assert_eq!(said(text), expected, "{text}");
    }
}

proptest! {
    #[test]
    fn nothing_panics(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let how = Paste { currency: Currency::EUR, columns: None };
        let _ = read_pasted(&bytes, how);
    }

    #[test]
    fn nothing_like_a_table_panics(text in "([a-z0-9 .,;\t\"€$x-]{0,12}[;,\t\n]){0,30}") {
        let how = Paste { currency: Currency::EUR, columns: None };
        let read = read_pasted(text.as_bytes(), how);
        for row in &read.rows {
            prop_assert!(row.breaks.iter().all(|level| level.each > units::Decimal::ZERO && level.from > 0));
            prop_assert!(!row.name.is_empty());
        }
        let _ = read_typed(&text);
    }

    /// A table is read the same whatever stands between its cells, however its lines end and its text is coded.
    #[test]
    fn the_way_it_is_written_does_not_matter(
        rows in proptest::collection::vec(("[A-Z][a-z]{3,9}", 1_u32..500, 1_i64..99_999), 2..8),
        sign in 0_usize..3,
        comma in any::<bool>(),
        windows in any::<bool>(),
        wide in any::<bool>(),
    ) {
        let sign = ['\t', ';', '|'][sign];
        let end = if windows { "\r\n" } else { "\n" };
        let mut text = format!("description{sign}quantity{sign}unit price{end}");
        for (n, (name, quantity, cents)) in rows.iter().enumerate() {
            let price = format!("{}.{:02}", cents / 100, cents % 100);
            let price = if comma { price.replace('.', ",") } else { price };
            text += &format!("\"{name} {n}; {sign}\"{sign}{quantity}{sign}{price}{end}");
        }
        let bytes = if wide {
            [0xFF, 0xFE].into_iter().chain(text.encode_utf16().flat_map(u16::to_le_bytes)).collect()
        } else {
            text.into_bytes()
        };
        let read = read_pasted(&bytes, Paste { currency: Currency::EUR, columns: None });
        prop_assert_eq!(&read.refused, &Vec::new());
        prop_assert_eq!(read.rows.len(), rows.len());
        for (row, (_, quantity, cents)) in read.rows.iter().zip(&rows) {
            prop_assert_eq!(row.breaks[0].from, *quantity);
            prop_assert_eq!(row.breaks[0].each, units::Decimal::new(*cents, 2).normalize());
        }
    }
}

#[test]
fn prices_of_one_and_of_a_line() {
    check(
        "2 x 4164-150ns @ 3.20   6.40\n7805 x 4 = 2.00\n3 x 74LS04 at 0.40 = 1.20\n2 z80a 6.40\n",
        expect![[r#"
            1 [] 4164-150ns = 2 at 3.2
            2 [] 7805 = 4 at 0.5
            3 [] 74LS04 = 3 at 0.4
            4 [] 2 z80a = 1 at 6.4 (may be the price of 2: a count is read where it is written `2 x`)
        "#]],
    );
}
