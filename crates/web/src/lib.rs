//! The pages: axum and maud over the use cases of `workshop`.
//!
//! Every page is rendered on the server and works without a script; the one embedded script only makes
//! the same forms quicker. [`pages`] turns views into markup and knows nothing of HTTP, [`app`] joins them
//! to a workshop, [`serve`] runs that on a listener which the caller has bound.

mod api;
mod assets;
mod desk;
mod forms;
mod guard;
pub mod pages;
mod parts;
mod plot;
mod price_plot;
mod routes;
mod said;
#[cfg(test)]
mod sample;
mod state;
mod svg;

pub use assets::assets;
pub use routes::app;
pub use state::AppState;

use std::{future::Future, io, sync::Arc};

use tokio::net::TcpListener;
use workshop::Workshop;

/// Serves the pages of this workshop until `shutdown` is done; requests under way are finished first.
///
/// # Errors
/// When the listener has no local address or the server cannot accept connections.
pub async fn serve(
    workshop: Arc<Workshop>,
    listener: TcpListener,
    shutdown: impl Future<Output = ()> + Send + 'static,
) -> io::Result<()> {
    let bound = listener.local_addr()?.ip();
    let state = AppState::new(workshop, bound);
    let app = app(state.clone());
    let shutdown = async move {
        shutdown.await;
        // ends what goes on only while it is quiet
        state.ask();
    };
    axum::serve(listener, app)
        .with_graceful_shutdown(shutdown)
        .await
}
