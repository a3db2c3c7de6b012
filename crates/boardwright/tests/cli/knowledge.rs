//! What is known of a board: lists read, parts explained, revisions compared.

use crate::{club, demo};
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
                  │ block supply

        Unknown to the catalogue, taken with a mode `dead` of their own, or with those
        of their block
              U42 │ OX-9: nothing in the catalogue is called like it.
                  │ block rest

        Said otherwise by the board, and left as it is
               U9 │ is 6845 in the list, line 7, and ov-2 on the board.

        Known
               U1 │ is there already, with the same device.

        Left out
           line 1 │ `Ostrel 8` stands above the heading.

        To do
              U42 │ in no block, so no function needs them: say `--block "video: U21
                  │ U22-U25"`, or move them in the file.
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
    check(
        b"Ref\tValue\nU40\t74LS00\nU41;74LS00\n",
        "parts.csv:3:1: expected a line like the others, found `U41;74LS00`",
    );
    assert_eq!(std::fs::read(&file).expect("the board"), before);
}

/// The same list in every dress that programs give it.
#[test]
fn a_list_is_understood_in_every_dress() {
    let bench = club();
    let plain = "Ref;Value\nU40;74LS00\nU41;74LS08\n";
    let wide = |bytes: fn(u16) -> [u8; 2]| -> Vec<u8> {
        let text = format!("\u{feff}{plain}");
        text.encode_utf16().flat_map(bytes).collect()
    };
    for (list, says) in [
        (plain.into(), "with semicolons."),
        (plain.replace(';', "\t").into_bytes(), "with tabs."),
        (
            plain.replace('\n', "\r\n").into_bytes(),
            "with Windows line ends.",
        ),
        (wide(u16::to_le_bytes), "in UTF-16."),
        (wide(u16::to_be_bytes), "in UTF-16."),
    ] {
        bench.write("parts.csv", &list);
        let shown = bench.ok(&["board", "read-parts", "ostrel-8-r2", "parts.csv"]);
        assert!(shown.starts_with("Two parts would go into"), "{shown}");
        assert!(shown.contains(says), "{shown}");
    }
}

#[test]
fn nets_that_do_not_fit_are_refused_whole() {
    let bench = club();
    let kept = bench.folder().join("boardwright/boards/ostrel-8-r2.nets");
    let check = |nets: &str, says: &str| {
        bench.write("nets.txt", nets);
        let ran = bench.run(&["board", "read-nets", "ostrel-8-r2", "nets.txt", "--take"]);
        assert_eq!((ran.status, ran.stdout.as_str()), (2, ""));
        let said = ran.stderr.replace('\n', " ");
        assert!(said.contains(says), "{said}");
        assert!(said.contains("hint: nothing was written"), "{said}");
        assert!(!kept.exists());
    };
    check(
        "CLK: U1.6 U32.9\r\nA0: U1.30 U7.99\r\n",
        "nets.txt:2:1: expected a pin of U7, a 74ls138 with 16 pins, found `U7.99`",
    );
    check("CLK: U1.6\nRESET: U1.6\n", "expected each pin in one net");
    check("U1.6;U32.9\n", "expected a net and its pins");
    bench.write("nets.txt", "CLK\tU1.6 U32.9\r\nRESET;U1.26;U15.3\r\n");
    let shown = bench.ok(&["board", "read-nets", "ostrel-8-r2", "nets.txt"]);
    assert!(shown.starts_with("Two nets would go into"), "{shown}");
}

#[test]
fn a_part_and_a_check_are_explained() {
    let bench = club();
    let check = |name: &[&str], expect: expect_test::Expect| {
        expect.assert_eq(&bench.ok(&[&["board", "explain"], name].concat()));
    };
    check(
        &["U7"],
        expect![[r#"
            U7 is the address decoder of Ostrel 8, board revision 2.
            A 3-to-8 decoder (74ls138, DIP-16), soldered, in the block decoding.

            It needs
                    +5V │ at pin 16 (VCC), 4.75 to 5.25 V.

            Needed by
                 decode │ Addresses are decoded.
                        │ with it boot, keyboard, ports, rom and tape

            How it fails
              below 1 % │ U7, the address decoder: an output stuck or open.
                        │ breaks decode

            Who tests it
             rom-select │ Rom select at U2 pin 20; it tells of decode.
                        │ Through what follows from it also picture, rom-read, sound,
                        │ keyboard, ports and tape.
        "#]],
    );
    check(
        &["cpu", "clock"],
        expect![[r#"
            Clock at U1 pin 6.
            Count the frequency at U1 pin 6, probe at x10.
            It takes 2 min.

            Where
                  U1.6 │ the pin CLK.

            What it tells
                 clock │ passes at 3 % though it fails, fails at 2 % though it works.

            Faults that it sees, likeliest first
                   2 % │ X1 (master crystal, 14.000 MHz) is silent.
                   2 % │ PS1, the 9 V supply, gives nothing.
                   1 % │ U13, the oscillator, does not oscillate.
                   1 % │ F1 (fuse, 2 A): blown.
                   1 % │ J1, the 9 V socket, is worn or has cracked joints.
                   1 % │ SW1, the power switch, makes poor contact.
                   1 % │ U30, the 5 V regulator, gives nothing.
             below 1 % │ F1 (fuse, 2 A): bad contact in the socket.
        "#]],
    );
    let refused = bench.run(&["board", "explain", "U99"]);
    assert_eq!(refused.status, 2);
    assert!(
        refused
            .stderr
            .contains("nothing on ostrel-8-r2 is called `U99`; nearest are"),
        "{}",
        refused.stderr
    );
}

#[test]
fn nets_name_the_pins_and_the_places_to_probe() {
    let bench = club();
    let mut nets = String::from("CLK: U1.6 U32.9\nRESET: U1.26 U15.3 SW2.1\n");
    for bit in 0..8 {
        nets.push_str(&format!("D{bit}: U1.D{bit} U2.D{bit} U4.A{}\n", bit + 1));
    }
    bench.write("nets.txt", nets.replace('\n', "\r\n"));
    let shown = bench.ok(&["board", "read-nets", "ostrel-8-r2", "nets.txt"]);
    assert!(
        shown
            .starts_with("Ten nets would go into boards/ostrel-8-r2.nets; nothing is written yet."),
        "{shown}"
    );
    assert!(
        !bench
            .folder()
            .join("boardwright/boards/ostrel-8-r2.nets")
            .exists()
    );
    let none = bench.run(&["board", "net", "CLK"]);
    assert!(
        none.stderr.contains("there are no nets of `ostrel-8-r2`"),
        "{}",
        none.stderr
    );
    bench.ok(&["board", "read-nets", "ostrel-8-r2", "nets.txt", "--take"]);
    expect![[r#"
        RESET joins three pins.

        Where to probe it, easiest first
          SW2.1 │ A pin of the reset button, a leg of a part with few legs.
          U1.26 │ The pin /RESET of the CPU, a pin in the row.
          U15.3 │ The pin OUT of the reset timer, a pin in the row.
    "#]]
    .assert_eq(&bench.ok(&["board", "net", "U1.26"]));
    expect![[r#"
        Ten nets on ostrel-8-r2.

        Buses
         D0 to D7 │ U1, U2 or U4 can hold it.

        In no net
                  │ PS1, J1, SW1, F1, D1, C1, U30, C12, C13, X1, U13, C9, U5, U6, RN1,
                  │ U3, U7, U8, U10, U16-U25, U12, U9, X2, Q2, C31, U11, U14, X3, Q1,
                  │ J4, U26, RN2, C20, U27, LS1, U28, J5, KB1, U29, J6-J8, U33, U31, B1.
    "#]]
    .assert_eq(&bench.ok(&["board", "net"]));
    let clock = bench.ok(&["board", "explain", "cpu clock"]);
    assert!(
        clock.contains("Count the frequency at U1 pin 6 (CLK), probe at x10."),
        "{clock}"
    );
    bench.write("ohms.txt", "pin good suspect\nU1.6 4.52k 4.6k\nU1.14 6.1k 61\nU1.26 10k OL\nU2.11 6.1k 6.0k\nU4.2 6.1k 6.15k\n");
    expect![[r#"
        Two pins of 5 stand out, U1.26 most.
        The figure is how many standard deviations the logarithm of suspect over good
        lies from that of the other pins.

        Stand out
           open │ U1.26 (RESET): open, on the good board 10 kΩ.
                │ on the same wire: U15 and SW2
         −182.2 │ U1.14 (D0): 61 Ω, on the good board 6.1 kΩ.
                │ on the same wire: U2 and U4

        As on the good board, the farthest first
           +0.9 │ U1.6 (CLK): 4.6 kΩ, on the good board 4.52 kΩ.
                │ on the same wire: U32
           −0.5 │ U2.11 (D0): 6 kΩ, on the good board 6.1 kΩ.
                │ on the same wire: U1 and U4
           +0.5 │ U4.2 (D0): 6.15 kΩ, on the good board 6.1 kΩ.
                │ on the same wire: U1 and U2
    "#]]
    .assert_eq(&bench.ok(&["board", "ohms", "ohms.txt"]));
    let form = bench.ok(&["board", "ohms"]);
    assert!(form.contains("SW2.1"), "{form}");
    bench.write("bad.txt", "CLK: U1.6\nA15: U1.41\n");
    let refused = bench.run(&["board", "read-nets", "ostrel-8-r2", "bad.txt", "--take"]);
    assert_eq!(refused.status, 2);
    assert!(
        refused
            .stderr
            .contains("bad.txt:2:1: expected a pin of U1, a z80a with 40 pins"),
        "{}",
        refused.stderr
    );
    assert!(
        bench
            .ok(&["board", "net", "CLK"])
            .starts_with("CLK joins two pins."),
        "what was kept is kept"
    );
}

#[test]
fn a_revision_is_previewed_and_loses_nothing() {
    let bench = demo();
    let demo = ["--workshop", "boardwright-demo"];
    let run = |arguments: &[&str]| bench.ok(&[&demo[..], arguments].concat());
    let file = bench
        .folder()
        .join("boardwright-demo/boards/ostrel-8-r2.toml");
    let old = std::fs::read_to_string(&file).expect("the board");
    let lines = || bench.ok(&[&demo[..], &["journal", "--json"]].concat());
    let before = lines();
    // The picture is asked for under another name, and one chance is another.
    let new = old.replacen(
        "id = \"picture\"\ntitle = \"Picture\"",
        "id = \"screen-shows\"\ntitle = \"Picture\"",
        1,
    );
    let new = new.replacen("without = [", "without = [\"picture\", ", 1);
    let new = new.replacen("unmodelled = 0.03", "unmodelled = 0.1", 1);
    assert_ne!(new, old, "the demo has changed");
    bench.write("new.toml", &new);
    let shown = run(&["board", "compare", "ostrel-8-r2", "new.toml"]);
    for says in [
        "picture │ Is gone.",
        "is new.",
        "Would no longer count, and stay in the journal",
        "The leading suspect of each machine",
    ] {
        assert!(
            shown.contains(says) || shown.contains(&says.replace("Is", "is")),
            "{says}\n{shown}"
        );
    }
    assert_eq!(
        std::fs::read_to_string(&file).expect("the board"),
        old,
        "a preview writes nothing"
    );
    let taken = run(&["board", "compare", "ostrel-8-r2", "new.toml", "--take"]);
    assert!(taken.contains("the old one is kept as"), "{taken}");
    assert_eq!(std::fs::read_to_string(&file).expect("the board"), new);
    let count = |journal: &str| journal.matches("\"line\":").count();
    assert_eq!(count(&lines()), count(&before), "no journal line is lost");
    assert!(
        run(&["show", "T-03"]).starts_with("T-03"),
        "the pile is reckoned with the new file"
    );
    let kept = std::fs::read_dir(file.parent().expect("boards"))
        .expect("boards")
        .filter_map(Result::ok);
    let kept: Vec<_> = kept
        .filter(|entry| entry.file_name().to_string_lossy().contains(".before-"))
        .collect();
    assert_eq!(
        std::fs::read_to_string(kept[0].path()).expect("the old one"),
        old
    );
    std::fs::write(&file, std::fs::read(kept[0].path()).expect("the old one")).expect("put back");
    let back = run(&["board", "compare", "ostrel-8-r2", "new.toml"]);
    assert_eq!(back, shown, "put back, everything counts again");
    assert!(
        lines() == before,
        "and every journal line says what it said"
    );
    bench.write(
        "other.toml",
        new.replacen("id = \"ostrel-8-r2\"", "id = \"ostrel-9\"", 1),
    );
    let refused = bench.run(
        &[
            &demo[..],
            &["board", "compare", "ostrel-8-r2", "other.toml", "--take"],
        ]
        .concat(),
    );
    assert_eq!(refused.status, 2);
    assert!(
        refused
            .stderr
            .contains("expected a file of the board ostrel-8-r2, found one of ostrel-9"),
        "{}",
        refused.stderr
    );
}
