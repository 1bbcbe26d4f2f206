//! A phone restored onto another one: the lane is frozen, nothing is lost, and each goes on in a lane
//! of its own.

use crate::invariants::desk::Desk;
use crate::sync::phones::{Phone, codes, kept, trip, verdicts};
use serde_json::{Value, json};

/// The same entry under another number.
fn renumbered(entry: &Value, n: i64) -> Value {
    let mut entry = entry.clone();
    entry["n"] = json!(n);
    entry
}

#[test]
fn a_clone_is_found_out_and_what_it_sent_is_set_aside_and_arrives_by_a_new_lane() {
    let desk = Desk::new("clone");
    let mut phone = Phone::of_technician(&desk);
    let shared: Vec<Value> = (1..=3).map(|km| phone.note("trip", trip(&desk, km))).collect();
    assert_eq!(verdicts(&phone.hand_over(&shared)), ["taken"; 3]);
    let mut clone = phone.clone();
    let fourth = phone.note("trip", trip(&desk, 4));
    assert_eq!(verdicts(&phone.hand_one(&fourth)), ["taken"]);

    let theirs: Vec<Value> = (5..=6).map(|km| clone.note("trip", trip(&desk, km))).collect();
    let before = desk.books();
    let reply = clone.hand_over(&[shared[2].clone(), theirs[0].clone(), theirs[1].clone()]);
    assert_eq!((&reply["frozen"], &reply["expected"]), (&json!(true), &json!(5)));
    assert_eq!(verdicts(&reply), ["taken", "reused"]);
    assert_eq!(codes(&reply), ["", "number_reused"]);
    assert_eq!(desk.books(), before, "nothing of it is booked");
    assert_eq!(kept(&desk).len(), 2);

    // The first phone does not know yet; what it sends is kept as well, once, however often it sends it.
    let fifth = phone.note("trip", trip(&desk, 7));
    for _ in 0..2 {
        let reply = phone.hand_over(&[fourth.clone(), fifth.clone()]);
        assert_eq!((verdicts(&reply), &reply["frozen"]), (vec!["taken"], &json!(true)));
    }
    let list = kept(&desk);
    assert_eq!(list.len(), 3);
    assert!(list.iter().all(|kept| kept["reason"] == "lane_shared" && kept["set_aside"] == true));
    assert!(list.iter().any(|kept| kept["entry_id"] == fifth["id"] && kept["body"] == fifth["body"]));

    // Each enrols again and sends what has no verdict; the clone is not sure of the third either.
    let anew = Phone::of_technician(&desk);
    let sent = [renumbered(&shared[2], 1), renumbered(&theirs[0], 2), renumbered(&theirs[1], 3)];
    let reply = anew.hand_over(&sent);
    assert_eq!((verdicts(&reply), &reply["expected"]), (vec!["taken"; 3], &json!(4)));
    assert_eq!(anew.hand_over(&sent)["verdicts"], reply["verdicts"], "a lost reply asked for again");
    let other = Phone::of_technician(&desk);
    assert_eq!(verdicts(&other.hand_over(&[renumbered(&fifth, 1)])), ["taken"]);
    assert_eq!(kept(&desk), [] as [Value; 0], "all has arrived");
    assert_eq!(desk.trips(), 7, "each trip once");
    desk.audit();
}

#[test]
fn an_id_used_for_two_things_is_told_apart_from_a_number_used_twice() {
    let desk = Desk::new("clone-id");
    let mut phone = Phone::of_technician(&desk);
    let first = phone.note("trip", trip(&desk, 1));
    let _ = phone.hand_one(&first);
    let mut second = phone.note("trip", trip(&desk, 2));
    second["id"] = first["id"].clone();
    let reply = phone.hand_over(&[second]);
    assert_eq!((verdicts(&reply), codes(&reply)), (vec!["reused"], vec!["id_reused"]));
    assert_eq!(kept(&desk).len(), 1);
    desk.audit();
}

#[test]
fn a_frozen_lane_sets_no_more_aside_than_its_room() {
    let desk = Desk::new("clone-room");
    let mut phone = Phone::of_technician(&desk);
    let _ = phone.hand_over(&[phone.clone().note("trip", trip(&desk, 1))]);
    let flood: Vec<Value> = (0..2_100).map(|km| phone.note("trip", trip(&desk, km))).collect();
    for part in flood.chunks(300) {
        assert_eq!(phone.hand_over(part)["frozen"], true);
    }
    let sql = "select count(*) from set_aside";
    let aside: i64 = desk.world.db.as_owner().query_one(sql, &[]).unwrap().get(0);
    assert_eq!(aside, 2_000);
}
