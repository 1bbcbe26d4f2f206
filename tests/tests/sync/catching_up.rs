//! An updated app asks again for what it passed over, and gets all of it and nothing else.

use super::lane::Lane;
use crate::invariants::desk::Desk;
use serde_json::Value;
use std::collections::BTreeMap;

/// Rows by audience, kind and record, with their positions.
type Rows = BTreeMap<(String, String, String), i64>;

fn take_in(into: &mut Rows, page: &Value) {
    for row in page["rows"].as_array().unwrap() {
        let text = |field: &str| row[field].as_str().unwrap().to_owned();
        let twice =
            into.insert((text("audience_id"), text("kind"), text("id")), row["position"].as_i64().unwrap());
        assert!(twice.is_none(), "comes once: {row}");
    }
}

#[test]
fn the_kinds_that_are_asked_for_come_whole_page_by_page_and_no_others() {
    let desk = Desk::new("catch-up");
    let client = desk.fleet.as_technician();
    let mut lane = Lane::enrol(client.clone(), desk.cards.van);
    let sent = lane.note(7);
    let _ = lane.hand_over(&sent);
    let mut all = Rows::new();
    let page = client.get("/v1/device/trail").expect(200).json();
    assert_eq!(page["more"], false);
    take_in(&mut all, &page);
    for kinds in ["place,entry", "container,container_level,job", "item", "pad_dream"] {
        let wanted: Rows = all
            .iter()
            .filter(|((_, kind, _), _)| kinds.split(',').any(|k| k == kind))
            .map(|(k, v)| (k.clone(), *v))
            .collect();
        assert_eq!(wanted.is_empty(), kinds == "pad_dream", "{kinds}");
        for room in [1, 2, 500] {
            let (mut got, mut asked) = (Rows::new(), format!("kinds={kinds}"));
            loop {
                let page = client.get(&format!("/v1/device/catch-up?{asked}&room={room}")).expect(200).json();
                assert!(page["rows"].as_array().unwrap().len() <= room);
                take_in(&mut got, &page);
                let Some(token) = page["token"].as_str() else { break };
                client.get(&format!("/v1/device/fresh-copy?token={token}")).expect_problem(422, "bad_token");
                asked = format!("token={token}");
            }
            assert_eq!(got, wanted, "{kinds} by {room}");
        }
    }
    let whole = client.get("/v1/device/fresh-copy?room=1").expect(200).json();
    let token = whole["token"].as_str().unwrap();
    client.get(&format!("/v1/device/catch-up?token={token}")).expect_problem(422, "bad_token");
    client.get("/v1/device/catch-up").expect_problem(422, "kinds_or_token");
    for bad in ["", "Place", "place,,job", "a%00b"] {
        client.get(&format!("/v1/device/catch-up?kinds={bad}")).expect_problem(422, "bad_kinds");
    }
}
