//! T14: phones whose clocks are wrong. No entry is refused for it; a future is booked on arrival.

use super::crew::{Phone, body, stamp};
use crate::invariants::desk::Desk;
use serde_json::{Value, json};

fn trip(desk: &Desk, phone: &Phone<'_>, happened_at: &str, outside: Value) -> Value {
    let body = json!({"place_id": desk.cards.van, "distance_km": "3"});
    let mut entry = phone.entry("trip", body, outside);
    entry["happened_at"] = json!(happened_at);
    entry
}

/// The server's time is 2 March 2026, 21:00 UTC.
#[test]
fn days_behind_are_booked_as_they_are_and_days_ahead_on_arrival() {
    let desk = Desk::new("clocks-days");
    let phone = Phone::enrol(&desk);
    let cases = [
        ("2026-02-27T21:00:00Z", "taken", "2026-02-27T21:00:00Z"),
        ("2026-03-05T21:00:00Z", "adjusted", "2026-03-02T21:00:00Z"),
        ("2046-03-02T21:00:00Z", "adjusted", "2026-03-02T21:00:00Z"),
        // Back again in the middle of the shift, then a little ahead, which is no more than leeway.
        ("2026-03-02T12:00:00Z", "taken", "2026-03-02T12:00:00Z"),
        ("2026-03-02T21:01:00Z", "taken", "2026-03-02T21:01:00Z"),
        ("2026-03-02T21:01:00.001Z", "adjusted", "2026-03-02T21:00:00Z"),
        ("1969-07-20T20:17:00Z", "adjusted", "2026-03-02T21:00:00Z"),
    ];
    let sent: Vec<Value> = cases.iter().map(|(at, _, _)| trip(&desk, &phone, at, json!({}))).collect();
    let reply = phone.hand_over(&sent);
    for (i, (at, verdict, booked)) in cases.iter().enumerate() {
        let judged = &reply["verdicts"][i];
        assert_eq!(&judged["verdict"], verdict, "{at}: {judged}");
        let kept = desk.fleet.as_office().get(&format!("/v1/entries/{}", sent[i]["id"].as_str().unwrap()));
        let kept = kept.expect(200).json();
        assert_eq!(&kept["happened_at"], booked, "{at}");
        if *verdict == "adjusted" {
            let code = if at.starts_with("19") { "clock_unreadable" } else { "clock_ahead" };
            assert_eq!(judged["code"], code);
            assert!(judged["sentence"].as_str().unwrap().len() > 20);
            assert_eq!(&kept["device_at"], at, "what the device said is kept for reports");
        } else {
            assert!(kept["device_at"].is_null());
        }
    }
    assert_eq!(phone.hand_over(&sent)["verdicts"], reply["verdicts"], "a repeat is told the same");
    let adjusted = desk.fleet.as_office().get("/v1/entries?verdict=adjusted").expect(200).json();
    assert_eq!(adjusted["rows"].as_array().unwrap().len(), 4);
    desk.audit();
}

#[test]
fn a_measured_drift_sets_a_wrong_clock_right() {
    let desk = Desk::new("clocks-drift");
    let phone = Phone::enrol(&desk);
    // Three days and twenty years off, and measured.
    for (at, drift_ms) in
        [("2026-03-05T20:00:00Z", 259_200_000_i64), ("2046-03-02T20:00:00Z", 631_152_000_000)]
    {
        let sent = trip(&desk, &phone, at, json!({"drift_ms": drift_ms}));
        let id = sent["id"].as_str().unwrap().to_owned();
        assert_eq!(phone.send(sent)["verdict"], "taken");
        let kept = desk.fleet.as_office().get(&format!("/v1/entries/{id}")).expect(200).json();
        assert_eq!((&kept["happened_at"], &kept["device_at"]), (&json!("2026-03-02T20:00:00Z"), &json!(at)));
    }
    desk.audit();
}

/// A phone twenty years ahead does not own a field for twenty years.
#[test]
fn a_clock_in_the_future_wins_no_field_for_longer_than_now() {
    let desk = Desk::new("clocks-future");
    let (ahead, right) = (Phone::enrol(&desk), Phone::enrol(&desk));
    let first = ahead.edit(desk.cards.job, json!({"note": "first"}), json!({"stamp": "2403630000000-00007"}));
    let second =
        ahead.edit(desk.cards.job, json!({"note": "second"}), json!({"stamp": "2403629000000-00001"}));
    let reply = ahead.hand_over(&[first, second]);
    assert_eq!(reply["verdicts"][0]["verdict"], "adjusted");
    assert_eq!(reply["verdicts"][1]["verdict"], "adjusted");
    assert_eq!(body(&desk, desk.cards.job)["note"], "second", "written in a row, kept in a row");
    // Half a minute after the server's time, within the leeway, and later than arrival.
    let later = right.edit(desk.cards.job, json!({"note": "third"}), json!({"stamp": stamp(7_230_000, 0)}));
    assert_eq!(right.send(later)["verdict"], "taken");
    assert_eq!(body(&desk, desk.cards.job)["note"], "third");
    // The desk writes after all of them, though its own clock is behind that stamp.
    end_to_end::cards::edit(&desk.fleet.as_office(), desk.cards.job, &json!({"note": "fourth"}));
    let told = right.told("job", desk.cards.job);
    assert_eq!(told["body"]["body"]["note"], "fourth");
    assert!(told["body"]["stamps"]["note"].as_str().unwrap() > stamp(7_230_000, 0).as_str(), "{told}");
    desk.audit();
}

#[test]
fn a_stamp_that_cannot_be_read_is_made_from_the_time_and_refuses_nothing() {
    let desk = Desk::new("clocks-text");
    let phone = Phone::enrol(&desk);
    for text in ["", "yesterday", "\u{0}", "99999999999999999999"] {
        let edit =
            phone.edit(desk.cards.job, json!({"note": format!("after {text:?}")}), json!({"stamp": text}));
        let verdict = phone.send(edit);
        // The same instant each time: the first of them stands.
        assert!(["taken", "yielded"].contains(&verdict["verdict"].as_str().unwrap()), "{verdict}");
    }
    assert_eq!(body(&desk, desk.cards.job)["note"], "after \"\"");
    desk.audit();
}
