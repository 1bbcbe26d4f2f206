//! What is taken in: by its first bytes what it says it is, whole, of bounded size as a picture, and
//! without anything but the picture. Pure.

mod jpeg;
mod pdf;
mod png;
mod turn;

use super::MediaType;
use bytes::Bytes;

/// The largest picture, in pixels.
const PIXELS_MAX: u64 = 40_000_000;

/// Why a file is not taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Unfit {
    pub(super) code: &'static str,
    pub(super) sentence: String,
}

impl Unfit {
    fn new(code: &'static str, sentence: impl Into<String>) -> Self {
        Self { code, sentence: sentence.into() }
    }

    fn unreadable() -> Self {
        Self::new("file_unreadable", "The file cannot be read as what it says it is. Send it as it was made.")
    }

    fn of(error: &img_parts::Error) -> Self {
        if matches!(error, img_parts::Error::Truncated) { Self::cut() } else { Self::unreadable() }
    }

    fn cut() -> Self {
        Self::new("file_cut_short", "The file ends before its end. Send the whole of it.")
    }
}

/// What is kept of a file: of a picture the picture alone, a document as it is.
pub(super) fn take_in(sent: &Bytes, declared: MediaType) -> Result<Bytes, Unfit> {
    let found = sniff(sent);
    if found != Some(declared) {
        let sentence = format!(
            "The file says it is {} and does not begin like one. Send it as JPEG, PNG or PDF, and say which.",
            declared.word()
        );
        return Err(Unfit::new("wrong_type", sentence));
    }
    match declared {
        MediaType::Jpeg => jpeg::take_in(sent),
        MediaType::Png => png::take_in(sent),
        MediaType::Pdf => pdf::check(sent).map(|()| sent.clone()),
    }
}

/// What a file is by its first bytes: ITU-T T.81 B.1.1.3 (SOI and a marker), PNG 3rd edition 5.2, ISO
/// 32000-2 7.5.2.
fn sniff(sent: &[u8]) -> Option<MediaType> {
    if sent.starts_with(&[0xff, 0xd8, 0xff]) {
        Some(MediaType::Jpeg)
    } else if sent.starts_with(b"\x89PNG\r\n\x1a\n") {
        Some(MediaType::Png)
    } else if sent.starts_with(b"%PDF-1.") || sent.starts_with(b"%PDF-2.") {
        Some(MediaType::Pdf)
    } else {
        None
    }
}

fn check_pixels(width: u64, height: u64) -> Result<(), Unfit> {
    if width.saturating_mul(height) <= PIXELS_MAX {
        return Ok(());
    }
    let sentence = format!(
        "A picture may have at most {PIXELS_MAX} pixels; this has {width} × {height}. Send a smaller one."
    );
    Err(Unfit::new("too_many_pixels", sentence))
}
