//! How a file is handed out: under headers that make it nothing but a file, whole or in a range.
//! OWASP ASVS 5.0, 3.2.1, 3.4.4, 5.3.2, 5.4.1 and 5.4.2; RFC 9110 section 14; RFC 6266, RFC 8187.

use super::stage::Stage;
use end_to_end::files::{Sending, large_png, pdf};
use serde_json::json;

#[test]
fn a_file_is_handed_out_as_nothing_but_a_file() {
    let stage = Stage::new();
    let office = stage.office();
    for file in [
        Sending::photo(),
        Sending::new(large_png(9 << 20, 4), "image/png"),
        Sending::new(pdf(), "application/pdf"),
    ] {
        let told = file.send(&office).expect(200).json();
        let answer = file.fetch(&office).expect(200);
        for (name, value) in [
            ("content-type", file.media_type),
            ("x-content-type-options", "nosniff"),
            ("content-security-policy", "sandbox; default-src 'none'"),
            ("cache-control", "no-store"),
            ("referrer-policy", "no-referrer"),
            ("accept-ranges", "bytes"),
            ("content-length", &told["kept_bytes"].to_string()),
            ("etag", &format!("\"{}\"", told["kept_sha256"].as_str().expect("a digest"))),
        ] {
            let given: Vec<&str> =
                answer.headers.iter().filter(|(n, _)| n == name).map(|(_, v)| v.as_str()).collect();
            assert_eq!(given, [value], "{name}");
        }
        let disposition = answer.header("content-disposition").expect("a disposition");
        assert!(disposition.starts_with("attachment; filename*=UTF-8''file."), "{disposition}");
        assert_eq!(answer.header("transfer-encoding"), None);
    }
}

#[test]
fn a_name_from_outside_is_data_and_never_a_place() {
    let stage = Stage::new();
    let client = stage.technician();
    let long = "x".repeat(300);
    for (name, shown) in [
        ("../../x", "x.jpg"),
        ("C:\\x", "Cx.jpg"),
        ("a\0b", "ab.jpg"),
        ("a\r\nSet-Cookie: b=c", "aSet-Cookie%20b%3Dc.jpg"),
        (&long, &format!("{}.jpg", "x".repeat(120))),
        ("\u{202e}gpj.exe", "gpj.exe.jpg"),
        ("caf\u{e9}.JPG", "caf%C3%A9.JPG"),
        ("x\"; filename=\"y.html", "x%20filename%3Dy.html.jpg"),
    ] {
        let file = Sending::photo();
        let mut wish = file.wish();
        wish["name"] = json!(name);
        let _ = client.put(&file.path(), &wish).expect(201);
        let _ = file.append(&client, 0, &file.bytes).expect(200);
        let _ = file.finish(&client).expect(200);
        let answer = file.fetch(&client).expect(200);
        let disposition = answer.header("content-disposition").expect("a disposition");
        assert_eq!(disposition, format!("attachment; filename*=UTF-8''{shown}"), "{name:?}");
        assert_eq!(answer.header("set-cookie"), None);
    }
    let mut wish = Sending::photo().wish();
    wish["name"] = json!("x".repeat(1001));
    client.put(&Sending::photo().path(), &wish).expect_problem(422, "too_long");
    let root = stage.folder.path().join("files");
    for blob in stage.blobs() {
        let inside = blob.strip_prefix(&root).expect("inside the folder").display().to_string();
        let parts: Vec<&str> = inside.split('/').collect();
        let [fleet, "kept", "2026-03-02", id] = parts[..] else { panic!("{inside}") };
        assert_eq!(fleet, stage.fleet.id.to_string(), "the fleet comes first");
        let _: uuid::Uuid = id.parse().expect("a name of the server's own");
    }
}

#[test]
fn one_range_may_be_asked_for() {
    let stage = Stage::new();
    let client = stage.technician();
    let size = 5 * (1 << 20);
    let file = Sending::new(large_png(size, 2), "image/png");
    let _ = file.send(&client).expect(200);
    let tag = format!("\"{}\"", file.sha256);
    let get = |headers: &[(&str, &str)]| client.send("GET", &file.path(), headers, None);
    for (range, from, to) in [
        ("bytes=0-0", 0, 0),
        ("bytes=100-199", 100, 199),
        ("bytes=4194303-4194305", 4_194_303, 4_194_305),
        ("bytes=5242870-", 5_242_870, size - 1),
        ("bytes=-5", size - 5, size - 1),
        ("bytes=5242879-999999999", size - 1, size - 1),
    ] {
        let answer = get(&[("range", range)]).expect(206);
        assert_eq!(answer.body, file.bytes[from..=to], "{range}");
        assert_eq!(answer.header("content-range"), Some(format!("bytes {from}-{to}/{size}").as_str()));
        assert_eq!(answer.header("content-security-policy"), Some("sandbox; default-src 'none'"));
    }
    for ignored in ["bytes=9999999-", "bytes=5-1", "bytes=0-1,3-4", "bytes=x", "lines=1-2", "bytes=-0"] {
        assert_eq!(get(&[("range", ignored)]).expect(200).body.len(), size, "{ignored}");
    }
    assert_eq!(get(&[("range", "bytes=0-9"), ("if-range", &tag)]).expect(206).body.len(), 10);
    assert_eq!(get(&[("range", "bytes=0-9"), ("if-range", "\"other\"")]).expect(200).body.len(), size);
}
