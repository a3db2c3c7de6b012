//! What every handler can reach.

use std::{net::IpAddr, sync::Arc};

use workshop::Workshop;

use crate::said::Sayings;

/// The workshop, the address it is served on, and what was said to whoever wrote last.
#[derive(Debug, Clone)]
pub struct AppState {
    pub(crate) workshop: Arc<Workshop>,
    pub(crate) bound: IpAddr,
    pub(crate) sayings: Arc<Sayings>,
}

impl AppState {
    /// The state of a server bound to this address.
    #[must_use]
    pub fn new(workshop: Arc<Workshop>, bound: IpAddr) -> AppState {
        AppState {
            workshop,
            bound,
            sayings: Arc::default(),
        }
    }
}
