//! Takes a part of a profile to pieces in the profile's text: `U21 6845; U22-U25 74ls166`.

use std::collections::BTreeSet;
use std::fmt::Write as _;

use crate::library::Library;
use crate::parse::parse_profile;
use crate::print::quoted;
use crate::problem::nearest;
use crate::profile::{Mount, Profile};
use crate::range::expand_range;
use crate::read_part::mount_word;

/// A profile with a part in pieces.
#[derive(Debug, Clone, PartialEq)]
pub struct Split {
    /// The new text.
    pub text: String,
    /// The profile as it was.
    pub before: Profile,
    /// The profile that the new text gives.
    pub after: Profile,
    /// The part that was taken to pieces.
    pub whole: String,
    /// All its pieces, those it had before too.
    pub pieces: Vec<String>,
}

/// One entry of the list.
struct Entry {
    references: String,
    device: Option<String>,
    mount: Option<Mount>,
}

/// Takes a part, named by its reference or as the only one of its block, to the pieces of a list.
///
/// The list has entries with `;` or a new line between them: positions (`U21`, `U22-U25`, `U22,U24`), a device of the
/// catalogue, and `socket` or `soldered` where that is known.
///
/// # Errors
/// A sentence for each thing that is wrong; nothing is half taken.
pub fn split_board(
    text: &str,
    file: &str,
    whole: &str,
    list: &str,
    library: &Library,
) -> Result<Split, Vec<String>> {
    let before = parse_profile(text, file, library)
        .map_err(|problems| problems.iter().map(ToString::to_string).collect::<Vec<_>>())?;
    let whole = find_whole(&before, whole).map_err(|wrong| vec![wrong])?;
    let entries = entries(list, library)?;
    names_are_free(&before, &entries)?;
    let mut new = text.trim_end().to_owned();
    if !before.pieces.contains_key(&whole) {
        let _ = write!(
            new,
            "\n\n# {whole} in pieces: together they can be wrong as often, and in the same ways, as it could."
        );
    }
    for entry in &entries {
        for reference in entry.references.split(',') {
            let _ = write!(
                new,
                "\n[[part]]\nref = {}\nof = {}\n",
                quoted(reference.trim()),
                quoted(&whole)
            );
            if let Some(device) = &entry.device {
                let _ = writeln!(new, "device = {}", quoted(device));
            }
            if let Some(mount) = entry.mount {
                let _ = writeln!(new, "mount = \"{}\"", mount_word(mount));
            }
        }
    }
    let after = parse_profile(&new, file, library)
        .map_err(|problems| problems.iter().map(ToString::to_string).collect::<Vec<_>>())?;
    Ok(Split {
        pieces: after.now(&whole),
        text: new,
        before,
        after,
        whole,
    })
}

/// The part that a reference or a block names, also one that is in pieces already.
fn find_whole(profile: &Profile, typed: &str) -> Result<String, String> {
    let typed = typed.trim();
    let same = |name: &str| name.eq_ignore_ascii_case(typed);
    let parts = profile.parts.iter().map(|part| part.reference.as_str());
    let wholes = profile.pieces.keys().map(String::as_str);
    let is_piece = |name: &str| profile.pieces.values().flatten().any(|piece| piece == name);
    if let Some(found) = parts.clone().chain(wholes).find(|name| same(name)) {
        return if is_piece(found) {
            Err(format!(
                "expected a whole, found `{found}`, which is a piece of another part"
            ))
        } else {
            Ok(found.to_owned())
        };
    }
    let in_block = profile.parts.iter().filter(|part| same(&part.block));
    let mut found: Vec<&str> = in_block
        .map(|part| {
            let whole = profile
                .pieces
                .iter()
                .find(|(_, pieces)| pieces.contains(&part.reference));
            whole.map_or(part.reference.as_str(), |(whole, _)| whole)
        })
        .collect();
    found.dedup();
    match found[..] {
        [one] => Ok(one.to_owned()),
        [] => {
            let blocks = profile.blocks.iter().map(|block| block.id.as_str());
            let near = nearest(typed, blocks.chain(parts));
            let hint = near.map_or_else(String::new, |near| format!("; {near}"));
            Err(format!(
                "expected a part or a block of the board, found `{typed}`{hint}"
            ))
        }
        _ => Err(format!(
            "expected one part, found several in block `{typed}`: {}; name one of them",
            found.join(", ")
        )),
    }
}

fn entries(list: &str, library: &Library) -> Result<Vec<Entry>, Vec<String>> {
    let mut entries = Vec::new();
    let mut wrong = Vec::new();
    for text in list.split([';', '\n', '\r']).map(str::trim) {
        if !text.is_empty() {
            match entry(text, library) {
                Ok(entry) => entries.push(entry),
                Err(what) => wrong.push(what),
            }
        }
    }
    if entries.is_empty() && wrong.is_empty() {
        wrong.push("expected pieces as `U21 6845; U22-U25 74ls166`, found nothing".to_owned());
    }
    if wrong.is_empty() {
        Ok(entries)
    } else {
        Err(wrong)
    }
}

/// Each position is named once, and nothing on the board has its name yet.
fn names_are_free(profile: &Profile, entries: &[Entry]) -> Result<(), Vec<String>> {
    let mut taken: BTreeSet<String> = profile
        .parts
        .iter()
        .map(|part| part.reference.clone())
        .chain(profile.pieces.keys().cloned())
        .chain(profile.functions.iter().map(|function| function.id.clone()))
        .chain(profile.rails.iter().map(|rail| rail.name.clone()))
        .collect();
    let named = entries.iter().flat_map(|entry| entry.references.split(','));
    let twice: Vec<String> = named
        .flat_map(|name| expand_range(name).unwrap_or_else(|| vec![name.to_owned()]))
        .filter(|name| !taken.insert(name.clone()))
        .map(|name| format!("expected positions that nothing has yet, found `{name}`"))
        .collect();
    if twice.is_empty() { Ok(()) } else { Err(twice) }
}

fn entry(text: &str, library: &Library) -> Result<Entry, String> {
    let mut words = text.split_whitespace();
    let references = words.next().unwrap_or_default().to_owned();
    let sound = references.split(',').all(|reference| {
        let good = |c: char| c.is_alphanumeric() || matches!(c, '-' | '.' | '_');
        !reference.is_empty()
            && reference.chars().all(good)
            && (!reference.contains('-') || expand_range(reference).is_some())
    });
    if !sound {
        return Err(format!(
            "expected positions as `U21`, `U22-U25` or `U22,U24`, found `{references}` in `{text}`"
        ));
    }
    let mut entry = Entry {
        references,
        device: None,
        mount: None,
    };
    for word in words {
        match word.to_lowercase().as_str() {
            "socket" => entry.mount = Some(Mount::Socket),
            "soldered" => entry.mount = Some(Mount::Soldered),
            "plug" => entry.mount = Some(Mount::Plug),
            device if entry.device.is_none() => {
                if library.device(device).is_none() {
                    let near = nearest(device, library.device_ids());
                    let hint = near.map_or_else(String::new, |near| format!("; {near}"));
                    return Err(format!(
                        "expected a device of the catalogue, found `{word}` in `{text}`{hint}"
                    ));
                }
                entry.device = Some(device.to_owned());
            }
            _ => {
                return Err(format!(
                    "expected `;` before the next piece, found `{word}` in `{text}`"
                ));
            }
        }
    }
    Ok(entry)
}
