//! A larger JSON body, plain or as gzip, inflated in small steps so that no bomb gets far.

use super::body::{BODY_WAIT, cut_short, not_json, refuse, too_large, too_slow};
use super::room::Room;
use crate::http::limits::LIMITS;
use actix_web::http::{StatusCode, header};
use actix_web::{FromRequest, HttpRequest, dev::Payload};
use flate2::write::GzDecoder;
use futures_util::StreamExt;
use std::future::Future;
use std::io::Write;
use std::pin::Pin;

/// So much is inflated before the size is looked at again; gzip grows at most about 1,030-fold
/// (RFC 1951: 258 bytes from two bits).
const STEP: usize = 512;

/// The bytes of a JSON body, at most as many as a handover may have, after decompression.
#[derive(Debug)]
pub struct Packed(pub Vec<u8>);

impl FromRequest for Packed {
    type Error = actix_web::Error;
    type Future = Pin<Box<dyn Future<Output = Result<Self, Self::Error>>>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let headers = request.headers();
        let kind = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or("");
        let json = kind.split(';').next().unwrap_or("").trim() == "application/json";
        let codings: Vec<_> = headers.get_all(header::CONTENT_ENCODING).cloned().collect();
        let payload = payload.take();
        Box::pin(async move {
            if !json {
                return Err(not_json());
            }
            let into = match codings.as_slice() {
                [] => Ok(Opened::plain()),
                [one] if one == "identity" => Ok(Opened::plain()),
                [one] if one == "gzip" => Ok(Opened::gzip()),
                _ => Err(refuse(
                    StatusCode::UNSUPPORTED_MEDIA_TYPE,
                    "encoded_body",
                    "Send the body without Content-Encoding, or as gzip, once.",
                )),
            }?;
            tokio::time::timeout(BODY_WAIT, read(payload, into)).await.map_err(|_| too_slow())?.map(Self)
        })
    }
}

async fn read(mut payload: Payload, mut into: Opened) -> Result<Vec<u8>, actix_web::Error> {
    let mut room = Room::default();
    while let Some(chunk) = payload.next().await {
        into.take(&chunk.map_err(|_| cut_short())?)?;
        room.for_bytes(into.length())?;
    }
    into.whole()
}

/// What has arrived so far, opened.
enum Opened {
    Plain(Vec<u8>),
    Gzip(Box<GzDecoder<Vec<u8>>>),
}

impl Opened {
    const fn plain() -> Self {
        Self::Plain(Vec::new())
    }

    fn gzip() -> Self {
        Self::Gzip(Box::new(GzDecoder::new(Vec::new())))
    }

    fn take(&mut self, chunk: &[u8]) -> Result<(), actix_web::Error> {
        let fits = |length: usize| {
            if length > LIMITS.handover_bytes { Err(too_large(LIMITS.handover_bytes)) } else { Ok(()) }
        };
        match self {
            Self::Plain(bytes) => {
                fits(bytes.len().saturating_add(chunk.len()))?;
                bytes.extend_from_slice(chunk);
            }
            Self::Gzip(reader) => {
                for step in chunk.chunks(STEP) {
                    // After its end nothing is taken any more, and a second member is an error as well.
                    reader.write_all(step).map_err(|_| not_gzip())?;
                    fits(reader.get_ref().len())?;
                }
            }
        }
        Ok(())
    }

    fn length(&self) -> usize {
        match self {
            Self::Plain(bytes) => bytes.len(),
            Self::Gzip(reader) => reader.get_ref().len(),
        }
    }

    fn whole(self) -> Result<Vec<u8>, actix_web::Error> {
        match self {
            Self::Plain(bytes) => Ok(bytes),
            Self::Gzip(reader) => {
                let bytes = reader.finish().map_err(|_| not_gzip())?;
                if bytes.len() > LIMITS.handover_bytes {
                    return Err(too_large(LIMITS.handover_bytes));
                }
                Ok(bytes)
            }
        }
    }
}

fn not_gzip() -> actix_web::Error {
    let detail = "The body is not one whole gzip stream, as Content-Encoding says. Send it again.";
    refuse(StatusCode::BAD_REQUEST, "bad_gzip", detail)
}

#[cfg(test)]
mod tests {
    use super::*;
    use flate2::Compression;
    use flate2::write::GzEncoder;

    fn gzip(bytes: &[u8]) -> Vec<u8> {
        let mut writer = GzEncoder::new(Vec::new(), Compression::best());
        writer.write_all(bytes).unwrap();
        writer.finish().unwrap()
    }

    fn opened(mut into: Opened, sent: &[u8], pieces: usize) -> Result<Vec<u8>, u16> {
        let status = |error: actix_web::Error| error.as_response_error().status_code().as_u16();
        for chunk in sent.chunks(pieces) {
            into.take(chunk).map_err(status)?;
        }
        into.whole().map_err(status)
    }

    #[test]
    fn gzip_is_opened_however_it_is_cut() {
        let text: Vec<u8> = (0..200_000_u32).flat_map(|i| i.to_string().into_bytes()).take(900_000).collect();
        for pieces in [1, 7, 511, 512, 513, 70_000, usize::MAX] {
            assert_eq!(opened(Opened::gzip(), &gzip(&text), pieces).unwrap(), text);
        }
    }

    #[test]
    fn a_bomb_is_let_go_of_before_it_has_grown() {
        let bomb = gzip(&vec![0; 200 << 20]);
        let mut into = Opened::gzip();
        assert!(into.take(&bomb).is_err());
        let Opened::Gzip(reader) = into else { unreachable!() };
        assert!(reader.get_ref().capacity() < 4 << 20, "{}", reader.get_ref().capacity());
    }

    #[test]
    fn the_limit_is_met_to_the_byte() {
        let full = vec![b'a'; LIMITS.handover_bytes];
        let over = vec![b'a'; LIMITS.handover_bytes + 1];
        assert_eq!(opened(Opened::gzip(), &gzip(&full), 1000).unwrap(), full);
        assert_eq!(opened(Opened::gzip(), &gzip(&over), 1000), Err(413));
        assert_eq!(opened(Opened::plain(), &full, 1000).unwrap(), full);
        assert_eq!(opened(Opened::plain(), &over, 1000), Err(413));
    }

    #[test]
    fn what_is_cut_spoilt_followed_or_twice_packed_is_no_gzip() {
        let whole = gzip(b"{}");
        let cut = &whole[..whole.len() - 1];
        let mut spoilt = whole.clone();
        let crc = spoilt.len() - 6;
        spoilt[crc] ^= 1;
        let followed = [whole.clone(), whole.clone()].concat();
        for sent in [cut, &spoilt, &followed, b"{}", b""] {
            assert_eq!(opened(Opened::gzip(), sent, 64), Err(400), "{sent:?}");
        }
        assert_eq!(opened(Opened::gzip(), &gzip(&whole), 64).unwrap(), whole, "opened once only");
    }
}
