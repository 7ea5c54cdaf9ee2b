//! HTTP and WebSocket: the daemon's outside face.
//!
//! Never decides anything: requests are parsed here and answered by the [`desk`].

mod ask;
pub mod desk;
mod guard;
mod live;
pub mod problem;
pub mod view;
mod words;

use axum::Router;
use axum::extract::{DefaultBodyLimit, State, WebSocketUpgrade};
use axum::http::{StatusCode, header};
use axum::middleware::from_fn_with_state;
use axum::response::{Html, IntoResponse};
use axum::routing::{get, post};
use problem::Problem;
use std::net::SocketAddr;
use std::sync::Arc;
use tokio::sync::{broadcast, watch};
use utoipa::OpenApi;

/// Largest request, in bytes.
const BODY: usize = 65_536;

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
    /// Turns true when the daemon stops.
    pub stop: watch::Receiver<bool>,
}

#[derive(OpenApi)]
#[openapi(
    info(title = "Tarebell", description = "Pours glaze by weight. Masses in grams."),
    components(schemas(
        view::Now,
        view::CueView,
        view::PourView,
        Problem,
        crate::batch::TargetRequest,
        crate::batch::TargetReply
    ))
)]
struct Description;

/// Every path of the contract that is built so far.
pub fn router(page: Page) -> Router {
    let page = Arc::new(page);
    Router::new()
        .route("/", get(front))
        .route(
            "/page.js",
            get(|| async { ([(header::CONTENT_TYPE, "text/javascript")], include_str!("assets/page.js")) }),
        )
        .route(
            "/page.css",
            get(|| async { ([(header::CONTENT_TYPE, "text/css")], include_str!("assets/page.css")) }),
        )
        .route("/api/now", get(ask::now))
        .route("/api/live", get(upgrade))
        .route("/api/scale", get(ask::scale))
        .route("/api/target", post(ask::reckon))
        .route("/api/batches", get(ask::batches).post(ask::create))
        .route("/api/batches/{id}", get(ask::batch))
        .route("/api/batches/{id}/begin", post(ask::begin))
        .route("/api/batches/{id}/end", post(ask::end))
        .route("/api/batches/{id}/pours", get(ask::pours))
        .route("/api/batches/{id}/pours.csv", get(ask::table))
        .route("/api/openapi.json", get(|| async { axum::Json(Description::openapi()) }))
        .fallback(|| async { Problem::new(StatusCode::NOT_FOUND, "no such path: see /api/openapi.json") })
        .method_not_allowed_fallback(|| async {
            Problem::new(StatusCode::METHOD_NOT_ALLOWED, "this path does not take this method")
        })
        .layer(DefaultBodyLimit::max(BODY))
        .layer(from_fn_with_state(page.clone(), guard::guard))
        .with_state(page)
}

/// Serves until told to stop.
pub async fn serve(listener: tokio::net::TcpListener, page: Page) -> std::io::Result<()> {
    let mut stop = page.stop.clone();
    axum::serve(listener, router(page))
        .with_graceful_shutdown(async move {
            // An error means that the daemon is gone: the same.
            let _ = stop.wait_for(|stop| *stop).await;
        })
        .await
}

async fn upgrade(State(page): State<Arc<Page>>, upgrade: WebSocketUpgrade) -> impl IntoResponse {
    upgrade.max_message_size(BODY).on_upgrade(move |socket| live::live(socket, page))
}

async fn front() -> Html<String> {
    Html(
        include_str!("assets/page.html")
            .replace("{title}", words::TITLE)
            .replace("{no-script}", words::NO_SCRIPT),
    )
}
