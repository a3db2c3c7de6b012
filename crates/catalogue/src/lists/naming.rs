//! From the name on a part to a device of the catalogue.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;

use units::{Quantity, Unit};

use crate::built_in::NAMES;
use crate::fields::Fields;
use crate::library::Library;
use crate::problem::{Problem, Problems};
use crate::read::each;
use crate::rules::read_file;

/// Most names told as near ones.
const MOST_NEAR: usize = 3;

/// What `rules/names.toml` says.
#[derive(Debug, Clone, PartialEq, Default)]
struct Naming {
    /// Makers' letters that have a digit among them.
    makers: Vec<String>,
    /// Other names of devices.
    also: BTreeMap<String, String>,
    /// Names that lead astray, with the reason.
    not: BTreeMap<String, String>,
    letters: Vec<Letters>,
    /// Words in a value, with the device they mean.
    words: BTreeMap<String, String>,
    /// Letters of references that are left out, with the reason.
    skip: BTreeMap<String, String>,
}

/// What the letters of a reference say.
#[derive(Debug, Clone, PartialEq)]
struct Letters {
    letters: BTreeSet<String>,
    device: String,
    only: bool,
    above: Option<(Quantity, String)>,
}

/// How a name led to a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// The name is the device's own, but for the maker's letters and the package.
    Own,
    /// By another maker's number.
    OtherName,
    /// The same function in another logic family.
    Relative,
    /// By the letters of the reference or a word of the value.
    Kind,
    /// The person said so.
    Told,
}

/// The device that a name probably means.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Guess {
    /// This one.
    Device {
        /// Its id.
        device: String,
        /// How it was found.
        how: How,
    },
    /// None that the catalogue knows.
    Unknown {
        /// Devices with similar names, nearest first.
        near: Vec<String>,
        /// Why a likely one is not meant.
        why: Option<String>,
    },
}

impl Guess {
    fn device(device: &str, how: How) -> Guess {
        Guess::Device {
            device: device.to_owned(),
            how,
        }
    }

    /// The device, if there is one.
    #[must_use]
    pub fn id(&self) -> Option<&str> {
        match self {
            Guess::Device { device, .. } => Some(device),
            Guess::Unknown { .. } => None,
        }
    }
}

/// The names that come with the program.
fn built_in() -> &'static Naming {
    static NAMING: OnceLock<Naming> = OnceLock::new();
    NAMING.get_or_init(|| {
        let read = read_naming(NAMES, "rules/names.toml");
        debug_assert_eq!(read.as_ref().err(), None, "the names are read by a test");
        read.unwrap_or_default()
    })
}

/// Reads `rules/names.toml`.
fn read_naming(text: &str, file: &str) -> Result<Naming, Vec<Problem>> {
    read_file(text, file, "a table of names", |fields, problems| {
        let mut naming = Naming::default();
        let makers = each(
            fields,
            "maker",
            "makers' letters",
            problems,
            |row, problems| words(row, "prefixes", problems),
        );
        naming.makers = makers.into_iter().flatten().collect();
        for (device, names) in each(fields, "also", "other names", problems, |row, problems| {
            Some((
                row.id("device", problems)?.value,
                words(row, "names", problems)?,
            ))
        }) {
            naming
                .also
                .extend(names.into_iter().map(|name| (name, device.clone())));
        }
        naming.not = each(
            fields,
            "not",
            "a name that leads astray",
            problems,
            |row, problems| {
                Some((
                    row.id("name", problems)?.value,
                    row.text("why", problems)?.value,
                ))
            },
        )
        .into_iter()
        .collect();
        naming.letters = each(
            fields,
            "letters",
            "letters of references",
            problems,
            read_letters,
        );
        for (device, names) in each(
            fields,
            "word",
            "words of a value",
            problems,
            |row, problems| {
                Some((
                    row.id("device", problems)?.value,
                    words(row, "words", problems)?,
                ))
            },
        ) {
            naming
                .words
                .extend(names.into_iter().map(|name| (name, device.clone())));
        }
        for (letters, why) in each(
            fields,
            "skip",
            "letters left out",
            problems,
            |row, problems| {
                Some((
                    words(row, "letters", problems)?,
                    row.text("why", problems)?.value,
                ))
            },
        ) {
            let letters = letters
                .into_iter()
                .map(|one| (one.to_uppercase(), why.clone()));
            naming.skip.extend(letters);
        }
        naming
    })
}

/// The words of a text.
fn words(
    row: &mut Fields<'_>,
    key: &'static str,
    problems: &mut Problems<'_>,
) -> Option<Vec<String>> {
    let text = row.text(key, problems);
    if text.is_none() {
        row.missing(key, problems);
    }
    Some(text?.value.split_whitespace().map(str::to_owned).collect())
}

fn read_letters(row: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Letters> {
    let letters = words(row, "letters", problems)?;
    let device = row.id("device", problems)?.value;
    let only = row.flag("only", problems).unwrap_or(false);
    let above = row.take("above").and_then(|item| {
        let mut fields = item.fields("`above`", problems)?;
        let value = fields.text("value", problems)?;
        let device = fields.id("device", problems)?.value;
        fields.finish(problems);
        Some((value.value.parse().ok()?, device))
    });
    Some(Letters {
        letters: letters.into_iter().collect(),
        device,
        only,
        above,
    })
}

/// The catalogue by the names of its devices.
pub(crate) struct Namer<'l> {
    naming: &'static Naming,
    /// Every device by its name without case, spaces and hyphens.
    ids: BTreeMap<String, &'l str>,
}

impl<'l> Namer<'l> {
    pub(crate) fn new(library: &'l Library) -> Self {
        Self {
            naming: built_in(),
            ids: library.device_ids().map(|id| (bare(id), id)).collect(),
        }
    }

    /// Why a position is left out of a list, if it is.
    pub(crate) fn skipped(&self, reference: &str) -> Option<&'static str> {
        self.naming
            .skip
            .get(letters_of(reference))
            .map(String::as_str)
    }

    /// The device at a position, by what is written beside it.
    pub(crate) fn guess(&self, reference: &str, value: &str) -> Guess {
        let letters = self
            .naming
            .letters
            .iter()
            .find(|rule| rule.letters.contains(letters_of(reference)));
        let by_word = words_of(value).find_map(|word| self.naming.words.get(&word));
        let kind = |rule: &Letters| self.kind(rule, value);
        if let Some(rule) = letters.filter(|rule| rule.only) {
            let device = by_word.cloned().unwrap_or_else(|| kind(rule));
            return Guess::device(&device, How::Kind);
        }
        let names = candidates(value);
        for name in &names {
            if let Some(why) = self.naming.not.get(name) {
                return Guess::Unknown {
                    near: Vec::new(),
                    why: Some(why.clone()),
                };
            }
        }
        let found = names.iter().find_map(|name| self.by_name(name));
        if let Some(found) = found {
            return found;
        }
        match (by_word, letters) {
            (Some(device), _) => Guess::device(device, How::Kind),
            (None, Some(rule)) => Guess::device(&kind(rule), How::Kind),
            (None, None) => Guess::Unknown {
                near: self.near(&names),
                why: None,
            },
        }
    }

    /// The device of some letters; a crystal's by its frequency, a large capacitor is of another kind.
    fn kind(&self, rule: &Letters, value: &str) -> String {
        let quantity = quantity_of(value);
        if let (Some((least, device)), Some(value)) = (&rule.above, quantity)
            && (value.unit == least.unit || value.unit == Unit::One)
            && value.value >= least.value * (1.0 - 1e-9)
        {
            return device.clone();
        }
        let hertz = quantity.filter(|value| value.unit == Unit::Hertz);
        let exact = hertz.map(|value| format!("{}-{:.3}", rule.device, value.value / 1e6));
        let exact = exact.and_then(|id| self.ids.get(&bare(&id)));
        exact.map_or_else(|| rule.device.clone(), |id| (*id).to_owned())
    }

    fn by_name(&self, name: &str) -> Option<Guess> {
        if let Some(id) = self.ids.get(name) {
            return Some(Guess::device(id, How::Own));
        }
        if let Some(device) = self.naming.also.get(name) {
            return Some(Guess::device(device, How::OtherName));
        }
        self.logic(name).or_else(|| self.within(name))
    }

    /// `sn74ls245n`: a number of the 74 series in its family, or in another.
    fn logic(&self, name: &str) -> Option<Guess> {
        let at = name.find("74").or_else(|| name.find("54"))?;
        let maker = &name[..at];
        if maker.len() > 4 || !maker.chars().all(char::is_alphabetic) {
            return None;
        }
        let rest = &name[at + 2..];
        let digits = rest.find(|letter: char| letter.is_ascii_digit())?;
        let (family, rest) = rest.split_at(digits);
        if !LOGIC_FAMILIES.contains(&family) {
            return None;
        }
        let end = rest
            .find(|letter: char| !letter.is_ascii_digit())
            .unwrap_or(rest.len());
        let number = &rest[..end];
        if let Some(id) = self.ids.get(&format!("74{family}{number}")) {
            let own = &name[at..at + 2] == "74";
            return Some(Guess::device(
                id,
                if own { How::Own } else { How::Relative },
            ));
        }
        let relatives = ["ls", "hct", "hc", "s", "", "lvc"].into_iter();
        let mut known = relatives.filter_map(|family| self.ids.get(&format!("74{family}{number}")));
        known.next().map(|id| Guess::device(id, How::Relative))
    }

    /// The longest name of a device within a name: letters before it, letters or a speed after it.
    fn within(&self, name: &str) -> Option<Guess> {
        let own = self
            .ids
            .iter()
            .map(|(known, id)| (known.as_str(), *id, How::Own));
        let also = self.naming.also.iter();
        let also = also.map(|(known, id)| (known.as_str(), id.as_str(), How::OtherName));
        let fits = own
            .chain(also)
            .filter(|(known, ..)| {
                known.len() >= 3 && known.contains(|letter: char| letter.is_ascii_digit())
            })
            .filter(|(known, ..)| self.wraps(name, known));
        let (known, id, how) = fits.max_by_key(|(known, ..)| known.len())?;
        Some(match how {
            How::Own => Guess::device(self.of_speed(name, known, id), how),
            _ => Guess::device(id, how),
        })
    }

    /// Whether what stands around a known name is a maker's letters and a package.
    fn wraps(&self, name: &str, known: &str) -> bool {
        let Some(at) = name.find(known) else {
            return false;
        };
        let (before, after) = (&name[..at], &name[at + known.len()..]);
        let maker = before.len() <= 4 && before.chars().all(char::is_alphabetic)
            || self.naming.makers.iter().any(|maker| maker == before);
        // A number goes on only behind a hyphen, which is kept as `-`.
        let after_number = known.ends_with(|letter: char| letter.is_ascii_digit());
        maker && !(after_number && after.starts_with(|letter: char| letter.is_ascii_digit()))
    }

    /// The variant whose speed stands behind the number: `4164-150` of `tms4164-15nl`.
    fn of_speed(&self, name: &str, known: &str, id: &'l str) -> &'l str {
        let behind = name.split_once('-').map_or("", |(_, behind)| behind);
        let digits: String = behind.chars().take_while(char::is_ascii_digit).collect();
        if digits.is_empty() {
            return id;
        }
        let variants = [format!("{known}{digits}"), format!("{known}{digits}0")];
        variants
            .iter()
            .find_map(|variant| self.ids.get(variant))
            .copied()
            .unwrap_or(id)
    }

    fn near(&self, names: &[String]) -> Vec<String> {
        let mut near: Vec<(usize, &str)> = Vec::new();
        for name in names {
            let name: String = name
                .chars()
                .filter(|letter| *letter != '-')
                .take(24)
                .collect();
            let far = name.len().max(3) / 3;
            let all = self
                .ids
                .iter()
                .map(|(known, id)| (strsim::damerau_levenshtein(&name, known), *id));
            near.extend(all.filter(|(distance, _)| *distance <= far));
        }
        near.sort_unstable();
        let mut seen = BTreeSet::new();
        near.retain(|(_, id)| seen.insert(*id));
        near.into_iter()
            .take(MOST_NEAR)
            .map(|(_, id)| id.to_owned())
            .collect()
    }
}

/// Letters between 74 and the number.
const LOGIC_FAMILIES: [&str; 19] = [
    "", "l", "s", "ls", "as", "als", "f", "h", "c", "hc", "hct", "ac", "act", "ahc", "ahct", "lv",
    "lvc", "bct", "abt",
];

/// Lower case, letters and digits alone.
fn bare(text: &str) -> String {
    spelled(text)
        .chars()
        .filter(|letter| *letter != '-')
        .collect()
}

/// Lower case; letters, digits and hyphens alone.
fn spelled(text: &str) -> String {
    let letters = text.to_lowercase().replace(['µ', 'μ'], "u");
    letters
        .chars()
        .filter(|letter| letter.is_alphanumeric() || *letter == '-')
        .collect()
}

/// What may be a name in a value: the whole, its words, and each with and without its hyphens.
fn candidates(value: &str) -> Vec<String> {
    let split = |letter: char| letter.is_whitespace() || "/,()[]=:".contains(letter);
    let whole = std::iter::once(value);
    let pieces = whole.chain(value.split(split));
    let mut names: Vec<String> = Vec::new();
    for piece in pieces
        .map(spelled)
        .filter(|piece| piece.len() >= 2 && piece.len() <= 40)
    {
        let bare = piece.replace('-', "");
        for name in [bare, piece] {
            if !names.contains(&name) {
                names.push(name);
            }
        }
    }
    names
}

fn words_of(value: &str) -> impl Iterator<Item = String> {
    value
        .split(|letter: char| !letter.is_alphanumeric())
        .map(str::to_lowercase)
}

/// The first quantity in a value: `100uF 16V`, `4.433619 MHz`.
fn quantity_of(value: &str) -> Option<Quantity> {
    let words: Vec<&str> = value
        .split(|letter: char| letter.is_whitespace() || "/,;".contains(letter))
        .collect();
    let pairs = words
        .windows(2)
        .map(|pair| format!("{} {}", pair[0], pair[1]));
    let singles = words.iter().map(|word| (*word).to_owned());
    let read = |text: String| {
        text.parse::<Quantity>()
            .ok()
            .filter(|read| read.unit != Unit::Volt)
    };
    pairs
        .chain(singles)
        .filter_map(read)
        .find(|read| read.unit != Unit::One)
}

/// `U` of `U7`.
pub(crate) fn letters_of(reference: &str) -> &str {
    let end = reference
        .find(|letter: char| !letter.is_alphabetic())
        .unwrap_or(reference.len());
    &reference[..end]
}

#[cfg(test)]
mod tests {
    use super::*;

    fn check(reference: &str, value: &str, device: &str, how: How) {
        let guess = Namer::new(Library::built_in()).guess(reference, value);
        assert_eq!(guess, Guess::device(device, how), "{reference} {value}");
    }

    #[test]
    fn own_names() {
        for (value, device) in [
            ("74LS245", "74ls245"),
            ("SN74LS245N", "74ls245"),
            ("74LS245 bus buffer", "74ls245"),
            ("DM7400N", "7400"),
            ("74HCT245", "74hct245"),
            ("HD74LS04P", "74ls04"),
            ("CD4011BE", "4011"),
            ("HEF4066BP", "4066"),
            ("MC14011BCP", "4011"),
            ("Z80A", "z80a"),
            ("Z80A CPU", "z80a"),
            ("Z80 PIO", "z80-pio"),
            ("MC6809P", "6809"),
            ("R6502P", "6502"),
            ("6502A", "6502a"),
            ("P8255A-5", "8255a-5"),
            ("TMS4164-15NL", "4164-150"),
            ("4164-12", "4164-120"),
            ("4164", "4164"),
            ("M5K4164ANP", "4164"),
            ("HM6116LP-3", "6116"),
            ("AY-3-8910A", "ay-3-8910"),
            ("LM7805CT", "7805"),
            ("NE555P", "ne555"),
            ("PAL16L8", "pal16l8"),
            ("2764", "2764"),
        ] {
            check("U1", value, device, How::Own);
        }
    }

    #[test]
    fn other_names() {
        for (value, device) in [
            ("Z8400A", "z80a"),
            ("uPD780C-1", "z80a"),
            ("MB8116E", "4116"),
            ("HM4864P-2", "4164"),
            ("MCM6665", "4164"),
            ("HM50464P-12", "4464"),
            ("µPD4016", "6116"),
            ("TMS2516", "2716"),
            ("27C256", "27c256-15"),
            ("555", "ne555"),
            ("8259", "8259a"),
            ("UA741CN", "lm741"),
        ] {
            check("IC3", value, device, How::OtherName);
        }
    }

    #[test]
    fn relatives() {
        check("U1", "74AS245", "74ls245", How::Relative);
        check("U1", "SN54LS245J", "74ls245", How::Relative);
        check("U1", "74L00", "74ls00", How::Relative);
    }

    #[test]
    fn kinds() {
        check("R7", "4k7", "resistor", How::Kind);
        check("C5", "6800p", "ceramic-cap", How::Kind);
        check("C5", "100nF", "ceramic-cap", How::Kind);
        check("C5", "1uF 16V", "electrolytic", How::Kind);
        check("C5", "220 µF", "electrolytic", How::Kind);
        check("C5", "10u tantalum", "tantalum", How::Kind);
        check("X1", "14.000 MHz", "crystal-14.000", How::Kind);
        check("X1", "3.579545MHz", "crystal", How::Kind);
        check("D3", "1N4001", "diode", How::Kind);
        check("D3", "red LED", "led", How::Kind);
        check("Q2", "2N3904", "transistor", How::Kind);
        check("J4", "", "connector", How::Kind);
        check("VR1", "7805", "7805", How::Own);
        check("VR1", "10k", "trimmer", How::Kind);
        check("RN2", "8 x 4k7", "resistor-network", How::Kind);
    }

    #[test]
    fn unknown_names() {
        let check = |value: &str, expect: &str, because: bool| match Namer::new(Library::built_in())
            .guess("U1", value)
        {
            Guess::Unknown { near, why } => {
                assert_eq!(
                    (near.join(" ").as_str(), why.is_some()),
                    (expect, because),
                    "{value}"
                );
            }
            found => panic!("{value}: {found:?}"),
        };
        check("OV-2", "", false);
        check("74LS2455", "74ls245 74als245 74ls145", false);
        check("TMS2716", "", true);
        check("custom", "", false);
        check("", "", false);
        check("NE5555", "ne555 ne556", false);
    }
}
