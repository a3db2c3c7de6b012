//! Whatever stops a verb, as one message and one hint.

use crate::printer::Problem;
use workshop::ErrorKind;

/// An error of a verb.
pub(crate) fn from_error(error: &anyhow::Error) -> Problem {
    if let Some(known) = error.downcast_ref::<workshop::Error>() {
        let hint = known
            .hint
            .clone()
            .unwrap_or_else(|| usual_hint(known.kind).to_owned());
        return Problem {
            message: known.message.clone(),
            hint: Some(hint),
            kind: kind(known.kind),
        };
    }
    if let Some(own) = error.downcast_ref::<Stop>() {
        return Problem {
            message: own.message.clone(),
            hint: Some(own.hint.clone()),
            kind: kind(own.kind),
        };
    }
    Problem {
        message: format!("{error:#}"),
        hint: None,
        kind: kind(ErrorKind::Io),
    }
}

/// An error of the command line itself.
#[derive(Debug)]
pub(crate) struct Stop {
    message: String,
    hint: String,
    kind: ErrorKind,
}

impl std::fmt::Display for Stop {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.message)
    }
}

impl std::error::Error for Stop {}

/// An error of the command line, with what to do.
pub(crate) fn stop(
    kind: ErrorKind,
    message: impl Into<String>,
    hint: impl Into<String>,
) -> anyhow::Error {
    Stop {
        message: message.into(),
        hint: hint.into(),
        kind,
    }
    .into()
}

/// A line that the parser could not read.
pub(crate) fn from_line(error: &clap::Error) -> Problem {
    if error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        let message =
            "expected what to do with a board, such as `check FILE`, after `board`, found nothing";
        let hint = "see `boardwright board --help`".to_owned();
        return Problem {
            message: message.to_owned(),
            hint: Some(hint),
            kind: kind(ErrorKind::Usage),
        };
    }
    let text = error
        .render()
        .to_string()
        .replace('\'', "`")
        .replace("subcommand", "verb");
    let text = text.replace(": invalid float literal", ", expected a number");
    let text = text.replace(
        ": invalid digit found in string",
        ", expected a whole number",
    );
    let mut parts = text.split("\n\n");
    let message = parts
        .next()
        .unwrap_or_default()
        .trim_start_matches("error: ");
    let message = message.lines().map(str::trim).collect::<Vec<_>>().join(" ");
    let rest: Vec<&str> = parts.collect();
    let tip = rest
        .iter()
        .find_map(|part| part.trim().strip_prefix("tip: "));
    let usage = rest
        .iter()
        .find_map(|part| part.trim().strip_prefix("Usage: "));
    let tag = message
        .strip_prefix("unrecognized verb `")
        .and_then(|rest| rest.strip_suffix('`'))
        .filter(|word| word.contains(|c: char| c.is_ascii_digit()));
    let hint = match (tip, tag, usage) {
        (Some(tip), _, _) => first_line(tip),
        (None, Some(tag), _) => format!(
            "put a verb before it: `show {tag}` for its job card, `measure {tag} …` for what it showed"
        ),
        (None, None, Some(usage)) => format!("type it as `{}`, or see `--help`", first_line(usage)),
        (None, None, None) => "see `boardwright --help`".to_owned(),
    };
    Problem {
        message: message.trim_end_matches('.').to_owned(),
        hint: Some(hint),
        kind: kind(ErrorKind::Usage),
    }
}

fn first_line(text: &str) -> String {
    text.lines().next().unwrap_or_default().trim().to_owned()
}

/// What to do when the error itself does not say.
fn usual_hint(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::Usage => "nothing was written; see `boardwright --help`",
        ErrorKind::NotFound => "nothing was written; see `boardwright bench` for what there is",
        ErrorKind::Refused => "nothing was written",
        ErrorKind::Conflict => "nothing was written; try again",
        ErrorKind::Io => "nothing was written; look at the file or folder that is named",
        ErrorKind::Internal => {
            "nothing was written; this is a fault of the program, please tell its makers"
        }
    }
}

fn kind(kind: ErrorKind) -> &'static str {
    match kind {
        ErrorKind::Usage => "usage",
        ErrorKind::NotFound => "not-found",
        ErrorKind::Refused => "refused",
        ErrorKind::Conflict => "conflict",
        ErrorKind::Io => "io",
        ErrorKind::Internal => "internal",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::args;

    fn check(line: &str, message: &str, hint: &str) {
        let words = std::iter::once("boardwright").chain(line.split(' '));
        let error = args::read(words.map(Into::into)).unwrap_err();
        let problem = from_line(&error);
        assert_eq!(
            (problem.message.as_str(), problem.hint.as_deref()),
            (message, Some(hint)),
            "{line}"
        );
    }

    #[test]
    fn lines_that_cannot_be_read() {
        check(
            "shew T-03",
            "unrecognized verb `shew`",
            "some similar verbs exist: `shelve`, `show`",
        );
        check(
            "T-03 picture black",
            "unrecognized verb `T-03`",
            "put a verb before it: `show T-03` for its job card, `measure T-03 …` for what it showed",
        );
        check(
            "show",
            "the following required arguments were not provided: <TAG>",
            "type it as `boardwright show <TAG>`, or see `--help`",
        );
        check(
            "show T-03 T-04",
            "unexpected argument `T-04` found",
            "type it as `boardwright show [OPTIONS] <TAG>`, or see `--help`",
        );
        check(
            "board",
            "expected what to do with a board, such as `check FILE`, after `board`, found nothing",
            "see `boardwright board --help`",
        );
        check(
            "plan --mony 3",
            "unexpected argument `--mony` found",
            "a similar argument exists: `--money`",
        );
    }
}
