//! Files to send and a way to send them: pictures as small as they can be, with whatever a camera adds.

use crate::{Answer, Client};
use base64::Engine;
use base64::engine::general_purpose::STANDARD;
use bytes::Bytes;
use exif::experimental::Writer;
use exif::{Field, In, Rational, Tag, Value};
use img_parts::jpeg::{Jpeg, JpegSegment, markers};
use img_parts::png::{Png, PngChunk};
use img_parts::{ImageEXIF, ImageICC};
use serde_json::{Value as Json, json};
use sha2::{Digest, Sha256};
use std::io::Cursor;

/// A picture of 32 × 24 pixels in one scan.
const BASELINE: &str = "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDACgcHiMeGSgjISMtKygwPGRBPDc3PHtYXUlkkYCZlo+AjIqgtObDoKrarYqMyP/L2u71////m8H////6/+b9//j/2wBDASstLTw1PHZBQXb4pYyl+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj/wAARCAAYACADASIAAhEBAxEB/8QAFwABAQEBAAAAAAAAAAAAAAAAAwACBf/EABYQAQEBAAAAAAAAAAAAAAAAAAACA//EABcBAQEBAQAAAAAAAAAAAAAAAAMEAgX/xAAWEQEBAQAAAAAAAAAAAAAAAAABAAL/2gAMAwEAAhEDEQA/AOdOZJzLOZJzK7s43FOZJzLOZJzG7rMbszmSc0hrcjCyTm3OaQ1rMLf/2Q==";
/// The same picture in many scans.
const PROGRESSIVE: &str = "/9j/4AAQSkZJRgABAQAAAQABAAD/2wBDACgcHiMeGSgjISMtKygwPGRBPDc3PHtYXUlkkYCZlo+AjIqgtObDoKrarYqMyP/L2u71////m8H////6/+b9//j/2wBDASstLTw1PHZBQXb4pYyl+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj4+Pj/wgARCAAYACADASIAAhEBAxEB/8QAFwABAQEBAAAAAAAAAAAAAAAAAgABBP/EABcBAQEBAQAAAAAAAAAAAAAAAAIDAQT/2gAMAwEAAhADEAAAAeZNLAmjbFR41tG3/8QAFRABAQAAAAAAAAAAAAAAAAAAABH/2gAIAQEAAQUCiIiIiIiI/8QAFREBAQAAAAAAAAAAAAAAAAAAAQD/2gAIAQMBAT8BGGIv/8QAFhEBAQEAAAAAAAAAAAAAAAAAEQAQ/9oACAECAQE/AWd//8QAFBABAAAAAAAAAAAAAAAAAAAAMP/aAAgBAQAGPwJP/8QAFRABAQAAAAAAAAAAAAAAAAAAAAH/2gAIAQEAAT8hhCEIQhCEIQ//2gAMAwEAAgADAAAAEMsg3//EABYRAQEBAAAAAAAAAAAAAAAAAAEAEP/aAAgBAwEBPxDPbNv/xAAVEQEBAAAAAAAAAAAAAAAAAAABAP/aAAgBAgEBPxBrVlv/xAAUEAEAAAAAAAAAAAAAAAAAAAAw/9oACAEBAAE/EEAAAA//2Q==";
/// A picture of 8 × 6 pixels.
const PNG: &str = "iVBORw0KGgoAAAANSUhEUgAAAAgAAAAGCAIAAABxZ0isAAAAK0lEQVR4nGPkFWiQY2BQZGBQgCFFBgY5BgYWBjUGrICFQROXhAbJOnDYAQAQrAJXxNmApAAAAABJRU5ErkJggg==";
/// Where and with what the pictures say they were taken: words that stand nowhere else.
pub const CANARIES: [&str; 9] = [
    "canary-between",
    "canary-make",
    "canary-xmp",
    "canary-iptc",
    "canary-comment",
    "canary-after",
    "canary-text",
    "canary-mpf",
    "canary-time",
];

fn decoded(text: &str) -> Vec<u8> {
    STANDARD.decode(text).expect("base64")
}

/// A JPEG picture without metadata.
#[must_use]
pub fn jpeg() -> Vec<u8> {
    decoded(BASELINE)
}

/// The same in many scans.
#[must_use]
pub fn progressive() -> Vec<u8> {
    decoded(PROGRESSIVE)
}

/// A PNG picture without metadata.
#[must_use]
pub fn png() -> Vec<u8> {
    decoded(PNG)
}

/// A picture unlike any other: a JPEG with a comment of its own, which is not kept.
#[must_use]
pub fn unique_jpeg() -> Vec<u8> {
    let mut picture = Jpeg::from_bytes(jpeg().into()).expect("a picture");
    let comment = uuid::Uuid::new_v4().to_string().into_bytes();
    picture.segments_mut().insert(1, JpegSegment::new_with_contents(markers::COM, comment.into()));
    picture.encoder().bytes().to_vec()
}

/// A PNG of exactly that many bytes, different for each seed: its picture is noise, which nobody looks at.
#[must_use]
pub fn large_png(size: usize, seed: u64) -> Vec<u8> {
    let plain = Png::from_bytes(png().into()).expect("a picture");
    let head = plain.chunks()[0].clone();
    let end = plain.chunks().last().expect("an end").clone();
    let mut state = seed;
    let noise = size.checked_sub(8 + 25 + 12 + 12).expect("a size with room for a picture");
    let noise: Vec<u8> = (0..noise)
        .map(|_| {
            // A fixed sequence (linear congruence, Knuth's MMIX constants).
            state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (state >> 56) as u8
        })
        .collect();
    let mut picture = plain;
    *picture.chunks_mut() = vec![head, PngChunk::new(*b"IDAT", noise.into()), end];
    let bytes = picture.encoder().bytes().to_vec();
    assert_eq!(bytes.len(), size);
    bytes
}

/// What a camera notes: where (40° 26′ 46″ N, 79° 58′ 56″ W), when, with what, and that it was held sideways.
#[must_use]
pub fn camera_notes() -> Bytes {
    let degrees =
        |parts: [u32; 3]| Value::Rational(parts.map(|part| Rational { num: part, denom: 1 }).to_vec());
    let text = |text: &str| Value::Ascii(vec![text.as_bytes().to_vec()]);
    let fields = [
        (Tag::Make, text("canary-make")),
        (Tag::DateTimeOriginal, text("canary-time")),
        (Tag::Orientation, Value::Short(vec![6])),
        (Tag::GPSLatitudeRef, text("N")),
        (Tag::GPSLatitude, degrees([40, 26, 46])),
        (Tag::GPSLongitudeRef, text("W")),
        (Tag::GPSLongitude, degrees([79, 58, 56])),
    ]
    .map(|(tag, value)| Field { tag, ifd_num: In::PRIMARY, value });
    let mut writer = Writer::new();
    fields.iter().for_each(|field| writer.push_field(field));
    let mut notes = Cursor::new(Vec::new());
    writer.write(&mut notes, true).expect("notes");
    notes.into_inner().into()
}

/// A JPEG with everything a camera and its programs add, before, between and after the scans.
#[must_use]
pub fn annotated_jpeg(plain: Vec<u8>) -> Vec<u8> {
    let mut picture = Jpeg::from_bytes(plain.into()).expect("a picture");
    let segments = [
        (markers::APP1, "http://ns.adobe.com/xap/1.0/\0<x:xmpmeta>canary-xmp</x:xmpmeta>"),
        (markers::APP13, "Photoshop 3.0\08BIM canary-iptc"),
        (markers::APP2, "MPF\0 canary-mpf"),
        (markers::COM, "<script>canary-comment</script>"),
    ];
    for (marker, text) in segments {
        picture.segments_mut().insert(1, JpegSegment::new_with_contents(marker, text.into()));
    }
    picture.set_icc_profile(Some(Bytes::from_static(b"a colour profile of the tests")));
    picture.set_exif(Some(camera_notes()));
    let mut bytes = picture.encoder().bytes().to_vec();
    // Within a scan these two bytes cannot follow one another, so this is a table of a further scan.
    let find = |from: usize, what: [u8; 2]| bytes[from..].windows(2).position(|pair| pair == what);
    let scan = find(0, [0xff, markers::SOS]).expect("a scan");
    if let Some(table) = find(scan, [0xff, markers::DHT]) {
        let comment = b"\xff\xfe\0\x10canary-between";
        bytes.splice(scan + table..scan + table, comment.iter().copied());
    }
    bytes.extend_from_slice(b"canary-after");
    bytes
}

/// A PNG with everything a program adds.
#[must_use]
pub fn annotated_png() -> Vec<u8> {
    let mut picture = Png::from_bytes(png().into()).expect("a picture");
    for (kind, text) in
        [(*b"tEXt", "Comment\0canary-text"), (*b"iTXt", "XML:com.adobe.xmp\0\0\0\0\0canary-xmp")]
    {
        picture.chunks_mut().insert(1, PngChunk::new(kind, text.into()));
    }
    picture.set_exif(Some(camera_notes()));
    let mut bytes = picture.encoder().bytes().to_vec();
    bytes.extend_from_slice(b"canary-after");
    bytes
}

/// The smallest PDF with a page.
#[must_use]
pub fn pdf() -> Vec<u8> {
    let objects = [
        "1 0 obj<</Type/Catalog/Pages 2 0 R>>endobj\n",
        "2 0 obj<</Type/Pages/Kids[3 0 R]/Count 1>>endobj\n",
        "3 0 obj<</Type/Page/Parent 2 0 R/MediaBox[0 0 72 72]>>endobj\n",
    ];
    let mut text = "%PDF-1.7\n".to_owned();
    let mut table = "xref\n0 4\n0000000000 65535 f \n".to_owned();
    for object in objects {
        table += &format!("{:010} 00000 n \n", text.len());
        text += object;
    }
    let at = text.len();
    text += &format!("{table}trailer<</Size 4/Root 1 0 R>>\nstartxref\n{at}\n%%EOF\n");
    text.into_bytes()
}

/// The SHA-256 of some bytes, in hexadecimal.
#[must_use]
pub fn digest(bytes: &[u8]) -> String {
    Sha256::digest(bytes).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// A file about to be sent.
#[derive(Debug, Clone)]
pub struct Sending {
    /// Its bytes.
    pub bytes: Vec<u8>,
    /// Their SHA-256.
    pub sha256: String,
    /// What it says it is.
    pub media_type: &'static str,
}

impl Sending {
    /// A file of that type.
    #[must_use]
    pub fn new(bytes: Vec<u8>, media_type: &'static str) -> Self {
        Self { sha256: digest(&bytes), bytes, media_type }
    }

    /// A JPEG photo unlike any other.
    #[must_use]
    pub fn photo() -> Self {
        Self::new(unique_jpeg(), "image/jpeg")
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> String {
        format!("/v1/files/{}", self.sha256)
    }

    /// What announces it.
    #[must_use]
    pub fn wish(&self) -> Json {
        let what = if self.media_type == "application/pdf" { "sheet" } else { "photo" };
        json!({"size_bytes": self.bytes.len(), "media_type": self.media_type, "what": what})
    }

    /// Announces it.
    #[must_use]
    pub fn reserve(&self, client: &Client) -> Answer {
        client.put(&self.path(), &self.wish())
    }

    /// Sends some of it as the part that begins at `offset`, whatever the part is.
    #[must_use]
    pub fn append(&self, client: &Client, offset: usize, bytes: &[u8]) -> Answer {
        let path = format!("{}/parts/{offset}", self.path());
        client.send("PUT", &path, &[("content-type", "application/octet-stream")], Some(bytes))
    }

    /// Asks for it to be kept.
    #[must_use]
    pub fn finish(&self, client: &Client) -> Answer {
        client.send("POST", &format!("{}/finish", self.path()), &[], None)
    }

    /// Announces it, sends it in parts of 8 MiB, and answers what finishing it said.
    #[must_use]
    pub fn send(&self, client: &Client) -> Answer {
        self.reserve(client).expect_any(&[200, 201]);
        for (n, part) in self.bytes.chunks(8 << 20).enumerate() {
            self.append(client, n * (8 << 20), part).expect(200);
        }
        self.finish(client)
    }

    /// Fetches it.
    #[must_use]
    pub fn fetch(&self, client: &Client) -> Answer {
        client.get(&self.path())
    }
}
