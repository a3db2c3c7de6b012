//! What is allowed in a profile but hardly meant.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use crate::effects::{Effects, Node, asked_by};
use crate::library::Library;
use crate::print::target_name;
use crate::profile::{Check, Function, Mode, Need, Part, Profile, Target, Tells};

/// Two chances are the same within this.
const SAME: f64 = 1e-9;

/// Something that is allowed but hardly meant.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Smell {
    /// No check tells of this function, nor of one that needs it.
    Untested(String),
    /// Nothing can go wrong with this part but by handling.
    WithoutModes(String),
    /// No function needs this part, it feeds no rail and spoils nothing.
    Useless(String),
    /// This mode breaks nothing at all.
    Harmless {
        /// The part's reference.
        part: String,
        /// The mode.
        mode: String,
    },
    /// Two modes break different things, yet no check shows a difference.
    Alike {
        /// The first, as `X1.dead`.
        one: String,
        /// The second.
        other: String,
        /// The functions that only the two tell apart.
        between: Vec<String>,
    },
    /// Whatever this check shows, nothing is more or less likely than before.
    Mute {
        /// The check.
        check: String,
        /// Why.
        why: Mute,
    },
    /// This row of a check's table never decides.
    Shadowed {
        /// The check.
        check: String,
        /// Its row, from 1.
        row: usize,
        /// The row before it that decides in its place, from 1.
        by: usize,
    },
    /// The catalogue does not know this part's device.
    UnknownDevice {
        /// The part's reference.
        part: String,
        /// The device it names.
        device: String,
        /// The device whose name is nearest, if one is near.
        near: Option<String>,
    },
}

/// Why a check can never change a decision.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Mute {
    /// No mode of any part breaks what it tells of.
    NothingBreaks,
    /// It shows the same whether that fails or not.
    SameAnyway,
    /// It is always done wrong.
    AlwaysBlundered,
}

impl Smell {
    /// The part, function or check it is about.
    #[must_use]
    pub fn subject(&self) -> &str {
        match self {
            Self::Untested(name) | Self::WithoutModes(name) | Self::Useless(name) => name,
            Self::Harmless { part, .. } | Self::UnknownDevice { part, .. } => part,
            Self::Alike { one, .. } => one.rsplit_once('.').map_or(one, |(part, _)| part),
            Self::Mute { check, .. } | Self::Shadowed { check, .. } => check,
        }
    }

    /// What to do about it.
    #[must_use]
    pub fn to_do(&self) -> &'static str {
        match self {
            Self::Untested(_) => "write a check that tells of it, or leave the function out",
            Self::WithoutModes(_) => "give it a mode with a chance, or write `optional = true`",
            Self::Useless(_) => "name it in the `needs` of a function, or leave it out",
            Self::Harmless { .. } => {
                "name its part in the `needs` of a function, or say what it `spoils`"
            }
            Self::Alike { .. } => {
                "write a check of the function between them, or let both break the same function"
            }
            Self::Mute { .. } => {
                "let it tell of something that a part breaks, with chances that differ"
            }
            Self::Shadowed { .. } => "put the row with more functions first",
            Self::UnknownDevice { .. } => {
                "write the name as the catalogue does, or give the part modes of its own"
            }
        }
    }
}

impl fmt::Display for Smell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Untested(id) => write!(
                f,
                "no check tells of function `{id}` or of one that needs it"
            ),
            Self::WithoutModes(part) => write!(
                f,
                "part `{part}` has no mode with a chance, so it is never suspected"
            ),
            Self::Useless(part) => write!(
                f,
                "no function and no rail needs part `{part}`, and it spoils nothing"
            ),
            Self::Harmless { part, mode } => {
                write!(
                    f,
                    "mode `{part}.{mode}` breaks nothing, so nothing ever shows it"
                )
            }
            Self::Alike {
                one,
                other,
                between,
            } => {
                let names: Vec<String> = between.iter().map(|name| format!("`{name}`")).collect();
                write!(
                    f,
                    "no check tells `{one}` from `{other}`, though they differ in {}",
                    names.join(", ")
                )
            }
            Self::Mute { check, why } => {
                let why = match why {
                    Mute::NothingBreaks => "no mode of a part breaks what it tells of",
                    Mute::SameAnyway => "it shows the same whether that fails or not",
                    Mute::AlwaysBlundered => "its `blunder` is 1",
                };
                write!(f, "check `{check}` can never change a decision: {why}")
            }
            Self::Shadowed { check, row, by } => write!(
                f,
                "row {row} of check `{check}` never decides, as row {by} always does before it"
            ),
            Self::UnknownDevice { part, device, near } => {
                write!(
                    f,
                    "part `{part}` names device `{device}`, which the catalogue does not know"
                )?;
                near.iter()
                    .try_for_each(|near| write!(f, "; nearest is `{near}`"))
            }
        }
    }
}

/// Modes of several parts that look the same to every check; only an act tells them apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SameLook {
    /// Modes, as `U24.dead`.
    pub modes: Vec<String>,
    /// Their parts, each once.
    pub parts: Vec<String>,
    /// Functions and rails that they break.
    pub breaks: Vec<String>,
}

/// Looks for what is hardly meant; an optional part may well be there for the drawing only.
#[must_use]
pub fn check_profile(profile: &Profile) -> Vec<Smell> {
    let mut smells = untested(profile);
    let parts = profile.parts.iter();
    for part in parts.filter(|part| !part.optional) {
        if part.modes.iter().all(|mode| mode.chance == 0.0)
            && !struck(profile, &part.reference, None)
        {
            smells.push(Smell::WithoutModes(part.reference.clone()));
        }
        let spoils = part.modes.iter().any(|mode| !mode.spoils.is_empty());
        if !spoils && !used(profile, &part.reference) {
            smells.push(Smell::Useless(part.reference.clone()));
        }
    }
    let looks = Looks::of(profile);
    smells.extend(looks.harmless(&smells));
    smells.extend(looks.alike());
    smells.extend(profile.checks.iter().filter_map(|check| looks.mute(check)));
    smells.extend(profile.checks.iter().flat_map(shadowed));
    smells
}

/// Modes of several parts that no check tells apart because they break the same; the profile means them so.
#[must_use]
pub fn same_looks(profile: &Profile) -> Vec<SameLook> {
    Looks::of(profile).same()
}

/// Parts whose device the catalogue does not know.
#[must_use]
pub fn unknown_devices(profile: &Profile, library: &Library) -> Vec<Smell> {
    let unknown = |part: &Part| {
        let device = part
            .device
            .clone()
            .filter(|device| library.device(device).is_none())?;
        Some(Smell::UnknownDevice {
            part: part.reference.clone(),
            near: near(&device, library),
            device,
        })
    };
    profile.parts.iter().filter_map(unknown).collect()
}

/// The device whose name is nearest, if one is near.
fn near(name: &str, library: &Library) -> Option<String> {
    let name: String = name.chars().take(40).collect();
    let far = name.chars().count() / 4;
    let known = library
        .device_ids()
        .map(|id| (strsim::damerau_levenshtein(&name, id), id));
    let (distance, id) = known.min()?;
    (distance <= far).then(|| id.to_owned())
}

/// A mode that can be present, what it breaks, and how that looks.
struct Look<'p> {
    part: &'p Part,
    mode: &'p Mode,
    direct: BTreeMap<Node, f64>,
    /// The chance of each node that a check asks about, none of them 0.
    seen: BTreeMap<Node, f64>,
}

impl Look<'_> {
    fn name(&self) -> String {
        format!("{}.{}", self.part.reference, self.mode.id)
    }

    /// Whether it shows at the same times and looks the same.
    fn looks_like(&self, other: &Look<'_>) -> bool {
        self.mode.shows == other.mode.shows
            && self.mode.after_minutes == other.mode.after_minutes
            && same_chances(&self.seen, &other.seen)
    }

    /// Whether what is seen is sure, so that equal chances are equal looks.
    fn sure(&self) -> bool {
        self.seen.values().all(|chance| *chance > 1.0 - SAME)
    }
}

fn same_chances(one: &BTreeMap<Node, f64>, other: &BTreeMap<Node, f64>) -> bool {
    one.len() == other.len()
        && one
            .iter()
            .zip(other)
            .all(|((node, chance), (same, too))| node == same && (chance - too).abs() < SAME)
}

/// All modes by how they look.
struct Looks<'p> {
    profile: &'p Profile,
    all: Vec<Look<'p>>,
}

impl<'p> Looks<'p> {
    fn of(profile: &'p Profile) -> Looks<'p> {
        let effects = Effects::of(profile);
        let asked: BTreeSet<Node> = profile.checks.iter().flat_map(asked_by).collect();
        let modes = profile
            .parts
            .iter()
            .flat_map(|part| part.modes.iter().map(move |mode| (part, mode)));
        let possible = modes.filter(|(part, mode)| {
            mode.chance > 0.0 || struck(profile, &part.reference, Some(&mode.id))
        });
        let all = possible.map(|(part, mode)| {
            let direct = effects.direct(part, mode);
            let mut seen = effects.spread(&direct);
            seen.retain(|node, _| asked.contains(node));
            Look {
                part,
                mode,
                direct,
                seen,
            }
        });
        Looks {
            all: all.collect(),
            profile,
        }
    }

    fn harmless(&self, known: &[Smell]) -> Vec<Smell> {
        let useless = |part: &Part| known.contains(&Smell::Useless(part.reference.clone()));
        let harmless = self
            .all
            .iter()
            .filter(|look| look.direct.is_empty() && !look.part.optional && !useless(look.part));
        let smell = |look: &Look<'_>| Smell::Harmless {
            part: look.part.reference.clone(),
            mode: look.mode.id.clone(),
        };
        harmless.map(smell).collect()
    }

    /// Modes by how they look, where it is sure that they look the same.
    fn groups(&self) -> Vec<Vec<&Look<'p>>> {
        let mut groups: Vec<Vec<&Look<'_>>> = Vec::new();
        for look in self.all.iter().filter(|look| !look.seen.is_empty()) {
            let fits = |group: &Vec<&Look<'_>>| {
                let first = group[0];
                look.looks_like(first) && (look.sure() || same_chances(&look.direct, &first.direct))
            };
            match groups.iter_mut().find(|group| fits(group)) {
                Some(group) => group.push(look),
                None => groups.push(vec![look]),
            }
        }
        groups
    }

    /// One smell for each kind of mode that the group's first is not told from.
    fn alike(&self) -> Vec<Smell> {
        let mut smells = Vec::new();
        for group in self.groups() {
            let first = group[0];
            let mut told: Vec<&Look<'_>> = vec![first];
            for look in &group {
                if told
                    .iter()
                    .any(|known| same_chances(&known.direct, &look.direct))
                {
                    continue;
                }
                told.push(look);
                let differ = |node: &&Node| first.direct.get(*node) != look.direct.get(*node);
                let nodes: BTreeSet<&Node> =
                    first.direct.keys().chain(look.direct.keys()).collect();
                smells.push(Smell::Alike {
                    one: first.name(),
                    other: look.name(),
                    between: nodes.into_iter().filter(differ).map(target_name).collect(),
                });
            }
        }
        smells
    }

    fn same(&self) -> Vec<SameLook> {
        let mut same = Vec::new();
        for group in self.groups() {
            let alike = group
                .iter()
                .filter(|look| same_chances(&look.direct, &group[0].direct));
            let modes: Vec<String> = alike.clone().map(|look| look.name()).collect();
            let mut parts: Vec<String> = alike.map(|look| look.part.reference.clone()).collect();
            parts.dedup();
            if parts.len() > 1 {
                same.push(SameLook {
                    modes,
                    parts,
                    breaks: group[0].direct.keys().map(target_name).collect(),
                });
            }
        }
        same
    }

    fn mute(&self, check: &Check) -> Option<Smell> {
        let asked = asked_by(check);
        let broken = self
            .all
            .iter()
            .any(|look| look.seen.keys().any(|node| asked.contains(node)));
        let outside = self
            .profile
            .outside
            .iter()
            .filter(|outside| outside.chance > 0.0);
        let broken = broken
            || outside
                .flat_map(|outside| &outside.serves)
                .any(|served| serves(self.profile, served, &asked));
        let why = if !broken {
            Mute::NothingBreaks
        } else if check.blunder >= 1.0 {
            Mute::AlwaysBlundered
        } else if same_anyway(check) && check.requires.is_empty() {
            Mute::SameAnyway
        } else {
            return None;
        };
        Some(Smell::Mute {
            check: check.id.clone(),
            why,
        })
    }
}

/// Whether something that serves this reaches what is asked.
fn serves(profile: &Profile, served: &Target, asked: &BTreeSet<Node>) -> bool {
    let direct = crate::effects::nodes_of(served)
        .into_iter()
        .map(|node| (node, 1.0))
        .collect();
    Effects::of(profile)
        .spread(&direct)
        .keys()
        .any(|node| asked.contains(node))
}

fn same_anyway(check: &Check) -> bool {
    match &check.tells {
        Tells::Target {
            false_pass,
            false_fail,
            ..
        } => (false_pass + false_fail - 1.0).abs() < SAME,
        Tells::Rows(rows) => rows.windows(2).all(|pair| {
            let chances = pair[0].shows.iter().zip(&pair[1].shows);
            chances
                .into_iter()
                .all(|(one, other)| (one - other).abs() < SAME)
        }),
    }
}

/// Rows that a row before them always decides for: it asks for some of the same failures and no other.
fn shadowed(check: &Check) -> Vec<Smell> {
    let Tells::Rows(rows) = &check.tells else {
        return Vec::new();
    };
    let sets: Vec<BTreeSet<Node>> = rows
        .iter()
        .map(|row| row.fails.iter().cloned().collect())
        .collect();
    let mut smells = Vec::new();
    for (at, set) in sets.iter().enumerate() {
        if let Some(by) = sets[..at].iter().position(|before| before.is_subset(set)) {
            smells.push(Smell::Shadowed {
                check: check.id.clone(),
                row: at + 1,
                by: by + 1,
            });
        }
    }
    smells
}

/// An event strikes this part, or this mode of it.
fn struck(profile: &Profile, part: &str, mode: Option<&str>) -> bool {
    profile
        .events
        .iter()
        .filter(|event| event.chance > 0.0)
        .flat_map(|event| &event.causes)
        .any(|cause| {
            cause.part == part && cause.chance > 0.0 && mode.is_none_or(|mode| cause.mode == mode)
        })
}

fn used(profile: &Profile, part: &str) -> bool {
    let needs = |need: &Need| match need {
        Need::Part(name) | Need::Mode { part: name, .. } => name == part,
        Need::Target { .. } => false,
    };
    let feeds = profile
        .rails
        .iter()
        .any(|rail| rail.fed_by.iter().any(|name| name == part));
    feeds
        || profile
            .functions
            .iter()
            .any(|function| function.needs.iter().any(needs))
}

/// Functions that no check tells of, directly or through what needs them.
fn untested(profile: &Profile) -> Vec<Smell> {
    let mut told: BTreeSet<&str> = profile.checks.iter().flat_map(told_by).collect();
    let mut open: Vec<&str> = told.iter().copied().collect();
    while let Some(id) = open.pop() {
        for needed in profile.function(id).into_iter().flat_map(needed_by) {
            if told.insert(needed) {
                open.push(needed);
            }
        }
    }
    let untold = profile
        .functions
        .iter()
        .filter(|function| !told.contains(function.id.as_str()));
    untold
        .map(|function| Smell::Untested(function.id.clone()))
        .collect()
}

fn told_by(check: &Check) -> Vec<&str> {
    match &check.tells {
        Tells::Target { target, .. } => function_id(target).into_iter().collect(),
        Tells::Rows(rows) => rows
            .iter()
            .flat_map(|row| &row.fails)
            .filter_map(function_id)
            .collect(),
    }
}

fn needed_by(function: &Function) -> impl Iterator<Item = &str> {
    function.needs.iter().filter_map(|need| match need {
        Need::Target { target, .. } => function_id(target),
        _ => None,
    })
}

fn function_id(target: &Target) -> Option<&str> {
    match target {
        Target::Function(id) => Some(id),
        Target::Rail(..) => None,
    }
}
