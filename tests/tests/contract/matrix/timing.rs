//! Another fleet's record takes as long to be refused as one that never was (T19).

use super::calls::{Call, call};
use super::stage::{Actor, Stage, Whose, all_operations};
use end_to_end::Client;
use end_to_end::timing::{Compared, in_turns};
use std::time::Duration;

/// Pairs of calls in one sample.
const PAIRS: usize = 300;
/// Different records asked for, in turn.
const RECORDS: usize = 10;
/// What is asked about a record by its id, read, changed and handed over to.
const OPERATIONS: [&str; 8] = [
    "read_card",
    "edit_card",
    "retire_card",
    "read_member",
    "edit_member",
    "read_entry",
    "list_run_outs",
    "hand_over",
];

fn sample(client: &Client, foreign: &[Call], missing: &[Call]) -> Compared {
    let ask = |calls: &[Call], n: usize| {
        let answer = calls[n % calls.len()].send(client);
        assert!(answer.status >= 400, "{}: {}", answer.asked, answer.text());
        answer.took
    };
    in_turns(PAIRS, |n| ask(foreign, n), |n| ask(missing, n))
}

#[test]
fn another_fleets_record_takes_as_long_as_one_that_never_was() {
    let stage = Stage::set();
    let client = stage.client(Actor::Owner);
    let mut tried = 0;
    for operation in all_operations().iter().filter(|operation| OPERATIONS.contains(&operation.id.as_str())) {
        let of = |whose| -> Vec<Call> {
            (0..RECORDS).filter_map(|_| call(&stage, operation, Actor::Owner, whose)).collect()
        };
        let (foreign, missing) = (of(Whose::Theirs), of(Whose::Nobodys));
        // What is opened or prepared at the first call is nobody's.
        let _ = (foreign[0].send(&client), missing[0].send(&client));
        let first = sample(&client, &foreign, &missing);
        println!("{}: {first:?}", operation.id);
        if first.differs() {
            let again = sample(&client, &foreign, &missing);
            assert!(!again.differs(), "{}: {first:?}, and again {again:?}", operation.id);
        }
        tried += 1;
    }
    assert_eq!(tried, OPERATIONS.len());
    // The same measure must see what it is for: an answer that comes a little later.
    let read = |_: usize| client.get("/v1/members/self").took;
    let late = |_: usize| {
        let start = std::time::Instant::now();
        let _ = client.get("/v1/members/self");
        std::thread::sleep(Duration::from_millis(2));
        start.elapsed()
    };
    let planted = in_turns(PAIRS, read, late);
    assert!(planted.differs(), "two milliseconds were not noticed: {planted:?}");
}
