//! Lists that people already have: parts lists as tables or pasted text, read whole or refused with the line.
//!
//! [`parse_parts_list`] understands the list, [`add_parts`] writes it into the text of a profile. Nothing is taken of a
//! list that has a problem.

mod columns;
mod decode;
mod naming;
mod parts;
mod references;
mod table;
mod take;
mod words;

pub use columns::{Column, Meaning};
pub use decode::{Encoding, ListText, decode_list};
pub(crate) use naming::letters_of;
pub use naming::{Guess, How};
pub use parts::{Layout, LeftOut, ListedPart, PartsList, parse_parts_list, print_parts_list};
pub(crate) use references::is_reference;
pub use references::{print_references, references};
pub use table::Separator;
pub use take::{Addition, Choices, Different, TakenPart, add_parts};
