//! Errors as problem documents (RFC 9457): the one place that knows status codes.

use super::limits::{LIMITS, Limits};
use crate::error::Error;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpResponse, ResponseError};
use serde::Serialize;
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

/// The header in which an app says its version.
pub const APP_VERSION: &str = "dropwise-app";

/// A problem document.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Problem {
    /// Stable address of this kind of problem.
    #[serde(rename = "type")]
    #[schema(example = "urn:dropwise:problem:not_found")]
    pub kind: String,
    /// The status code again.
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    /// Stable word for machines.
    #[schema(example = "not_found")]
    pub code: String,
    /// What is wrong and what to do, for people.
    pub detail: String,
    /// JSON pointer of the field at fault, when known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// The record as it stands now, when an edit was made from an older one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub current: Option<Value>,
    /// The limits, when one of them was passed: what `GET /v1/device/limits` answers.
    #[schema(value_type = Option<Object>)]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub limits: Option<Limits>,
    /// The next step of a phone that cannot go on reading: see [`Stopped`].
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(ignore)]
    pub next: Option<String>,
    /// What a phone that cannot go on reading forgets: see [`Stopped`].
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(ignore)]
    pub drop: Option<Vec<Uuid>>,
}

impl Problem {
    /// A problem with a sentence.
    #[must_use]
    pub fn new(status: StatusCode, code: &str, detail: impl Into<String>) -> Self {
        Self {
            kind: format!("urn:dropwise:problem:{code}"),
            status: status.as_u16(),
            code: code.to_owned(),
            detail: detail.into(),
            pointer: None,
            current: None,
            limits: (status == StatusCode::PAYLOAD_TOO_LARGE).then_some(LIMITS),
            next: None,
            drop: None,
        }
    }

    /// As a response.
    #[must_use]
    pub fn response(&self) -> HttpResponse {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let body = serde_json::to_string(self).unwrap_or_default();
        HttpResponse::build(status)
            .insert_header((header::CONTENT_TYPE, "application/problem+json"))
            .insert_header((header::CACHE_CONTROL, "no-store"))
            .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
            .insert_header((header::REFERRER_POLICY, "no-referrer"))
            .body(body)
    }
}

impl Error {
    /// The problem document of this error.
    #[must_use]
    pub fn problem(&self) -> Problem {
        match self {
            Self::NotFound => Problem::new(
                StatusCode::NOT_FOUND,
                "not_found",
                "There is nothing of that id here. Check the id; a record of another fleet is never shown.",
            ),
            Self::NotSignedIn => Problem::new(
                StatusCode::UNAUTHORIZED,
                "not_signed_in",
                "Sign in, or refresh the access token, and send it as a bearer token.",
            ),
            Self::Unproven { code, sentence } => Problem::new(StatusCode::UNAUTHORIZED, code, *sentence),
            Self::NotAllowed => Problem::new(
                StatusCode::FORBIDDEN,
                "not_allowed",
                "Your role may not do this. The owner can change a member's role.",
            ),
            Self::Invalid { code, sentence, pointer } => Problem {
                pointer: pointer.clone(),
                ..Problem::new(StatusCode::UNPROCESSABLE_ENTITY, code, sentence.clone())
            },
            Self::Refused { code, sentence, pointer } => Problem {
                pointer: pointer.clone(),
                ..Problem::new(StatusCode::UNPROCESSABLE_ENTITY, code, sentence.clone())
            },
            Self::Conflict { code, sentence } => Problem::new(StatusCode::CONFLICT, code, sentence.clone()),
            Self::OutOfStep { code, sentence, current } => Problem {
                current: Some(current.clone()),
                ..Problem::new(StatusCode::CONFLICT, code, *sentence)
            },
            Self::StoreFull => Problem::new(
                StatusCode::INSUFFICIENT_STORAGE,
                "store_full",
                "The server has no room left for files. What had arrived before is still there; try again later, and tell whoever runs the server.",
            ),
            Self::Damaged { .. } => Problem::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                "file_damaged",
                "The stored file is damaged and is not handed out. Whoever still has it can send it again under the same digest.",
            ),
            Self::Duplicate(_) => Problem::new(
                StatusCode::CONFLICT,
                "already_there",
                "A record with that id or name exists already. Use another.",
            ),
            Self::VersionMissing => Problem::new(
                StatusCode::PRECONDITION_REQUIRED,
                "version_missing",
                "Send If-Match with the ETag of the version you edited.",
            ),
            Self::Stale { current } => Problem {
                current: Some(current.clone()),
                ..Problem::new(
                    StatusCode::PRECONDITION_FAILED,
                    "edited_since",
                    "Someone edited this record since you read it. Look at its current state and edit again.",
                )
            },
            Self::Gone { code, sentence, next, drop } => Problem {
                next: Some((*next).to_owned()),
                drop: Some(drop.clone()),
                ..Problem::new(StatusCode::GONE, code, *sentence)
            },
            Self::TooLarge { code, sentence } => {
                Problem::new(StatusCode::PAYLOAD_TOO_LARGE, code, sentence.clone())
            }
            Self::AppTooOld { minimum } => Problem::new(
                StatusCode::UPGRADE_REQUIRED,
                "app_too_old",
                format!(
                    "This version of the app is too old to read; {minimum} or later is needed. Update it. What waits in it can still be handed over."
                ),
            ),
            Self::LaneBusy => Problem::new(
                StatusCode::CONFLICT,
                "lane_busy",
                "Another handover of this phone is under way. Wait for its answer, then send again.",
            ),
            Self::TooMany { retry_after_s } => Problem::new(
                StatusCode::TOO_MANY_REQUESTS,
                "too_many_requests",
                format!("Too many requests. Try again in {retry_after_s} s."),
            ),
            Self::Retry(_) | Self::Unavailable { .. } => Problem::new(
                StatusCode::SERVICE_UNAVAILABLE,
                "try_later",
                "The server is busy or cannot reach its database. Nothing was stored; try again shortly.",
            ),
            Self::Internal { .. } => Problem::new(
                StatusCode::INTERNAL_SERVER_ERROR,
                "our_fault",
                "Something went wrong on our side. Nothing was stored; try again, and report the request id if it stays.",
            ),
        }
    }

    const fn retry_after_s(&self) -> Option<u64> {
        match self {
            Self::TooMany { retry_after_s } | Self::Unavailable { retry_after_s, .. } => Some(*retry_after_s),
            Self::Retry(_) | Self::LaneBusy => Some(1),
            Self::NotFound
            | Self::NotSignedIn
            | Self::Unproven { .. }
            | Self::NotAllowed
            | Self::Invalid { .. }
            | Self::Refused { .. }
            | Self::Conflict { .. }
            | Self::OutOfStep { .. }
            | Self::StoreFull
            | Self::Damaged { .. }
            | Self::VersionMissing
            | Self::Stale { .. }
            | Self::Duplicate(_)
            | Self::Gone { .. }
            | Self::TooLarge { .. }
            | Self::AppTooOld { .. }
            | Self::Internal { .. } => None,
        }
    }
}

impl ResponseError for Error {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.problem().status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse {
        if let Self::Internal { what } = self {
            tracing::error!(what, "request failed");
        } else if let Self::Damaged { what } = self {
            tracing::error!(what, "a stored file is damaged");
        } else if matches!(self, Self::StoreFull) {
            tracing::error!("the store of files is full");
        } else if let Self::Unavailable { why, .. } | Self::Retry(why) = self {
            tracing::warn!(why, "request turned away");
        }
        let mut response = self.problem().response();
        if let Some(wait) = self.retry_after_s() {
            response.headers_mut().insert(header::RETRY_AFTER, HeaderValue::from(wait));
        }
        if let Self::AppTooOld { minimum } = self {
            // RFC 9110, 15.5.22: the answer says to what.
            if let Ok(to) = HeaderValue::from_str(&format!("{APP_VERSION}/{minimum}")) {
                response.headers_mut().insert(header::UPGRADE, to);
            }
        }
        if matches!(self, Self::NotSignedIn | Self::Unproven { .. }) {
            response.headers_mut().insert(header::WWW_AUTHENTICATE, HeaderValue::from_static("Bearer"));
        }
        response
    }
}

/// The problem document of a phone that cannot go on reading from where it was: how it looks, for the API
/// document. Every other problem has neither `next` nor `drop`.
#[derive(Debug, ToSchema)]
#[expect(dead_code, reason = "described here, built as a Problem")]
pub struct Stopped {
    /// Stable address of this kind of problem.
    #[schema(rename = "type", example = "urn:dropwise:problem:too_old")]
    kind: String,
    /// The status code again.
    #[schema(minimum = 410, maximum = 410)]
    status: u16,
    /// `too_old`: what was deleted since is no longer listed. `restarted`: the database was restored.
    /// `scope_changed`: the member reads other audiences now.
    #[schema(example = "too_old")]
    code: String,
    /// What is wrong and what to do, for people.
    detail: String,
    /// `fresh_copy`: everything anew; what was not handed over, or is not yet safe, stays on the phone.
    /// `fresh_copy_from`: a fresh copy `from` this bookmark brings what is new, and the rest stays.
    #[schema(example = "fresh_copy")]
    next: String,
    /// Audiences that are not read any more: their rows are forgotten.
    drop: Vec<Uuid>,
}

/// The problem answers every operation may give, for the API document.
#[derive(utoipa::IntoResponses)]
pub enum Problems {
    /// Not signed in, or the token no longer holds.
    #[response(status = 401, content_type = "application/problem+json")]
    NotSignedIn(#[to_schema] Problem),
    /// The role may not do this.
    #[response(status = 403, content_type = "application/problem+json")]
    NotAllowed(#[to_schema] Problem),
    /// Nothing of that id here.
    #[response(status = 404, content_type = "application/problem+json")]
    NotFound(#[to_schema] Problem),
    /// The body took too long to arrive.
    #[response(status = 408, content_type = "application/problem+json")]
    TooSlow(#[to_schema] Problem),
    /// The state of the records forbids it.
    #[response(status = 409, content_type = "application/problem+json")]
    Conflict(#[to_schema] Problem),
    /// The body is larger than allowed.
    #[response(status = 413, content_type = "application/problem+json")]
    TooLarge(#[to_schema] Problem),
    /// The body is not JSON, or encoded in a way that is not read.
    #[response(status = 415, content_type = "application/problem+json")]
    WrongType(#[to_schema] Problem),
    /// The body is JSON but does not fit; `pointer` says where.
    #[response(status = 422, content_type = "application/problem+json")]
    Invalid(#[to_schema] Problem),
    /// Too many requests; `Retry-After` says when.
    #[response(status = 429, content_type = "application/problem+json")]
    TooMany(#[to_schema] Problem),
    /// Our fault.
    #[response(status = 500, content_type = "application/problem+json")]
    OurFault(#[to_schema] Problem),
    /// Busy or cut off from the database; `Retry-After` says when.
    #[response(status = 503, content_type = "application/problem+json")]
    TryLater(#[to_schema] Problem),
}

/// The further answer of an operation that phones read by.
#[derive(utoipa::IntoResponses)]
pub enum ReadingProblems {
    /// The app is too old to read; `Upgrade` says from which version on. Handing over stays allowed.
    #[response(status = 426, content_type = "application/problem+json")]
    AppTooOld(#[to_schema] Problem),
}

/// The further answers of an operation that takes files in.
#[derive(utoipa::IntoResponses)]
pub enum StoreProblems {
    /// The bytes ended early.
    #[response(status = 400, content_type = "application/problem+json")]
    CutShort(#[to_schema] Problem),
    /// There is no room left where files are kept.
    #[response(status = 507, content_type = "application/problem+json")]
    StoreFull(#[to_schema] Problem),
}

/// The further answers of an operation that edits from a known version.
#[derive(utoipa::IntoResponses)]
pub enum EditProblems {
    /// Edited by another since; `current` is the record as it stands.
    #[response(status = 412, content_type = "application/problem+json")]
    Stale(#[to_schema] Problem),
    /// `If-Match` is missing.
    #[response(status = 428, content_type = "application/problem+json")]
    VersionMissing(#[to_schema] Problem),
}
