//! What `cargo metadata` says about the workspace, in the shape the chores need.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};
use std::process::Command;

use anyhow::{Context, Result, bail};
use serde_json::Value;

/// The repository: its folder, its own crates and every package they bring in.
pub(crate) struct Workspace {
    /// The folder with the workspace's `Cargo.toml`.
    pub(crate) root: PathBuf,
    /// Where cargo puts what it builds.
    pub(crate) target: PathBuf,
    /// Own crates and foreign packages, by package id.
    pub(crate) packages: BTreeMap<String, Package>,
}

/// One package of the dependency graph.
pub(crate) struct Package {
    /// Name as in its manifest.
    pub(crate) name: String,
    /// Version as in its manifest.
    pub(crate) version: String,
    /// SPDX licence expression, where the manifest has one.
    pub(crate) license: Option<String>,
    /// Where it comes from; `None` for a path.
    pub(crate) source: Option<String>,
    /// Folder of an own crate relative to the root, with `/`; `None` for a foreign package.
    pub(crate) folder: Option<String>,
    /// What its manifest declares.
    pub(crate) declared: Vec<Declared>,
    /// Names of its integration test targets.
    pub(crate) tests: Vec<String>,
    /// Package ids that it links, directly, apart from its tests.
    pub(crate) links: BTreeSet<String>,
}

/// A dependency as a manifest declares it.
#[derive(Clone)]
pub(crate) struct Declared {
    /// Name of the package.
    pub(crate) package: String,
    /// Name by which the sources know it.
    pub(crate) crate_name: String,
    /// For what it is needed.
    pub(crate) kind: Kind,
}

/// The three tables of dependencies.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Kind {
    /// `[dependencies]`
    Normal,
    /// `[dev-dependencies]`
    Dev,
    /// `[build-dependencies]`
    Build,
}

impl Workspace {
    /// Asks cargo.
    pub(crate) fn load() -> Result<Workspace> {
        let output = Command::new(cargo())
            .args(["metadata", "--format-version", "1"])
            .current_dir(manifest_folder()?)
            .stderr(std::process::Stdio::inherit())
            .output()
            .context("`cargo metadata` did not start")?;
        if !output.status.success() {
            bail!("`cargo metadata` failed, {}", output.status);
        }
        Workspace::from_json(&serde_json::from_slice(&output.stdout)?)
    }

    /// Own crates, by folder.
    pub(crate) fn members(&self) -> impl Iterator<Item = (&str, &Package)> {
        self.packages
            .values()
            .filter_map(|package| Some((package.folder.as_deref()?, package)))
    }

    /// Names of everything that ends up in a package, itself apart, with the first step towards it.
    pub(crate) fn reached(&self, id: &str) -> BTreeMap<&str, &str> {
        let mut found = BTreeMap::new();
        for first in &self.packages[id].links {
            let mut open = vec![first];
            while let Some(next) = open.pop() {
                let package = &self.packages[next];
                if let std::collections::btree_map::Entry::Vacant(slot) =
                    found.entry(package.name.as_str())
                {
                    slot.insert(self.packages[first].name.as_str());
                    open.extend(&package.links);
                }
            }
        }
        found
    }

    fn from_json(json: &Value) -> Result<Workspace> {
        let root = PathBuf::from(text(json, "workspace_root")?);
        let members: BTreeSet<&str> = list(json, "workspace_members")?
            .iter()
            .filter_map(Value::as_str)
            .collect();
        let mut packages = BTreeMap::new();
        for package in list(json, "packages")? {
            let id = text(package, "id")?;
            let own = members.contains(id);
            packages.insert(id.to_owned(), read_package(package, own.then_some(&root))?);
        }
        for node in list(&json["resolve"], "nodes")? {
            let links = list(node, "deps")?
                .iter()
                .filter(|dep| is_linked(dep))
                .map(|dep| Ok(text(dep, "pkg")?.to_owned()))
                .collect::<Result<_>>()?;
            let id = text(node, "id")?;
            packages
                .get_mut(id)
                .with_context(|| format!("`cargo metadata` resolves `{id}` but does not list it"))?
                .links = links;
        }
        Ok(Workspace {
            target: PathBuf::from(text(json, "target_directory")?),
            root,
            packages,
        })
    }
}

/// The cargo that runs this program.
pub(crate) fn cargo() -> std::ffi::OsString {
    std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into())
}

/// This crate's folder as `cargo run` says it, so that the program works from anywhere.
fn manifest_folder() -> Result<PathBuf> {
    let folder = std::env::var_os("CARGO_MANIFEST_DIR")
        .context("expected to be started by cargo; run `cargo xtask` instead")?;
    Ok(PathBuf::from(folder))
}

fn read_package(json: &Value, root: Option<&PathBuf>) -> Result<Package> {
    let folder = match root {
        Some(root) => Some(folder_under(root, text(json, "manifest_path")?)?),
        None => None,
    };
    let tests = list(json, "targets")?
        .iter()
        .filter(|target| target["kind"][0] == "test")
        .map(|target| Ok(text(target, "name")?.to_owned()))
        .collect::<Result<_>>()?;
    let optional = |key: &str| json[key].as_str().map(str::to_owned);
    Ok(Package {
        name: text(json, "name")?.to_owned(),
        version: text(json, "version")?.to_owned(),
        license: optional("license"),
        source: optional("source"),
        folder,
        declared: list(json, "dependencies")?
            .iter()
            .map(read_declared)
            .collect::<Result<_>>()?,
        tests,
        links: BTreeSet::new(),
    })
}

fn read_declared(json: &Value) -> Result<Declared> {
    let package = text(json, "name")?.to_owned();
    let crate_name = json["rename"].as_str().unwrap_or(&package);
    Ok(Declared {
        crate_name: crate_name.replace('-', "_"),
        kind: match json["kind"].as_str() {
            Some("dev") => Kind::Dev,
            Some("build") => Kind::Build,
            _ => Kind::Normal,
        },
        package,
    })
}

fn is_linked(dep: &Value) -> bool {
    dep["dep_kinds"]
        .as_array()
        .is_some_and(|kinds| kinds.iter().any(|kind| kind["kind"].is_null()))
}

fn folder_under(root: &Path, manifest: &str) -> Result<String> {
    let folder = Path::new(manifest)
        .parent()
        .and_then(|folder| folder.strip_prefix(root).ok())
        .with_context(|| format!("expected every crate below the root, found `{manifest}`"))?;
    Ok(folder.to_string_lossy().replace('\\', "/"))
}

fn text<'a>(json: &'a Value, key: &str) -> Result<&'a str> {
    json[key]
        .as_str()
        .with_context(|| format!("expected `cargo metadata` to give `{key}`"))
}

fn list<'a>(json: &'a Value, key: &str) -> Result<&'a Vec<Value>> {
    json[key]
        .as_array()
        .with_context(|| format!("expected `cargo metadata` to give `{key}`"))
}

#[cfg(test)]
pub(crate) mod tests {
    //! A workspace written as a few words, for the lints' own tests.
    use super::*;

    /// Own crates and foreign packages as `name -> link link`; own ones have no `*` before them.
    pub(crate) fn sketch(lines: &str) -> Workspace {
        let mut packages = BTreeMap::new();
        for line in lines.lines().filter(|line| !line.trim().is_empty()) {
            let (name, links) = line.split_once("->").unwrap_or((line, ""));
            let (name, own) = match name.trim().strip_prefix('*') {
                Some(name) => (name, false),
                None => (name.trim(), true),
            };
            let links: BTreeSet<String> = links.split_whitespace().map(str::to_owned).collect();
            let declared = links.iter().map(|link| Declared {
                package: link.clone(),
                crate_name: link.replace('-', "_"),
                kind: Kind::Normal,
            });
            let package = Package {
                name: name.to_owned(),
                version: "1.0.0".to_owned(),
                license: Some("MIT".to_owned()),
                source: (!own).then(|| "registry+somewhere".to_owned()),
                folder: own.then(|| format!("crates/{name}")),
                declared: declared.collect(),
                tests: Vec::new(),
                links,
            };
            packages.insert(name.to_owned(), package);
        }
        Workspace {
            root: PathBuf::new(),
            target: PathBuf::new(),
            packages,
        }
    }

    #[test]
    fn what_is_reached_names_the_first_step() {
        let workspace = sketch("a -> b c\nb -> d\nc\n*d");
        let reached = workspace.reached("a");
        assert_eq!(reached.len(), 3);
        assert_eq!(reached["d"], "b");
        assert_eq!(reached["c"], "c");
        assert!(workspace.reached("c").is_empty());
    }

    #[test]
    fn metadata_is_read() {
        let json = serde_json::json!({
            "workspace_root": "/r", "target_directory": "/t", "workspace_members": ["a"],
            "packages": [
                { "id": "a", "name": "a", "version": "0.1.0", "license": "MIT", "source": null,
                  "manifest_path": "/r/crates/a/Cargo.toml",
                  "targets": [{ "kind": ["lib"], "name": "a" }, { "kind": ["test"], "name": "cli" }],
                  "dependencies": [{ "name": "foo-bar", "rename": null, "kind": "dev" }] },
                { "id": "b", "name": "foo-bar", "version": "2.0.0", "license": null, "source": "registry+x",
                  "manifest_path": "/elsewhere/Cargo.toml", "targets": [], "dependencies": [] },
            ],
            "resolve": { "nodes": [
                { "id": "a", "deps": [{ "pkg": "b", "dep_kinds": [{ "kind": "dev" }] }] },
                { "id": "b", "deps": [] },
            ]},
        });
        let workspace = Workspace::from_json(&json).unwrap();
        let (folder, package) = workspace.members().next().unwrap();
        assert_eq!(
            (folder, &package.tests[..]),
            ("crates/a", &["cli".to_owned()][..])
        );
        assert_eq!(package.declared[0].crate_name, "foo_bar");
        assert_eq!(package.declared[0].kind, Kind::Dev);
        assert!(package.links.is_empty(), "a dev-dependency is not linked");
    }
}
