//! The bytes of a part of a file: bounded in size, in time and in what this process holds at once.

use super::body::refuse;
use crate::error::Error;
use crate::flows::files::{Budget, Held, PART_BYTES_MAX};
use actix_web::http::{StatusCode, header};
use actix_web::web::Bytes;
use actix_web::{FromRequest, HttpRequest, dev::Payload};
use futures_util::StreamExt;
use std::future::{Ready, ready};
use std::time::Duration;

/// How long a part may take to arrive.
const PART_WAIT: Duration = Duration::from_mins(1);

/// A part that has not been read yet.
pub struct Part {
    payload: Payload,
    announced: Option<usize>,
}

impl std::fmt::Debug for Part {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Part")
    }
}

/// How a part ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// With its last byte.
    Whole,
    /// The connection was lost.
    Cut,
    /// It took too long.
    Slow,
}

/// What arrived of a part.
#[derive(Debug)]
pub struct Arrived {
    /// Its bytes.
    pub pieces: Vec<Bytes>,
    /// How it ended.
    pub ending: Ending,
    _held: Held,
}

impl Arrived {
    /// How many bytes arrived.
    #[must_use]
    pub fn size(&self) -> usize {
        self.pieces.iter().map(Bytes::len).sum()
    }
}

impl FromRequest for Part {
    type Error = actix_web::Error;
    type Future = Ready<Result<Self, Self::Error>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let text = |name| request.headers().get(name).and_then(|value| value.to_str().ok()).unwrap_or("");
        let unsupported = |code, sentence| Err(refuse(StatusCode::UNSUPPORTED_MEDIA_TYPE, code, sentence));
        let encoding = text(header::CONTENT_ENCODING);
        ready(if text(header::CONTENT_TYPE).trim() != "application/octet-stream" {
            unsupported("not_bytes", "Send the part as application/octet-stream.")
        } else if !encoding.is_empty() && encoding != "identity" {
            unsupported("encoded_body", "Send the part without Content-Encoding.")
        } else {
            let announced = text(header::CONTENT_LENGTH).parse().ok();
            Ok(Self { payload: payload.take(), announced })
        })
    }
}

impl Part {
    /// Reads it, as far as it comes.
    ///
    /// # Errors
    /// [`Error::TooLarge`]; [`Error::Unavailable`] when this process holds too much already.
    pub async fn read(mut self, budget: &Budget) -> Result<Arrived, Error> {
        self.check_announced()?;
        let (mut pieces, mut size, mut held) = (Vec::new(), 0, Held::default());
        let reading = async {
            while let Some(chunk) = self.payload.next().await {
                let Ok(chunk) = chunk else { return Ok(Ending::Cut) };
                size += chunk.len();
                if size > PART_BYTES_MAX {
                    return Err(too_large());
                }
                budget.add(&mut held, chunk.len())?;
                pieces.push(chunk);
            }
            Ok(Ending::Whole)
        };
        let ending = tokio::time::timeout(PART_WAIT, reading).await.unwrap_or(Ok(Ending::Slow))?;
        Ok(Arrived { pieces, ending, _held: held })
    }

    /// Reads it and keeps nothing, so that whoever sends it hears why instead of a broken connection.
    pub async fn let_pass(mut self) {
        if self.check_announced().is_err() {
            return;
        }
        let passing = async {
            let mut size = 0;
            while let Some(Ok(chunk)) = self.payload.next().await {
                size += chunk.len();
                if size > PART_BYTES_MAX {
                    return;
                }
            }
        };
        let _ = tokio::time::timeout(PART_WAIT, passing).await;
    }

    fn check_announced(&self) -> Result<(), Error> {
        if self.announced.is_some_and(|size| size > PART_BYTES_MAX) { Err(too_large()) } else { Ok(()) }
    }
}

fn too_large() -> Error {
    let sentence = format!("A part may have at most {PART_BYTES_MAX} bytes. Send less at a time.");
    Error::TooLarge { code: "part_too_large", sentence }
}
