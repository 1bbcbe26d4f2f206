//! The version an edit was made from.

use crate::error::Error;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, dev::Payload};
use std::future::{Ready, ready};

/// The version named in `If-Match`; an edit without one is refused with 428.
#[derive(Debug, Clone, Copy)]
pub struct IfMatch(pub i64);

impl FromRequest for IfMatch {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let read = || {
            let text = request.headers().get(header::IF_MATCH).ok_or(Error::VersionMissing)?;
            let version =
                text.to_str().ok().and_then(|t| t.strip_prefix('"')?.strip_suffix('"')?.parse().ok());
            version.map(Self).ok_or_else(|| {
                Error::invalid("bad_version", "If-Match must be one strong ETag as this server gave it.")
            })
        };
        ready(read().map_err(Into::into))
    }
}

/// The entity tag of a version.
#[must_use]
pub fn etag(version: i64) -> (header::HeaderName, String) {
    (header::ETAG, format!("\"{version}\""))
}
