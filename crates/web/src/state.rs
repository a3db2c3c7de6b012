//! What every handler can reach.

use std::{
    net::IpAddr,
    sync::{
        Arc,
        atomic::{AtomicU64, Ordering},
    },
};

use workshop::Workshop;

use crate::said::Sayings;

/// The workshop, the address it is served on, and what was said to whoever wrote last.
#[derive(Debug, Clone)]
pub struct AppState {
    pub(crate) workshop: Arc<Workshop>,
    pub(crate) bound: IpAddr,
    pub(crate) sayings: Arc<Sayings>,
    /// How often the workshop was asked for something.
    asked: Arc<AtomicU64>,
}

impl AppState {
    /// The state of a server bound to this address.
    #[must_use]
    pub fn new(workshop: Arc<Workshop>, bound: IpAddr) -> AppState {
        AppState {
            workshop,
            bound,
            sayings: Arc::default(),
            asked: Arc::default(),
        }
    }

    /// The workshop is asked for something now.
    pub(crate) fn ask(&self) {
        self.asked.fetch_add(1, Ordering::Relaxed);
    }

    /// Whether the workshop was asked for nothing since.
    pub(crate) fn quiet(&self) -> impl Fn() -> bool + Send + Sync + use<> {
        let asked = Arc::clone(&self.asked);
        let now = asked.load(Ordering::Relaxed);
        move || asked.load(Ordering::Relaxed) == now
    }
}
