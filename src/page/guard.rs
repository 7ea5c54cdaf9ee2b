//! Who may ask: the bound address or a loopback name as Host, no foreign Origin, JSON only.

use super::Page;
use super::problem::Problem;
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::net::SocketAddr;
use std::sync::Arc;

const CSP: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src 'self' data:; \
                   base-uri 'none'; form-action 'none'; frame-ancestors 'none'; \
                   require-trusted-types-for 'script'; trusted-types lit-html";

/// Is this `host:port` one of ours?
fn ours(authority: &str, bound: SocketAddr) -> bool {
    let port = bound.port();
    let names = ["localhost", "127.0.0.1", "[::1]"];
    authority == bound.to_string()
        || names.iter().any(|name| authority.eq_ignore_ascii_case(&format!("{name}:{port}")))
}

fn text<'a>(headers: &'a HeaderMap, name: &HeaderName) -> Option<&'a str> {
    headers.get(name).and_then(|v| v.to_str().ok())
}

fn check(request: &Request, bound: SocketAddr) -> Result<(), Problem> {
    let headers = request.headers();
    let host = text(headers, &header::HOST).unwrap_or("");
    if !ours(host, bound) {
        let why = format!("the host '{host}' is not this daemon: use http://{bound}");
        return Err(Problem::new(StatusCode::MISDIRECTED_REQUEST, why));
    }
    let upgrade = headers.contains_key(header::UPGRADE);
    if (request.method() == Method::POST || upgrade)
        && let Some(origin) = headers.get(header::ORIGIN)
    {
        let origin = origin.to_str().unwrap_or("");
        if !origin.strip_prefix("http://").is_some_and(|rest| ours(rest, bound)) {
            let why = format!("pages of '{origin}' may not ask this: open http://{bound}");
            return Err(Problem::new(StatusCode::FORBIDDEN, why));
        }
    }
    let length = text(headers, &header::CONTENT_LENGTH).and_then(|l| l.parse::<u64>().ok()).unwrap_or(0);
    let most = super::most(request.uri().path());
    if length > most as u64 {
        return Err(super::take::too_large(most));
    }
    let has_body = length > 0 || headers.contains_key(header::TRANSFER_ENCODING);
    let kind = text(headers, &header::CONTENT_TYPE).unwrap_or("");
    let json = kind.split(';').next().is_some_and(|k| k.trim().eq_ignore_ascii_case("application/json"));
    if request.method() == Method::POST && (has_body || !kind.is_empty()) && !json {
        let why = "send JSON with the header Content-Type: application/json";
        return Err(Problem::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, why));
    }
    Ok(())
}

/// Checks every request and dresses every reply.
pub(super) async fn guard(State(page): State<Arc<Page>>, request: Request, next: Next) -> Response {
    let options = request.method() == Method::OPTIONS;
    let mut response = match check(&request, page.bound) {
        Ok(()) => next.run(request).await,
        Err(problem) => problem.into_response(),
    };
    if options && response.status() == StatusCode::METHOD_NOT_ALLOWED {
        // The router adds Allow: what the path takes. Nothing here lets a foreign page in.
        response = StatusCode::NO_CONTENT.into_response();
    }
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, CSP),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::CACHE_CONTROL, "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}
