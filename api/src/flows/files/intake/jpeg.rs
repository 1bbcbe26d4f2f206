//! A JPEG picture without anything but the picture: tables, frame and scans stay; where and with what it
//! was taken, thumbnails, comments and whatever follows its end do not.
//!
//! ITU-T T.81 annex B for the markers; T.871 for the JFIF segment; ICC.1 annex B.4 for the colour profile.

use super::{Unfit, check_pixels, turn};
use bytes::{BufMut, Bytes, BytesMut};
use img_parts::ImageEXIF;
use img_parts::jpeg::{Jpeg, JpegSegment, markers};

/// The fixed part of a JFIF segment; a thumbnail follows it.
const JFIF_BYTES: usize = 14;
/// The colour transform that Adobe's segment tells decoders.
const ADOBE_BYTES: usize = 12;

/// The picture alone.
pub(super) fn take_in(sent: &Bytes) -> Result<Bytes, Unfit> {
    let mut picture = Jpeg::from_bytes(sent.clone()).map_err(|error| Unfit::of(&error))?;
    if picture.segments().iter().filter(|segment| is_frame(segment.marker())).count() != 1 {
        return Err(Unfit::unreadable());
    }
    let (width, height) = picture.dimensions().ok_or_else(Unfit::unreadable)?;
    check_pixels(width.into(), height.into())?;
    let turned = picture.exif().and_then(|notes| turn::read(&notes));
    let mut kept: Vec<JpegSegment> = picture.segments().iter().filter_map(keep).collect();
    let last = kept.pop().filter(|last| last.marker() == markers::SOS).ok_or_else(Unfit::cut)?;
    // The library leaves everything after the first scan's head as it is.
    let rest = picture.segments().last().map(|scan| entropy(sent, scan)).unwrap_or_default();
    let scans = scans(&rest)?;
    kept.push(JpegSegment::new_with_entropy(markers::SOS, last.contents().clone(), scans));
    *picture.segments_mut() = kept;
    picture.set_exif(turned.and_then(turn::written));
    Ok(picture.encoder().bytes())
}

/// The bytes after a scan's head, which lie at the end of the file.
fn entropy(sent: &Bytes, scan: &JpegSegment) -> Bytes {
    let length = scan.len_with_entropy() - scan.len();
    sent.slice(sent.len() - length..)
}

const fn is_frame(marker: u8) -> bool {
    matches!(marker, 0xc0..=0xc3 | 0xc5..=0xc7 | 0xc9..=0xcb | 0xcd..=0xcf)
}

/// What of a segment before the first scan stays.
fn keep(segment: &JpegSegment) -> Option<JpegSegment> {
    let (marker, contents) = (segment.marker(), segment.contents());
    match marker {
        markers::APP0 if contents.starts_with(b"JFIF\0") => {
            let mut fixed = BytesMut::from(contents.get(..JFIF_BYTES)?);
            // No thumbnail: 0 × 0.
            fixed.iter_mut().skip(JFIF_BYTES - 2).for_each(|byte| *byte = 0);
            Some(JpegSegment::new_with_contents(marker, fixed.freeze()))
        }
        markers::APP2 if contents.starts_with(b"ICC_PROFILE\0") => Some(segment.clone()),
        markers::APP14 if contents.starts_with(b"Adobe") => {
            let fixed = contents.get(..ADOBE_BYTES)?;
            Some(JpegSegment::new_with_contents(marker, Bytes::copy_from_slice(fixed)))
        }
        _ if is_frame(marker) || is_table(marker) || marker == markers::SOS => Some(segment.clone()),
        _ => None,
    }
}

/// Segments a decoder needs, also between scans.
const fn is_table(marker: u8) -> bool {
    matches!(marker, markers::DHT | markers::DAC | markers::DQT | markers::DNL | markers::DRI)
}

/// The scans of a picture up to and with its end, without segments between them that no decoder needs.
fn scans(rest: &Bytes) -> Result<Bytes, Unfit> {
    let mut kept = BytesMut::with_capacity(rest.len());
    let (mut at, mut in_scan) = (0, true);
    loop {
        let ahead = rest.get(at..).ok_or_else(Unfit::cut)?;
        let until = ahead.iter().position(|byte| *byte == markers::P).ok_or_else(Unfit::cut)?;
        // Between segments there is nothing to keep.
        if in_scan {
            kept.put_slice(ahead.get(..until).unwrap_or_default());
        }
        at += until;
        let marker = *rest.get(at + 1).ok_or_else(Unfit::cut)?;
        match marker {
            // A fill byte before a marker.
            markers::P => at += 1,
            // A stuffed byte or a restart: part of the scan.
            markers::Z | markers::RST0..=markers::RST7 => {
                if in_scan {
                    kept.put_slice(&[markers::P, marker]);
                }
                at += 2;
            }
            markers::EOI => {
                kept.put_slice(&[markers::P, markers::EOI]);
                return Ok(kept.freeze());
            }
            _ => {
                let size = rest.get(at + 2..at + 4).ok_or_else(Unfit::cut)?;
                let size = size.iter().fold(0, |sum, byte| sum * 256 + usize::from(*byte));
                let end = at + 2 + size;
                let whole = rest.get(at..end).filter(|_| size >= 2).ok_or_else(Unfit::cut)?;
                // A second frame, or a second picture inside, is no photo.
                if is_frame(marker) || marker == markers::SOI {
                    return Err(Unfit::unreadable());
                }
                in_scan = marker == markers::SOS;
                if in_scan || is_table(marker) {
                    kept.put_slice(whole);
                }
                at = end;
            }
        }
    }
}
