//! Errors as RFC 9457 problem details.

use super::desk::Refusal;
use super::shown::Exact;
use crate::batch::Refused;
use axum::Extension;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use serde::Serialize;
use utoipa::{IntoResponses, ToSchema};

/// A problem (RFC 9457): what is wrong, where, what to try.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Problem {
    /// Always `about:blank`: the status says the kind.
    #[serde(rename = "type")]
    pub kind: &'static str,
    /// The status in words.
    pub title: String,
    /// HTTP status.
    pub status: u16,
    /// What is wrong and what to try.
    pub detail: String,
    /// The field it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub field: Option<String>,
    /// The weights that it tells rounded, in full, g.
    #[serde(skip)]
    pub exact_g: Vec<f64>,
}

/// What any path may answer instead: a problem, whose status says which.
#[derive(IntoResponses)]
#[response(
    status = "default",
    description = "A problem: what is wrong and what to try",
    content_type = "application/problem+json"
)]
#[allow(dead_code, reason = "a shape for the description: never made")]
pub struct Refusals(Problem);

impl Problem {
    /// A problem with this status.
    pub fn new(status: StatusCode, detail: impl Into<String>) -> Self {
        Self {
            kind: "about:blank",
            title: status.canonical_reason().unwrap_or("Error").to_owned(),
            status: status.as_u16(),
            detail: detail.into(),
            field: None,
            exact_g: Vec::new(),
        }
    }

    /// A field that can't be taken as it is.
    pub fn field(field: impl Into<String>, detail: impl Into<String>) -> Self {
        Self { field: Some(field.into()), ..Self::new(StatusCode::UNPROCESSABLE_ENTITY, detail) }
    }
}

impl From<Refused> for Problem {
    fn from(refused: Refused) -> Self {
        Self::field(refused.field, refused.reason)
    }
}

impl From<Refusal> for Problem {
    fn from(refusal: Refusal) -> Self {
        match refusal {
            Refusal::Missing(why) => Self::new(StatusCode::NOT_FOUND, why),
            Refusal::Conflict(why) => Self::new(StatusCode::CONFLICT, why),
            Refusal::Weighs { why, exact_g } => Self { exact_g, ..Self::new(StatusCode::CONFLICT, why) },
            Refusal::Storage(why) => Self::new(StatusCode::SERVICE_UNAVAILABLE, why),
            Refusal::Unfit { field, why } => Self::field(field, why),
        }
    }
}

impl IntoResponse for Problem {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        // A struct of strings and numbers always has a JSON form.
        let body = serde_json::to_vec(&self).unwrap_or_default();
        let exact = Extension(Exact(self.exact_g));
        (status, exact, [(header::CONTENT_TYPE, "application/problem+json")], body).into_response()
    }
}
