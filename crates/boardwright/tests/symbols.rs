//! Pin-outs of the catalogue against the schematic symbols in Debian's package `kicad-symbols`.
//!
//! The package is data of general use, read where it is installed and never copied. A symbol tells the number, the name
//! and the electrical kind of each pin; names differ from book to book, so only what can be compared is compared:
//! which pins there are, which feed the part, which way signals go, and that the lines of a bus stand in the same order.

use std::collections::BTreeMap;
use std::path::Path;
use std::{env, fs};

use catalogue::{Device, Library, PinKind};

/// The files in which the catalogue's devices are looked for.
const FILES: &str = "4xxx 74xx Amplifier_Audio Amplifier_Operational Audio CPU CPU_NXP_6800 Comparator Interface \
                     Interface_UART Isolator Logic_LevelTranslator Logic_Programmable MCU_Intel Memory_EEPROM \
                     Memory_EPROM Memory_Flash Memory_RAM Power_Supervisor Regulator_Linear \
                     Regulator_SwitchedCapacitor Timer Transistor_Array Video";

/// Symbols whose names are not those of the devices.
const NAMES: &[(&str, &str)] = &[
    ("z80a", "Z80CPU"),
    ("z80-pio", "Z8420"),
    ("6800", "MC6800"),
    ("6802", "MC6802"),
    ("6809", "MC6809"),
    ("6809e", "MC6809E"),
    ("6850", "MC6850"),
    ("8086", "8086_Min_Mode"),
    ("8088", "8088_Min_Mode"),
    ("1802", "CDP1802ACE"),
    ("8237a", "8237"),
    ("8259a", "8259"),
    ("8284a", "8284"),
    ("62256", "HM62256BLP"),
    ("39sf010", "SST39SF010"),
    ("ne555", "NE555P"),
    ("ne556", "NE556"),
    ("7805", "L7805"),
    ("7812", "L7812"),
    ("7905", "L7905"),
    ("78l05", "L78L05_TO92"),
    ("79l05", "L79L05_TO92"),
    ("lm317", "LM317_TO-220"),
    ("tl7705", "TL7705A"),
    ("uln2803", "ULN2803A"),
    ("4093", "HEF4093B"),
    ("4024", "74HC4024"),
    ("74121", "74LS121"),
    ("74ls164", "74HC164"),
    ("74lvc8t245", "SN74AVC8T245PW"),
    ("74lvc1t45", "SN74LVC1T45DBV"),
    ("txs0108e", "TXS0108EPW"),
];

/// Pins that the symbol shows otherwise, and why the catalogue keeps to its own.
const DIFFERENT: &[(&str, &[u32], &str)] = &[
    ("4046", &[4], "the oscillator's output is drawn as an input"),
    ("6802", &[1], "one of the two grounds is drawn as passive"),
    (
        "6809e",
        &[39],
        "TSC lets the buses go: an input of the processor",
    ),
    (
        "74ls293",
        &[1, 3],
        "drawn as a 74290, whose set inputs a 74293 has not",
    ),
    (
        "74ls629",
        &[8, 15],
        "supply and ground of the oscillators are drawn as passive",
    ),
    (
        "74lvc8t245",
        &[12, 13],
        "two of the three grounds are drawn as passive",
    ),
    ("39sf010", &[1, 30], "not connected in this size"),
    (
        "gal16v8",
        &[13, 14, 15, 16, 18, 19],
        "drawn with outputs counted from pin 19",
    ),
    (
        "pal16l8",
        &[14, 15, 16, 18, 19],
        "drawn with outputs counted from pin 19",
    ),
];

/// Symbols that show another part under this name.
const WRONG: &[(&str, &str)] = &[(
    "wd1793",
    "only the later 279x is there, with other pins for its separator",
)];

/// A pin of a symbol.
struct Pin {
    name: String,
    kind: String,
}

type Symbol = BTreeMap<String, Pin>;

/// One node of the text: a word, or a list of nodes.
enum Node {
    Word(String),
    List(Vec<Node>),
}

impl Node {
    fn list(&self) -> &[Node] {
        match self {
            Self::List(list) => list,
            Self::Word(_) => &[],
        }
    }

    fn word(&self, at: usize) -> &str {
        match self.list().get(at) {
            Some(Self::Word(word)) => word,
            _ => "",
        }
    }

    fn children<'n>(&'n self, name: &'n str) -> impl Iterator<Item = &'n Node> {
        self.list().iter().filter(move |node| node.word(0) == name)
    }
}

fn parse(text: &str) -> Node {
    let mut open = vec![Vec::new()];
    let mut letters = text.chars().peekable();
    while let Some(letter) = letters.next() {
        match letter {
            '(' => open.push(Vec::new()),
            ')' => {
                let list = open.pop().expect("a list that was begun");
                open.last_mut()
                    .expect("a list around it")
                    .push(Node::List(list));
            }
            '"' => {
                let mut word = String::new();
                while let Some(letter) = letters.next().filter(|&letter| letter != '"') {
                    word.extend(if letter == '\\' {
                        letters.next()
                    } else {
                        Some(letter)
                    });
                }
                open.last_mut().expect("a list").push(Node::Word(word));
            }
            _ if letter.is_whitespace() => {}
            _ => {
                let mut word = String::from(letter);
                while let Some(&next) = letters.peek()
                    && !next.is_whitespace()
                    && !"()\"".contains(next)
                {
                    word.push(next);
                    letters.next();
                }
                open.last_mut().expect("a list").push(Node::Word(word));
            }
        }
    }
    open.pop().and_then(|mut all| all.pop()).expect("one list")
}

fn pins(node: &Node, into: &mut Symbol) {
    for pin in node.children("pin") {
        let of = |key| {
            pin.children(key)
                .next()
                .map_or("", |child| child.word(1))
                .to_owned()
        };
        let (name, kind) = (of("name"), pin.word(1).to_owned());
        into.insert(of("number"), Pin { name, kind });
    }
    for unit in node.children("symbol") {
        pins(unit, into);
    }
}

/// The symbols of all files, by name in small letters; what extends another has its pins.
fn symbols(folder: &Path) -> BTreeMap<String, Symbol> {
    let mut all = BTreeMap::new();
    for name in FILES.split_whitespace() {
        let path = folder.join(format!("{name}.kicad_sym"));
        let text =
            fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
        let file = parse(&text);
        for symbol in file.children("symbol") {
            let shown = symbol
                .children("extends")
                .next()
                .map_or(symbol.word(1), |base| base.word(1));
            let drawn = file.children("symbol").find(|other| other.word(1) == shown);
            let mut own = Symbol::new();
            pins(drawn.unwrap_or(symbol), &mut own);
            all.entry(symbol.word(1).to_lowercase()).or_insert(own);
        }
    }
    all
}

/// The way signals go at a pin, as far as symbol and catalogue both tell it.
#[derive(Debug, PartialEq)]
enum Way {
    Feeds,
    In,
    Out,
}

fn way(device: &Device, pin: &catalogue::Pin) -> Option<Way> {
    match pin.kind {
        PinKind::Supply | PinKind::Ground => Some(Way::Feeds),
        PinKind::Input => Some(Way::In),
        PinKind::Output | PinKind::Tristate => Some(Way::Out),
        // The discharge of a timer is drawn as an input.
        PinKind::OpenCollector if !device.id.starts_with("ne55") => Some(Way::Out),
        _ => None,
    }
}

fn way_of_symbol(kind: &str) -> Option<Way> {
    match kind {
        "power_in" => Some(Way::Feeds),
        "input" => Some(Way::In),
        "output" | "tri_state" | "open_collector" => Some(Way::Out),
        _ => None,
    }
}

/// `D7` as the stem and the number at its end.
fn line_of_bus(name: &str) -> Option<(String, i64)> {
    let plain: String = name.chars().filter(char::is_ascii_alphanumeric).collect();
    let stem = plain.trim_end_matches(|letter: char| letter.is_ascii_digit());
    Some((stem.to_owned(), plain[stem.len()..].parse().ok()?))
}

/// What differs between a device and its symbol, in words.
fn differences(device: &Device, symbol: &Symbol) -> Vec<(u32, String)> {
    let mut found = Vec::new();
    let mut offsets: BTreeMap<(String, String), i64> = BTreeMap::new();
    for pin in &device.pins {
        let Some(drawn) = symbol.get(&pin.number.to_string()) else {
            if pin.kind != PinKind::Unconnected {
                found.push((pin.number, format!("{} is not drawn", pin.name)));
            }
            continue;
        };
        let (own, other) = (way(device, pin), way_of_symbol(&drawn.kind));
        let regulator = device.role == "regulator" && pin.kind == PinKind::Passive;
        let feeds = own == Some(Way::Feeds) || other == Some(Way::Feeds);
        let plain = own.is_some() && other.is_some();
        if (feeds || plain) && own != other && !regulator {
            found.push((
                pin.number,
                format!("{} is drawn as {}", pin.name, drawn.kind),
            ));
        }
        let unconnected = pin.kind == PinKind::Unconnected;
        if unconnected && !["no_connect", "unconnected", "passive"].contains(&drawn.kind.as_str()) {
            found.push((
                pin.number,
                format!("{} is drawn as {}", pin.name, drawn.kind),
            ));
        }
        if let (Some((stem, line)), Some((other, drawn))) =
            (line_of_bus(&pin.name), line_of_bus(&drawn.name))
        {
            let offset = *offsets.entry((stem, other)).or_insert(line - drawn);
            if line - drawn != offset {
                found.push((pin.number, format!("{} is out of order", pin.name)));
            }
        }
    }
    for number in symbol
        .keys()
        .filter_map(|number| number.parse::<u32>().ok())
    {
        if device.pins.iter().all(|pin| pin.number != number) {
            found.push((number, "only drawn".to_owned()));
        }
    }
    found
}

#[test]
fn pin_outs_agree_with_the_symbols() {
    let folder = env::var_os("BOARDWRIGHT_SYMBOLS").expect(
        "found no BOARDWRIGHT_SYMBOLS, expected the folder of the symbols: run `cargo xtask test`",
    );
    let symbols = symbols(Path::new(&folder));
    let library = Library::built_in();
    let mut compared = 0;
    let mut wrong = Vec::new();
    for device in library
        .devices()
        .filter(|device| device.variant_of.is_none())
    {
        if device.pins.is_empty() || WRONG.iter().any(|(id, _)| *id == device.id) {
            continue;
        }
        let name = NAMES.iter().find(|(id, _)| *id == device.id);
        let name = name.map_or(device.id.clone(), |(_, name)| name.to_lowercase());
        let Some(symbol) = symbols.get(&name) else {
            assert!(
                NAMES.iter().all(|(id, _)| *id != device.id),
                "no symbol {name}"
            );
            continue;
        };
        compared += 1;
        let listed = DIFFERENT.iter().find(|(id, ..)| *id == device.id);
        let listed = listed.map_or(&[][..], |(_, pins, _)| pins);
        let found = differences(device, symbol);
        for (pin, what) in &found {
            if !listed.contains(pin) {
                wrong.push(format!("{} pin {pin}: {what}", device.id));
            }
        }
        for pin in listed
            .iter()
            .filter(|pin| found.iter().all(|(other, _)| other != *pin))
        {
            wrong.push(format!(
                "{} pin {pin} is listed and does not differ",
                device.id
            ));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(compared >= 200, "{compared} devices compared");
}
