//! Every path, once: the same list routes the requests and describes them.
//!
//! A path is added here with `routes!` only, so that it can't go undescribed.

use super::problem::{Problem, Refusals};
use super::told::Json;
use super::{
    Page, SHELVES, TABLE, ask, assets, calibrations, history, jug, live, record, refill, report, review,
    routine, shelf, shown, view, weighed,
};
use axum::extract::rejection::PathRejection;
use axum::extract::ws::rejection::WebSocketUpgradeRejection;
use axum::extract::{DefaultBodyLimit, Path, RawQuery, State, WebSocketUpgrade};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use std::sync::Arc;
use utoipa::OpenApi as Describe;
use utoipa::openapi::OpenApi;
use utoipa_axum::router::{OpenApiRouter, UtoipaMethodRouterExt};
use utoipa_axum::routes;

#[derive(Describe)]
#[openapi(
    info(
        title = "Tarebell",
        description = "Pours glaze by weight. Masses in grams; times in ms or us as the name says. \
                       Clients leave fields they don't know aside: more may be added. Requests with unknown \
                       fields are refused. Errors are problem details (RFC 9457). Host has to be the bound \
                       address or a loopback name; POST takes application/json, at most 65536 bytes (tables and \
                       shelves 4 MB). Weights and sizes may be text with a unit, such as 1.02 oz; with the header \
                       Shown replies hold them in the units of the settings too.",
        license(name = "MIT", identifier = "MIT")
    ),
    // Only live messages hold these two.
    components(schemas(view::CueView, Problem))
)]
struct Head;

/// Routes and their description.
pub(super) fn paths() -> OpenApiRouter<Arc<Page>> {
    looking_back(calibrating(OpenApiRouter::with_openapi(Head::openapi())))
        .routes(routes!(front))
        .routes(routes!(script))
        .routes(routes!(style))
        .routes(routes!(part))
        .routes(routes!(ask::now))
        .routes(routes!(upgrade))
        .routes(routes!(ask::scale))
        .routes(routes!(ask::spare))
        .routes(routes!(jug::jug))
        .routes(routes!(ask::test_scale))
        .routes(routes!(weighed::weigh))
        .routes(routes!(ask::reckon))
        .routes(routes!(ask::batches, ask::create))
        .routes(routes!(ask::batch))
        .routes(routes!(ask::begin))
        .routes(routes!(ask::end))
        .routes(routes!(ask::still_on))
        .routes(routes!(ask::pours))
        .routes(routes!(ask::table))
        .routes(routes!(ask::curve))
        .routes(routes!(ask::trace))
        .routes(routes!(ask::void))
        .routes(routes!(ask::redo))
        .routes(routes!(ask::skip))
        .routes(routes!(shelf::shelves, shelf::put))
        .routes(routes!(shelf::text))
        .routes(routes!(shelf::history))
        .routes(routes!(shelf::import).layer(DefaultBodyLimit::max(SHELVES)))
        .routes(routes!(shelf::bucket))
        .routes(routes!(refill::refill))
        .routes(routes!(description))
}

/// How far off the scale is.
fn calibrating(router: OpenApiRouter<Arc<Page>>) -> OpenApiRouter<Arc<Page>> {
    router
        .routes(routes!(calibrations::all, calibrations::make))
        .routes(routes!(calibrations::one))
        .routes(routes!(calibrations::go_by))
        .routes(routes!(calibrations::masses, calibrations::keep_masses))
        .routes(routes!(calibrations::checks))
        .routes(routes!(record::record))
        .routes(routes!(record::plot))
        .routes(routes!(record::checks))
        .routes(routes!(routine::calibrate))
        .routes(routes!(routine::room))
        .routes(routes!(routine::check))
}

/// What was poured before.
fn looking_back(router: OpenApiRouter<Arc<Page>>) -> OpenApiRouter<Arc<Page>> {
    router
        .routes(routes!(review::values))
        .routes(routes!(review::batch))
        .routes(routes!(review::plot))
        .routes(routes!(report::report))
        .routes(routes!(history::find))
        .routes(routes!(history::table))
        .routes(routes!(history::whole))
        .routes(routes!(history::label))
        .routes(routes!(history::trend))
        .routes(routes!(history::trend_plot))
        .routes(routes!(history::by_pourer))
        .routes(routes!(review::kept_rules, review::keep_rules))
        .routes(routes!(history::forget))
        .routes(routes!(history::look_at).layer(DefaultBodyLimit::max(TABLE)))
        .routes(routes!(history::import).layer(DefaultBodyLimit::max(TABLE)))
        .routes(routes!(history::backups, history::backup))
        .routes(routes!(history::backup_file))
        .routes(routes!(history::restore))
}

/// The page for a browser.
#[utoipa::path(get, path = "/", responses((status = 200, content_type = "text/html", body = String), Refusals))]
async fn front() -> Html<String> {
    Html(assets::front())
}

/// The page's script.
#[utoipa::path(get, path = "/page.js", responses((status = 200, content_type = "text/javascript", body = String), Refusals))]
async fn script(State(page): State<Arc<Page>>) -> Response {
    asset("page.js", &page)
}

/// The page's style.
#[utoipa::path(get, path = "/page.css", responses((status = 200, content_type = "text/css", body = String), Refusals))]
async fn style(State(page): State<Arc<Page>>) -> Response {
    asset("page.css", &page)
}

/// The parts that the page's script and style are made of.
#[utoipa::path(get, path = "/assets/{file}", params(("file" = String, Path, description = "Name of the file")), responses(
    (status = 200, description = "A script or a style", content_type = "text/javascript", body = String), Refusals
))]
async fn part(State(page): State<Arc<Page>>, name: Result<Path<String>, PathRejection>) -> Response {
    asset(name.as_ref().map_or("", |Path(name)| name), &page)
}

fn asset(name: &str, page: &Page) -> Response {
    match assets::find(name, page.shown) {
        Some((kind, text)) => ([(header::CONTENT_TYPE, kind)], text).into_response(),
        None => Problem::new(StatusCode::NOT_FOUND, "the page has no such part: open /").into_response(),
    }
}

/// This description.
#[utoipa::path(get, path = "/api/openapi.json", responses(
    (status = 200, description = "An OpenAPI document", content_type = "application/json"), Refusals
))]
async fn description() -> Json<OpenApi> {
    Json(paths().into_openapi())
}

/// The live stream, a WebSocket (RFC 6455) of JSON text messages.
///
/// Every message has `kind` and `seq`, one number that rises with each message of the connection.
/// `now`: the fields of `Now`, at the rate of the readings; the latest wins.
/// `cue`: the fields of `CueView`, each cue once, before any `now` that shows it.
/// `pour`: the fields of `PourView`, only after the record is on disk; the whole record again for each `rev`.
/// A client may send `{ "kind": "ping", "id": anything }`; the answer, without `seq`, is
/// `{ "kind": "pong", "id": the same, "at_us": microseconds since the daemon started }`.
/// It may report its loudspeaker with `{ "kind": "sound", "on": true, "latency_us": 20000 }`,
/// at most 250 000; it then answers the pings of the protocol, or counts no longer after 2 s.
/// With `?shown` each object that tells weights has beside them a member `shown` in the units of the settings.
/// Close code 1001: the daemon stops. 1011: too far behind, or nothing was read or answered for 2 s: connect again.
#[utoipa::path(get, path = "/api/live", responses(
    (status = 101, description = "The connection becomes a WebSocket"),
    (status = 426, description = "Not a request for a WebSocket", body = Problem, content_type = "application/problem+json"),
    Refusals
))]
async fn upgrade(
    State(page): State<Arc<Page>>,
    RawQuery(asked): RawQuery,
    upgrade: Result<WebSocketUpgrade, WebSocketUpgradeRejection>,
) -> Response {
    let shown = (asked.as_deref() == Some(shown::HEADER)).then_some(page.shown);
    match upgrade {
        Ok(upgrade) => {
            upgrade.max_message_size(super::BODY).on_upgrade(move |socket| live::live(socket, page, shown))
        }
        Err(rejection) => no_websocket(&rejection),
    }
}

fn no_websocket(rejection: &WebSocketUpgradeRejection) -> Response {
    let asked = rejection.body_text();
    let why =
        format!("not a request for a WebSocket ({asked}): open ws:// and this path with a WebSocket client");
    // Without the upgrade it is no bad request but the wrong protocol; RFC 9110 section 15.5.22 wants it named.
    let wrong_protocol = matches!(
        rejection,
        WebSocketUpgradeRejection::InvalidConnectionHeader(_)
            | WebSocketUpgradeRejection::InvalidUpgradeHeader(_)
            | WebSocketUpgradeRejection::InvalidWebSocketVersionHeader(_)
            | WebSocketUpgradeRejection::ConnectionNotUpgradable(_)
    );
    if !wrong_protocol {
        return Problem::new(rejection.status(), why).into_response();
    }
    let headers = [(header::UPGRADE, "websocket"), (header::SEC_WEBSOCKET_VERSION, "13")];
    (headers, Problem::new(StatusCode::UPGRADE_REQUIRED, why)).into_response()
}
