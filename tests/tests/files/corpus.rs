//! What is no photo or document is not kept, and of a photo only the picture is. OWASP ASVS 5.0, 5.2.2,
//! 5.2.4, 5.2.6 and 14.2.8.

use super::stage::Stage;
use end_to_end::files::{
    CANARIES, Sending, annotated_jpeg, annotated_png, digest, jpeg, pdf, png, progressive,
};
use exif::{In, Tag};
use img_parts::png::{Png, PngChunk};
use img_parts::{ImageEXIF, ImageICC};
use serde_json::json;
use std::io::Cursor;

fn png_header(width: u32, height: u32) -> Vec<u8> {
    let mut picture = Png::from_bytes(png().into()).expect("a picture");
    let mut head = picture.chunks()[0].contents().to_vec();
    head[..4].copy_from_slice(&width.to_be_bytes());
    head[4..8].copy_from_slice(&height.to_be_bytes());
    picture.chunks_mut()[0] = PngChunk::new(*b"IHDR", head.into());
    picture.encoder().bytes().to_vec()
}

fn jpeg_frame(width: u16, height: u16) -> Vec<u8> {
    let mut bytes = jpeg();
    let at = bytes.windows(2).position(|pair| pair == [0xff, 0xc0]).expect("a frame");
    bytes[at + 5..at + 7].copy_from_slice(&height.to_be_bytes());
    bytes[at + 7..at + 9].copy_from_slice(&width.to_be_bytes());
    bytes
}

fn without(mut bytes: Vec<u8>, from_the_end: usize) -> Vec<u8> {
    bytes.truncate(bytes.len() - from_the_end);
    bytes
}

fn html_as_pdf() -> Vec<u8> {
    b"%PDF-1.7\n<html><script>alert(1)</script></html>\nstartxref\n0\n%%EOF\n".to_vec()
}

/// A JPEG whose frame stands twice.
fn two_frames() -> Vec<u8> {
    let bytes = jpeg();
    let at = bytes.windows(2).position(|pair| pair == [0xff, 0xc0]).expect("a frame");
    let size = 2 + usize::from(u16::from_be_bytes([bytes[at + 2], bytes[at + 3]]));
    [&bytes[..at], &bytes[at..at + size], &bytes[at..]].concat()
}

#[test]
fn what_is_no_photo_and_no_document_is_never_kept() {
    let stage = Stage::new();
    let client = stage.office();
    let svg = b"<svg xmlns='http://www.w3.org/2000/svg' onload='alert(1)'/>".to_vec();
    let html = b"<!doctype html><script>alert(1)</script>".to_vec();
    let zip = b"PK\x03\x04 a folder".to_vec();
    let corpus: Vec<(&str, Vec<u8>, &'static str, &str)> = vec![
        ("a page that says it is a document", html.clone(), "application/pdf", "wrong_type"),
        ("a page that says it is a photo", html, "image/jpeg", "wrong_type"),
        ("a page under the head of a document", html_as_pdf(), "application/pdf", "file_unreadable"),
        ("a drawing with a script as PNG", svg.clone(), "image/png", "wrong_type"),
        ("a drawing with a script as JPEG", svg, "image/jpeg", "wrong_type"),
        ("a document after a page", [b"<html>".to_vec(), pdf()].concat(), "application/pdf", "wrong_type"),
        ("an archive after a document", [pdf(), zip.clone()].concat(), "application/pdf", "file_unreadable"),
        ("an archive", zip, "application/pdf", "wrong_type"),
        ("a JPEG that says it is PNG", jpeg(), "image/png", "wrong_type"),
        ("a PNG that says it is JPEG", png(), "image/jpeg", "wrong_type"),
        ("a GIF that is also a script", b"GIF89a=0;alert(1)".to_vec(), "image/png", "wrong_type"),
        ("50,000 x 50,000 pixels of PNG", png_header(50_000, 50_000), "image/png", "too_many_pixels"),
        ("2^31 x 2^31 pixels of PNG", png_header(1 << 31, 1 << 31), "image/png", "too_many_pixels"),
        ("a PNG without pixels", png_header(0, 0), "image/png", "file_unreadable"),
        ("65,535 x 65,535 pixels of JPEG", jpeg_frame(65_535, 65_535), "image/jpeg", "too_many_pixels"),
        ("a JPEG without lines", jpeg_frame(32, 0), "image/jpeg", "file_unreadable"),
        ("a JPEG with two frames", two_frames(), "image/jpeg", "file_unreadable"),
        ("a JPEG cut in its scan", without(jpeg(), 10), "image/jpeg", "file_cut_short"),
        ("a JPEG cut in its tables", jpeg()[..100].to_vec(), "image/jpeg", "file_cut_short"),
        ("a JPEG of three bytes", jpeg()[..3].to_vec(), "image/jpeg", "file_cut_short"),
        ("a PNG cut in its data", without(png(), 30), "image/png", "file_cut_short"),
        ("a PNG without its end", without(png(), 12), "image/png", "file_cut_short"),
        ("a document without its end", without(pdf(), 8), "application/pdf", "file_cut_short"),
        ("a document that is all head", b"%PDF-1.7".to_vec(), "application/pdf", "file_cut_short"),
        ("zeros", vec![0; 5000], "image/png", "wrong_type"),
    ];
    for (what, bytes, media_type, code) in corpus {
        let file = Sending::new(bytes, media_type);
        let answer = file.send(&client);
        assert_eq!((answer.status, &answer.json()["code"]), (422, &json!(code)), "{what}: {}", answer.text());
        file.fetch(&client).expect_problem(404, "not_found");
    }
    assert_eq!((stage.count("files"), stage.count("uploads"), stage.count("upload_parts")), (0, 0, 0));
    assert_eq!(stage.blobs().len(), 0);
    assert_eq!(stage.wrong(), Vec::<String>::new());
    let room: i64 = stage.db.as_owner().query_one("select bytes from file_room", &[]).expect("room").get(0);
    assert_eq!(room, 0);
}

#[test]
fn every_prefix_and_every_flipped_bit_of_a_small_file_is_answered_and_never_our_fault() {
    let stage = Stage::new();
    let client = stage.office();
    let mut kept = 0;
    for (bytes, media_type) in [
        (annotated_jpeg(progressive()), "image/jpeg"),
        (annotated_png(), "image/png"),
        (pdf(), "application/pdf"),
    ] {
        let mut all: Vec<Vec<u8>> =
            (1..bytes.len()).step_by(29).map(|length| bytes[..length].to_vec()).collect();
        for at in (0..bytes.len()).step_by(37) {
            let mut flipped = bytes.clone();
            flipped[at] ^= 1 << (at % 8);
            all.push(flipped);
        }
        for bytes in all {
            let answer = Sending::new(bytes, media_type).send(&client).expect_any(&[200, 422]);
            kept += i32::from(answer.status == 200);
        }
    }
    assert_eq!(stage.count("files"), i64::from(kept));
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn a_photo_is_kept_without_where_when_and_with_what_it_was_taken() {
    let stage = Stage::new();
    let client = stage.technician();
    for (sent, media_type) in [
        (annotated_jpeg(jpeg()), "image/jpeg"),
        (annotated_jpeg(progressive()), "image/jpeg"),
        (annotated_png(), "image/png"),
    ] {
        let before = exif::Reader::new().read_from_container(&mut Cursor::new(&sent)).expect("notes");
        assert!(
            before.get_field(Tag::GPSLatitude, In::PRIMARY).is_some(),
            "it must be there to be taken away"
        );
        let file = Sending::new(sent, media_type);
        let told = file.send(&client).expect(200).json();
        let answer = file.fetch(&client).expect(200);
        let kept = answer.body;
        assert_eq!(told["kept_sha256"], digest(&kept));
        assert_ne!(told["kept_sha256"], file.sha256, "the record refers to what was sent");
        let notes = exif::Reader::new().read_from_container(&mut Cursor::new(&kept)).expect("a turn");
        let fields: Vec<Tag> = notes.fields().map(|field| field.tag).collect();
        assert_eq!(fields, [Tag::Orientation], "only how it is turned");
        let way = notes.get_field(Tag::Orientation, In::PRIMARY).and_then(|field| field.value.get_uint(0));
        assert_eq!(way, Some(6));
        for canary in CANARIES {
            let found = kept.windows(canary.len()).any(|window| window == canary.as_bytes());
            assert!(!found, "{canary} is still in the {media_type}");
        }
        let stored = std::fs::read(&stage.kept_blobs()[0]).expect("a blob");
        assert!(CANARIES.iter().all(|c| !stored.windows(c.len()).any(|window| window == c.as_bytes())));
    }
}

#[test]
fn a_photo_without_metadata_is_kept_to_the_byte_and_colours_stay() {
    let stage = Stage::new();
    let client = stage.technician();
    for (bytes, media_type) in [(jpeg(), "image/jpeg"), (progressive(), "image/jpeg"), (png(), "image/png")] {
        let file = Sending::new(bytes, media_type);
        assert_eq!(file.send(&client).expect(200).json()["kept_sha256"], file.sha256);
    }
    for plain in [jpeg(), progressive()] {
        let file = Sending::new(annotated_jpeg(plain.clone()), "image/jpeg");
        let _ = file.send(&client).expect(200);
        let kept = file.fetch(&client).expect(200).body;
        let mut picture = img_parts::jpeg::Jpeg::from_bytes(kept.into()).expect("a picture");
        assert_eq!(picture.icc_profile().as_deref(), Some(&b"a colour profile of the tests"[..]));
        picture.set_icc_profile(None);
        picture.set_exif(None);
        assert_eq!(picture.encoder().bytes(), plain, "everything else is the picture");
    }
    let sheet = Sending::new(pdf(), "application/pdf");
    let _ = sheet.send(&stage.office()).expect(200);
    assert_eq!(sheet.fetch(&stage.office()).expect(200).body, pdf());
}

#[test]
fn a_file_that_is_not_what_was_announced_is_forgotten_and_can_be_sent_anew() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::photo();
    let _ = file.reserve(&client).expect(201);
    let mut other = file.bytes.clone();
    other[200] ^= 1;
    let _ = file.append(&client, 0, &other).expect(200);
    file.finish(&client).expect_problem(422, "digest_differs");
    file.finish(&client).expect_problem(404, "not_found");
    assert_eq!(stage.blobs().len(), 0);
    let _ = file.send(&client).expect(200);
}
