//! T16: two phones edit one job, in every order of arrival; what they may write, and what not.

use super::crew::{Phone, body, lost, stamp};
use crate::invariants::desk::Desk;
use end_to_end::cards;
use serde_json::{Value, json};

/// Every order of the numbers below `n`.
fn orders(n: usize) -> Vec<Vec<usize>> {
    if n == 0 {
        return vec![vec![]];
    }
    let shorter = orders(n - 1);
    shorter
        .iter()
        .flat_map(|order| {
            (0..n).map(move |at| {
                let mut order = order.clone();
                order.insert(at, n - 1);
                order
            })
        })
        .collect()
}

/// Four edits of four phones in all 24 orders against the real server; all 720 orders of six edits are
/// tried on the same code beside it, in `flows/cards/writing.rs`.
#[test]
fn every_order_of_arrival_ends_in_one_card_and_one_list_of_losers() {
    let desk = Desk::new("edits-orders");
    let phones = [0; 4].map(|_| Phone::enrol(&desk));
    let mut seen = None;
    for order in orders(4) {
        let job = desk.another_job();
        let edits = [
            (json!({"note": "gate code", "sections/hood/polishing": "done"}), stamp(0, 0)),
            (json!({"note": "dog"}), stamp(5, 0)),
            (json!({"note": null, "sections/hood/polishing": "redo"}), stamp(3, 2)),
            (json!({"sections/roof/cutting": "under_way", "sections/hood/polishing": "to_do"}), stamp(3, 1)),
        ];
        let mut told_lost = 0;
        for i in order {
            let (set, at) = edits[i].clone();
            let verdict = phones[i].send(phones[i].edit(job, set, json!({"stamp": at})));
            assert!(["taken", "yielded"].contains(&verdict["verdict"].as_str().unwrap()), "{verdict}");
            told_lost += verdict["lost"].as_array().map_or(0, Vec::len);
        }
        assert!(told_lost <= 4);
        let card = body(&desk, job);
        let told = phones[0].told("job", job)["body"].clone();
        assert_eq!(told["body"]["note"], card["note"], "the phones are told the same");
        let this =
            (card["note"].clone(), card["sections"].clone(), told["stamps"].clone(), lost_of(&desk, job));
        assert_eq!(seen.get_or_insert_with(|| this.clone()), &this);
    }
    let (note, sections, stamps, losers) = seen.unwrap();
    assert_eq!(note, "dog");
    assert_eq!(sections, json!({"hood/polishing": "redo", "roof/cutting": "under_way"}));
    assert_eq!(stamps["note"], json!(stamp(5, 0)));
    assert_eq!(losers.len(), 4, "two notes and two states: {losers:?}");
    desk.audit();
}

fn lost_of(desk: &Desk, job: uuid::Uuid) -> Vec<String> {
    let page = desk.fleet.as_office().get("/v1/lost-values?room=200").expect(200).json();
    let rows = page["rows"].as_array().expect("rows");
    let of = rows.iter().filter(|row| row["card_id"] == json!(job));
    let mut all: Vec<String> =
        of.map(|row| format!("{} {} {}", row["field"], row["value"], row["stamp"])).collect();
    all.sort();
    all
}

#[test]
fn the_same_instant_is_decided_by_the_lane() {
    let desk = Desk::new("edits-tie");
    let (one, other) = (Phone::enrol(&desk), Phone::enrol(&desk));
    let higher = if one.lane > other.lane { "one" } else { "other" };
    for pair in [[&one, &other], [&other, &one]] {
        let job = desk.another_job();
        for phone in pair {
            let name = if std::ptr::eq(phone, &one) { "one" } else { "other" };
            let _ = phone.send(phone.edit(job, json!({"note": name}), json!({"stamp": stamp(1, 1)})));
        }
        assert_eq!(body(&desk, job)["note"], higher);
    }
}

#[test]
fn who_loses_a_field_is_told_which_and_a_repeat_is_told_the_same() {
    let desk = Desk::new("edits-yield");
    let (early, late) = (Phone::enrol(&desk), Phone::enrol(&desk));
    let job = desk.cards.job;
    assert_eq!(
        late.send(late.edit(job, json!({"note": "late"}), json!({"stamp": stamp(9, 0)})))["verdict"],
        "taken"
    );
    let edit = early.edit(
        job,
        json!({"note": "early", "sections/roof/polishing": "done"}),
        json!({"stamp": stamp(2, 0)}),
    );
    let verdict = early.send(edit.clone());
    assert_eq!((&verdict["verdict"], &verdict["code"]), (&json!("yielded"), &json!("later_value")));
    assert_eq!(verdict["lost"], json!(["note"]));
    assert_eq!(early.send(edit), verdict, "again");
    let card = body(&desk, job);
    assert_eq!((&card["note"], &card["sections"]), (&json!("late"), &json!({"roof/polishing": "done"})));
    assert_eq!(lost(&desk), [("note".to_owned(), json!("early"))]);
    desk.audit();
}

#[test]
fn a_desk_edit_is_later_than_what_it_overwrites_and_yields_to_what_comes_after() {
    let desk = Desk::new("edits-desk");
    let phone = Phone::enrol(&desk);
    let office = desk.fleet.as_office();
    let job = desk.cards.job;
    let _ = phone.send(phone.edit(job, json!({"note": "phone"}), json!({"stamp": stamp(0, 0)})));
    cards::edit(&office, job, &json!({"note": "desk"}));
    let known = phone.told("job", job)["body"]["stamps"]["note"].as_str().unwrap().to_owned();
    assert_eq!(known, "1772485200000-00001", "the desk's clock; hearing of the phone's stamp counts as well");
    let before = phone.edit(job, json!({"note": "before the desk"}), json!({"stamp": stamp(60_000, 0)}));
    assert_eq!(phone.send(before)["verdict"], "yielded");
    let after = json!({"stamp": "1772485200001-00000", "seen": {"note": known}});
    assert_eq!(phone.send(phone.edit(job, json!({"note": "after"}), after))["verdict"], "taken");
    assert_eq!(body(&desk, job)["note"], "after");
    // The desk had seen the phone's first note, and the phone the desk's: only the one between lost.
    assert_eq!(lost(&desk), [("note".to_owned(), json!("before the desk"))]);
    desk.audit();
}

#[test]
fn fields_that_are_not_theirs_are_refused_whole_with_a_pointer() {
    let desk = Desk::new("edits-fields");
    let phone = Phone::enrol(&desk);
    let of = desk.cards;
    let cases: [(uuid::Uuid, Value, &str, &str); 9] = [
        (of.job, json!({"note": "x", "price_amount": "1"}), "field_not_yours", "/body/set/price_amount"),
        (of.job, json!({"state": "settled"}), "field_not_yours", "/body/set/state"),
        (
            of.job,
            json!({"sections/bonnet/polishing": "done"}),
            "no_such_section",
            "/body/set/sections~1bonnet~1polishing",
        ),
        (
            of.job,
            json!({"sections/hood/waxing": "done"}),
            "no_such_section",
            "/body/set/sections~1hood~1waxing",
        ),
        (
            of.job,
            json!({"sections/hood/polishing": "sparkling"}),
            "bad_field",
            "/body/set/sections~1hood~1polishing",
        ),
        (of.container, json!({"label": ""}), "text_empty", "/body/set/label"),
        (of.container, json!({"tare_g": "1"}), "field_not_yours", "/body/set/tare_g"),
        (of.client, json!({"address": "x"}), "no_such_record", "/body/card_id"),
        (dropwise::ids::fresh(), json!({"note": "x"}), "no_such_record", "/body/card_id"),
    ];
    for (card, set, code, pointer) in cases {
        let verdict = phone.send(phone.edit(card, set.clone(), json!({})));
        let got = (&verdict["verdict"], &verdict["code"], &verdict["pointer"]);
        assert_eq!(got, (&json!("refused"), &json!(code), &json!(pointer)), "{set}: {verdict}");
    }
    assert!(body(&desk, of.job)["note"].is_null(), "refused whole: the note of the first was not written");
    for (card, label) in [(of.container, "B-1, dented"), (of.pad, "P-1, blue ring")] {
        assert_eq!(phone.send(phone.edit(card, json!({"label": label}), json!({})))["verdict"], "taken");
        assert_eq!(body(&desk, card)["label"], label);
    }
    let spoilt = phone.send(phone.edit(of.job, json!({}), json!({})));
    assert_eq!(spoilt["code"], "field_count");
    desk.audit();
}

#[test]
fn another_vans_cards_and_retired_ones_are_not_written() {
    let desk = Desk::new("edits-vans");
    let phone = Phone::enrol(&desk);
    let (of, office) = (desk.cards, desk.fleet.as_office());
    let theirs = cards::create(
        &office,
        "pad",
        &json!({"label": "P-2", "item_id": of.pad_model, "place_id": of.other_van}),
    );
    let verdict = phone.send(phone.edit(theirs, json!({"label": "mine"}), json!({})));
    assert_eq!((&verdict["verdict"], &verdict["code"]), (&json!("refused"), &json!("no_such_record")));
    let etag = office.get(&cards::path(of.pad)).expect(200).etag();
    let _ = office
        .send("POST", &format!("/v1/cards/{}/retire", of.pad), &[("if-match", &etag)], None)
        .expect(200);
    let verdict = phone.send(phone.edit(of.pad, json!({"label": "worn"}), json!({})));
    assert_eq!((&verdict["verdict"], &verdict["code"]), (&json!("refused"), &json!("card_retired")));
    assert!(verdict["sentence"].as_str().unwrap().contains("retired"));
    let edit = phone.edit(of.job, json!({"note": "x"}), json!({}));
    let id = edit["id"].clone();
    let _ = phone.send(edit);
    let back = phone.entry("reversal", json!({"entry_id": id, "why": "typo"}), json!({}));
    assert_eq!(phone.send(back)["code"], "edit_is_no_fact");
    desk.audit();
}

/// A desk marks sections too, and only those the vehicle has.
#[test]
fn a_desk_marks_sections_of_the_vehicles_class() {
    let desk = Desk::new("edits-sections");
    let office = desk.fleet.as_office();
    cards::edit(&office, desk.cards.job, &json!({"sections": {"hood/polishing": "done"}}));
    cards::edit(&office, desk.cards.job, &json!({"sections": {"roof/polishing": "redo"}}));
    let sections = json!({"hood/polishing": "done", "roof/polishing": "redo"});
    assert_eq!(body(&desk, desk.cards.job)["sections"], sections);
    let etag = office.get(&cards::path(desk.cards.job)).expect(200).etag();
    let wrong = json!({"sections": {"bonnet/polishing": "done"}});
    office.patch(&cards::path(desk.cards.job), &etag, &wrong).expect_problem(422, "no_such_section");
    let stamps = Phone::enrol(&desk).told("job", desk.cards.job)["body"]["stamps"].clone();
    assert_eq!(stamps.as_object().unwrap().len(), 2, "each section has a stamp of its own: {stamps}");
}
