//! What forms and addresses carry, and how it becomes a request to the workshop.

use serde::Deserialize;
use workshop::{Act, Error, ErrorKind, Fitted, PlanLimits, TakeIn};

use crate::pages::{card::ActFields, take_in};

/// `?said=`: under which id the answer to the last write is kept.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct SaidQuery {
    pub(crate) said: String,
}

/// `?check=reset&machine=T-05&said=`.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct BenchQuery {
    pub(crate) check: Option<String>,
    pub(crate) machine: Option<String>,
    pub(crate) said: String,
}

/// `?check=dot-clock&line=8.004M&said=`.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct CardQuery {
    pub(crate) check: Option<String>,
    pub(crate) line: String,
    pub(crate) said: String,
}

/// `?machine=T-03&check=dot-clock&line=8.004M`.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct ReadQuery {
    pub(crate) machine: String,
    pub(crate) check: Option<String>,
    pub(crate) line: String,
}

/// The open cell of a round.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct RoundForm {
    pub(crate) check: String,
    pub(crate) machine: String,
    pub(crate) value: String,
    pub(crate) word: Option<String>,
    /// The machine to go on to, as the page was drawn.
    pub(crate) next: Option<String>,
}

/// The entry line of a job card.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct FindingForm {
    pub(crate) check: Option<String>,
    pub(crate) line: String,
    pub(crate) word: Option<String>,
}

/// An act.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct ActForm {
    pub(crate) act: String,
    pub(crate) part: String,
    pub(crate) what: String,
    pub(crate) mark: String,
}

/// Switched on or off.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct PowerForm {
    pub(crate) power: String,
}

/// Put away, or taken back.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct ShelfForm {
    pub(crate) shelf: String,
}

/// Something supposed: a whole line, or what is done and what to.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct IfQuery {
    #[serde(rename = "if")]
    pub(crate) whole: String,
    #[serde(rename = "if-act")]
    pub(crate) act: String,
    #[serde(rename = "if-of")]
    pub(crate) of: String,
}

impl IfQuery {
    /// The line that is supposed; empty if nothing is.
    pub(crate) fn line(&self) -> String {
        let whole = self.whole.trim();
        if !whole.is_empty() || self.of.trim().is_empty() {
            return whole.to_owned();
        }
        format!("{} {}", self.act, self.of).trim().to_owned()
    }
}

/// The truth of a machine.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct TruthForm {
    pub(crate) truth: String,
}

/// Lines to take back, and where to go then.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct UndoForm {
    pub(crate) lines: String,
    pub(crate) back: String,
}

/// Limits of the plan.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct LimitsForm {
    pub(crate) money: String,
    pub(crate) evenings: String,
    pub(crate) working: String,
}

/// A decision to settle, or to let go.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct SettleForm {
    pub(crate) settle: String,
    pub(crate) free: String,
}

/// A lot.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct TakeInForm {
    pub(crate) line: String,
    pub(crate) exceptions: String,
    pub(crate) board: String,
    pub(crate) tags: String,
    pub(crate) look: Option<String>,
}

/// Light or dark, and where to go then.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
pub(crate) struct ThemeForm {
    pub(crate) theme: String,
    pub(crate) back: String,
}

/// An address of this server to go back to; anything else becomes the bench.
pub(crate) fn back(address: &str) -> &str {
    let own = address.starts_with('/')
        && !address.starts_with("//")
        && !address.contains(['\\', '\n', '\r', '\t']);
    if own && address.bytes().all(|b| b.is_ascii_graphic()) {
        address
    } else {
        "/"
    }
}

/// The lines a finding can be meant as, in the order in which to try them: of the check in hand, then as typed.
pub(crate) fn meanings(check: Option<&str>, line: &str) -> Vec<String> {
    let line = line.trim();
    let of_check = check
        .filter(|_| !line.is_empty() && !line.contains(';'))
        .map(|check| format!("{check} {line}"));
    of_check.into_iter().chain([line.to_owned()]).collect()
}

/// Journal line numbers, separated by commas.
pub(crate) fn lines(text: &str) -> Result<Vec<i64>, Error> {
    text.split(',')
        .map(str::trim)
        .filter(|piece| !piece.is_empty())
        .map(line)
        .collect()
}

fn line(piece: &str) -> Result<i64, Error> {
    piece.parse().map_err(|_| {
        Error::new(
            ErrorKind::Usage,
            format!("expected a journal line number, found `{piece}`"),
        )
        .hint("take back a line with the button under the journal")
    })
}

impl ActForm {
    pub(crate) fn fields(&self) -> ActFields {
        let ActForm {
            act,
            part,
            what,
            mark,
        } = self;
        ActFields {
            act: act.clone(),
            part: part.clone(),
            what: what.clone(),
            mark: mark.clone(),
        }
    }

    pub(crate) fn act(&self) -> Result<Act, Error> {
        let names = || {
            self.part
                .split([',', ' ', ';'])
                .filter(|name| !name.is_empty())
                .map(str::to_owned)
                .collect::<Vec<_>>()
        };
        let part = self.part.trim().to_owned();
        let what = self.what.trim();
        if self.act == "mend" {
            let whole = format!("{part} {what}");
            return Ok(Act::Mend(whole.trim().to_owned()));
        }
        if part.is_empty() {
            return Err(Error::new(
                ErrorKind::Usage,
                "expected a position or a block, found nothing",
            )
            .hint("name it as on the board: `U9`"));
        }
        let mark = Some(self.mark.trim().to_owned()).filter(|mark| !mark.is_empty());
        match self.act.as_str() {
            "reseat" => Ok(Act::Reseat(names())),
            "resolder" => Ok(Act::Resolder(names())),
            "clean" => Ok(Act::Clean(names())),
            "pull" => Ok(Act::Pull { part, mark }),
            "swap" => {
                let (with, there) = exchanged_with(what)?;
                Ok(Act::Swap {
                    part,
                    with,
                    there,
                    old_mark: mark,
                })
            }
            "fit" => Ok(Act::Fit {
                part,
                what: Fitted::read(&self.what)?,
                old_mark: mark,
            }),
            other => Err(Error::new(
                ErrorKind::Usage,
                format!("expected an act, found `{other}`"),
            )
            .hint("one of reseat, resolder, clean, pull, fit, swap, mend")),
        }
    }
}

/// `mule`, `T-05`, `T-04 U17`, or the mark of a loose chip.
fn exchanged_with(what: &str) -> Result<(String, Option<String>), Error> {
    if what.is_empty() {
        return Err(Error::new(
            ErrorKind::Usage,
            "expected who it was exchanged with, found nothing",
        )
        .hint("a machine, `mule`, or the mark of a loose chip"));
    }
    let split = what
        .split_once(' ')
        .filter(|(tag, _)| tag.ends_with(|c: char| c.is_ascii_digit()) || *tag == "mule");
    Ok(match split {
        Some((tag, part)) => (tag.to_owned(), Some(part.trim().to_owned())),
        None => (what.to_owned(), None),
    })
}

impl LimitsForm {
    /// An empty box lifts the limit.
    pub(crate) fn limits(&self) -> Result<PlanLimits, Error> {
        let money = self.money.trim();
        let money = if money.is_empty() { "none" } else { money };
        Ok(PlanLimits {
            money: Some(money.to_owned()),
            evenings: Some(number(
                &self.evenings,
                "a number of evenings",
                "write `3` or `1.5`, or leave the box empty for no limit",
            )?),
            working: Some(number(
                &self.working,
                "a number of machines",
                "write `5`, or leave the box empty for any number",
            )?),
            ..PlanLimits::default()
        })
    }
}

/// A number of a limit; an empty box is 0.
fn number(typed: &str, what: &str, hint: &str) -> Result<f64, Error> {
    let text = typed.trim();
    if matches!(text, "" | "any" | "none") {
        return Ok(0.0);
    }
    let read = text.replace(',', ".").parse().ok();
    read.filter(|n: &f64| n.is_finite() && *n >= 0.0)
        .ok_or_else(|| {
            let message = format!("expected {what}, found `{text}`");
            Error::new(ErrorKind::Usage, message).hint(hint)
        })
}

impl SettleForm {
    /// `T-06 donor` or `without farside`; what is let go is named as it stands on the page.
    pub(crate) fn limits(&self) -> PlanLimits {
        let mut limits = PlanLimits::default();
        let typed = self.settle.trim();
        match typed.split_once(' ') {
            Some(("without", vendor)) => limits.without.push(vendor.trim().to_owned()),
            _ if typed.is_empty() => {}
            _ => limits.pins.push(typed.to_owned()),
        }
        let free = self.free.trim();
        match free.split_once(' ') {
            Some(("without", vendor)) => limits.with.push(vendor.trim().to_owned()),
            Some((tag, _)) => limits.free.push(tag.to_owned()),
            None if free.is_empty() => {}
            None => limits.free.push(free.to_owned()),
        }
        limits
    }
}

impl TakeInForm {
    pub(crate) fn fields(&self) -> take_in::Fields {
        let TakeInForm {
            line,
            exceptions,
            board,
            tags,
            ..
        } = self;
        take_in::Fields {
            line: line.clone(),
            exceptions: exceptions.clone(),
            board: board.clone(),
            tags: tags.clone(),
        }
    }

    pub(crate) fn request(&self) -> TakeIn {
        let given = |text: &str| Some(text.trim().to_owned()).filter(|text| !text.is_empty());
        TakeIn {
            line: self.line.trim().to_owned(),
            board: given(&self.board),
            exceptions: self.exceptions.lines().filter_map(given).collect(),
            tags: given(&self.tags),
            dry_run: self.look.is_some(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn back_stays_at_home() {
        let cases = [
            ("/", "/"),
            ("/machine/T-03?check=picture", "/machine/T-03?check=picture"),
            ("", "/"),
            ("//bench.example", "/"),
            ("/\\bench.example", "/"),
            ("https://bench.example", "/"),
            ("/a\r\nSet-Cookie: x", "/"),
            ("/\u{e9}", "/"),
        ];
        for (address, expect) in cases {
            assert_eq!(back(address), expect, "{address:?}");
        }
    }

    #[test]
    fn a_bare_value_is_of_the_check_in_hand() {
        assert_eq!(
            meanings(Some("dot-clock"), " 8.004M "),
            ["dot-clock 8.004M", "8.004M"]
        );
        assert_eq!(
            meanings(Some("dot-clock"), "+5v 4.98; picture black"),
            ["+5v 4.98; picture black"]
        );
        assert_eq!(meanings(None, "picture black"), ["picture black"]);
        assert_eq!(meanings(Some("dot-clock"), ""), [""]);
    }

    fn act(act: &str, part: &str, what: &str, mark: &str) -> Result<Act, String> {
        let [act, part, what, mark] = [act, part, what, mark].map(str::to_owned);
        ActForm {
            act,
            part,
            what,
            mark,
        }
        .act()
        .map_err(|error| error.message)
    }

    #[test]
    fn acts() {
        let fit = |what| {
            Ok(Act::Fit {
                part: "U9".into(),
                what,
                old_mark: None,
            })
        };
        assert_eq!(
            act("reseat", "U9, U12 video", "", ""),
            Ok(Act::Reseat(
                ["U9", "U12", "video"].map(String::from).to_vec()
            ))
        );
        assert_eq!(
            act("pull", " U9 ", "", "blue dot"),
            Ok(Act::Pull {
                part: "U9".into(),
                mark: Some("blue dot".into())
            })
        );
        assert_eq!(act("fit", "U9", "", ""), fit(Fitted::New { works: None }));
        assert_eq!(
            act("fit", "U9", "new", ""),
            fit(Fitted::New { works: None })
        );
        assert_eq!(
            act("fit", "U9", "0,9", ""),
            fit(Fitted::New { works: Some(0.9) })
        );
        assert_eq!(
            act("fit", "U9", "new 90 %", ""),
            fit(Fitted::New { works: Some(0.9) })
        );
        assert_eq!(
            act("fit", "U9", "blue dot", ""),
            fit(Fitted::Marked("blue dot".into()))
        );
        assert_eq!(
            act("fit", "U9", "1.2", ""),
            Err("expected a chance from 0 to 1, found `1.2`".into())
        );
        assert_eq!(
            act("fit", "U9", "NaN", ""),
            Err("expected a chance from 0 to 1, found `NaN`".into())
        );
        assert_eq!(
            act("melt", "U9", "", ""),
            Err("expected an act, found `melt`".into())
        );
        assert_eq!(
            act("pull", " ", "", ""),
            Err("expected a position or a block, found nothing".into())
        );
    }

    fn limits(money: &str, evenings: &str) -> Result<(String, f64), String> {
        let form = LimitsForm {
            money: money.into(),
            evenings: evenings.into(),
            ..LimitsForm::default()
        };
        form.limits()
            .map(|limits| {
                (
                    limits.money.unwrap_or_default(),
                    limits.evenings.unwrap_or_default(),
                )
            })
            .map_err(|e| e.message)
    }

    #[test]
    fn limits_of_the_plan() {
        assert_eq!(limits("120", "3"), Ok(("120".into(), 3.0)));
        assert_eq!(limits("", ""), Ok(("none".into(), 0.0)));
        assert_eq!(limits("80.00", "1,5"), Ok(("80.00".into(), 1.5)));
        for wrong in ["three", "-1", "inf", "NaN"] {
            assert_eq!(
                limits("", wrong),
                Err(format!("expected a number of evenings, found `{wrong}`"))
            );
        }
    }

    #[test]
    fn exceptions_are_a_line_each() {
        let form = TakeInForm {
            line: " 9 from Harbour Street, 270.00 ".into(),
            exceptions: "T-06 battery leaked\r\n\n T-09 U9 absent".into(),
            ..TakeInForm::default()
        };
        let request = form.request();
        assert_eq!(request.line, "9 from Harbour Street, 270.00");
        assert_eq!(
            request.exceptions,
            ["T-06 battery leaked", "T-09 U9 absent"]
        );
        assert_eq!(
            (request.board, request.tags, request.dry_run),
            (None, None, false)
        );
    }

    #[test]
    fn journal_lines() {
        assert_eq!(lines("12, 13"), Ok(vec![12, 13]));
        assert_eq!(lines(""), Ok(vec![]));
        assert!(lines("12,x").is_err());
    }
}
