//! An answer told in sections of ledger lines, for what is read more than worked with.

use serde::Serialize;

/// An answer in sections.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Told {
    /// The heading: the answer.
    pub heading: String,
    /// Sentences under it.
    pub summary: Vec<String>,
    /// Sections, none of them empty.
    pub sections: Vec<Section>,
}

/// Lines that belong together.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct Section {
    /// What they are about.
    pub title: String,
    /// The lines.
    pub lines: Vec<ToldLine>,
}

/// One line: a figure or name, and a sentence.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub struct ToldLine {
    /// The figure or name; may be empty.
    pub figure: String,
    /// The sentence.
    pub sentence: String,
    /// What stands small under it.
    pub under: Option<String>,
}

impl Told {
    /// An answer with nothing but its heading.
    pub(crate) fn new(heading: impl Into<String>) -> Told {
        Told {
            heading: heading.into(),
            ..Told::default()
        }
    }

    /// Adds a sentence under the heading.
    pub(crate) fn say(&mut self, sentence: impl Into<String>) {
        self.summary.push(sentence.into());
    }

    /// Adds a section, if it has lines.
    pub(crate) fn section(&mut self, title: impl Into<String>, lines: Vec<ToldLine>) {
        if !lines.is_empty() {
            self.sections.push(Section {
                title: title.into(),
                lines,
            });
        }
    }
}

impl ToldLine {
    /// A figure and its sentence.
    pub(crate) fn new(figure: impl Into<String>, sentence: impl Into<String>) -> ToldLine {
        ToldLine {
            figure: figure.into(),
            sentence: sentence.into(),
            under: None,
        }
    }

    /// With a line under it, if it says anything.
    pub(crate) fn under(mut self, under: impl Into<String>) -> ToldLine {
        self.under = Some(under.into()).filter(|under| !under.is_empty());
        self
    }
}
