//! What arrives with a request: the id in its path and its JSON body.
//!
//! Whatever does not fit is a problem, never a plain text of the router's.

use super::problem::Problem;
use axum::body::Bytes;
use axum::extract::rejection::BytesRejection;
use axum::extract::{FromRequest, FromRequestParts, Path, Request};
use axum::http::StatusCode;
use axum::http::request::Parts;
use serde_json::{Map, Value};

/// The `{id}` of a path.
pub(super) struct Id(pub(super) String);

impl<S: Send + Sync> FromRequestParts<S> for Id {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let id = Path::<String>::from_request_parts(parts, state).await;
        // The router found the path, so only the id itself can be wrong: it is no text.
        id.map(|Path(id)| Self(id)).map_err(|_| Problem {
            field: Some("id".to_owned()),
            ..Problem::new(
                StatusCode::BAD_REQUEST,
                "the id in the path is not text (UTF-8): GET /api/batches lists the ids",
            )
        })
    }
}

/// A JSON object as body.
pub(super) struct Object(pub(super) Map<String, Value>);

impl<S: Send + Sync> FromRequest<S> for Object {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        object(&bytes(request, state).await?).map(Self)
    }
}

/// No body, or an empty JSON object.
pub(super) struct Nothing;

impl<S: Send + Sync> FromRequest<S> for Nothing {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let body = bytes(request, state).await?;
        let object = if body.is_empty() { Map::new() } else { object(&body)? };
        match object.keys().next() {
            None => Ok(Self),
            Some(key) => Err(Problem::field(key, "unknown field: this request takes none, leave it out")),
        }
    }
}

async fn bytes<S: Send + Sync>(request: Request, state: &S) -> Result<Bytes, Problem> {
    Bytes::from_request(request, state).await.map_err(|rejection: BytesRejection| {
        if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE {
            too_large()
        } else {
            let why = format!("the body can't be read: {}; send it again", rejection.body_text());
            Problem::new(rejection.status(), why)
        }
    })
}

/// The body is over the limit.
pub(super) fn too_large() -> Problem {
    let why = format!("a request has at most {} bytes: leave out what is not needed", super::BODY);
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, why)
}

fn object(body: &Bytes) -> Result<Map<String, Value>, Problem> {
    match serde_json::from_slice(body) {
        Ok(Value::Object(object)) => Ok(object),
        Ok(_) => Err(Problem::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "expected a JSON object: put the fields between { and }",
        )),
        Err(error) => Err(Problem::new(StatusCode::BAD_REQUEST, format!("the body is not JSON: {error}"))),
    }
}
