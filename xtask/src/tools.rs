//! Programs from outside that some sections need: found, or installed, or asked for with the exact line to run.

use std::ffi::OsString;
use std::fmt;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

use anyhow::{Context, Result, bail};

use crate::shell::{announce, find_program, shown};
use crate::workspace::Workspace;

/// The browser and the program that drives it.
pub(crate) struct Browser {
    /// Chromium itself.
    pub(crate) chromium: PathBuf,
    /// Its WebDriver server.
    pub(crate) chromedriver: PathBuf,
}

/// A tool is not there and could not be installed.
#[derive(Debug)]
pub(crate) struct MissingTool {
    what: &'static str,
    then: String,
}

impl std::error::Error for MissingTool {}

impl fmt::Display for MissingTool {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(
            f,
            "expected {}, found none and could not install it; {}",
            self.what, self.then
        )
    }
}

const CHROMIUM_NAMES: [&str; 4] = ["chromium", "chromium-browser", "google-chrome", "chrome"];
const BROWSER_PACKAGES: [&str; 4] = [
    "chromium",
    "chromium-driver",
    "fonts-dejavu-core",
    "fonts-liberation",
];
/// The oldest version is the one that the pinned libraries still come for.
const CAN_MAKE_VENV: &str = "import ensurepip, sys, venv; assert sys.version_info >= (3, 11)";
const PYTHON_PACKAGES: [&str; 2] = ["python3", "python3-venv"];
const SYMBOL_PACKAGES: [&str; 1] = ["kicad-symbols"];
/// Where Debian's package puts its files.
const SYMBOL_FOLDER: &str = "/usr/share/kicad/symbols";

/// Chromium and chromedriver, installed by apt when missing.
pub(crate) fn browser() -> Result<Browser> {
    if let Some(browser) = find_browser()? {
        return Ok(browser);
    }
    apt_install(&BROWSER_PACKAGES);
    let missing = MissingTool {
        what: "Chromium and chromedriver",
        then: what_to_do(
            &BROWSER_PACKAGES,
            "install both and put them on the PATH, or name them in BOARDWRIGHT_CHROMIUM and BOARDWRIGHT_CHROMEDRIVER",
        ),
    };
    find_browser()?.ok_or_else(|| missing.into())
}

/// A Python with the libraries of `requirements.txt`, in a virtual environment under the target folder.
pub(crate) fn python(workspace: &Workspace) -> Result<OsString> {
    if let Some(python) = std::env::var_os("BOARDWRIGHT_PYTHON") {
        return Ok(python);
    }
    let requirements = workspace.root.join("xtask/requirements.txt");
    let wanted = fs::read_to_string(&requirements)
        .with_context(|| format!("cannot read `{}`", requirements.display()))?;
    let venv = workspace.target.join("venv");
    let inside = venv.join(if cfg!(windows) {
        "Scripts/python.exe"
    } else {
        "bin/python"
    });
    let stamp = venv.join("requirements.stamp");
    if fs::read_to_string(&stamp).is_ok_and(|found| found == wanted) && answers(&inside, "") {
        return Ok(inside.into());
    }
    let base = base_python()?;
    run(Command::new(base)
        .args(["-m", "venv", "--clear"])
        .arg(&venv))?;
    run(Command::new(&inside)
        .args(["-m", "pip", "install", "--quiet", "--no-input", "--no-deps"])
        .args(["--disable-pip-version-check", "--requirement"])
        .arg(&requirements))
    .context(
        "the libraries of xtask/requirements.txt need the network once; run this again with it",
    )?;
    fs::write(&stamp, wanted).with_context(|| format!("cannot write `{}`", stamp.display()))?;
    Ok(inside.into())
}

/// The folder of the schematic symbols, installed by apt when missing.
pub(crate) fn symbols() -> Result<PathBuf> {
    let named = std::env::var_os("BOARDWRIGHT_SYMBOLS").map(PathBuf::from);
    let folder = named.unwrap_or_else(|| PathBuf::from(SYMBOL_FOLDER));
    if !folder.is_dir() {
        apt_install(&SYMBOL_PACKAGES);
    }
    let missing = MissingTool {
        what: "the schematic symbols of Debian's package `kicad-symbols`",
        then: what_to_do(
            &SYMBOL_PACKAGES,
            "unpack the package and name its folder of `.kicad_sym` files in BOARDWRIGHT_SYMBOLS",
        ),
    };
    if folder.is_dir() {
        Ok(folder)
    } else {
        Err(missing.into())
    }
}

fn find_browser() -> Result<Option<Browser>> {
    let chromium = named("BOARDWRIGHT_CHROMIUM", &CHROMIUM_NAMES)?;
    let chromedriver = named("BOARDWRIGHT_CHROMEDRIVER", &["chromedriver"])?;
    Ok(chromium
        .zip(chromedriver)
        .map(|(chromium, chromedriver)| Browser {
            chromium,
            chromedriver,
        }))
}

/// The file that a variable names, else the first of these programs on the PATH.
fn named(variable: &str, names: &[&str]) -> Result<Option<PathBuf>> {
    let Some(path) = std::env::var_os(variable).map(PathBuf::from) else {
        return Ok(names.iter().find_map(|name| find_program(name)));
    };
    if !path.is_file() {
        bail!(
            "expected {variable} to name a program, found `{}`; correct it or unset it",
            path.display()
        );
    }
    Ok(Some(path))
}

/// A Python that can make a virtual environment.
///
/// The first on the PATH may be a version manager's stand-in that does not start, so the system's own is tried too.
fn base_python() -> Result<PathBuf> {
    let find = || {
        ["python3", "python", "/usr/bin/python3"]
            .iter()
            .map(PathBuf::from)
            .find(|python| answers(python, CAN_MAKE_VENV))
    };
    if let Some(python) = find() {
        return Ok(python);
    }
    apt_install(&PYTHON_PACKAGES);
    find().ok_or_else(|| {
        MissingTool {
            what: "Python 3.11 or newer with `venv`",
            then: what_to_do(
                &PYTHON_PACKAGES,
                "install it and put `python3` on the PATH, or name one with the libraries of xtask/requirements.txt in BOARDWRIGHT_PYTHON",
            ),
        }
        .into()
    })
}

fn answers(python: &Path, code: &str) -> bool {
    Command::new(python)
        .args(["-c", code])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

fn run(command: &mut Command) -> Result<()> {
    announce(command);
    let status = command
        .stdin(Stdio::null())
        .status()
        .with_context(|| format!("`{}` did not start", shown(command)))?;
    if !status.success() {
        bail!("`{}` failed, {status}", shown(command));
    }
    Ok(())
}

/// Tries to install; whether that worked shows when the tool is looked for again.
fn apt_install(packages: &[&str]) {
    if find_program("apt-get").is_none() {
        return;
    }
    for arguments in apt_arguments(packages) {
        let mut words = apt_prefix().iter().chain(&arguments).copied();
        let Some(program) = words.next() else { return };
        if let Err(error) = run(Command::new(program).args(words)) {
            println!("{error:#}");
        }
    }
}

fn apt_arguments<'a>(packages: &[&'a str]) -> [Vec<&'a str>; 2] {
    let mut install = vec!["apt-get", "install", "-y", "--no-install-recommends"];
    install.extend(packages);
    [vec!["apt-get", "update"], install]
}

fn apt_prefix() -> &'static [&'static str] {
    let user = Command::new("id").arg("-u").output();
    if user.is_ok_and(|output| output.stdout.trim_ascii() == b"0") {
        &["env", "DEBIAN_FRONTEND=noninteractive"]
    } else {
        &["sudo", "-n", "env", "DEBIAN_FRONTEND=noninteractive"]
    }
}

/// The line to run where there is apt, else the advice.
fn what_to_do(packages: &[&str], elsewhere: &str) -> String {
    if find_program("apt-get").is_none() {
        return elsewhere.to_owned();
    }
    let [update, install] = apt_arguments(packages);
    format!(
        "run\n    sudo {} && sudo {}",
        update.join(" "),
        install.join(" ")
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_missing_tool_says_what_to_run() {
        let tool = MissingTool {
            what: "a browser",
            then: "run\n    this".to_owned(),
        };
        assert_eq!(
            tool.to_string(),
            "expected a browser, found none and could not install it; run\n    this"
        );
        let [update, install] = apt_arguments(&["one", "two"]);
        assert_eq!(update.join(" "), "apt-get update");
        assert_eq!(
            install.join(" "),
            "apt-get install -y --no-install-recommends one two"
        );
    }
}
