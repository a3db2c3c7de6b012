//! The tour of the README, run line by line: what it shows is what the program prints.

use crate::support::Bench;
use std::path::Path;

/// Runs each `$ boardwright ...` line of the `console` blocks and puts what it printed below it.
///
/// `$ export NAME=VALUE` holds from there on, `| head -N` cuts.
fn with_real_output(page: &str, bench: &Bench) -> String {
    let mut out = String::new();
    let mut inside = false;
    let mut exported = Vec::new();
    for line in page.lines() {
        if line.starts_with("```") {
            inside = line == "```console";
        }
        let command = line.strip_prefix("$ ").filter(|_| inside);
        if inside && command.is_none() && !line.starts_with("```") {
            continue;
        }
        out.push_str(line);
        out.push('\n');
        let Some(command) = command else { continue };
        if let Some((name, value)) = command
            .strip_prefix("export ")
            .and_then(|rest| rest.split_once('='))
        {
            exported.push((name.to_owned(), value.to_owned()));
        } else {
            out.push_str(&printed(command, bench, &exported));
        }
    }
    out
}

fn printed(line: &str, bench: &Bench, exported: &[(String, String)]) -> String {
    let (command, lines) = match line.split_once(" | head -") {
        Some((command, lines)) => (command, lines.parse().expect("a number of lines")),
        None => (line, usize::MAX),
    };
    let words = words(
        command
            .strip_prefix("boardwright ")
            .expect("a line of this program"),
    );
    let words: Vec<&str> = words.iter().map(String::as_str).collect();
    let mut command = bench.command(&words);
    let ran = command
        .envs(exported.iter().cloned())
        .output()
        .expect("it runs");
    let text = |bytes| String::from_utf8(bytes).expect("UTF-8");
    let (stdout, stderr) = (text(ran.stdout), text(ran.stderr));
    assert!(
        ran.status.code().is_some_and(|status| status < 2),
        "{line}\n{stderr}"
    );
    let cut: String = stdout.split_inclusive('\n').take(lines).collect();
    cut + &stderr
}

/// Words as a shell has them; double quotes hold words together.
fn words(line: &str) -> Vec<String> {
    let pieces = line.split('"').enumerate();
    pieces
        .flat_map(|(nth, piece)| match nth % 2 {
            1 => vec![piece.to_owned()],
            _ => piece.split_whitespace().map(str::to_owned).collect(),
        })
        .collect()
}

#[test]
fn the_tour_shows_what_the_program_prints() {
    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../README.md");
    let page = std::fs::read_to_string(&file)
        .expect("the README")
        .replace("\r\n", "\n");
    let bench = crate::demo();
    let list = include_str!("../../../../examples/cobalt-65/parts.csv");
    bench.write("parts.csv", list);
    let real = with_real_output(&page, &bench);
    if std::env::var_os("UPDATE_EXPECT").is_some() && real != page {
        std::fs::write(&file, real).expect("the README is written");
        return;
    }
    for (nth, (shown, printed)) in page.lines().zip(real.lines()).enumerate() {
        assert_eq!(
            shown,
            printed,
            "README.md line {}; `UPDATE_EXPECT=1` puts the real output in",
            nth + 1
        );
    }
    assert_eq!(
        page.lines().count(),
        real.lines().count(),
        "README.md is longer or shorter than what is printed"
    );
}
