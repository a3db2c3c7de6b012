//! What the roles of parts bring, as read from `rules/roles.toml` and `rules/mounts.toml`.

use crate::fields::Fields;
use crate::problem::{Problem, Problems};
use crate::profile::Mount;
use crate::raw::{RawBlock, RawCheck, RawEvent, RawFunction, RawMode};
use crate::read::{each, read_block, read_event, read_function};
use crate::read_check::read_check;
use crate::read_part::{read_modes, read_mount};
use crate::rules::read_file;

/// Everything that roles bring.
#[derive(Debug, Clone, PartialEq, Default)]
pub(crate) struct Roles {
    pub(crate) blocks: Vec<RawBlock>,
    pub(crate) roles: Vec<Role>,
    pub(crate) functions: Vec<RoleFunction>,
    pub(crate) rail_checks: Vec<RailCheck>,
    pub(crate) checks: Vec<RoleCheck>,
    pub(crate) events: Vec<RawEvent>,
}

/// A role.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Role {
    pub(crate) id: String,
    /// The block of its parts, unless the profile says another.
    pub(crate) block: Option<String>,
    /// Its parts serve the block they sit in.
    pub(crate) by_block: bool,
}

/// A function with the roles that need be there.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RoleFunction {
    pub(crate) function: RawFunction,
    pub(crate) roles: Vec<String>,
    pub(crate) block: Option<String>,
    /// Roles with which it exists although they are no part of it.
    pub(crate) with: Vec<String>,
}

/// The check that each rail gets.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RailCheck {
    pub(crate) title: String,
    pub(crate) how: String,
    pub(crate) caution: Option<String>,
    pub(crate) minutes: Option<f64>,
    pub(crate) set_up: Vec<String>,
}

/// A check with the pin at which it is made.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct RoleCheck {
    pub(crate) check: RawCheck,
    /// Role and names of the pin, the first that a part of the role has.
    pub(crate) at: Option<(String, Vec<String>)>,
    /// A function without which it makes no sense.
    pub(crate) only_with: Option<String>,
}

/// Modes that come with a way of sitting on the board.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct MountRule {
    pub(crate) mount: Mount,
    pub(crate) modes: Vec<RawMode>,
}

/// Reads `rules/roles.toml`.
pub(crate) fn read_roles(text: &str, file: &str) -> Result<Roles, Vec<Problem>> {
    read_file(text, file, "a table of roles", |fields, problems| Roles {
        blocks: each(fields, "block", "a block", problems, read_block),
        roles: each(fields, "role", "a role", problems, read_role),
        functions: each(
            fields,
            "function",
            "a function",
            problems,
            read_role_function,
        ),
        rail_checks: each(
            fields,
            "rail_check",
            "a rail check",
            problems,
            read_rail_check,
        ),
        checks: each(fields, "check", "a check", problems, read_role_check),
        events: each(fields, "event", "an event", problems, read_event),
    })
}

/// Reads `rules/mounts.toml`.
pub(crate) fn read_mounts(text: &str, file: &str) -> Result<Vec<MountRule>, Vec<Problem>> {
    read_file(text, file, "a table of mounts", |fields, problems| {
        each(fields, "mount", "a mount", problems, |fields, problems| {
            let mount = read_mount(fields, problems);
            let modes = read_modes(fields, problems);
            Some(MountRule {
                mount: mount?,
                modes,
            })
        })
    })
}

fn read_role(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<Role> {
    let id = fields.id("id", problems);
    let block = fields.text("block", problems).map(|block| block.value);
    let by_block = fields.flag("by_block", problems).unwrap_or(false);
    Some(Role {
        id: id?.value,
        block,
        by_block,
    })
}

fn read_role_function(
    fields: &mut Fields<'_>,
    problems: &mut Problems<'_>,
) -> Option<RoleFunction> {
    let mut texts = |key, problems: &mut Problems<'_>| -> Vec<String> {
        fields
            .texts(key, problems)
            .into_iter()
            .map(|text| text.value)
            .collect()
    };
    let roles = texts("roles", problems);
    let with = texts("with", problems);
    let block = fields.text("block", problems).map(|block| block.value);
    Some(RoleFunction {
        function: read_function(fields, problems)?,
        roles,
        block,
        with,
    })
}

fn read_rail_check(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RailCheck> {
    let title = fields.text("title", problems);
    let how = fields.text("how", problems);
    let caution = fields
        .text("caution", problems)
        .map(|caution| caution.value);
    let minutes = fields.minutes("minutes", problems);
    let set_up = fields
        .texts("set_up", problems)
        .into_iter()
        .map(|text| text.value)
        .collect();
    Some(RailCheck {
        title: title?.value,
        how: how?.value,
        caution,
        minutes,
        set_up,
    })
}

fn read_role_check(fields: &mut Fields<'_>, problems: &mut Problems<'_>) -> Option<RoleCheck> {
    let at = fields
        .take("at")
        .and_then(|item| item.fields("`at`", problems))
        .and_then(|mut at| {
            let role = at.text("role", problems);
            let pins = at.texts("pin", problems);
            at.finish(problems);
            Some((role?.value, pins.into_iter().map(|pin| pin.value).collect()))
        });
    let only_with = fields.text("only_with", problems).map(|name| name.value);
    Some(RoleCheck {
        check: read_check(fields, problems)?,
        at,
        only_with,
    })
}
