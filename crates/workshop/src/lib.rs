//! The use cases: one function for each thing a person does.
//!
//! [`Workshop`] opens a folder and answers in [`views`]: sentences and figures, ready to be shown. Command line and pages
//! call the same methods.

mod acts;
mod bench;
mod board_file;
mod board_page;
mod building;
mod card;
mod change;
mod charges;
mod compare;
mod contradiction;
mod doubt;
mod drawer;
mod economy;
mod entry;
mod error;
mod evidence;
mod exact;
mod explain;
mod findings;
mod folder;
mod handling;
mod intake;
mod item_names;
mod lead;
mod ledger;
mod names;
mod nets;
mod offer;
mod offers;
mod own_board;
mod own_profiles;
mod parts_list;
mod pile;
mod pins;
mod plan;
mod plan_changes;
mod plan_spares;
mod plan_view;
mod reach;
mod receive;
mod reckon;
mod rehearse;
mod repeats;
mod requests;
mod rounds;
mod rows;
mod say;
pub mod schema;
mod script;
mod settings;
mod shelving;
mod situation;
mod stock;
mod strip;
mod supposing;
mod swap;
mod take_in;
mod told;
mod tries;
mod turning;
mod undo;
pub mod views;
mod what_if;
mod wish;
mod words;
mod workshop;

pub use board_file::{BoardChecked, BoardProblem, BoardSmell, check_board};
pub use board_page::BoardView;
pub use compare::{Compared, Revision};
pub use error::{Error, ErrorKind};
pub use jiff::ZonedDateTime;
pub use nets::NetsRead;
pub use offers::OffersIn;
pub use own_profiles::{BoardAnswer, BoardQuestion, BoardWritten, NewBoard, board_questions};
pub use parts_list::{PartsRead, ReadParts};
pub use receive::Receive;
pub use rehearse::{Played, Rehearse};
pub use requests::{
    Act, Clock, Fitted, OpenOptions, PlanLimits, Power, Shelf, TakeIn, default_dir,
};
pub use stock::StockChange;
pub use strip::Strip;
pub use workshop::Workshop;
