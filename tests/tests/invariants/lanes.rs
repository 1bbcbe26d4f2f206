//! Lanes: entries arrive once, in order, whatever is repeated, missing or mixed up; the trail has no gap.

use crate::invariants::desk::Desk;
use dropwise::ids::fresh;
use serde_json::{Value, json};
use uuid::Uuid;

struct Phone<'a> {
    desk: &'a Desk,
    lane: Uuid,
}

impl<'a> Phone<'a> {
    fn enrol(desk: &'a Desk) -> Self {
        let lane = fresh();
        let answer =
            desk.fleet.as_technician().put(&format!("/v1/devices/{lane}"), &json!({"name": "Phone"}));
        assert!(answer.status < 300, "{}", answer.text());
        Self { desk, lane }
    }

    fn hand_over(&self, entries: &[Value]) -> Value {
        let body = json!({"lane_id": self.lane, "entries": entries});
        self.desk.fleet.as_technician().post("/v1/device/handover", &body).expect(200).json()
    }
}

fn trip(desk: &Desk, n: i64) -> Value {
    json!({"n": n, "id": fresh(), "kind": "trip", "happened_at": "2026-03-02T18:00:00Z",
           "body": {"place_id": desk.cards.van, "distance_km": n.to_string()}})
}

fn verdicts(reply: &Value) -> Vec<&str> {
    reply["verdicts"].as_array().unwrap().iter().map(|v| v["verdict"].as_str().unwrap()).collect()
}

#[test]
fn a_repeat_gets_its_verdict_again_and_a_gap_stops() {
    let desk = Desk::new("lane-repeat");
    let phone = Phone::enrol(&desk);
    let sent: Vec<Value> = (1..=3).map(|n| trip(&desk, n)).collect();
    let first = phone.hand_over(&sent);
    assert_eq!((verdicts(&first), &first["expected"]), (vec!["taken"; 3], &json!(4)));
    let books = desk.books();
    let again = phone.hand_over(&sent);
    assert_eq!(again["verdicts"], first["verdicts"]);
    assert_eq!(desk.books(), books);
    let gap = phone.hand_over(&[trip(&desk, 6)]);
    assert_eq!((verdicts(&gap), &gap["expected"]), (vec![], &json!(4)));
    let mut mixed = sent[1..].to_vec();
    mixed.push(trip(&desk, 4));
    let mixed = phone.hand_over(&mixed);
    assert_eq!((verdicts(&mixed), &mixed["expected"]), (vec!["taken"; 3], &json!(5)));
    desk.audit();
}

#[test]
fn one_bad_entry_blocks_nothing_and_unknown_kinds_are_parked() {
    let desk = Desk::new("lane-poison");
    let phone = Phone::enrol(&desk);
    let mut sent: Vec<Value> = (1..=5).map(|n| trip(&desk, n)).collect();
    sent[1]["body"] = json!({"place_id": desk.cards.van, "distance_km": "-4"});
    sent[2]["kind"] = json!("pad_dream");
    sent[3]["form"] = json!(7);
    let reply = phone.hand_over(&sent);
    assert_eq!(verdicts(&reply), ["taken", "refused", "parked", "parked", "taken"]);
    assert_eq!(reply["verdicts"][1]["code"], "bad_field");
    assert_eq!(phone.hand_over(&sent)["verdicts"][1]["verdict"], "refused", "final");
    let parked = desk.fleet.as_office().get("/v1/entries?verdict=parked").expect(200).json();
    assert_eq!(parked["rows"].as_array().unwrap().len(), 2);
    desk.audit();
}

#[test]
fn work_from_a_bottle_whose_opening_lies_on_another_phone_is_kept_and_not_refused() {
    let desk = Desk::new("lane-parked");
    let phone = Phone::enrol(&desk);
    let of = desk.cards;
    let work = json!({"n": 1, "id": fresh(), "kind": "section_work", "happened_at": "2026-03-02T18:00:00Z",
                      "body": {"job_id": of.job, "section": "hood", "stage": "polishing",
                               "doses": [{"container_id": of.container, "count": 4}]}});
    let reply = phone.hand_over(&[work, trip(&desk, 2)]);
    assert_eq!(verdicts(&reply), ["parked", "taken"]);
    assert_eq!(reply["verdicts"][0]["code"], "container_not_open");
    desk.audit();
}

#[test]
fn a_number_used_twice_for_different_things_freezes_the_lane() {
    let desk = Desk::new("lane-clone");
    let phone = Phone::enrol(&desk);
    let _ = phone.hand_over(&[trip(&desk, 1)]);
    let clone = phone.hand_over(&[trip(&desk, 1)]);
    assert_eq!(clone["frozen"], true);
    let later = phone.hand_over(&[trip(&desk, 2)]);
    assert_eq!((verdicts(&later), &later["frozen"]), (vec![], &json!(true)));
}

#[test]
fn another_members_lane_is_as_if_it_were_not_there() {
    let desk = Desk::new("lane-other");
    let phone = Phone::enrol(&desk);
    let body = json!({"lane_id": phone.lane, "entries": [trip(&desk, 1)]});
    desk.fleet.as_office().post("/v1/device/handover", &body).expect_problem(404, "not_found");
}

#[test]
fn a_reversal_may_come_in_the_same_handover_as_its_mistake() {
    let desk = Desk::new("lane-oops");
    let phone = Phone::enrol(&desk);
    let wrong = trip(&desk, 1);
    let back = json!({"n": 2, "id": fresh(), "kind": "reversal", "happened_at": "2026-03-02T18:01:00Z",
                      "body": {"entry_id": wrong["id"], "why": "typed twice"}});
    let reply = phone.hand_over(&[wrong, back]);
    assert_eq!(verdicts(&reply), ["taken", "taken"]);
    desk.audit();
}

#[test]
fn the_trail_tells_every_change_once_page_by_page_without_money() {
    let desk = Desk::new("lane-trail");
    let phone = Phone::enrol(&desk);
    desk.receive(desk.cards.product, desk.cards.van, "10", "987.65");
    let sent: Vec<Value> = (1..=40).map(|n| trip(&desk, n)).collect();
    let _ = phone.hand_over(&sent);
    let tech = desk.fleet.as_technician();
    let (mut after, mut positions, mut seen) = (String::new(), Vec::new(), Vec::new());
    loop {
        let page = tech.get(&format!("/v1/device/trail?room=7{after}")).expect(200);
        assert!(!page.text().contains("987.65"), "money on a phone");
        let page = page.json();
        for row in page["rows"].as_array().unwrap() {
            positions.push(row["position"].as_i64().unwrap());
            seen.push(row["id"].as_str().unwrap().to_owned());
        }
        after = format!("&after={}", page["bookmark"].as_str().unwrap());
        if page["more"] == false {
            break;
        }
    }
    assert!(positions.windows(2).all(|pair| pair[0] < pair[1]), "positions rise: {positions:?}");
    for entry in &sent {
        assert_eq!(seen.iter().filter(|id| *id == entry["id"].as_str().unwrap()).count(), 1);
    }
    let page = tech.get(&format!("/v1/device/trail?room=7{after}")).expect(200).json();
    assert_eq!(page["rows"], json!([]));
    tech.get("/v1/device/trail?after=AAAA").expect_problem(422, "bad_bookmark");
}
