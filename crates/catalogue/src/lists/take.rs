//! Writes the parts of a list into the text of a board profile, and reads the whole back before anyone keeps it.

use std::collections::{BTreeMap, BTreeSet};

use super::naming::{Guess, How, Namer};
use super::parts::{ListedPart, PartsList};
use crate::library::Library;
use crate::parse::parse_profile;
use crate::print::quoted;
use crate::problem::Problem;
use crate::profile::{Mount, Part, Profile};
use crate::range::split_number;
use crate::read_part::mount_word;

/// The block of what belongs to no block yet.
const REST: &str = "rest";

/// What a person says beside a list.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Choices {
    /// Devices for names of the list, by the name in lower case.
    pub devices: BTreeMap<String, String>,
    /// Blocks of positions.
    pub blocks: BTreeMap<String, String>,
}

/// What a list adds to a profile.
#[derive(Debug, Clone, PartialEq)]
pub struct Addition {
    /// The profile's text with the parts.
    pub text: String,
    /// The profile that it gives.
    pub profile: Profile,
    /// New parts, in the order of the list.
    pub new: Vec<TakenPart>,
    /// Positions that the profile has already, with the same device.
    pub known: Vec<String>,
    /// Positions that the profile says otherwise of; they stay as they are.
    pub different: Vec<Different>,
    /// New parts that belong to no block, so no function needs them.
    pub without_block: Vec<String>,
    /// Rails that new parts want and the profile does not have, with the parts.
    pub rails: BTreeMap<String, Vec<String>>,
    /// The profile leaves devices and roles aside (`derive = false`), so the parts bring no functions and checks.
    pub bare: bool,
}

/// A new part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TakenPart {
    /// Reference.
    pub reference: String,
    /// What the list says.
    pub value: String,
    /// Line of the list.
    pub line: usize,
    /// The device.
    pub guess: Guess,
    /// What the device is, or what the list calls it.
    pub title: String,
    /// Its block.
    pub block: String,
    /// The part that stands for the whole block, of which it is a piece.
    pub of: Option<String>,
}

/// A position that list and profile disagree on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Different {
    /// Reference.
    pub reference: String,
    /// Line of the list.
    pub line: usize,
    /// What the list means.
    pub listed: String,
    /// What the profile has there.
    pub has: String,
}

/// Adds the parts of a list to the text of a profile; `file` is the profile's name in problems.
///
/// A part of a device that the catalogue does not know is taken with a mode `dead` of its own. Parts that the profile has are
/// left as they are.
///
/// # Errors
/// If the profile cannot be read, before or with the parts in it.
pub fn add_parts(
    text: &str,
    file: &str,
    list: &PartsList,
    choices: &Choices,
    library: &Library,
) -> Result<Addition, Vec<Problem>> {
    let before = parse_profile(text, file, library)?;
    let namer = Namer::new(library);
    let mut adder = Adder {
        library,
        before: &before,
        bare: !derives(text),
        new: Vec::new(),
        known: Vec::new(),
        different: Vec::new(),
        rails: BTreeMap::new(),
    };
    for part in &list.parts {
        let told = choices.devices.get(&part.value.to_lowercase());
        let guess = match told {
            Some(device) => Guess::Device {
                device: device.clone(),
                how: How::Told,
            },
            None => namer.guess(&part.reference, &part.value),
        };
        adder.part(part, guess, choices.blocks.get(&part.reference));
    }
    let written = adder.written(text);
    let profile = parse_profile(&written, file, library)?;
    let in_rest = adder.new.iter().filter(|(new, _)| new.block == REST);
    Ok(Addition {
        without_block: in_rest.map(|(new, _)| new.reference.clone()).collect(),
        text: written,
        profile,
        new: adder.new.into_iter().map(|(new, _)| new).collect(),
        known: adder.known,
        different: adder.different,
        rails: adder.rails,
        bare: adder.bare,
    })
}

/// Whether a profile's text lets devices and roles bring their functions.
fn derives(text: &str) -> bool {
    let line = |line: &str| {
        let line = line.split('#').next().unwrap_or_default();
        let (key, value) = line.split_once('=')?;
        (key.trim() == "derive").then(|| value.trim() == "true")
    };
    text.lines().find_map(line).unwrap_or(true)
}

struct Adder<'a> {
    library: &'a Library,
    before: &'a Profile,
    bare: bool,
    /// New parts, with how they sit where the list says so.
    new: Vec<(TakenPart, Option<Mount>)>,
    known: Vec<String>,
    different: Vec<Different>,
    rails: BTreeMap<String, Vec<String>>,
}

impl Adder<'_> {
    fn part(&mut self, part: &ListedPart, guess: Guess, block: Option<&String>) {
        if let Some(has) = self.before.part(&part.reference) {
            self.met(part, &guess, has);
            return;
        }
        let device = guess.id().and_then(|id| self.library.device(id));
        for rail in device
            .into_iter()
            .flat_map(|device| device.rails().collect::<BTreeSet<_>>())
        {
            if self.before.rail(rail).is_none() {
                self.rails
                    .entry(rail.to_owned())
                    .or_default()
                    .push(part.reference.clone());
            }
        }
        let listed = part.title.clone().filter(|title| !title.is_empty());
        let title = device.map(|device| device.title.clone());
        let title = listed.or(title).unwrap_or_else(|| part.value.clone());
        let of_role = device.and_then(|device| self.library.role(&device.role)?.block.clone());
        let known = |name: &String| {
            let fits = |block: &&crate::profile::Block| {
                block.id == *name || block.title.to_lowercase() == *name
            };
            self.before
                .blocks
                .iter()
                .find(fits)
                .map(|block| block.id.clone())
        };
        let listed = part
            .block
            .as_ref()
            .map(|name| known(name).unwrap_or_else(|| one_word(name)));
        let block = block.cloned().or(listed).or(of_role);
        let block = block.unwrap_or_else(|| REST.to_owned());
        let taken = TakenPart {
            reference: part.reference.clone(),
            value: part.value.clone(),
            line: part.line,
            guess,
            title,
            of: self.whole(&block),
            block,
        };
        self.new.push((taken, part.mount));
    }

    /// The part that stands for a whole block: the only one there, of no device, or one that is in pieces already.
    fn whole(&self, block: &str) -> Option<String> {
        let here: Vec<&Part> = self
            .before
            .parts
            .iter()
            .filter(|part| part.block == block)
            .collect();
        let is_piece =
            |pieces: &Vec<String>| here.iter().any(|part| pieces.contains(&part.reference));
        let mut wholes = self.before.pieces.iter();
        if let Some((whole, _)) = wholes.find(|(_, pieces)| is_piece(pieces)) {
            return Some(whole.clone());
        }
        match here[..] {
            [one] if one.device.is_none() => Some(one.reference.clone()),
            _ => None,
        }
    }

    /// A position that the profile has.
    fn met(&mut self, part: &ListedPart, guess: &Guess, has: &Part) {
        let family = |id: &str| {
            let device = self.library.device(id);
            device
                .and_then(|device| device.variant_of.clone())
                .unwrap_or_else(|| id.to_owned())
        };
        let same = match (guess.id(), &has.device) {
            (Some(listed), Some(has)) => family(listed) == family(has),
            (None, None) => true,
            (None, Some(has)) => part.value.eq_ignore_ascii_case(has),
            (Some(_), None) => false,
        };
        if same {
            self.known.push(part.reference.clone());
            return;
        }
        let listed = match guess.id() {
            Some(id) if !part.value.eq_ignore_ascii_case(id) => format!("{} ({id})", part.value),
            _ => part.value.clone(),
        };
        self.different.push(Different {
            reference: part.reference.clone(),
            line: part.line,
            listed,
            has: has.device.clone().unwrap_or_else(|| has.title.clone()),
        });
    }

    /// The text with the new blocks and parts at its end; alike parts that follow each other as a range.
    fn written(&self, text: &str) -> String {
        if self.new.is_empty() {
            return text.to_owned();
        }
        let mut out = text.trim_end().to_owned();
        out.push('\n');
        let declared = |id: &str| self.before.blocks.iter().any(|block| block.id == id);
        let roles = &self.library.roles().blocks;
        let blocks: BTreeSet<&str> = self.new.iter().map(|(new, _)| new.block.as_str()).collect();
        for id in blocks.into_iter().filter(|id| !declared(id)) {
            let usual = roles.iter().find(|block| block.id.value == id);
            let title = match (id, usual.and_then(|block| block.title.as_deref())) {
                (REST, _) => "Not placed yet",
                (_, Some(title)) => title,
                (id, None) => id,
            };
            out.push_str(&format!(
                "\n[[block]]\nid = {}\ntitle = {}\n",
                quoted(id),
                quoted(title)
            ));
        }
        for run in self.new.chunk_by(follows) {
            self.write_run(run, &mut out);
        }
        out
    }

    fn write_run(&self, run: &[(TakenPart, Option<Mount>)], out: &mut String) {
        let Some(((first, mount), (last, _))) = run.first().zip(run.last()) else {
            return;
        };
        let reference = if run.len() > 1 {
            format!("{}-{}", first.reference, last.reference)
        } else {
            first.reference.clone()
        };
        let mut line = |line: String| {
            out.push_str(&line);
            out.push('\n');
        };
        line(String::new());
        line("[[part]]".to_owned());
        line(format!("ref = {}", quoted(&reference)));
        let device = first.guess.id().and_then(|id| self.library.device(id));
        if let Some(id) = first.guess.id() {
            line(format!("device = {}{}", quoted(id), said(&first.value, id)));
        }
        if device.is_none_or(|device| device.title != first.title) {
            line(format!("title = {}", quoted(&first.title)));
        }
        match &first.of {
            Some(whole) => line(format!("of = {}", quoted(whole))),
            None => line(format!("block = {}", quoted(&first.block))),
        }
        if let Some(mount) = mount {
            line(format!("mount = {}", quoted(mount_word(*mount))));
        }
        match device {
            // a piece shares what the whole can be bad with
            _ if first.of.is_some() => {}
            None => line(format!("mode = [{}]", UNKNOWN_MODE)),
            Some(device) if self.bare => {
                let usual = device.modes.iter().map(|mode| &mode.mode);
                let usual = usual.filter(|mode| mode.site == crate::profile::Site::Chip);
                let modes = usual.map(|mode| {
                    let (id, title) = (quoted(&mode.id), quoted(&mode.title));
                    format!(
                        "{{ id = {id}, title = {title}, chance = {:?} }}",
                        mode.chance
                    )
                });
                let modes: Vec<String> = modes.collect();
                line(format!("mode = [{}]", modes.join(", ")));
            }
            Some(_) => {}
        }
    }
}

/// The mode of a part whose device the catalogue does not know.
const UNKNOWN_MODE: &str = "{ id = \"dead\", title = \"is dead\", chance = \"rare\" }";

/// What the list says, as a remark, where it is not the id itself.
fn said(value: &str, id: &str) -> String {
    let plain: String = value
        .chars()
        .filter(|letter| !letter.is_control())
        .collect();
    if plain.is_empty() || plain.eq_ignore_ascii_case(id) {
        String::new()
    } else {
        format!("  # {plain}")
    }
}

/// The next position is alike and has the next number.
fn follows(one: &(TakenPart, Option<Mount>), next: &(TakenPart, Option<Mount>)) -> bool {
    let (one, mount) = one;
    let (next, next_mount) = next;
    let alike = one.value == next.value
        && one.guess == next.guess
        && one.title == next.title
        && one.block == next.block
        && mount == next_mount;
    let number = |part: &TakenPart| {
        split_number(&part.reference).map(|(letters, number)| (letters.to_owned(), number))
    };
    alike
        && matches!((number(one), number(next)), (Some(one), Some(next)) if one.0 == next.0 && one.1 + 1 == next.1)
}

/// A block's id of a heading's words.
fn one_word(name: &str) -> String {
    let letters = name.to_lowercase();
    let words = letters
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty());
    let id = words.collect::<Vec<_>>().join("-");
    if id.is_empty() { REST.to_owned() } else { id }
}
