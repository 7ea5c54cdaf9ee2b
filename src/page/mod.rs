//! HTTP and WebSocket: the daemon's outside face.
//!
//! Never decides anything: requests are parsed here and answered by the [`desk`].

mod ask;
mod assets;
mod calibrations;
pub mod desk;
mod guard;
mod history;
mod intake;
mod jug;
mod live;
mod paths;
mod plan;
pub mod problem;
mod record;
mod refill;
mod report;
mod review;
mod routine;
mod said;
mod shelf;
mod shelf_text;
mod shown;
pub mod table;
mod take;
pub(crate) mod told;
pub mod view;
mod weighed;
pub(crate) mod words;

use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::http::StatusCode;
use axum::middleware::from_fn_with_state;
use axum::serve::ListenerExt as _;
use problem::Problem;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::sync::{broadcast, watch};

/// Largest request, in bytes.
const BODY: usize = 65_536;
/// Largest table that is brought in, in bytes: some 50,000 lines.
const TABLE: usize = 4_000_000;
/// Largest file of shelves that is taken in, in bytes: some 10,000 versions of 400 bytes each, a new one every day for
/// decades.
const SHELVES: usize = 4 << 20;

/// Most bytes of a request to this path.
fn most(path: &str) -> usize {
    match path {
        "/api/shelves/import" => SHELVES,
        path if path.starts_with("/api/history/") => TABLE,
        _ => BODY,
    }
}

/// What the page is built from.
#[derive(Clone)]
pub struct Page {
    /// Latest snapshot.
    pub now: watch::Receiver<Arc<view::Now>>,
    /// Cues and pours.
    pub events: broadcast::Sender<view::Event>,
    /// Who answers.
    pub desk: Arc<dyn desk::Desk>,
    /// Microseconds since the daemon started.
    pub clock: Arc<dyn Fn() -> u64 + Send + Sync>,
    /// The address it is bound to.
    pub bound: SocketAddr,
    /// Units in which weights and lengths are shown.
    pub shown: crate::units::shown::Shown,
    /// Turns true when the daemon stops.
    pub stop: watch::Receiver<bool>,
}

/// Every path of the contract that is built so far.
pub fn router(page: Page) -> Router {
    let page = Arc::new(page);
    let (paths, _) = paths::paths().split_for_parts();
    paths
        .fallback(|| async { Problem::new(StatusCode::NOT_FOUND, "no such path: see /api/openapi.json") })
        .method_not_allowed_fallback(|| async {
            Problem::new(
                StatusCode::METHOD_NOT_ALLOWED,
                "this path does not take this method: see the header Allow",
            )
        })
        .layer(DefaultBodyLimit::max(BODY))
        .layer(from_fn_with_state(page.clone(), shown::reply))
        .layer(from_fn_with_state(page.clone(), guard::guard))
        .with_state(page)
}

/// Serves until told to stop.
pub async fn serve(listener: tokio::net::TcpListener, page: Page) -> std::io::Result<()> {
    let mut stop = page.stop.clone();
    // A cue that follows a snapshot must not wait until the client has acknowledged that (up to 40 ms).
    let at_once = listener.tap_io(|stream| {
        if let Err(error) = stream.set_nodelay(true) {
            tracing::debug!(%error, "a client's messages may wait for one another");
        }
    });
    axum::serve(at_once, router(page))
        .with_graceful_shutdown(async move {
            // An error means that the daemon is gone: the same.
            let _ = stop.wait_for(|stop| *stop).await;
        })
        .await
}
