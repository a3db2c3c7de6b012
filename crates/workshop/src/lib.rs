//! The use cases: one function for each thing a person does.
//!
//! [`Workshop`] opens a folder and answers in [`views`]: sentences and figures, ready to be shown. Command line and pages
//! call the same methods.

mod acts;
mod bench;
mod board_file;
mod card;
mod change;
mod contradiction;
mod doubt;
mod economy;
mod entry;
mod error;
mod evidence;
mod findings;
mod folder;
mod intake;
mod lead;
mod ledger;
mod names;
mod offer;
mod own_profiles;
mod pile;
mod plan;
mod plan_view;
mod reach;
mod reckon;
mod rehearse;
mod repeats;
mod requests;
mod rounds;
mod rows;
mod say;
mod script;
mod settings;
mod shelving;
mod situation;
mod supposing;
mod swap;
mod take_in;
mod undo;
pub mod views;
mod what_if;
mod words;
mod workshop;

pub use board_file::{BoardChecked, BoardProblem, check_board};
pub use error::{Error, ErrorKind};
pub use jiff::ZonedDateTime;
pub use own_profiles::{BoardAnswer, BoardQuestion, BoardWritten, NewBoard, board_questions};
pub use rehearse::{Played, Rehearse};
pub use requests::{
    Act, Clock, Fitted, OpenOptions, PlanLimits, Power, Shelf, TakeIn, default_dir,
};
pub use workshop::Workshop;
