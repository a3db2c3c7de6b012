//! The built program in a private folder: what a test runs, and what it gets back.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::thread;
use std::time::Duration;

use tempfile::TempDir;

/// How long the program may take to say where it serves.
const PATIENCE: Duration = Duration::from_secs(60);

/// A folder of its own in which the program runs; deleted on drop.
pub(crate) struct Bench {
    folder: TempDir,
}

/// What a run left behind.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Output {
    /// Exit code; −1 if a signal ended it.
    pub(crate) status: i32,
    /// Standard output.
    pub(crate) stdout: String,
    /// Standard error.
    pub(crate) stderr: String,
}

/// The program serving its pages; killed on drop, as a power cut would.
pub(crate) struct Server {
    /// Where the pages are, such as `http://127.0.0.1:41234`, without a slash at the end.
    pub(crate) address: String,
    child: Child,
}

impl Bench {
    /// A new, empty folder.
    pub(crate) fn new() -> Bench {
        let folder = tempfile::Builder::new().prefix("bench-").tempdir();
        Bench {
            folder: folder.expect("a private folder"),
        }
    }

    /// The folder.
    pub(crate) fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// Writes a file into the folder, with the folders above it.
    pub(crate) fn write(&self, name: &str, content: impl AsRef<[u8]>) -> PathBuf {
        let file = self.folder().join(name);
        let above = file.parent().expect("a file is in a folder");
        fs::create_dir_all(above).expect("a folder in the private folder");
        fs::write(&file, content).expect("a file in the private folder");
        file
    }

    /// Runs the program to its end, without input.
    pub(crate) fn run(&self, arguments: &[&str]) -> Output {
        self.run_with_input(arguments, "")
    }

    /// Runs the program to its end, with this on its standard input.
    pub(crate) fn run_with_input(&self, arguments: &[&str], input: &str) -> Output {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the built program starts");
        let mut stdin = child.stdin.take().expect("stdin is piped");
        let input = input.to_owned();
        // on a thread of its own, for the program may speak before it has read all; it may also not read at all
        let writer = thread::spawn(move || stdin.write_all(input.as_bytes()).ok());
        let output = child.wait_with_output().expect("the built program ends");
        writer.join().expect("the input is written");
        let text = |bytes| String::from_utf8(bytes).expect("the program speaks UTF-8");
        Output {
            status: output.status.code().unwrap_or(-1),
            stdout: text(output.stdout),
            stderr: text(output.stderr),
        }
    }

    /// Runs the program, expects exit code 0, and gives its standard output.
    pub(crate) fn ok(&self, arguments: &[&str]) -> String {
        let output = self.run(arguments);
        assert_eq!(
            output.status, 0,
            "{arguments:?}\n{}{}",
            output.stdout, output.stderr
        );
        output.stdout
    }

    /// Serves the pages of the default workshop on a free port.
    pub(crate) fn serve(&self) -> Server {
        self.serve_with(&["serve", "--port", "0"])
    }

    /// Runs a command that serves, and waits until it says where.
    pub(crate) fn serve_with(&self, arguments: &[&str]) -> Server {
        let mut child = self
            .command(arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .expect("the built program starts");
        let (sender, said) = mpsc::channel();
        follow(
            child.stdout.take().expect("stdout is piped"),
            sender.clone(),
        );
        follow(child.stderr.take().expect("stderr is piped"), sender);
        let mut server = Server {
            address: String::new(),
            child,
        };
        let mut before = String::new();
        while server.address.is_empty() {
            let Ok(line) = said.recv_timeout(PATIENCE) else {
                panic!(
                    "`{}` did not say where it serves:\n{before}",
                    arguments.join(" ")
                );
            };
            server.address = address(&line).unwrap_or_default().to_owned();
            before.push_str(&line);
        }
        server
    }

    /// The program, with nothing of the developer's own settings around it.
    pub(crate) fn command(&self, arguments: &[&str]) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_boardwright"));
        command
            .args(arguments)
            .current_dir(self.folder())
            .env("NO_COLOR", "1")
            .env("TZ", "UTC");
        for variable in [
            "HOME",
            "USERPROFILE",
            "APPDATA",
            "LOCALAPPDATA",
            "XDG_DATA_HOME",
            "XDG_CONFIG_HOME",
        ] {
            command.env(variable, self.folder());
        }
        for (variable, _) in std::env::vars_os() {
            if variable.to_string_lossy().starts_with("BOARDWRIGHT_") {
                command.env_remove(variable);
            }
        }
        command
    }
}

impl Server {
    /// The address of a page.
    pub(crate) fn page(&self, path: &str) -> String {
        format!("{}{path}", self.address)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Reads lines to the end, so that the program never waits for a full pipe, and passes them on while somebody listens.
fn follow(output: impl Read + Send + 'static, sender: mpsc::Sender<String>) {
    thread::spawn(move || {
        let mut output = BufReader::new(output);
        let mut line = String::new();
        while output.read_line(&mut line).is_ok_and(|length| length > 0) {
            let _ = sender.send(std::mem::take(&mut line));
        }
    });
}

/// The address in a line such as `The pages are at http://127.0.0.1:41234/.`
fn address(line: &str) -> Option<&str> {
    let start = line.find("http://")?;
    let host = &line[start + "http://".len()..];
    let end = host.find(|char: char| !char.is_ascii_alphanumeric() && !".:[]".contains(char));
    let end = start + "http://".len() + end.unwrap_or(host.len());
    Some(line[start..end].trim_end_matches('.'))
}

#[test]
fn the_address_is_read_from_what_the_program_says() {
    let check = |line: &str, expect: Option<&str>| assert_eq!(address(line), expect, "{line}");
    check("http://127.0.0.1:41234\n", Some("http://127.0.0.1:41234"));
    check(
        "The pages are at http://127.0.0.1:41234/ until ctrl-c.\n",
        Some("http://127.0.0.1:41234"),
    );
    check(
        "The pages are at http://127.0.0.1:41234.\n",
        Some("http://127.0.0.1:41234"),
    );
    check("`http://[::1]:80`", Some("http://[::1]:80"));
    check("T-03: 41 %", None);
}
