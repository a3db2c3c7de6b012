//! The library's times and memory, each kind from a Python process of its own.

use std::{
    ffi::OsString,
    io,
    path::Path,
    process::{Child, Command, Output, Stdio},
    thread,
    time::{Duration, Instant},
};

use serde_json::{Value, json};

use super::measure::Job;

/// Longest time for the library's first inference, with Python's start.
const LONGEST: Duration = Duration::from_secs(65);

/// A Python that has the library.
pub(super) struct Library {
    python: OsString,
    /// Of the library and of Python.
    pub(super) version: Value,
}

impl Library {
    /// The Python that the chores have made ready.
    pub(super) fn find() -> io::Result<Library> {
        let python = std::env::var_os("BOARDWRIGHT_PYTHON").ok_or_else(|| {
            io::Error::other(
                "expected BOARDWRIGHT_PYTHON to name a Python with the libraries of xtask/requirements.txt, found none; run `cargo xtask bench diagnosis`",
            )
        })?;
        let mut library = Library {
            python,
            version: Value::Null,
        };
        let output = library.command(&["version"]).output()?;
        library.version = read(&output)?;
        Ok(library)
    }

    /// Times and memory with one of the encodings `tables` and `split`; says so where it is skipped.
    pub(super) fn measure(&self, job: Job, encoding: &str) -> io::Result<Value> {
        let command = |kind: &str| {
            let mut command = self.command(&[kind, encoding]);
            command
                .arg(job.file)
                .args([job.set.to_string(), job.repeats.to_string()]);
            command
        };
        // the first run shows whether it can be done at all
        let child = command("memory")
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()?;
        let Some(output) = within(child, LONGEST)? else {
            return Ok(json!({"skipped": "more than a minute"}));
        };
        let memory = read(&output)?;
        if memory.get("skipped").is_some() {
            return Ok(memory);
        }
        let mut all = read(&command("times").output()?)?;
        all["memory"] = memory["memory"].clone();
        Ok(all)
    }

    fn command(&self, arguments: &[&str]) -> Command {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/bench/library.py");
        let mut command = Command::new(&self.python);
        command.arg(script).args(arguments);
        command.env("OMP_NUM_THREADS", "1");
        command
    }
}

/// Waits for a child and ends it when it takes too long; its output is one line, so no pipe fills up.
fn within(mut child: Child, longest: Duration) -> io::Result<Option<Output>> {
    let start = Instant::now();
    while child.try_wait()?.is_none() {
        if start.elapsed() > longest {
            child.kill()?;
            child.wait()?;
            return Ok(None);
        }
        thread::sleep(Duration::from_millis(20));
    }
    child.wait_with_output().map(Some)
}

fn read(output: &Output) -> io::Result<Value> {
    if !output.status.success() {
        let message = String::from_utf8_lossy(&output.stderr);
        return Err(io::Error::other(format!(
            "the library's Python ended with {}: {}",
            output.status,
            message.trim()
        )));
    }
    serde_json::from_slice(&output.stdout).map_err(io::Error::other)
}
