//! A photo's record and its file come in any order, and meet.

use super::stage::{Stage, photo};
use dropwise::ids::fresh;
use end_to_end::files::Sending;
use serde_json::{Value, json};

#[test]
fn the_record_may_come_before_its_file_which_is_missing_until_it_comes() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = Sending::photo();
    let entry = stage.photograph(&client, stage.cards.job, &file.sha256);
    let missing = stage.job_files("?missing=true");
    assert_eq!(missing.len(), 1);
    assert_eq!(missing[0]["entry_id"], json!(entry));
    assert_eq!((&missing[0]["sha256"], &missing[0]["state"]), (&json!(file.sha256), &json!("missing")));
    assert_eq!((&missing[0]["section"], &missing[0]["caption"]), (&json!("hood"), &json!("before")));
    file.fetch(&client).expect_problem(404, "not_found");
    let _ = file.send(&client).expect(200);
    assert_eq!(stage.job_files("?missing=true"), Vec::<Value>::new());
    let all = stage.job_files("");
    assert_eq!((&all[0]["state"], &all[0]["media_type"]), (&json!("kept"), &json!("image/jpeg")));
    let _ = file.fetch(&client).expect(200);
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn the_file_may_come_before_its_record() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = stage.kept_photo(&client);
    assert_eq!(stage.job_files(""), Vec::<Value>::new());
    let _ = stage.photograph(&client, stage.cards.job, &file.sha256);
    assert_eq!(stage.job_files("")[0]["state"], "kept");
    assert_eq!(stage.wrong(), Vec::<String>::new());
}

#[test]
fn a_photo_handed_over_by_a_phone_comes_back_in_the_trail_and_books_nothing() {
    let stage = Stage::new();
    let client = stage.technician();
    let lane = fresh();
    let _ = client.put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"})).expect_any(&[200, 201]);
    let file = Sending::photo();
    let mut entry = photo(stage.cards.job, &file.sha256);
    let id = fresh();
    entry["n"] = json!(1);
    entry["id"] = json!(id);
    let handover = json!({"lane_id": lane, "entries": [entry]});
    for _ in 0..2 {
        let reply = client.post("/v1/device/handover", &handover).expect(200).json();
        assert_eq!(reply["verdicts"][0]["verdict"], "taken", "{reply}");
    }
    assert_eq!(stage.count("file_uses"), 1);
    assert_eq!(stage.count("cost_lines") + stage.count("stock_lines") + stage.count("pad_lines"), 0);
    let trail = client.get("/v1/device/trail").expect(200).json();
    let told = trail["rows"].as_array().expect("rows").iter().find(|row| row["id"] == json!(id));
    assert_eq!(told.expect("the photo in the trail")["body"]["body"]["sha256"], file.sha256);
    assert_eq!(stage.job_files("?missing=true").len(), 1);
}

#[test]
fn a_photo_taken_back_is_no_photo_of_the_job() {
    let stage = Stage::new();
    let client = stage.technician();
    let file = stage.kept_photo(&client);
    let entry = stage.photograph(&client, stage.cards.job, &file.sha256);
    let reversal = json!({"kind": "reversal", "happened_at": "2026-03-02T19:00:00Z",
                          "body": {"entry_id": entry, "why": "another car"}});
    let _ = client.put(&format!("/v1/entries/{}", fresh()), &reversal).expect(200);
    assert_eq!(stage.job_files(""), Vec::<Value>::new());
}

#[test]
fn photos_of_other_vans_unknown_sections_and_no_digests_are_refused() {
    let stage = Stage::new();
    let (technician, office) = (stage.technician(), stage.office());
    let sha256 = Sending::photo().sha256;
    let put = |client: &end_to_end::Client, body: Value| {
        let entry = json!({"kind": "photo", "happened_at": "2026-03-02T19:00:00Z", "body": body});
        client.put(&format!("/v1/entries/{}", fresh()), &entry)
    };
    let job = stage.cards.job;
    put(&office, json!({"job_id": fresh(), "sha256": sha256})).expect_problem(422, "no_such_record");
    put(&office, json!({"job_id": job, "sha256": sha256, "section": "wing"}))
        .expect_problem(422, "no_such_section");
    let caption = "x".repeat(501);
    put(&office, json!({"job_id": job, "sha256": sha256, "caption": caption}))
        .expect_problem(422, "too_long");
    for wrong in ["", "abc", &sha256.to_uppercase(), &sha256[1..]] {
        put(&office, json!({"job_id": job, "sha256": wrong})).expect_problem(422, "bad_field");
    }
    let elsewhere = json!({"place_id": stage.cards.other_van, "client_id": stage.cards.client,
        "vehicle_id": stage.cards.vehicle, "crew": [], "starts_at": "2026-03-02T20:00:00Z",
        "ends_at": "2026-03-02T22:00:00Z", "service_ids": [], "state": "booked"});
    let elsewhere = end_to_end::cards::create(&office, "job", &elsewhere);
    put(&technician, json!({"job_id": elsewhere, "sha256": sha256})).expect_problem(422, "no_such_record");
    // A settled job takes no more work, but may be shown as it was.
    end_to_end::cards::edit(&office, job, &json!({"state": "settled"}));
    let _ = put(&technician, json!({"job_id": job, "sha256": sha256})).expect(200);
}
