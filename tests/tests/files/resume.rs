//! A file arrives whole however often its way was interrupted, and wherever.

use super::stage::{Stage, serve};
use end_to_end::files::{Sending, digest, large_png};
use end_to_end::{Client, raw};
use serde_json::json;
use std::io::Write;
use std::time::{Duration, Instant};

const KIB_64: usize = 64 * 1024;

#[test]
fn a_file_resumes_at_every_kind_of_place() {
    let stage = Stage::new();
    let client = stage.technician();
    let size = 9 * (1 << 20) + 77;
    for (seed, cuts) in [
        // Even parts; odd ones; the largest part; the last byte alone; primes; all but the last byte.
        vec![1 << 20, 2 << 20, 3 << 20, 4 << 20],
        vec![KIB_64 + 1, 2 * KIB_64 + 3, 3 * KIB_64 + 7, 1_234_567],
        vec![8 << 20],
        vec![8 << 20, size - 1],
        vec![100_003, 200_017, 1_000_003, 7_000_003],
        vec![KIB_64],
    ]
    .into_iter()
    .enumerate()
    {
        let file = Sending::new(large_png(size, seed as u64), "image/png");
        assert_eq!(file.reserve(&client).expect(201).json()["offset_bytes"], 0);
        let mut from = 0;
        for to in cuts.into_iter().chain([size]) {
            for part in file.bytes[from..to].chunks(8 << 20) {
                // Announced again in between, it says where to go on.
                assert_eq!(file.reserve(&client).expect(200).json()["offset_bytes"], from);
                let answer = file.append(&client, from, part).expect(200).json();
                from += part.len();
                assert_eq!((&answer["offset_bytes"], &answer["state"]), (&json!(from), &json!("open")));
            }
        }
        let done = file.finish(&client).expect(200).json();
        assert_eq!((&done["state"], &done["offset_bytes"]), (&json!("kept"), &json!(size)));
        assert_eq!(done["kept_sha256"], file.sha256, "there was nothing to take away");
        assert_eq!(digest(&file.fetch(&client).expect(200).body), file.sha256);
    }
    assert_eq!(stage.wrong(), Vec::<String>::new());
    assert_eq!(stage.blobs().len(), 6, "no part is left");
    assert_eq!(stage.count("upload_parts"), 0);
}

#[test]
fn a_part_that_begins_elsewhere_is_told_where_to_go_on() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::new(large_png(400_000, 1), "image/png");
    let _ = file.reserve(&client).expect(201);
    let _ = file.append(&client, 0, &file.bytes[..100_000]).expect(200);
    for offset in [0, 1, 99_999, 100_001, 400_000, 9_000_000_000] {
        let answer = file.append(&client, offset, &file.bytes[..KIB_64]);
        assert_eq!(answer.json()["current"]["offset_bytes"], 100_000, "{offset}");
        answer.expect_problem(409, "wrong_offset");
    }
    let early = file.finish(&client);
    assert_eq!(early.json()["current"]["offset_bytes"], 100_000);
    early.expect_problem(409, "not_whole");
    let _ = file.append(&client, 100_000, &file.bytes[100_000..]).expect(200);
    let _ = file.finish(&client).expect(200);
    // Once more, as after a lost answer: the same, and a part of it changes nothing.
    let again = file.finish(&client).expect(200).json();
    assert_eq!(again, file.reserve(&client).expect(200).json());
    file.append(&client, 0, &file.bytes[..KIB_64]).expect_problem(409, "wrong_offset");
}

#[test]
fn parts_that_are_no_parts_are_refused_and_change_nothing() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::new(large_png(9 << 20, 1), "image/png");
    let _ = file.reserve(&client).expect(201);
    file.append(&client, 0, b"").expect_problem(422, "part_too_small");
    file.append(&client, 0, &file.bytes[..KIB_64 - 1]).expect_problem(422, "part_too_small");
    file.append(&client, 0, &file.bytes[..(8 << 20) + 1]).expect_problem(413, "part_too_large");
    let _ = file.append(&client, 0, &file.bytes[..8 << 20]).expect(200);
    let more = vec![0; (1 << 20) + 1];
    file.append(&client, 8 << 20, &more).expect_problem(422, "beyond_the_end");
    let path = format!("{}/parts/{}", file.path(), 8 << 20);
    client.send("PUT", &path, &[("content-type", "image/png")], Some(b"x")).expect_problem(415, "not_bytes");
    let zipped = [("content-type", "application/octet-stream"), ("content-encoding", "gzip")];
    client.send("PUT", &path, &zipped, Some(b"x")).expect_problem(415, "encoded_body");
    Sending::photo().append(&client, 0, b"x").expect_problem(404, "not_found");
    Sending::photo().finish(&client).expect_problem(404, "not_found");
    assert_eq!(file.reserve(&client).expect(200).json()["offset_bytes"], 8 << 20);
    assert_eq!(stage.blobs().len(), 1);
}

#[test]
fn what_had_arrived_when_the_connection_was_lost_is_kept() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::new(large_png(400_000, 1), "image/png");
    let _ = file.reserve(&client).expect(201);
    let token = stage.fleet.token(stage.fleet.technician);
    let cut = |offset: usize, sent: usize| {
        let head = format!(
            "PUT {}/parts/{offset} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
             content-type: application/octet-stream\r\ncontent-length: {}\r\n\r\n",
            file.path(),
            file.bytes.len() - offset
        );
        let mut socket = raw::open(stage.server.address);
        socket.write_all(head.as_bytes()).expect("a head");
        socket.write_all(&file.bytes[offset..offset + sent]).expect("some of a part");
        // Long enough for it to be read.
        std::thread::sleep(Duration::from_millis(500));
    };
    let stands = || {
        let standing = file.reserve(&client).expect(200).json();
        usize::try_from(standing["offset_bytes"].as_u64().expect("a place")).expect("a place")
    };
    cut(0, 150_001);
    let until = Instant::now() + Duration::from_secs(10);
    while stands() == 0 && Instant::now() < until {
        std::thread::sleep(Duration::from_millis(20));
    }
    // What the server's machine had and the server had not read yet goes with the connection.
    let at = stands();
    assert!((KIB_64..=150_001).contains(&at), "{at} bytes were kept");
    // Too little to be worth a part.
    cut(at, 1_000);
    std::thread::sleep(Duration::from_millis(300));
    assert_eq!(stands(), at);
    let _ = file.append(&client, at, &file.bytes[at..]).expect(200);
    assert_eq!(file.finish(&client).expect(200).json()["kept_sha256"], file.sha256);
}

#[test]
fn parts_survive_a_new_server() {
    let mut stage = Stage::new();
    let file = Sending::new(large_png(300_000, 1), "image/png");
    let _ = file.reserve(&stage.technician()).expect(201);
    let _ = file.append(&stage.technician(), 0, &file.bytes[..123_457]).expect(200);
    // Another process on the same database and folder; the first one is gone.
    let again = end_to_end::server::cabinet(&stage.folder.path().join("files").display().to_string());
    stage.server = serve(&stage.db, &stage.clock, &again);
    let client = Client::new(stage.server.address).with_token(stage.fleet.token(stage.fleet.technician));
    assert_eq!(file.reserve(&client).expect(200).json()["offset_bytes"], 123_457);
    let _ = file.append(&client, 123_457, &file.bytes[123_457..]).expect(200);
    assert_eq!(file.finish(&client).expect(200).json()["kept_sha256"], file.sha256);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn two_phones_with_one_file_end_in_one_file() {
    let stage = Stage::new();
    let file = Sending::new(large_png(500_000, 1), "image/png");
    for _ in 0..6 {
        let file = Sending::new([&file.bytes[..], &uuid::Uuid::new_v4().into_bytes()].concat(), "image/png");
        let before = stage.kept_blobs().len();
        let digests: Vec<String> = std::thread::scope(|scope| {
            let send = |client: Client| {
                let file = &file;
                move || {
                    let _ = file.reserve(&client).expect_any(&[200, 201]);
                    for (n, part) in file.bytes.chunks(KIB_64).enumerate() {
                        // The other phone of the same member may have been there first.
                        let answer = file.append(&client, n * KIB_64, part).expect_any(&[200, 409]);
                        assert!(answer.status == 200 || answer.text().contains("wrong_offset"));
                    }
                    let done = file.finish(&client).expect(200).json();
                    done["kept_sha256"].as_str().expect("a digest").to_owned()
                }
            };
            let both = [stage.office(), stage.technician(), stage.fleet.as_owner()];
            let both: Vec<_> = both.into_iter().map(|client| scope.spawn(send(client))).collect();
            both.into_iter().map(|sender| sender.join().expect("a sender")).collect()
        });
        assert!(digests.windows(2).all(|pair| pair[0] == pair[1]));
        assert_eq!(stage.kept_blobs().len(), before + 1);
    }
    assert_eq!(stage.count("files"), 6);
    assert_eq!(stage.blobs().len(), 6, "no part is left");
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn a_file_announced_otherwise_begins_anew() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::new(large_png(300_000, 1), "image/png");
    let mut wish = file.wish();
    wish["size_bytes"] = json!(300_001);
    let _ = client.put(&file.path(), &wish).expect(201);
    let _ = file.append(&client, 0, &file.bytes[..KIB_64]).expect(200);
    assert_eq!(file.reserve(&client).expect(201).json()["offset_bytes"], 0);
    assert_eq!(stage.blobs().len(), 0);
    let _ = file.append(&client, 0, &file.bytes).expect(200);
    let _ = file.finish(&client).expect(200);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}
