//! Delete against edit: a draft goes and edits of it are refused; what has facts stays.

use super::crew::Phone;
use crate::invariants::desk::Desk;
use end_to_end::{Answer, cards};
use serde_json::json;
use uuid::Uuid;

fn delete(desk: &Desk, id: Uuid) -> Answer {
    let office = desk.fleet.as_office();
    let etag = office.get(&cards::path(id)).expect(200).etag();
    office.send("DELETE", &cards::path(id), &[("if-match", &etag)], None)
}

#[test]
fn deletion_of_a_draft_wins_over_edits_that_phones_still_carry_and_its_id_never_comes_back() {
    let desk = Desk::new("deletes-draft");
    let phone = Phone::enrol(&desk);
    let job = desk.another_job();
    assert_eq!(phone.send(phone.edit(job, json!({"note": "mine"}), json!({})))["verdict"], "taken");
    let _ = delete(&desk, job).expect(204);
    let office = desk.fleet.as_office();
    office.get(&cards::path(job)).expect_problem(404, "not_found");
    for edit in [
        phone.edit(job, json!({"note": "too late"}), json!({})),
        phone.entry(
            "job_command",
            json!({"job_id": job, "command": "start", "expects": "booked"}),
            json!({}),
        ),
    ] {
        let verdict = phone.send(edit);
        assert_eq!((&verdict["verdict"], &verdict["code"]), (&json!("refused"), &json!("card_deleted")));
    }
    let again = json!({"kind": "place", "body": {"name": "Back", "what": "depot"}});
    office.put(&cards::path(job), &again).expect_problem(409, "card_deleted");
    let _ = office.send("DELETE", &cards::path(job), &[("if-match", "\"1\"")], None).expect(204);
    assert!(phone.told("job", job)["body"]["body"].is_null(), "phones forget it");
    let kept: i64 = desk
        .world
        .db
        .as_owner()
        .query_one("select count(*) from field_history where card_id = $1", &[&job])
        .unwrap()
        .get(0);
    assert_eq!(kept, 1, "what was written stays readable");
    desk.audit();
}

#[test]
fn a_record_with_facts_or_one_that_is_named_is_not_deleted() {
    let desk = Desk::new("deletes-facts");
    let of = desk.cards;
    desk.take("container_open", json!({"container_id": of.container}));
    desk.take(
        "section_work",
        json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad}),
    );
    for (id, code) in [
        (of.container, "has_facts"),
        (of.pad, "has_facts"),
        (of.job, "has_facts"),
        (of.client, "still_used"),
        (of.vehicle, "still_used"),
        (of.product, "still_used"),
        (of.van, "retire_instead"),
        (of.machine, "retire_instead"),
        (desk.fleet.id.0, "one_fleet_card"),
    ] {
        delete(&desk, id).expect_problem(409, code);
    }
    let stale = desk.fleet.as_office().send("DELETE", &cards::path(of.job), &[("if-match", "\"77\"")], None);
    let _ = stale.expect(412);
    // A bottle that was opened by mistake was a fact all the same.
    let open = desk.another_job();
    let _ = delete(&desk, open).expect(204);
    desk.audit();
}

#[test]
fn a_client_and_a_vehicle_go_once_their_draft_job_is_gone_and_the_van_is_told() {
    let desk = Desk::new("deletes-chain");
    let (of, phone) = (desk.cards, Phone::enrol(&desk));
    assert!(!phone.told("client", of.client)["body"]["body"].is_null());
    for id in [of.job, of.vehicle, of.client] {
        let _ = delete(&desk, id).expect(204);
    }
    assert!(phone.told("client", of.client)["body"]["body"].is_null(), "no job brings them to the van");
    let left: i64 = desk
        .world
        .db
        .as_owner()
        .query_one("select count(*) from card_links where card_id = any($1)", &[&vec![of.job, of.vehicle]])
        .unwrap()
        .get(0);
    assert_eq!(left, 0);
    desk.audit();
}
