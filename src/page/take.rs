//! What arrives with a request: the id in its path and its JSON body.
//!
//! Whatever does not fit is a problem, never a plain text of the router's.

use super::problem::Problem;
use super::shown;
use crate::batch::unique;
use crate::record::Shelf;
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

/// The `{shelf}` and the `{name}` of a path.
pub(super) struct Shelved(pub(super) Shelf, pub(super) String);

impl<S: Send + Sync> FromRequestParts<S> for Shelved {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &S) -> Result<Self, Problem> {
        let told = Path::<(String, String)>::from_request_parts(parts, state).await;
        let Path((shelf, name)) = told.map_err(|_| Problem {
            field: Some("name".to_owned()),
            ..Problem::new(StatusCode::BAD_REQUEST, "the name in the path is not text (UTF-8)")
        })?;
        let known = Shelf::from_word(&shelf).ok_or_else(|| {
            Problem::field("shelf", format!("expected one of {}", Shelf::ALL.map(Shelf::word).join(", ")))
        })?;
        Ok(Self(known, name))
    }
}

/// A JSON object as body.
pub(super) struct Object(pub(super) Map<String, Value>);

impl<S: Send + Sync> FromRequest<S> for Object {
    type Rejection = Problem;

    async fn from_request(request: Request, state: &S) -> Result<Self, Problem> {
        let mut object = object(&bytes(request, state).await?)?;
        shown::plain(&mut object);
        Ok(Self(object))
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
    let most = super::most(request.uri().path());
    Bytes::from_request(request, state).await.map_err(|rejection: BytesRejection| {
        if rejection.status() == StatusCode::PAYLOAD_TOO_LARGE {
            too_large(most)
        } else {
            let why = format!("the body can't be read: {}; send it again", rejection.body_text());
            Problem::new(rejection.status(), why)
        }
    })
}

/// The body is over the limit.
pub(super) fn too_large(most: usize) -> Problem {
    let why = format!("a request to this path has at most {most} bytes: leave out what is not needed");
    Problem::new(StatusCode::PAYLOAD_TOO_LARGE, why)
}

fn object(body: &Bytes) -> Result<Map<String, Value>, Problem> {
    match unique::json(body) {
        Ok(Value::Object(object)) => Ok(object),
        Ok(_) => Err(Problem::new(
            StatusCode::UNPROCESSABLE_ENTITY,
            "expected a JSON object: put the fields between { and }",
        )),
        Err(error) => Err(Problem::new(StatusCode::BAD_REQUEST, format!("the body is not JSON: {error}"))),
    }
}

/// Longest name, in characters: one line of a label or a list.
const LONGEST_NAME: usize = 80;

/// Takes the name under `key` out of the body, blanks around it left off.
pub(super) fn name(object: &mut Map<String, Value>, key: &'static str) -> Result<Option<String>, Problem> {
    let text = match object.remove(key) {
        None | Some(Value::Null) => return Ok(None),
        Some(Value::String(text)) => text,
        Some(Value::Bool(_) | Value::Number(_) | Value::Array(_) | Value::Object(_)) => {
            return Err(Problem::field(key, "expected text: put it between quotes"));
        }
    };
    let text = text.trim();
    let length = text.chars().count();
    if text.chars().all(|c| c.is_whitespace() || no_width(c)) {
        return Err(Problem::field(key, "is blank: write 1 to 80 characters, or leave it out"));
    }
    if length > LONGEST_NAME {
        let why = format!("has {length} characters: write at most {LONGEST_NAME}");
        return Err(Problem::field(key, why));
    }
    match text.chars().find(|&c| unseen(c)) {
        None => Ok(Some(text.to_owned())),
        Some(odd) => {
            let why =
                format!("holds a control character (U+{:04X}): write plain text on one line", odd as u32);
            Err(Problem::field(key, why))
        }
    }
}

/// Text that may be a name: not blank, short, and nothing in it that can't be seen.
pub(super) fn is_name(text: &str) -> bool {
    !text.chars().all(|c| c.is_whitespace() || no_width(c))
        && text.chars().count() <= LONGEST_NAME
        && !text.chars().any(unseen)
}

/// Joins or splits what stands beside it; some scripts and signs need it, alone it shows nothing.
fn no_width(c: char) -> bool {
    matches!(c, '\u{200b}'..='\u{200d}' | '\u{2060}' | '\u{feff}')
}

/// Controls a terminal, breaks the line, or turns the direction of what follows.
fn unseen(c: char) -> bool {
    c.is_control() || matches!(c, '\u{2028}' | '\u{2029}' | '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}')
}
