//! The office decides on what is kept: once, on what it saw, and the phone is told.

use crate::invariants::desk::Desk;
use crate::sync::phones::{Phone, kept, open, stored, trip, verdicts, waiting, work};
use end_to_end::Answer;
use serde_json::{Value, json};

fn decide(desk: &Desk, id: &Value, decision: &str, reason: &str) -> Answer {
    let path = format!("/v1/parked/{}/decision", id.as_str().unwrap());
    desk.fleet.as_office().post(&path, &json!({"decision": decision, "reason": reason}))
}

#[test]
fn what_is_parked_is_listed_page_by_page_with_its_reason_and_content() {
    let desk = Desk::new("decide-list");
    let mut phone = Phone::of_technician(&desk);
    let many: Vec<Value> = (0..5).map(|_| phone.note("pad_dream", json!({"colour": "blue"}))).collect();
    let _ = phone.hand_over(&many);
    let (mut after, mut ids) = (String::new(), Vec::new());
    loop {
        let page = desk.fleet.as_office().get(&format!("/v1/parked?room=2{after}")).expect(200).json();
        for row in page["rows"].as_array().unwrap() {
            assert_eq!((&row["reason"], &row["kind"]), (&json!("unknown_kind"), &json!("pad_dream")));
            assert_eq!(row["body"], json!({"colour": "blue"}));
            assert_eq!(row["member_id"], json!(desk.fleet.technician.id));
            ids.push(row["id"].clone());
        }
        let Some(next) = page["next"].as_str() else { break };
        after = format!("&after={next}");
    }
    let mut sent: Vec<Value> = many.iter().map(|entry| entry["id"].clone()).collect();
    sent.sort_by_key(|id| id.as_str().unwrap().to_owned());
    assert_eq!(ids, sent);
    desk.fleet.as_technician().get("/v1/parked").expect_problem(403, "not_allowed");
}

#[test]
fn a_dropped_entry_is_refused_for_good_told_to_its_phone_and_to_what_rests_on_it() {
    let desk = Desk::new("decide-drop");
    let mut phone = Phone::of_technician(&desk);
    let worked = phone.note("section_work", work(&desk, 10));
    let child = phone.note_after(&[&worked], "trip", trip(&desk, 2));
    let _ = phone.hand_over(&[worked.clone(), child.clone()]);
    decide(&desk, &worked["id"], "drop", "parent_refused").expect_problem(409, "kept_for_another_reason");
    for _ in 0..2 {
        let answer = decide(&desk, &worked["id"], "drop", "container_not_open").expect(200).json();
        assert_eq!((&answer["verdict"], &answer["code"]), (&json!("refused"), &json!("dropped_by_office")));
    }
    decide(&desk, &worked["id"], "book", "container_not_open").expect_problem(409, "already_decided");
    assert_eq!(stored(&desk, &child), ("parked".to_owned(), Some("parent_refused".to_owned())));
    let told = phone.told_verdicts();
    assert_eq!(told.len(), 2);
    let reply = phone.hand_one(&worked);
    assert_eq!(reply["verdicts"][0]["code"], "dropped_by_office");
    // The opening comes too late for it.
    desk.take("container_open", open(&desk));
    assert_eq!(stored(&desk, &worked).0, "refused");
    // The child can be booked all the same.
    assert_eq!(decide(&desk, &child["id"], "book", "parent_refused").expect(200).json()["verdict"], "taken");
    assert_eq!(waiting(&desk), (0, 0, 0));
    assert_eq!(desk.trips(), 1);
    desk.audit();
}

#[test]
fn what_cannot_be_booked_stays_parked_and_is_booked_once_it_can() {
    let desk = Desk::new("decide-book");
    let mut phone = Phone::of_technician(&desk);
    let worked = phone.note("section_work", work(&desk, 10));
    let dream = phone.note("pad_dream", json!({}));
    let _ = phone.hand_over(&[worked.clone(), dream.clone()]);
    decide(&desk, &worked["id"], "book", "container_not_open").expect_problem(422, "container_not_open");
    decide(&desk, &dream["id"], "book", "unknown_kind").expect_problem(422, "unknown_kind");
    assert_eq!(stored(&desk, &worked).0, "parked");
    desk.take("container_open", open(&desk));
    assert_eq!(stored(&desk, &worked).0, "taken", "its bottle was opened at a desk");
    assert_eq!(
        decide(&desk, &worked["id"], "book", "container_not_open").expect(200).json()["verdict"],
        "taken",
        "whoever wanted it booked has it booked"
    );
    decide(&desk, &worked["id"], "drop", "container_not_open").expect_problem(409, "already_decided");
    desk.audit();
}

#[test]
fn of_two_who_decide_at_once_one_wins_and_the_other_is_told() {
    let desk = Desk::new("decide-race");
    let mut phone = Phone::of_technician(&desk);
    for _ in 0..12 {
        let parent = phone.note("trip", json!({"place_id": desk.cards.van, "distance_km": "-1"}));
        let child = phone.note_after(&[&parent], "trip", trip(&desk, 2));
        let _ = phone.hand_over(&[parent, child.clone()]);
        let answers: Vec<Answer> = std::thread::scope(|scope| {
            let deciders: Vec<_> = ["book", "drop", "book", "drop"]
                .map(|word| scope.spawn(|| decide(&desk, &child["id"], word, "parent_refused")))
                .into_iter()
                .collect();
            deciders.into_iter().map(|decider| decider.join().unwrap()).collect()
        });
        let won = answers.iter().filter(|answer| answer.status == 200).count();
        assert_eq!(won, 2, "those of one mind");
        for answer in answers.into_iter().filter(|answer| answer.status != 200) {
            answer.expect_problem(409, "already_decided");
        }
    }
    assert_eq!(waiting(&desk).0, 0);
    desk.audit();
}

#[test]
fn a_set_aside_entry_is_booked_once_even_when_it_arrives_later() {
    let desk = Desk::new("decide-aside");
    let mut phone = Phone::of_technician(&desk);
    let first = phone.note("trip", trip(&desk, 1));
    let mut clone = phone.clone();
    let _ = phone.hand_one(&first);
    let second = clone.clone().note("trip", trip(&desk, 2));
    let mut shared = clone.note("trip", trip(&desk, 3));
    shared["n"] = json!(1);
    let _ = clone.hand_over(&[shared.clone(), second.clone()]);
    let list = kept(&desk);
    let of = |entry: &Value| list.iter().find(|kept| kept["entry_id"] == entry["id"]).unwrap()["id"].clone();
    let (booked, dropped) = (of(&shared), of(&second));
    for _ in 0..2 {
        assert_eq!(decide(&desk, &booked, "book", "lane_shared").expect(200).json()["verdict"], "taken");
        assert_eq!(decide(&desk, &dropped, "drop", "lane_shared").expect(200).json()["verdict"], "refused");
    }
    decide(&desk, &booked, "drop", "lane_shared").expect_problem(409, "already_decided");
    assert_eq!(kept(&desk), [] as [Value; 0]);
    let mut anew = Phone::of_technician(&desk);
    let mut again = [shared, second];
    for entry in &mut again {
        entry["n"] = anew.note("trip", json!({}))["n"].clone();
    }
    let reply = anew.hand_over(&again);
    assert_eq!(verdicts(&reply), ["taken", "refused"]);
    assert_eq!(reply["verdicts"][1]["code"], "dropped_by_office");
    assert_eq!(desk.trips(), 2, "each once");
    desk.audit();
}
