//! Parts lists of every make: understood whole, or refused with the line.

use catalogue::{
    Addition, Choices, Encoding, Library, ListedPart, Meaning, Mount, PartsList, Separator,
    add_parts, parse_parts_list, print_parts_list,
};
use proptest::prelude::*;

fn parse(text: &str) -> PartsList {
    parse_parts_list(text.as_bytes(), "list", Library::built_in())
        .unwrap_or_else(|problems| panic!("{}\n{text}", problems[0]))
}

fn check(text: &str, separator: Separator, parts: &str) {
    let list = parse(text);
    let found: Vec<String> = list
        .parts
        .iter()
        .map(|part| format!("{}={}", part.reference, part.value))
        .collect();
    assert_eq!(
        (list.layout.separator, found.join(" ").as_str()),
        (separator, parts),
        "{text}"
    );
}

fn refused(text: &str, expect: &[&str]) {
    let problems = parse_parts_list(text.as_bytes(), "list", Library::built_in())
        .expect_err("a list with a problem");
    let problems: Vec<String> = problems.iter().map(ToString::to_string).collect();
    assert_eq!(problems, expect, "{text}");
}

#[test]
fn separators() {
    use Separator::{Bar, Comma, Semicolon, Tab, Words};
    let both = "U1=Z80A U2=74LS00";
    check("Ref;Value\nU1;Z80A\nU2;74LS00\n", Semicolon, both);
    check("Ref\tValue\nU1\tZ80A\nU2\t74LS00\n", Tab, both);
    check("Ref,Value\nU1,Z80A\nU2,74LS00\n", Comma, both);
    check("Ref | Value\nU1 | Z80A\nU2 | 74LS00\n", Bar, both);
    check("U1 Z80A\nU2 74LS00\n", Words, both);
    check("U1: Z80A; U2: 74LS00", Words, both);
    check("Z80A U1\n74LS00 U2", Words, both);
    check("U1;Z80A\nU2;74LS00\n", Semicolon, both);
    check("Z80A,U1\n74LS00,U2\n", Comma, both);
    check("U1\tZ80A\tCPU\nU2\t74LS00\tgates", Tab, both);
}

#[test]
fn how_a_part_sits_and_what_it_is_for() {
    let check = |text: &str, expect: &str| {
        let parts = parse(text).parts;
        let part = |part: &ListedPart| {
            let title = part.title.as_deref().unwrap_or("-");
            let mount = part
                .mount
                .map_or("-".to_owned(), |mount| format!("{mount:?}"));
            format!("{} {title} {mount}", part.reference)
        };
        let parts: Vec<String> = parts.iter().map(part).collect();
        assert_eq!(parts.join("; "), expect, "{text}");
    };
    let both = "U1 CPU Socket; U2 gates -";
    check(
        "Ref;Value;Description;Notes\nU1;Z80A;CPU;socket\nU2;74LS00;gates;\n",
        both,
    );
    check(
        "Ref;Value;Notes;Socket\nU1;Z80A;CPU;yes\nU2;74LS00;gates;\n",
        both,
    );
    // a description is the name itself where there is no other
    check(
        "Ref;Description;Notes\nU1;Z80A;CPU\nU2;74LS00;gates\n",
        "U1 CPU -; U2 gates -",
    );
    // one remark of another kind, and all are remarks
    check(
        "Ref;Value;Notes\nU1;Z80A;socket\nU2;74LS00;check\n",
        "U1 socket -; U2 check -",
    );
    check("U1;Z80A;socket\nU2;74LS00;\n", "U1 - Socket; U2 - -");
}

#[test]
fn references_in_one_cell() {
    use Separator::{Comma, Semicolon, Words};
    let five = "U22=74LS166 U23=74LS166 U24=74LS166 U25=74LS166 U30=74LS166";
    check("U22-U25, U30: 74LS166", Words, five);
    check("Ref;Value\nU22-U25, U30;74LS166", Semicolon, five);
    check("Ref,Value\n\"U22-U25, U30\",74LS166", Comma, five);
    check("Ref,Value\nU22-U25,U30,74LS166", Comma, five);
    check("Value,Ref\n74LS166,U22,U23,U24,U25,U30", Comma, five);
    check("Qty;Value;Ref\n5;74LS166;U22-U25 U30", Semicolon, five);
    check("U22-U25, U30 (5) 74LS166", Words, five);
    check(
        "U21 6845; U22-U25 74ls166",
        Words,
        "U21=6845 U22=74ls166 U23=74ls166 U24=74ls166 U25=74ls166",
    );
}

#[test]
fn headings() {
    let list = parse(
        "Ostrel 8 parts\n\nItem;Qty;Part number;Reference(s);Note;Socket\n1;2;74LS244;U5, U6;address;no\n2;1;Z80A;U1;;yes\nTotal;3;;;;\n",
    );
    let meanings: Vec<Meaning> = list
        .layout
        .columns
        .iter()
        .map(|column| column.meaning)
        .collect();
    use Meaning::{Mount as Sits, Nothing, Quantity, Reference, Title, Value};
    assert_eq!(meanings, [Nothing, Quantity, Value, Reference, Title, Sits]);
    assert_eq!(list.layout.heading, Some(3));
    assert_eq!(list.parts.len(), 3);
    assert_eq!(list.parts[0].title.as_deref(), Some("address"));
    assert_eq!(list.parts[2].mount, Some(Mount::Socket));
    let left: Vec<(usize, &str)> = list
        .left_out
        .iter()
        .map(|left| (left.line, left.why.as_str()))
        .collect();
    assert_eq!(
        left,
        [(1, "stands above the heading"), (6, "names no position")]
    );
}

#[test]
fn encodings() {
    let text = "Ref;Value\r\nC1;10 µF\r\nU1;Z80A\r\n";
    let wide: Vec<u8> = format!("\u{feff}{text}")
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    let list = parse_parts_list(&wide, "list", Library::built_in()).expect("a list");
    assert_eq!(
        (list.layout.encoding, list.layout.foreign_ends),
        (Encoding::Utf16, true)
    );
    assert_eq!(list.parts[0].value, "10 µF");
    assert_eq!(list.parts, parse(text).parts);
}

#[test]
fn bad_lists() {
    refused(
        "Ref;Qty;Value\nU1;1;Z80A\n4;U2-U5;74LS244\n",
        &[
            "list:3:1: expected references such as `U7`, found the quantity 4; hint: the columns may be in another order than their heading says",
        ],
    );
    refused(
        "Ref;Qty;Value\nU1;1;Z80A\nU2-U5;3;74LS244\n",
        &["list:3:1: expected as many positions as the quantity 3 says, found 4"],
    );
    refused(
        "Ref;Value\nU1;Z80A\nU2\n",
        &["list:3:1: expected a whole line, found one cell; hint: the list may have been cut off"],
    );
    refused(
        "Ref;Value\nU1;Z80A\nU2;\n",
        &[
            "list:3:4: expected what sits at U2, found nothing; hint: the list may have been cut off",
        ],
    );
    refused(
        "Ref,Value\nU1,Z80A\n\"U2-U5,74LS244\n",
        &[
            "list:3:1: expected a closing quote, found none to the end; hint: the list may have been cut off",
        ],
    );
    refused(
        "Ref;Value\nU1;Z80A\nU1;74LS00\nU5-U2;x\n",
        &[
            "list:3:1: expected each position once, found `U1` again; hint: it is at line 2 too",
            "list:4:1: expected references such as `U7`, found the range `U5-U2`; hint: write it from the first to the last, as `U22-U25`, at most 256 of them",
        ],
    );
    refused(
        "Ref\tValue\nU1\tZ80A\nU2;74LS00\n",
        &[
            "list:3:1: expected a line like the others, found `U2;74LS00`; hint: the other lines have another separator",
        ],
    );
    refused(
        "U1 Z80A\n74LS00\n",
        &[
            "list:2:1: expected a position and what sits there, found `74LS00`; hint: write the position first, then what sits there",
        ],
    );
    refused(
        "",
        &[
            "list:1:1: expected a parts list: positions with what sits there, such as `U7 74LS138` on each line, found an empty text",
        ],
    );
    refused(
        "hello\nworld",
        &[
            "list:1:1: expected a parts list: positions with what sits there, such as `U7 74LS138` on each line, found `hello`",
        ],
    );
}

const BOARD: &str = "[board]\nid = \"small\"\n\n[[rail]]\nname = \"+5V\"\nvolts = 5.0\n\n[[block]]\nid = \"cpu\"\ntitle = \"CPU\"\n\n[[part]]\nref = \"U1\"\ndevice = \"z80a\"\nblock = \"cpu\"\n";

fn add(list: &str, choices: &Choices) -> Addition {
    add_parts(
        BOARD,
        "small.toml",
        &parse(list),
        choices,
        Library::built_in(),
    )
    .unwrap_or_else(|problems| panic!("{}", problems[0]))
}

#[test]
fn parts_are_added() {
    let list = "U1 Z80ACPU\nU2 27128\nU16-U23 TMS4164-15\nU40 OV-2\nC1 220uF\nU7 74LS138";
    let added = add(list, &Choices::default());
    let text = added
        .text
        .strip_prefix(BOARD)
        .expect("what stood there stands");
    expect_test::expect![[r#"

        [[block]]
        id = "decode"
        title = "Decoding"

        [[block]]
        id = "ram"
        title = "RAM"

        [[block]]
        id = "rest"
        title = "Not placed yet"

        [[block]]
        id = "rom"
        title = "ROM"

        [[block]]
        id = "supply"
        title = "Supply"

        [[part]]
        ref = "U2"
        device = "27128"
        block = "rom"

        [[part]]
        ref = "U16-U23"
        device = "4164-150"  # TMS4164-15
        block = "ram"

        [[part]]
        ref = "U40"
        title = "OV-2"
        block = "rest"
        mode = [{ id = "dead", title = "is dead", chance = "rare" }]

        [[part]]
        ref = "C1"
        device = "electrolytic"  # 220uF
        block = "supply"

        [[part]]
        ref = "U7"
        device = "74ls138"
        block = "decode"
    "#]]
    .assert_eq(text);
    assert_eq!(added.known, ["U1"]);
    assert_eq!(added.without_block, ["U40"]);
    assert_eq!(added.profile.parts.len(), 13);
    assert!(
        added.profile.function("ram").is_some(),
        "the roles of the new parts bring their functions"
    );
}

#[test]
fn what_a_person_says_beside_the_list() {
    let choices = Choices {
        devices: [("ov-2".to_owned(), "6845".to_owned())].into(),
        blocks: [("C1".to_owned(), "cpu".to_owned())].into(),
    };
    let added = add("U40 OV-2\nC1 220uF\nU1 6502\nU2 4116", &choices);
    let block = |reference: &str| {
        added
            .profile
            .part(reference)
            .map(|part| part.block.as_str())
    };
    assert_eq!((block("U40"), block("C1")), (Some("video"), Some("cpu")));
    assert_eq!(added.different[0].has, "z80a");
    assert_eq!(added.rails.keys().collect::<Vec<_>>(), ["+12V", "-5V"]);
    assert_eq!(added.without_block, [""; 0]);
}

#[test]
fn taking_twice_changes_nothing() {
    let list = parse("U2 27128\nU16-U23 4164\nU40 OV-2");
    let once =
        add_parts(BOARD, "b", &list, &Choices::default(), Library::built_in()).expect("good");
    let twice = add_parts(
        &once.text,
        "b",
        &list,
        &Choices::default(),
        Library::built_in(),
    )
    .expect("good");
    assert_eq!(once.text, twice.text);
    assert_eq!((twice.new.len(), twice.known.len()), (0, 10));
}

#[test]
fn a_profile_that_cannot_take_them_is_left_alone() {
    let inline = "part = [{ ref = \"U1\", device = \"z80a\" }]\n[board]\nid = \"small\"\n";
    let problems = add_parts(
        inline,
        "b",
        &parse("U2 27128"),
        &Choices::default(),
        Library::built_in(),
    )
    .expect_err("TOML forbids it");
    assert_eq!(problems[0].line, 9);
}

prop_compose! {
    fn listed()(
        value in "[A-Za-z0-9][A-Za-z0-9 ./\"+-]{0,10}[A-Za-z0-9]", title in prop::option::of("[a-zA-Z][ -~]{0,10}[a-z]"),
        block in prop::option::of("[a-z]{1,8}"), mount in prop::option::of(prop::sample::select(vec![Mount::Socket, Mount::Soldered, Mount::Plug])),
        many in 1u32..4,
    ) -> (u32, ListedPart) {
        (many, ListedPart { reference: String::new(), value, title, block, mount, line: 0 })
    }
}

proptest! {
    #[test]
    fn printed_and_read(runs in prop::collection::vec(listed(), 1..8)) {
        let mut parts = Vec::new();
        let mut number = 0;
        for (many, part) in runs {
            for _ in 0..many {
                number += 1;
                parts.push(ListedPart { reference: format!("U{number}"), ..part.clone() });
            }
        }
        let text = print_parts_list(&parts);
        let mut read = parse(&text).parts;
        for part in &mut read {
            part.line = 0;
        }
        prop_assert_eq!(read, parts, "{}", text);
    }

    #[test]
    fn any_bytes_are_read_or_refused(bytes in prop::collection::vec(any::<u8>(), 0..200)) {
        _ = parse_parts_list(&bytes, "list", Library::built_in());
    }

    #[test]
    fn any_text_is_read_or_refused(text in "[U0-9RC;,\t\" \n:=x()74LS.-]{0,80}") {
        if let Ok(list) = parse_parts_list(text.as_bytes(), "list", Library::built_in()) {
            _ = add_parts(BOARD, "b", &list, &Choices::default(), Library::built_in());
        }
    }

    #[test]
    fn a_list_cut_off_is_never_half_taken(cut in 0usize..60) {
        let whole = "Ref;Value\nU1;Z80A\n\"U2, U3\";74LS00\nU16-U23;4164\nC1;\"10 uF\"\n";
        let cut = cut.min(whole.len());
        let full = parse(whole).parts;
        if let Ok(list) = parse_parts_list(&whole.as_bytes()[..cut], "list", Library::built_in()) {
            // Whole lines, or the last one without the end of its name, which the preview shows.
            prop_assert!(list.parts.len() <= full.len());
            for (read, part) in list.parts.iter().zip(&full) {
                prop_assert_eq!(&read.reference, &part.reference);
                prop_assert!(part.value.starts_with(&read.value));
            }
        }
    }
}
