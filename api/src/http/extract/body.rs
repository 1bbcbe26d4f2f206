//! A JSON body: bounded in size and depth, no unknown encodings, no duplicate meaning, with a
//! pointer to whatever does not fit.

use super::room::{BLOCK, Room};
use crate::error::{Error, pointer_to};
use crate::http::limits::LIMITS;
use crate::http::problem::Problem;
use actix_web::http::{StatusCode, header};
use actix_web::{FromRequest, HttpRequest, ResponseError, dev::Payload};
use futures_util::StreamExt;
use serde::de::DeserializeOwned;
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

/// How long a body may take to arrive.
pub(super) const BODY_WAIT: Duration = Duration::from_secs(30);

/// A checked JSON body.
#[derive(Debug)]
pub struct Body<T>(pub T);

/// Why a body was turned away before anyone looked at its meaning.
#[derive(Debug)]
pub(super) struct BodyRefusal(Problem);

impl std::fmt::Display for BodyRefusal {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.0.detail)
    }
}

impl ResponseError for BodyRefusal {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.0.status).unwrap_or(StatusCode::BAD_REQUEST)
    }

    fn error_response(&self) -> actix_web::HttpResponse {
        self.0.response()
    }
}

pub(super) fn refuse(status: StatusCode, code: &str, detail: impl Into<String>) -> actix_web::Error {
    BodyRefusal(Problem::new(status, code, detail)).into()
}

/// What every reader of a body answers to the same mistakes.
pub(super) fn not_json() -> actix_web::Error {
    refuse(StatusCode::UNSUPPORTED_MEDIA_TYPE, "not_json", "Send the body as application/json.")
}

pub(super) fn too_slow() -> actix_web::Error {
    refuse(StatusCode::REQUEST_TIMEOUT, "too_slow", "The body took too long. Send it again.")
}

pub(super) fn cut_short() -> actix_web::Error {
    refuse(StatusCode::BAD_REQUEST, "cut_short", "The body ended early. Send it again.")
}

pub(super) fn too_large(limit: usize) -> actix_web::Error {
    let detail = format!("A body may have at most {limit} bytes. Send less at a time.");
    refuse(StatusCode::PAYLOAD_TOO_LARGE, "body_too_large", detail)
}

impl<T: DeserializeOwned + 'static> FromRequest for Body<T> {
    type Error = actix_web::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Self::Error>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let headers = request.headers();
        let text = |name| {
            headers.get(name).and_then(|v: &header::HeaderValue| v.to_str().ok()).unwrap_or("").to_owned()
        };
        let kind = text(header::CONTENT_TYPE);
        let encoding = text(header::CONTENT_ENCODING);
        let payload = payload.take();
        Box::pin(async move {
            let plain = kind.split(';').next().unwrap_or("").trim();
            if plain != "application/json" && plain != "application/merge-patch+json" {
                return Err(not_json());
            }
            if !encoding.is_empty() && encoding != "identity" {
                return Err(refuse(
                    StatusCode::UNSUPPORTED_MEDIA_TYPE,
                    "encoded_body",
                    "Send the body without Content-Encoding.",
                ));
            }
            let mut room = Room::default();
            let reading = read(payload, &mut room);
            let bytes = tokio::time::timeout(BODY_WAIT, reading).await.map_err(|_| too_slow())??;
            parse(&bytes).map(Body).map_err(Into::into)
        })
    }
}

async fn read(mut payload: Payload, room: &mut Room) -> Result<Vec<u8>, actix_web::Error> {
    let (mut length, mut blocks) = (0, Vec::new());
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|_| cut_short())?;
        length += chunk.len();
        if length > LIMITS.body_bytes {
            return Err(too_large(LIMITS.body_bytes));
        }
        room.for_bytes(length)?;
        gather(&mut blocks, &chunk);
    }
    // In one piece only when it is whole: one piece that grows takes several times its size meanwhile.
    Ok(blocks.concat())
}

/// Adds bytes to blocks of even size.
fn gather(blocks: &mut Vec<Vec<u8>>, mut chunk: &[u8]) {
    while !chunk.is_empty() {
        if blocks.last().is_none_or(|last| last.len() >= BLOCK) {
            blocks.push(Vec::new());
        }
        let Some(last) = blocks.last_mut() else { return };
        let (now, later) = chunk.split_at(chunk.len().min(BLOCK.saturating_sub(last.len())));
        last.extend_from_slice(now);
        chunk = later;
    }
}

fn parse<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Error> {
    if depth(bytes) > LIMITS.body_depth {
        let sentence = format!("The body is nested more than {} levels deep.", LIMITS.body_depth);
        return Err(Error::invalid("too_deep", sentence));
    }
    // Lists would fill a record's fields by position, which nobody documented.
    if bytes.trim_ascii_start().first() != Some(&b'{') {
        let code = if serde_json::from_slice::<serde::de::IgnoredAny>(bytes).is_ok() {
            "bad_field"
        } else {
            "bad_json"
        };
        return Err(Error::invalid(code, "The body must be a JSON object."));
    }
    let mut reader = serde_json::Deserializer::from_slice(bytes);
    let value = serde_path_to_error::deserialize(&mut reader).map_err(|error| {
        let pointer = pointer_to(error.path());
        let inner = error.into_inner();
        let code = if inner.is_data() { "bad_field" } else { "bad_json" };
        Error::Invalid { code, sentence: format!("{inner}."), pointer }
    })?;
    reader.end().map_err(|_| Error::invalid("bad_json", "There is more after the end of the body."))?;
    Ok(value)
}

/// How deep brackets nest, strings aside.
fn depth(bytes: &[u8]) -> usize {
    let (mut depth, mut deepest, mut in_string, mut escaped) = (0_usize, 0_usize, false, false);
    for byte in bytes {
        match (in_string, byte) {
            (true, _) if escaped => escaped = false,
            (true, b'\\') => escaped = true,
            (true, b'"') => in_string = false,
            (false, b'"') => in_string = true,
            (false, b'{' | b'[') => {
                depth += 1;
                deepest = deepest.max(depth);
            }
            (false, b'}' | b']') => depth = depth.saturating_sub(1),
            (true | false, _) => {}
        }
    }
    deepest
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn blocks_put_together_are_what_was_sent() {
        for length in [0, 1, BLOCK - 1, BLOCK, BLOCK + 1, 5 * BLOCK + 7] {
            let sent: Vec<u8> = (0..=255_u8).cycle().take(length).collect();
            for piece in [1, 7, BLOCK, 3 * BLOCK + 1] {
                let mut blocks = Vec::new();
                sent.chunks(piece).for_each(|chunk| gather(&mut blocks, chunk));
                assert!(blocks.iter().all(|block| !block.is_empty() && block.len() <= BLOCK));
                assert_eq!(blocks.concat(), sent);
            }
        }
    }
}
