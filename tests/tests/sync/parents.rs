//! An entry that comes before what it rests on is kept, and booked as soon as its parent is.

use crate::invariants::desk::Desk;
use crate::sync::phones::{Phone, codes, open, stored, trip, verdicts, waiting, work};
use serde_json::{Value, json};

#[test]
fn a_child_before_its_parent_in_one_handover_is_booked_after_it() {
    let desk = Desk::new("parent-same");
    let mut phone = Phone::of_technician(&desk);
    let first = phone.note("trip", trip(&desk, 1));
    let mut second = phone.note("trip", trip(&desk, 2));
    second["needs"] = json!([]);
    let third = phone.note("container_open", open(&desk));
    let mut child = first.clone();
    child["needs"] = json!([third["id"]]);
    let reply = phone.hand_over(&[child.clone(), second, third]);
    assert_eq!(verdicts(&reply), ["taken"; 3]);
    assert_eq!(phone.hand_over(&[child])["verdicts"][0]["verdict"], "taken");
    assert_eq!(waiting(&desk), (0, 0, 0));
    assert_eq!(phone.told_verdicts(), [], "the reply has said it all");
    desk.audit();
}

#[test]
fn a_child_waits_over_handovers_and_phones_and_its_phone_is_told() {
    let desk = Desk::new("parent-later");
    desk.receive(desk.cards.product, desk.cards.van, "1000", "100.00");
    let mut mine = Phone::of_technician(&desk);
    let mut theirs = Phone::of(&desk, desk.fleet.office);
    let parent = theirs.note("trip", trip(&desk, 1));
    let opening = theirs.note("container_open", open(&desk));
    let child = mine.note_after(&[&parent], "trip", trip(&desk, 2));
    let worked = mine.note("section_work", work(&desk, 10));
    let reversal = mine.note("reversal", json!({"entry_id": worked["id"], "why": "typed twice"}));
    let again = mine.note("section_work", work(&desk, 7));
    let reply = mine.hand_over(&[child.clone(), worked.clone(), reversal.clone(), again.clone()]);
    assert_eq!(verdicts(&reply), ["parked"; 4]);
    assert_eq!(
        codes(&reply),
        ["waits_for_entry", "container_not_open", "waits_for_entry", "container_not_open"]
    );
    assert_eq!(waiting(&desk), (4, 4, 2));
    assert_eq!(mine.hand_one(&child)["verdicts"][0]["verdict"], "parked", "as before");

    assert_eq!(verdicts(&theirs.hand_over(&[parent])), ["taken"]);
    assert_eq!(stored(&desk, &child), ("taken".to_owned(), None));
    assert_eq!(stored(&desk, &worked).0, "parked");
    desk.audit();
    assert_eq!(verdicts(&theirs.hand_over(&[opening])), ["taken"]);
    for entry in [&worked, &reversal, &again] {
        assert_eq!(stored(&desk, entry), ("taken".to_owned(), None));
    }
    assert_eq!(waiting(&desk), (0, 0, 0));
    let told = mine.told_verdicts();
    assert_eq!(told.len(), 4);
    for entry in [&child, &worked, &reversal, &again] {
        let (_, body) = told.iter().find(|(id, _)| *id == entry["id"].as_str().unwrap()).unwrap();
        assert_eq!((&body["verdict"], &body["n"]), (&json!("taken"), &entry["n"]));
    }
    assert_eq!(theirs.told_verdicts(), [], "nobody else's business");
    assert_eq!(mine.hand_over(&[child])["verdicts"][0]["verdict"], "taken");
    let level = desk.level()["remaining_ml"].as_f64().unwrap();
    assert!((level - (500.0 - 7.0 * 0.05)).abs() < 1e-9, "{level}");
    desk.audit();
}

#[test]
fn a_child_of_a_refused_entry_waits_for_the_office() {
    let desk = Desk::new("parent-refused");
    let mut phone = Phone::of_technician(&desk);
    let parent = phone.note("trip", json!({"place_id": desk.cards.van, "distance_km": "-4"}));
    let child = phone.note_after(&[&parent], "trip", trip(&desk, 2));
    let grandchild = phone.note_after(&[&child], "trip", trip(&desk, 3));
    let reply = phone.hand_over(&[parent, child, grandchild]);
    assert_eq!(verdicts(&reply), ["refused", "parked", "parked"]);
    assert_eq!(codes(&reply), ["bad_field", "parent_refused", "waits_for_entry"]);
    desk.audit();
}

#[test]
fn a_refusal_that_comes_after_its_child_was_parked_is_told_too() {
    let desk = Desk::new("parent-refused-later");
    let mut phone = Phone::of_technician(&desk);
    let mut other = Phone::of(&desk, desk.fleet.office);
    let parent = other.note("trip", json!({"place_id": desk.cards.van, "distance_km": "-4"}));
    let child = phone.note_after(&[&parent], "trip", trip(&desk, 2));
    assert_eq!(codes(&phone.hand_one(&child)), ["waits_for_entry"]);
    assert_eq!(verdicts(&other.hand_over(&[parent])), ["refused"]);
    assert_eq!(stored(&desk, &child), ("parked".to_owned(), Some("parent_refused".to_owned())));
    assert_eq!(phone.told_verdicts()[0].1["code"], "parent_refused");
}

#[test]
fn in_every_order_of_arrival_over_two_phones_the_books_come_out_the_same() {
    let orders = interleavings(2, 3);
    assert_eq!(orders.len(), 10);
    let mut seen: Vec<(Value, Value)> = Vec::new();
    for (i, order) in orders.iter().enumerate() {
        let desk = Desk::new(&format!("orders-{i}"));
        desk.receive(desk.cards.product, desk.cards.van, "1000", "100.00");
        let mut opener = Phone::of(&desk, desk.fleet.office);
        let mut worker = Phone::of_technician(&desk);
        let opening = opener.note("container_open", open(&desk));
        let back = opener.note("trip", trip(&desk, 6));
        let first = worker.note_after(&[&back], "section_work", work(&desk, 10));
        let second = worker.note("section_work", work(&desk, 4));
        let third = worker.note_after(&[&second], "trip", trip(&desk, 9));
        let mut queues = [vec![back, opening], vec![third, second, first]];
        for queue in order {
            let entry = queues[*queue].pop().unwrap();
            let phone = if *queue == 0 { &opener } else { &worker };
            let _ = phone.hand_over(&[entry]);
        }
        assert_eq!(waiting(&desk), (0, 0, 0), "{order:?}");
        desk.audit();
        let mut costs = desk.costs(desk.cards.job);
        costs.as_object_mut().unwrap().retain(|name, _| name == "sums" || name == "cost_amount");
        // What is booked is the same to the last digit; how sure the estimate is hangs on the order.
        let mut level = desk.level();
        level.as_object_mut().unwrap().retain(|name, _| name == "remaining_ml" || name == "doses_left");
        seen.push((costs, level));
    }
    for (order, books) in orders.iter().zip(&seen) {
        assert_eq!(books, &seen[0], "{order:?}");
    }
}

/// Every order of `a` turns of the first and `b` of the second.
fn interleavings(a: usize, b: usize) -> Vec<Vec<usize>> {
    if a == 0 && b == 0 {
        return vec![Vec::new()];
    }
    let mut all = Vec::new();
    for (who, left) in [(0, a), (1, b)] {
        if left > 0 {
            let (a, b) = if who == 0 { (a - 1, b) } else { (a, b - 1) };
            all.extend(interleavings(a, b).into_iter().map(|rest| [vec![who], rest].concat()));
        }
    }
    all
}

#[test]
fn six_hundred_that_wait_for_one_are_booked_over_two_transactions() {
    let desk = Desk::new("parent-many");
    let mut phone = Phone::of_technician(&desk);
    let mut other = Phone::of(&desk, desk.fleet.office);
    let parent = other.note("trip", trip(&desk, 1));
    let many: Vec<Value> = (0..600).map(|_| phone.note_after(&[&parent], "trip", trip(&desk, 1))).collect();
    for part in many.chunks(500) {
        assert!(verdicts(&phone.hand_over(part)).iter().all(|verdict| *verdict == "parked"));
    }
    assert_eq!(verdicts(&other.hand_over(&[parent])), ["taken"]);
    assert_eq!(waiting(&desk), (100, 100, 100), "at most five hundred at once");
    assert_eq!(verdicts(&other.hand_over(&[])), [] as [&str; 0]);
    assert_eq!(waiting(&desk), (0, 0, 0));
    desk.audit();
}

#[test]
fn whoever_opens_and_whoever_works_at_the_same_moment_never_miss_each_other() {
    let desk = Desk::new("parent-race");
    let mut opener = Phone::of(&desk, desk.fleet.office);
    let mut worker = Phone::of_technician(&desk);
    for _ in 0..30 {
        let parent = opener.note("trip", trip(&desk, 1));
        let child = worker.note_after(&[&parent], "trip", trip(&desk, 2));
        std::thread::scope(|scope| {
            let (opener, worker) = (&opener, &worker);
            scope.spawn(move || opener.hand_over(&[parent]));
            scope.spawn(move || worker.hand_over(&[child]));
        });
    }
    let _ = opener.hand_over(&[]);
    assert_eq!(waiting(&desk), (0, 0, 0));
    desk.audit();
}
