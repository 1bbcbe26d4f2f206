//! How much a file and a fleet's files may be.

use super::stage::{Stage, now};
use chrono::Duration;
use dropwise::flows::files::Quota;
use end_to_end::Client;
use end_to_end::files::{Sending, large_png, pdf};
use end_to_end::server::cabinet;
use serde_json::json;

fn small(bytes: u64, files: u64) -> Stage {
    let folder = tempfile::tempdir().expect("a folder");
    let mut cabinet = cabinet(&folder.path().join("files").display().to_string());
    cabinet.quota = Quota { bytes, files };
    Stage::with(cabinet, folder)
}

#[test]
fn the_largest_file_is_taken_and_a_larger_one_is_not_announced() {
    let stage = Stage::new();
    let client = stage.technician();
    let largest = 25 << 20;
    let file = Sending::new(large_png(largest, 1), "image/png");
    assert_eq!(file.send(&client).expect(200).json()["kept_bytes"], largest);
    assert_eq!(file.fetch(&client).expect(200).body.len(), largest);
    let wish = |size: i64| json!({"size_bytes": size, "media_type": "image/png", "what": "photo"});
    let other = Sending::photo().path();
    client.put(&other, &wish(largest as i64 + 1)).expect_problem(413, "file_too_large");
    client.put(&other, &wish(0)).expect_problem(422, "empty_file");
    client.put(&other, &wish(-1)).expect_problem(422, "bad_field");
}

#[test]
fn a_fleets_room_is_bounded_in_bytes_and_in_files_and_another_fleets_is_its_own() {
    let stage = small(1_000_000, 1_000);
    let client = stage.technician();
    let files: Vec<Sending> =
        (0..4).map(|seed| Sending::new(large_png(300_000, seed), "image/png")).collect();
    for file in &files[..3] {
        let _ = file.send(&client).expect(200);
    }
    files[3].reserve(&client).expect_problem(409, "no_room_for_files");
    // What is kept already takes no more room.
    let _ = files[0].reserve(&stage.office()).expect(200);
    let _ = Sending::new(large_png(100_000, 9), "image/png").send(&client).expect(200);
    let theirs = end_to_end::Fleet::found(
        &stage.db.server_url(),
        &stage.clock,
        Client::new(stage.server.address),
        "pier",
    );
    let _ = files[3].send(&theirs.as_technician()).expect(200);
    assert_eq!(stage.wrong(), Vec::<String>::new());

    let stage = small(1 << 30, 3);
    let client = stage.technician();
    for _ in 0..3 {
        let _ = Sending::photo().reserve(&client).expect(201);
    }
    Sending::photo().reserve(&client).expect_problem(409, "no_room_for_files");
}

#[test]
fn room_is_given_back_when_a_file_does_not_come_or_does_not_fit() {
    let stage = small(400_000, 10);
    let client = stage.technician();
    let file = Sending::new(large_png(300_000, 1), "image/png");
    let wrong = Sending { media_type: "image/jpeg", ..file.clone() };
    for _ in 0..3 {
        let _ = wrong.reserve(&client).expect(201);
        let _ = wrong.append(&client, 0, &wrong.bytes).expect(200);
        wrong.finish(&client).expect_problem(422, "wrong_type");
    }
    let _ = file.reserve(&client).expect(201);
    let other = Sending::new(large_png(300_000, 2), "image/png");
    other.reserve(&client).expect_problem(409, "no_room_for_files");
    stage.clock.advance(Duration::hours(49));
    assert_eq!(stage.sweep().uploads, 1);
    let _ = other.reserve(&stage.technician()).expect(201);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn many_at_once_cannot_have_the_last_of_the_room() {
    let stage = small(1_000_000, 1_000);
    let taken: usize = std::thread::scope(|scope| {
        let reserve = |seed: u64| {
            let client = stage.technician();
            move || {
                usize::from(
                    Sending::new(large_png(100_000, seed), "image/png").reserve(&client).status == 201,
                )
            }
        };
        let all: Vec<_> = (0..16).map(|seed| scope.spawn(reserve(seed))).collect();
        all.into_iter().map(|one| one.join().expect("an answer")).sum()
    });
    assert_eq!(taken, 10);
    assert_eq!(stage.wrong(), Vec::<String>::new());
    assert_eq!(stage.fleet.now(), now());
}

#[test]
fn each_purpose_takes_its_own_types_and_sheets_come_from_the_office() {
    let stage = Stage::new();
    let sheet = Sending::new(pdf(), "application/pdf");
    sheet.reserve(&stage.technician()).expect_problem(403, "not_allowed");
    let wish =
        |media_type: &str, what: &str| json!({"size_bytes": 10, "media_type": media_type, "what": what});
    let office = stage.office();
    for (media_type, what) in [("application/pdf", "photo"), ("image/png", "sheet"), ("image/jpeg", "sheet")]
    {
        office.put(&sheet.path(), &wish(media_type, what)).expect_problem(422, "wrong_type");
    }
    for (media_type, what) in [("image/svg+xml", "photo"), ("text/html", "sheet"), ("image/png", "anything")]
    {
        office.put(&sheet.path(), &wish(media_type, what)).expect_problem(422, "bad_field");
    }
    for wrong in ["abc", &sheet.sha256.to_uppercase(), "..%2f..%2fetc", "%00"] {
        office.put(&format!("/v1/files/{wrong}"), &sheet.wish()).expect_problem(404, "not_found");
    }
}
