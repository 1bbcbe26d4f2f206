//! A file belongs to its fleet, and of a fleet to those it concerns: nobody else learns that it exists.

use super::stage::Stage;
use end_to_end::cards::{create, edit};
use end_to_end::files::Sending;
use end_to_end::{Client, Fleet};
use serde_json::json;
use uuid::Uuid;

fn another_fleet(stage: &Stage) -> Fleet {
    Fleet::found(&stage.db.server_url(), &stage.clock, Client::new(stage.server.address), "pier")
}

#[test]
fn another_fleets_digest_is_as_unknown_as_one_that_never_was() {
    let stage = Stage::new();
    let theirs = another_fleet(&stage);
    let file = stage.kept_photo(&stage.technician());
    let _ = stage.photograph(&stage.technician(), stage.cards.job, &file.sha256);
    let never = Sending::photo();
    for client in [theirs.as_owner(), theirs.as_office(), theirs.as_technician()] {
        assert_eq!(file.fetch(&client).expect(404).text(), never.fetch(&client).expect(404).text());
        assert_eq!(file.finish(&client).expect(404).text(), never.finish(&client).expect(404).text());
        let jobs = client.get(&format!("/v1/jobs/{}/files", stage.cards.job)).expect(404).text();
        assert_eq!(jobs, client.get(&format!("/v1/jobs/{}/files", Uuid::now_v7())).expect(404).text());
    }
    // Announcing it tells nothing either: it must be sent whole, and is kept apart.
    let told = file.reserve(&theirs.as_office()).expect(201).json();
    assert_eq!((&told["state"], &told["offset_bytes"]), (&json!("open"), &json!(0)));
    let _ = file.send(&theirs.as_office()).expect(200);
    assert_eq!((stage.count("files"), stage.kept_blobs().len()), (2, 2));
    let fleets: std::collections::BTreeSet<_> =
        stage.kept_blobs().iter().map(|path| path.iter().rev().nth(3).expect("a fleet").to_owned()).collect();
    assert_eq!(fleets.len(), 2);
}

#[test]
fn a_technician_sees_what_they_sent_and_what_jobs_of_their_van_refer_to() {
    let stage = Stage::new();
    let (technician, office) = (stage.technician(), stage.office());
    let body = json!({"place_id": stage.cards.other_van, "client_id": stage.cards.client,
        "vehicle_id": stage.cards.vehicle, "crew": [], "starts_at": "2026-03-02T20:00:00Z",
        "ends_at": "2026-03-02T22:00:00Z", "service_ids": [], "state": "booked"});
    let elsewhere = create(&office, "job", &body);
    let (own, shared, other) =
        (stage.kept_photo(&technician), stage.kept_photo(&office), stage.kept_photo(&office));
    let _ = stage.photograph(&office, stage.cards.job, &shared.sha256);
    let _ = stage.photograph(&office, elsewhere, &other.sha256);
    let _ = own.fetch(&technician).expect(200);
    let _ = shared.fetch(&technician).expect(200);
    let missing = Sending::photo().fetch(&technician).expect(404).text();
    assert_eq!(other.fetch(&technician).expect(404).text(), missing);
    // To know its digest is not to have it: announcing it opens nothing.
    let _ = other.reserve(&technician).expect(200);
    assert_eq!(other.fetch(&technician).expect(404).text(), missing);
    technician.get(&format!("/v1/jobs/{elsewhere}/files")).expect_problem(404, "not_found");
    let _ = technician.get(&format!("/v1/jobs/{}/files", stage.cards.job)).expect(200);
    for client in [&office, &stage.fleet.as_owner()] {
        for file in [&own, &shared, &other] {
            let _ = file.fetch(client).expect(200);
        }
    }
    // The job goes to the other van, and its photos with it.
    edit(&office, stage.cards.job, &json!({"place_id": stage.cards.other_van}));
    assert_eq!(shared.fetch(&technician).expect(404).text(), missing);
}

#[test]
fn one_members_upload_is_nobody_elses_to_spoil() {
    let stage = Stage::new();
    let (technician, office) = (stage.technician(), stage.office());
    let file = Sending::photo();
    let _ = file.reserve(&technician).expect(201);
    file.append(&office, 0, b"x").expect_problem(404, "not_found");
    let _ = file.reserve(&office).expect(201);
    let mut spoilt = file.bytes.clone();
    spoilt[9] ^= 1;
    let _ = file.append(&office, 0, &spoilt).expect(200);
    let _ = file.append(&technician, 0, &file.bytes).expect(200);
    file.finish(&office).expect_problem(422, "digest_differs");
    assert_eq!(file.finish(&technician).expect(200).json()["state"], "kept");
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn money_is_in_no_answer_about_files() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::photo();
    let mut told = file.reserve(&client).expect(201).text();
    told += &file.append(&client, 0, &file.bytes).expect(200).text();
    told += &file.finish(&client).expect(200).text();
    let _ = stage.photograph(&client, stage.cards.job, &file.sha256);
    told += &client.get(&format!("/v1/jobs/{}/files", stage.cards.job)).expect(200).text();
    for word in ["amount", "price", "currency", "member_id", "240.5"] {
        assert!(!told.contains(word), "{word}: {told}");
    }
}

#[test]
fn pages_of_a_jobs_files_follow_one_another() {
    let stage = Stage::new();
    let office = stage.office();
    let mut entries: Vec<Uuid> =
        (0..5).map(|_| stage.photograph(&office, stage.cards.job, &Sending::photo().sha256)).collect();
    entries.sort();
    let (mut read, mut after) = (Vec::new(), String::new());
    loop {
        let path = format!("/v1/jobs/{}/files?room=2{after}", stage.cards.job);
        let page = office.get(&path).expect(200).json();
        read.extend(page["rows"].as_array().expect("rows").iter().map(|row| row["entry_id"].clone()));
        let Some(next) = page["next"].as_str() else { break };
        after = format!("&after={next}");
    }
    assert_eq!(read, entries.iter().map(|id| json!(id)).collect::<Vec<_>>());
}
