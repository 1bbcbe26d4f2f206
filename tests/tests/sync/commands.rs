//! Jobs are started, finished and handed back from phones; a late command is told where the job is.

use super::crew::{Phone, body};
use crate::invariants::desk::Desk;
use end_to_end::cards;
use serde_json::{Value, json};
use uuid::Uuid;

fn command(phone: &Phone<'_>, job: Uuid, command: &str, expects: &str) -> Value {
    phone.send(phone.entry(
        "job_command",
        json!({"job_id": job, "command": command, "expects": expects}),
        json!({}),
    ))
}

fn revenue(desk: &Desk) -> Value {
    desk.fleet.as_owner().get("/v1/months/2026-03").expect(200).json()["revenue_amount"].clone()
}

#[test]
fn a_job_goes_from_booked_to_settled_and_counts_as_revenue_once_it_is_done() {
    let desk = Desk::new("commands-way");
    let (phone, job) = (Phone::enrol(&desk), desk.cards.job);
    assert_eq!(revenue(&desk), "0", "a booking is no revenue");
    for (word, from, to) in [
        ("start", "booked", "under_way"),
        ("hand_back", "under_way", "booked"),
        ("start", "booked", "under_way"),
        ("finish", "under_way", "finished"),
    ] {
        assert_eq!(command(&phone, job, word, from)["verdict"], "taken", "{word}");
        assert_eq!(body(&desk, job)["state"], to);
        assert_eq!(phone.told("job", job)["body"]["body"]["state"], to);
        let column: String = desk
            .world
            .db
            .as_owner()
            .query_one("select state from jobs where job_id = $1", &[&job])
            .unwrap()
            .get(0);
        assert_eq!(column, to);
    }
    assert_eq!(revenue(&desk), "240.5");
    assert!(!phone.told("client", desk.cards.client)["body"]["body"].is_null(), "until it is settled");
    cards::edit(&desk.fleet.as_office(), job, &json!({"state": "settled"}));
    assert_eq!(revenue(&desk), "240.5");
    desk.audit();
}

#[test]
fn of_two_phones_that_start_one_job_the_second_is_told_where_it_is() {
    let desk = Desk::new("commands-late");
    let (one, other) = (Phone::enrol(&desk), Phone::enrol(&desk));
    let job = desk.cards.job;
    assert_eq!(command(&one, job, "start", "booked")["verdict"], "taken");
    let late = command(&other, job, "start", "booked");
    assert_eq!((&late["verdict"], &late["code"]), (&json!("refused"), &json!("job_moved_on")));
    assert_eq!(late["pointer"], "/body/expects");
    assert!(late["sentence"].as_str().unwrap().contains("under way"), "{late}");
    cards::edit(&desk.fleet.as_office(), job, &json!({"state": "settled"}));
    let late = command(&one, job, "finish", "under_way");
    assert!(late["sentence"].as_str().unwrap().contains("settled"), "{late}");
    let twice = command(&one, job, "hand_back", "settled");
    assert_eq!((&twice["code"], &twice["pointer"]), (&json!("no_such_step"), &json!("/body/command")));
    desk.audit();
}

#[test]
fn work_is_recorded_before_a_start_and_after_a_finish_until_the_job_is_settled() {
    let desk = Desk::new("commands-work");
    let (phone, other) = (Phone::enrol(&desk), Phone::enrol(&desk));
    let of = desk.cards;
    let work = |phone: &Phone<'_>| {
        phone.entry(
            "section_work",
            json!({"job_id": of.job, "section": "hood", "stage": "polishing", "pad_id": of.pad}),
            json!({}),
        )
    };
    assert_eq!(phone.send(work(&phone))["verdict"], "taken");
    assert_eq!(body(&desk, of.job)["state"], "booked", "only a command moves a job");
    // In one handover: a start, work, a finish; each sees what the one before it did.
    let run = [
        phone.entry(
            "job_command",
            json!({"job_id": of.job, "command": "start", "expects": "booked"}),
            json!({}),
        ),
        work(&phone),
        phone.edit(of.job, json!({"sections/hood/polishing": "done"}), json!({})),
        phone.entry(
            "job_command",
            json!({"job_id": of.job, "command": "finish", "expects": "under_way"}),
            json!({}),
        ),
    ];
    let reply = phone.hand_over(&run);
    for verdict in reply["verdicts"].as_array().unwrap() {
        assert_eq!(verdict["verdict"], "taken", "{verdict}");
    }
    let card = body(&desk, of.job);
    assert_eq!((&card["state"], &card["sections"]["hood/polishing"]), (&json!("finished"), &json!("done")));
    assert_eq!(other.send(work(&other))["verdict"], "taken", "the other phone of the crew hands over later");
    cards::edit(&desk.fleet.as_office(), of.job, &json!({"state": "settled"}));
    assert_eq!(other.send(work(&other))["code"], "job_settled");
    let closed = other.send(other.edit(of.job, json!({"sections/hood/polishing": "redo"}), json!({})));
    assert_eq!(closed["code"], "job_closed");
    desk.audit();
}

#[test]
fn the_office_moves_a_job_anywhere_while_it_is_open_and_nowhere_after() {
    let desk = Desk::new("commands-office");
    let (office, job) = (desk.fleet.as_office(), desk.another_job());
    for state in ["under_way", "finished", "booked", "finished", "cancelled"] {
        cards::edit(&office, job, &json!({"state": state}));
    }
    let etag = office.get(&cards::path(job)).expect(200).etag();
    office.patch(&cards::path(job), &etag, &json!({"state": "booked"})).expect_problem(409, "job_cancelled");
    let other_van = cards::create(
        &office,
        "job",
        &json!({"place_id": desk.cards.other_van, "client_id": desk.cards.client, "vehicle_id": desk.cards.vehicle,
                "crew": [], "starts_at": "2026-03-02T20:00:00Z", "ends_at": "2026-03-02T22:00:00Z",
                "service_ids": [], "state": "booked"}),
    );
    let phone = Phone::enrol(&desk);
    assert_eq!(command(&phone, other_van, "start", "booked")["code"], "no_such_record", "another van's job");
}
