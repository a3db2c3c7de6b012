//! Licence expressions as SPDX writes them (specification 2.3, annex D): `AND`, `OR`, `WITH` and parentheses.

/// A licence expression.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Expression {
    /// One licence, perhaps with an exception.
    Licence {
        id: String,
        exception: Option<String>,
    },
    /// All of these hold.
    All(Vec<Expression>),
    /// Any one of these may be chosen.
    Any(Vec<Expression>),
}

/// Reads an expression; the `/` of old manifests is read as `OR`, as cargo's reference says.
///
/// # Errors
/// What was expected and what stands there instead.
pub(crate) fn parse(text: &str) -> Result<Expression, String> {
    let spaced = text
        .replace('(', " ( ")
        .replace(')', " ) ")
        .replace('/', " OR ");
    let mut words = Words {
        words: spaced.split_whitespace().collect(),
        next: 0,
    };
    let expression = words.any()?;
    match words.peek() {
        None => Ok(expression),
        Some(word) => Err(format!("expected the end, found `{word}`")),
    }
}

impl Expression {
    /// Whether the expression can be met with licences that are allowed, each given with its exception.
    pub(crate) fn is_met(&self, allowed: &impl Fn(&str, Option<&str>) -> bool) -> bool {
        match self {
            Expression::Licence { id, exception } => allowed(id, exception.as_deref()),
            Expression::All(parts) => parts.iter().all(|part| part.is_met(allowed)),
            Expression::Any(parts) => parts.iter().any(|part| part.is_met(allowed)),
        }
    }
}

struct Words<'a> {
    words: Vec<&'a str>,
    next: usize,
}

impl<'a> Words<'a> {
    fn peek(&self) -> Option<&'a str> {
        self.words.get(self.next).copied()
    }

    fn take(&mut self, operator: &str) -> bool {
        let there = self
            .peek()
            .is_some_and(|word| word.eq_ignore_ascii_case(operator));
        self.next += usize::from(there);
        there
    }

    fn any(&mut self) -> Result<Expression, String> {
        self.joined("OR", Self::all, Expression::Any)
    }

    fn all(&mut self) -> Result<Expression, String> {
        self.joined("AND", Self::one, Expression::All)
    }

    fn joined(
        &mut self,
        operator: &str,
        part: fn(&mut Self) -> Result<Expression, String>,
        join: fn(Vec<Expression>) -> Expression,
    ) -> Result<Expression, String> {
        let first = part(self)?;
        let mut parts = vec![first];
        while self.take(operator) {
            parts.push(part(self)?);
        }
        Ok(match parts.len() {
            1 => parts.remove(0),
            _ => join(parts),
        })
    }

    fn one(&mut self) -> Result<Expression, String> {
        if self.take("(") {
            let inside = self.any()?;
            return match self.take(")") {
                true => Ok(inside),
                false => Err(format!("expected `)`, found {}", self.found())),
            };
        }
        let id = self.id("a licence")?;
        let exception = match self.take("WITH") {
            true => Some(self.id("an exception")?),
            false => None,
        };
        Ok(Expression::Licence { id, exception })
    }

    fn id(&mut self, what: &str) -> Result<String, String> {
        let is_id = |word: &str| {
            let operator = ["AND", "OR", "WITH"]
                .iter()
                .any(|name| word.eq_ignore_ascii_case(name));
            !operator
                && word
                    .chars()
                    .all(|c| c.is_ascii_alphanumeric() || "-.+:".contains(c))
        };
        match self.peek().filter(|word| is_id(word)) {
            Some(word) => {
                self.next += 1;
                Ok(word.to_owned())
            }
            None => Err(format!("expected {what}, found {}", self.found())),
        }
    }

    fn found(&self) -> String {
        self.peek()
            .map_or("the end".to_owned(), |word| format!("`{word}`"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Writes the tree with all its parentheses.
    fn shown(expression: &Expression) -> String {
        let joined = |parts: &[Expression], operator: &str| {
            format!(
                "({})",
                parts.iter().map(shown).collect::<Vec<_>>().join(operator)
            )
        };
        match expression {
            Expression::Licence {
                id,
                exception: None,
            } => id.clone(),
            Expression::Licence {
                id,
                exception: Some(exception),
            } => format!("{id}~{exception}"),
            Expression::All(parts) => joined(parts, " & "),
            Expression::Any(parts) => joined(parts, " | "),
        }
    }

    fn check(text: &str, expect: &str) {
        assert_eq!(shown(&parse(text).unwrap()), expect, "{text}");
    }

    fn check_error(text: &str, expect: &str) {
        assert_eq!(parse(text).unwrap_err(), expect, "{text}");
    }

    #[test]
    fn trees() {
        check("MIT", "MIT");
        check("MIT OR Apache-2.0", "(MIT | Apache-2.0)");
        check("MIT/Apache-2.0", "(MIT | Apache-2.0)");
        check(
            "(MIT OR Apache-2.0) AND Unicode-3.0",
            "((MIT | Apache-2.0) & Unicode-3.0)",
        );
        check(
            "MIT OR Apache-2.0 AND Unicode-3.0",
            "(MIT | (Apache-2.0 & Unicode-3.0))",
        );
        check("MIT AND Zlib OR ISC", "((MIT & Zlib) | ISC)");
        check(
            "Apache-2.0 WITH LLVM-exception OR Apache-2.0 OR MIT",
            "(Apache-2.0~LLVM-exception | Apache-2.0 | MIT)",
        );
        check("((MIT))", "MIT");
        check("mit or isc", "(mit | isc)");
        check("GPL-2.0+", "GPL-2.0+");
        check("LicenseRef-own", "LicenseRef-own");
    }

    #[test]
    fn mistakes() {
        check_error("", "expected a licence, found the end");
        check_error("MIT OR", "expected a licence, found the end");
        check_error("OR MIT", "expected a licence, found `OR`");
        check_error("(MIT", "expected `)`, found the end");
        check_error("MIT)", "expected the end, found `)`");
        check_error("MIT Apache-2.0", "expected the end, found `Apache-2.0`");
        check_error("MIT WITH", "expected an exception, found the end");
        check_error("MIT WITH (x)", "expected an exception, found `(`");
        check_error("see `LICENSE`", "expected the end, found ``LICENSE``");
        check_error("MIT AND AND ISC", "expected a licence, found `AND`");
    }

    #[test]
    fn choices() {
        let met = |text: &str| {
            parse(text).unwrap().is_met(&|id, exception| {
                id == "MIT" || (id, exception) == ("Apache-2.0", Some("LLVM-exception"))
            })
        };
        for yes in [
            "MIT",
            "GPL-3.0-only OR MIT",
            "MIT AND (ISC OR MIT)",
            "Apache-2.0 WITH LLVM-exception",
            "MIT AND Apache-2.0 WITH LLVM-exception",
        ] {
            assert!(met(yes), "{yes}");
        }
        for no in [
            "GPL-3.0-only",
            "MIT AND GPL-3.0-only",
            "Apache-2.0",
            "MIT-0",
            "ISC OR (MIT AND ISC)",
        ] {
            assert!(!met(no), "{no}");
        }
    }
}
