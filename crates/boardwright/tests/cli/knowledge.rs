//! What is known of a board: lists read, parts explained, revisions compared.

use crate::club;
use expect_test::expect;

const PARTS: &str = "Ostrel 8;;;\r\nReference;Qty;Value;Where\r\nU1;1;Z80ACPU;\r\n\"U40, U41\";2;SN74LS244N;bus\r\nU42;1;OX-9;\r\nR1-R8;8;4k7;\r\nU9;1;6845;\r\n";

#[test]
fn a_parts_list_is_shown_and_then_taken() {
    let bench = club();
    let wide: Vec<u8> = format!("\u{feff}{PARTS}")
        .encode_utf16()
        .flat_map(u16::to_le_bytes)
        .collect();
    bench.write("parts.csv", wide);
    let file = bench.folder().join("boardwright/boards/ostrel-8-r2.toml");
    let before = std::fs::read_to_string(&file).expect("the board");
    let shown = bench.ok(&["board", "read-parts", "ostrel-8-r2", "parts.csv"]);
    expect![[r#"
        Eleven parts would go into boards/ostrel-8-r2.toml; nothing is written yet.
        Read as a table with semicolons, in UTF-16, with Windows line ends.
        `Reference` is the position, `Qty` is how many, which is checked and `Value` is
        what sits there; `Where` is not read.

        New
           U40, U41 │ SN74LS244N is 74ls244: eight bus drivers.
                    │ block cpu
              R1-R8 │ 4k7: resistor, by the letters of the position.
                    │ block rest

        Unknown to the catalogue, taken with a mode `dead` of their own
                U42 │ OX-9: nothing in the catalogue is called like it.
                    │ block rest

        Said otherwise by the board, and left as it is
                 U9 │ is 6845 in the list, line 7, and ov-2 on the board.

        Known
                 U1 │ is there already, with the same device.

        Left out
             line 1 │ `Ostrel 8` stands above the heading.

        To do
         U42, R1-R8 │ in no block, so no function needs them: say `--block "video: U21
                    │ U22-U25"`, or move them in the file.
                    │ boards/ostrel-8-r2.toml says `derive = false`, so the parts bring
                    │ modes but no functions and checks.
                    │ If you know what `OX-9` is, say `--as "OX-9=DEVICE"`.
    "#]]
    .assert_eq(&shown);
    assert_eq!(
        std::fs::read_to_string(&file).expect("the board"),
        before,
        "nothing is written yet"
    );
    let taken = bench.ok(&[
        "board",
        "read-parts",
        "ostrel-8-r2",
        "parts.csv",
        "--as",
        "OX-9=6845",
        "--block",
        "video: U42",
        "--take",
    ]);
    assert!(
        taken.starts_with("Eleven parts went into boards/ostrel-8-r2.toml."),
        "{taken}"
    );
    let after = std::fs::read_to_string(&file).expect("the board");
    assert!(
        after.starts_with(before.trim_end()),
        "what stood there stands"
    );
    let checked = bench.ok(&["board", "check", "boardwright/boards/ostrel-8-r2.toml"]);
    assert!(checked.starts_with("Board ostrel-8-r2 holds."), "{checked}");
    let again = bench.ok(&[
        "board",
        "read-parts",
        "ostrel-8-r2",
        "parts.csv",
        "--as",
        "OX-9=6845",
        "--take",
    ]);
    assert!(
        again.starts_with("Nothing new for ostrel-8-r2 in this list."),
        "{again}"
    );
    assert_eq!(std::fs::read_to_string(&file).expect("the board"), after);
}

#[test]
fn a_list_with_a_problem_is_refused_whole() {
    let bench = club();
    let check = |list: &[u8], says: &str| {
        bench.write("parts.csv", list);
        let ran = bench.run(&["board", "read-parts", "ostrel-8-r2", "parts.csv", "--take"]);
        assert_eq!((ran.status, ran.stdout.as_str()), (2, ""));
        assert!(ran.stderr.contains(says), "{}", ran.stderr);
        assert!(
            ran.stderr.contains("hint: nothing was written"),
            "{}",
            ran.stderr
        );
    };
    let file = bench.folder().join("boardwright/boards/ostrel-8-r2.toml");
    let before = std::fs::read(&file).expect("the board");
    check(
        b"Ref;Value\nU40;74LS00\nU41\n",
        "parts.csv:3:1: expected a whole line",
    );
    check(b"Ref,Qty,Value\n4,U40,74LS00\n", "found the quantity 4");
    check(b"Ref\tValue\n\"U40\t74LS00\n", "a closing quote");
    check(b"Ref;Value\nU40;\xb574LS00\n", "byte `0xb5`");
    check(b"", "found an empty text");
    assert_eq!(std::fs::read(&file).expect("the board"), before);
}
