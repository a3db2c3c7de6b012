//! The catalogue: what is known of devices, remedies and the trade, built in or from a folder.

use std::sync::OnceLock;

use crate::problem::Problem;
use crate::rules::{InstrumentRule, read_instruments};

const INSTRUMENTS: &str = include_str!("../../../catalogue/rules/instruments.toml");

/// The catalogue.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Library {
    instruments: Vec<InstrumentRule>,
}

impl Library {
    /// The catalogue that comes with the program.
    #[must_use]
    pub fn built_in() -> &'static Library {
        static BUILT_IN: OnceLock<Library> = OnceLock::new();
        BUILT_IN.get_or_init(|| {
            let read = read_built_in();
            debug_assert_eq!(
                read.as_ref().err(),
                None,
                "the built-in catalogue is read by a test"
            );
            read.unwrap_or_default()
        })
    }

    /// How far a check with these set-ups can be trusted.
    #[must_use]
    pub fn instrument(&self, set_up: &[String]) -> Option<&InstrumentRule> {
        let used = self
            .instruments
            .iter()
            .find(|rule| set_up.contains(&rule.set_up));
        used.or_else(|| self.instruments.iter().find(|rule| rule.set_up == "eye"))
    }
}

fn read_built_in() -> Result<Library, Vec<Problem>> {
    Ok(Library {
        instruments: read_instruments(INSTRUMENTS, "rules/instruments.toml")?,
    })
}
