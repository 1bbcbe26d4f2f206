//! A PNG picture without anything but the picture: PNG 3rd edition, clauses 5 and 11.

use super::{Unfit, check_pixels, turn};
use bytes::Bytes;
use img_parts::ImageEXIF;
use img_parts::png::Png;

/// The chunks a decoder needs to show the picture as it was meant: nothing else stays.
const KEPT: [&[u8; 4]; 15] = [
    b"IHDR", b"PLTE", b"IDAT", b"IEND", b"tRNS", b"cHRM", b"gAMA", b"iCCP", b"sBIT", b"sRGB", b"cICP",
    b"mDCV", b"cLLI", b"bKGD", b"pHYs",
];

/// The picture alone.
pub(super) fn take_in(sent: &Bytes) -> Result<Bytes, Unfit> {
    let mut picture = Png::from_bytes(sent.clone()).map_err(|error| Unfit::of(&error))?;
    let kinds: Vec<[u8; 4]> = picture.chunks().iter().map(img_parts::png::PngChunk::kind).collect();
    if kinds.first() != Some(b"IHDR") || kinds.iter().filter(|kind| *kind == b"IHDR").count() != 1 {
        return Err(Unfit::unreadable());
    }
    let (width, height) = picture.dimensions().ok_or_else(Unfit::unreadable)?;
    check_pixels(width.into(), height.into())?;
    if kinds.last() != Some(b"IEND") {
        return Err(Unfit::cut());
    }
    if !kinds.contains(b"IDAT") {
        return Err(Unfit::unreadable());
    }
    let turned = picture.exif().and_then(|notes| turn::read(&notes));
    picture.chunks_mut().retain(|chunk| KEPT.contains(&&chunk.kind()));
    picture.set_exif(turned.and_then(turn::written));
    Ok(picture.encoder().bytes())
}
