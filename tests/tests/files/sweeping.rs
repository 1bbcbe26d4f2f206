//! What nobody needs goes after two days; what is needed, or may still be, stays.

use super::stage::{Stage, photo};
use chrono::Duration;
use dropwise::ids::fresh;
use end_to_end::binary::dropwise;
use end_to_end::files::{Sending, large_png};
use serde_json::json;
use std::fs;
use std::process::Command;

#[test]
fn a_file_nothing_refers_to_goes_after_two_days_and_one_that_is_referred_to_stays() {
    let stage = Stage::new();
    let client = stage.technician();
    let (used, unused) = (Sending::new(large_png(70_000, 1), "image/png"), stage.kept_photo(&client));
    let _ = used.send(&client).expect(200);
    let _ = stage.photograph(&client, stage.cards.job, &used.sha256);
    stage.clock.advance(Duration::hours(47));
    assert_eq!(stage.sweep().files, 0);
    stage.clock.advance(Duration::hours(2));
    assert_eq!(stage.sweep().files, 1);
    let client = stage.technician();
    unused.fetch(&client).expect_problem(404, "not_found");
    let _ = used.fetch(&client).expect(200);
    assert_eq!(stage.kept_blobs().len(), 1);
    // The record comes after all: the job says what is missing, and the phone sends it again.
    let _ = stage.photograph(&client, stage.cards.job, &unused.sha256);
    assert_eq!(stage.job_files("?missing=true").len(), 1);
    let _ = unused.reserve(&client).expect(201);
    let _ = unused.append(&client, 0, &unused.bytes).expect(200);
    let _ = unused.finish(&client).expect(200);
    assert_eq!(stage.job_files("?missing=true").len(), 0);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn a_file_whose_photo_was_taken_back_stays_two_days_from_then() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = stage.kept_photo(&client);
    let entry = stage.photograph(&client, stage.cards.job, &file.sha256);
    stage.clock.advance(Duration::days(30));
    let reversal = json!({"kind": "reversal", "happened_at": "2026-03-02T19:00:00Z",
                          "body": {"entry_id": entry, "why": "another car"}});
    let _ = stage.technician().put(&format!("/v1/entries/{}", fresh()), &reversal).expect(200);
    stage.clock.advance(Duration::hours(47));
    assert_eq!(stage.sweep().files, 0);
    stage.clock.advance(Duration::hours(2));
    assert_eq!(stage.sweep().files, 1);
    assert_eq!((stage.blobs().len(), stage.wrong()), (0, vec![]));
}

#[test]
fn an_upload_nobody_sends_on_goes_and_one_that_moves_stays() {
    let stage = Stage::new();
    let (still, moving) =
        (Sending::new(large_png(300_000, 1), "image/png"), Sending::new(large_png(300_000, 2), "image/png"));
    let part = 64 * 1024;
    for file in [&still, &moving] {
        let _ = file.reserve(&stage.technician()).expect(201);
        let _ = file.append(&stage.technician(), 0, &file.bytes[..part]).expect(200);
    }
    stage.clock.advance(Duration::hours(40));
    let _ = moving.append(&stage.technician(), part, &moving.bytes[part..2 * part]).expect(200);
    stage.clock.advance(Duration::hours(40));
    assert_eq!(stage.sweep().uploads, 1);
    let client = stage.technician();
    still.append(&client, part, &still.bytes[part..]).expect_problem(404, "not_found");
    let _ = moving.append(&client, 2 * part, &moving.bytes[2 * part..]).expect(200);
    let _ = moving.finish(&client).expect(200);
    assert_eq!((stage.blobs().len(), stage.wrong()), (1, vec![]));
}

#[test]
fn what_a_crash_left_between_bytes_and_note_is_swept_and_nothing_else() {
    let stage = Stage::new();
    let client = stage.technician();
    let kept = stage.kept_photo(&client);
    let _ = stage.photograph(&client, stage.cards.job, &kept.sha256);
    let open = Sending::new(large_png(300_000, 1), "image/png");
    let _ = open.reserve(&client).expect(201);
    let _ = open.append(&client, 0, &open.bytes[..64 * 1024]).expect(200);
    let root = stage.folder.path().join("files").join(stage.fleet.id.to_string());
    let orphans = [
        root.join("kept/2026-03-02").join(fresh().to_string()),
        root.join("parts/2026-03-02").join(fresh().to_string()),
        // A process that was killed while it wrote.
        root.join("kept/2026-03-02").join(format!("{}#1", fresh())),
    ];
    for orphan in &orphans {
        fs::write(orphan, b"left behind").expect("an orphan");
    }
    assert_eq!(stage.sweep().blobs, 0, "it may be a file on its way");
    // The upload still moves, so it is no orphan, though its first part is old.
    stage.clock.advance(Duration::hours(40));
    let _ = open.append(&stage.technician(), 64 * 1024, &open.bytes[64 * 1024..200_000]).expect(200);
    stage.clock.advance(Duration::hours(40));
    assert_eq!(stage.sweep().blobs, 2);
    assert!(orphans.iter().all(|orphan| !orphan.exists()), "{orphans:?}");
    assert_eq!(stage.blobs().len(), 3, "the file, and both parts of the upload that moves");
    let _ = kept.fetch(&stage.technician()).expect(200);
    assert_eq!(stage.wrong(), Vec::<String>::new());
    // A day that was swept is not listed again, except by an operator.
    fs::create_dir_all(orphans[0].parent().expect("a day")).expect("a day");
    fs::write(&orphans[0], b"left behind").expect("an orphan");
    assert_eq!(stage.sweep().blobs, 0);
    let said = sweep_by_hand(&stage);
    assert!(said.contains("1 blobs of nothing"), "{said}");
    assert!(!orphans[0].exists());
    let _ = kept.fetch(&stage.technician()).expect(200);
}

fn sweep_by_hand(stage: &Stage) -> String {
    let out = Command::new(dropwise())
        .args(["files", "sweep", &stage.fleet.handle])
        .env_clear()
        .env("DROPWISE_DATABASE_URL", stage.db.server_url())
        .env("DROPWISE_FILES", stage.folder.path().join("files"))
        .output()
        .expect("a sweep");
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    String::from_utf8_lossy(&out.stdout).into_owned()
}

#[test]
fn a_fleet_that_sends_files_sweeps_behind_itself() {
    let stage = Stage::new();
    for _ in 0..3 {
        let _ = stage.kept_photo(&stage.technician());
    }
    stage.clock.advance(Duration::hours(60));
    let _ = Sending::photo().reserve(&stage.technician()).expect(201);
    for _ in 0..100 {
        if stage.count("files") == 0 && stage.blobs().is_empty() {
            return assert_eq!(stage.wrong(), Vec::<String>::new());
        }
        std::thread::sleep(std::time::Duration::from_millis(50));
    }
    panic!("{} files are still there", stage.count("files"));
}

#[test]
fn a_day_of_many_files_is_swept_in_bounded_steps() {
    let stage = Stage::new();
    let client = stage.technician();
    for _ in 0..60 {
        let _ = stage.kept_photo(&client);
    }
    let entry = photo(stage.cards.job, &Sending::photo().sha256);
    let _ = client.put(&format!("/v1/entries/{}", fresh()), &entry).expect(200);
    stage.clock.advance(Duration::hours(49));
    let steps: Vec<usize> = (0..3).map(|_| stage.sweep().files).collect();
    assert_eq!(steps, [50, 10, 0]);
    assert_eq!((stage.blobs().len(), stage.wrong()), (0, vec![]));
}
