//! Values that lost are kept and listed for the office, who keeps what stands or uses what lost.

use super::crew::{Phone, body, lost, stamp};
use crate::invariants::desk::Desk;
use serde_json::{Value, json};
use uuid::Uuid;

/// Two notes at once: `winner` stands, `loser` is on the list.
fn clash(desk: &Desk, job: Uuid) {
    let (one, other) = (Phone::enrol(desk), Phone::enrol(desk));
    let _ = one.send(one.edit(job, json!({"note": "loser"}), json!({"stamp": stamp(1, 0)})));
    let _ = other.send(other.edit(job, json!({"note": "winner"}), json!({"stamp": stamp(2, 0)})));
    assert_eq!(body(desk, job)["note"], "winner");
}

fn rows(desk: &Desk) -> Vec<Value> {
    let page = desk.fleet.as_office().get("/v1/lost-values").expect(200).json();
    page["rows"].as_array().expect("rows").clone()
}

#[test]
fn what_lost_is_shown_beside_what_stands_and_goes_off_the_list_when_it_is_decided() {
    let desk = Desk::new("lost-decide");
    let jobs = [desk.cards.job, desk.another_job()];
    jobs.iter().for_each(|job| clash(&desk, *job));
    let listed = rows(&desk);
    assert_eq!(listed.len(), 2);
    assert_eq!(listed[0]["card_kind"], "job");
    assert_eq!((&listed[0]["value"], &listed[0]["current"]), (&json!("loser"), &json!("winner")));
    assert!(listed[0]["entry_id"].is_string() && listed[0]["stamp"] == json!(stamp(1, 0)));

    let office = desk.fleet.as_office();
    let path = |row: &Value| format!("/v1/lost-values/{}/decision", row["id"].as_str().unwrap());
    let keep = office.post(&path(&listed[0]), &json!({"decision": "keep"})).expect(200).json();
    assert_eq!((&keep["decision"], &keep["current"]), (&json!("keep"), &json!("winner")));
    let _ = office.post(&path(&listed[0]), &json!({"decision": "keep"})).expect(200);
    office.post(&path(&listed[0]), &json!({"decision": "use_it"})).expect_problem(409, "already_decided");
    let used = office.post(&path(&listed[1]), &json!({"decision": "use_it"})).expect(200).json();
    assert_eq!((&used["decision"], &used["current"]), (&json!("use_it"), &json!("loser")));
    assert_eq!(lost(&desk), [], "the office had seen what it overwrote");
    let notes: Vec<Value> = jobs.iter().map(|job| body(&desk, *job)["note"].clone()).collect();
    let second = listed[1]["card_id"] == json!(jobs[1]);
    assert_eq!(notes, if second { ["winner", "loser"] } else { ["loser", "winner"] });
    desk.audit();
}

#[test]
fn the_list_is_paged_and_only_the_offices() {
    let desk = Desk::new("lost-pages");
    for _ in 0..3 {
        let job = desk.another_job();
        clash(&desk, job);
    }
    let office = desk.fleet.as_office();
    let first = office.get("/v1/lost-values?room=2").expect(200).json();
    assert_eq!(first["rows"].as_array().unwrap().len(), 2);
    let next = first["next"].as_str().expect("a next page");
    let second = office.get(&format!("/v1/lost-values?room=2&after={next}")).expect(200).json();
    assert_eq!(second["rows"].as_array().unwrap().len(), 1);
    assert!(second["next"].is_null());
    desk.fleet.as_technician().get("/v1/lost-values").expect_problem(403, "not_allowed");
    let decide = format!("/v1/lost-values/{}/decision", dropwise::ids::fresh());
    office.post(&decide, &json!({"decision": "keep"})).expect_problem(404, "not_found");
}

#[test]
fn a_deleted_card_takes_nothing_back() {
    let desk = Desk::new("lost-deleted");
    let job = desk.another_job();
    clash(&desk, job);
    let office = desk.fleet.as_office();
    let etag = office.get(&end_to_end::cards::path(job)).expect(200).etag();
    let _ = office.send("DELETE", &end_to_end::cards::path(job), &[("if-match", &etag)], None).expect(204);
    let row = rows(&desk).remove(0);
    assert_eq!((&row["card_kind"], &row["value"]), (&Value::Null, &json!("loser")));
    let path = format!("/v1/lost-values/{}/decision", row["id"].as_str().unwrap());
    office.post(&path, &json!({"decision": "use_it"})).expect_problem(409, "card_deleted");
    let _ = office.post(&path, &json!({"decision": "keep"})).expect(200);
    assert_eq!(rows(&desk), Vec::<Value>::new());
}
