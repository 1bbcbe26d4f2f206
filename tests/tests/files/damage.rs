//! A file whose bytes are not those that were kept is named by an audit, not handed out, and mended by
//! whoever still has it.

use super::stage::Stage;
use end_to_end::binary::dropwise;
use end_to_end::files::Sending;
use std::fs;
use std::process::Command;

fn audit(stage: &Stage) -> (bool, String) {
    let out = Command::new(dropwise())
        .args(["audit", &stage.fleet.handle])
        .env_clear()
        .env("DROPWISE_DATABASE_URL", stage.db.server_url())
        .env("DROPWISE_FILES", stage.folder.path().join("files"))
        .output()
        .expect("an audit");
    let said = String::from_utf8_lossy(&out.stdout).into_owned() + &String::from_utf8_lossy(&out.stderr);
    (out.status.success(), said)
}

#[test]
fn a_flipped_byte_is_named_and_refused_and_mended_by_sending_the_file_again() {
    let stage = Stage::new();
    let client = stage.technician();
    let (file, other) = (stage.kept_photo(&client), stage.kept_photo(&client));
    let _ = stage.photograph(&client, stage.cards.job, &file.sha256);
    let (whole, said) = audit(&stage);
    assert!(whole && said.contains("2 compared, 0 differ"), "{said}");
    let kept = file.fetch(&client).expect(200).body;
    let blob = stage.kept_blobs().into_iter().find(|path| fs::read(path).expect("a blob") == kept);
    // Both photos show the same picture: any one of the two blobs may be the one.
    let blob = blob.expect("the blob");
    let mut bytes = fs::read(&blob).expect("a blob");
    bytes[kept.len() / 2] ^= 1;
    fs::write(&blob, &bytes).expect("a flipped byte");

    let (damaged, good) = if file.fetch(&client).status == 500 { (&file, &other) } else { (&other, &file) };
    damaged.fetch(&client).expect_problem(500, "file_damaged");
    let range = [("range", "bytes=0-3")];
    client.send("GET", &damaged.path(), &range, None).expect_problem(500, "file_damaged");
    let _ = good.fetch(&client).expect(200);
    let (whole, said) = audit(&stage);
    assert!(!whole && said.contains("BROKEN") && said.contains(&damaged.sha256), "{said}");
    assert!(!said.contains(&good.sha256), "{said}");

    assert_eq!(damaged.send(&client).expect(200).json()["state"], "kept");
    let _ = damaged.fetch(&client).expect(200);
    let (whole, said) = audit(&stage);
    assert!(whole, "{said}");
}

#[test]
fn a_blob_that_is_gone_or_cut_is_damage_and_the_job_says_so() {
    let stage = Stage::new();
    let client = stage.technician();
    for spoil in [
        |path: &std::path::Path| fs::remove_file(path).expect("gone"),
        |path: &std::path::Path| {
            fs::write(path, b"\xff\xd8\xff").expect("cut");
        },
    ] {
        let file = stage.kept_photo(&client);
        let entry = stage.photograph(&client, stage.cards.job, &file.sha256);
        let blob: (chrono::NaiveDate, uuid::Uuid) = {
            let sql = "select made_on, file_id from files where encode(sha256, 'hex') = $1";
            let row = stage.db.as_owner().query_one(sql, &[&file.sha256]).expect("a file");
            (row.get(0), row.get(1))
        };
        let (day, id) = (blob.0.to_string(), blob.1.to_string());
        let found = stage.kept_blobs().into_iter().find(|path| path.ends_with(format!("{day}/{id}")));
        spoil(&found.expect("the blob"));
        file.fetch(&client).expect_problem(500, "file_damaged");
        let missing = stage.job_files("?missing=true");
        let row = missing.iter().find(|row| row["entry_id"] == entry.to_string()).expect("reported");
        assert_eq!(row["state"], "damaged");
        assert!(stage.wrong()[0].contains(&file.sha256), "{:?}", stage.wrong());
        let _ = file.send(&client).expect(200);
        let _ = file.fetch(&client).expect(200);
        assert_eq!(stage.job_files("?missing=true").len(), 0);
    }
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn an_audit_sees_room_that_is_counted_wrong_and_uses_that_differ() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = stage.kept_photo(&client);
    let _ = stage.photograph(&client, stage.cards.job, &file.sha256);
    assert_eq!(stage.wrong(), Vec::<String>::new());
    let mut owner = stage.db.as_owner();
    owner.batch_execute("update file_room set bytes = bytes + 1").expect("a wrong count");
    assert_eq!(stage.wrong().len(), 1);
    owner.batch_execute("update file_room set bytes = bytes - 1; delete from file_uses").expect("no use");
    assert_eq!(stage.wrong().len(), 1);
    assert_eq!(Sending::photo().fetch(&client).status, 404);
}
