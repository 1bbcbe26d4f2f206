//! Handing over over a bad line: once and for all, whatever is lost, repeated, poisoned or cut.

use super::lane::{Lane, verdicts};
use crate::invariants::desk::Desk;
use end_to_end::{Client, TestServer, raw};
use serde_json::{Value, json};
use std::io::Write;
use std::time::Duration;

fn lane(desk: &Desk) -> Lane {
    Lane::enrol(desk.fleet.as_technician(), desk.cards.van)
}

/// How often each of these entries is stored: always once.
#[track_caller]
fn stored_once(desk: &Desk, entries: &[Value]) {
    let sql = "select count(*) from entries where entry_id = $1";
    let mut owner = desk.world.db.as_owner();
    for entry in entries {
        let id: uuid::Uuid = entry["id"].as_str().unwrap().parse().unwrap();
        let count: i64 = owner.query_one(sql, &[&id]).unwrap().get(0);
        assert_eq!(count, 1, "{entry}");
    }
}

#[test]
fn an_acknowledgement_that_was_lost_is_given_again_word_for_word() {
    let desk = Desk::new("lost-ack");
    let mut lane = lane(&desk);
    let sent = lane.note(40);
    // Sent, and the line is gone before the answer.
    let body = lane.body(&sent).to_string();
    let ask = format!(
        "POST /v1/device/handover HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {}\r\n\
         content-type: application/json\r\ncontent-length: {}\r\n\r\n{body}",
        desk.fleet.token(desk.fleet.technician),
        body.len()
    );
    let mut socket = raw::open(desk.world.server.address);
    socket.write_all(ask.as_bytes()).unwrap();
    drop(socket);
    let first = loop {
        // It may still be under way, from the line that is gone.
        let answer = lane.send(&sent).expect_any(&[200, 409]);
        if answer.status == 200 {
            break answer.json();
        }
        assert_eq!(answer.json()["code"], "lane_busy");
        std::thread::sleep(Duration::from_millis(50));
    };
    assert_eq!(verdicts(&first), ["taken"; 40]);
    let books = desk.books();
    let other = TestServer::start(&desk.world.db, &desk.world.clock);
    let elsewhere = Client::new(other.address).with_token(desk.fleet.token(desk.fleet.technician));
    let there = Lane { client: elsewhere, ..lane.clone() };
    for reply in [lane.hand_over(&sent), there.hand_over(&sent), there.hand_over(&sent[7..])] {
        let given = first["verdicts"].as_array().unwrap();
        let again = reply["verdicts"].as_array().unwrap();
        assert_eq!(given[given.len() - again.len()..], again[..]);
        assert_eq!(reply["expected"], 41);
    }
    assert_eq!(desk.books(), books);
    stored_once(&desk, &sent);
    desk.audit();
}

#[test]
fn copies_sent_at_once_to_two_servers_are_judged_once() {
    let desk = Desk::new("copies");
    let mut lane = lane(&desk);
    let other = TestServer::start(&desk.world.db, &desk.world.clock);
    let token = desk.fleet.token(desk.fleet.technician);
    let mut all = Vec::new();
    let (mut heard, mut busy) = (0, 0);
    for _ in 0..12 {
        let sent = lane.note(25);
        let replies: Vec<_> = std::thread::scope(|scope| {
            let senders: Vec<_> = (0..8)
                .map(|i| {
                    let address = if i % 2 == 0 { desk.world.server.address } else { other.address };
                    let copy =
                        Lane { client: Client::new(address).with_token(token.clone()), ..lane.clone() };
                    let sent = &sent;
                    scope.spawn(move || copy.send(sent))
                })
                .collect();
            senders.into_iter().map(|sender| sender.join().unwrap()).collect()
        });
        for answer in replies {
            let answer = answer.expect_any(&[200, 409]);
            if answer.status == 409 {
                assert_eq!(
                    (&answer.json()["code"], answer.header("retry-after")),
                    (&json!("lane_busy"), Some("1"))
                );
                busy += 1;
            } else {
                assert_eq!(verdicts(&answer.json()), vec!["taken"; 25]);
                heard += 1;
            }
        }
        assert_eq!(lane.hand_over(&sent)["frozen"], false);
        all.extend(sent);
    }
    println!("{heard} heard, {busy} told that the lane is busy");
    assert!(heard >= 12 && busy > 0, "{heard} heard, {busy} busy");
    stored_once(&desk, &all);
    desk.audit();
}

/// What an entry is made into.
type Spoil = Box<dyn Fn(&Value) -> String>;

/// Ways to spoil an entry that leave its number and id readable, and the code it is refused with.
fn poisons() -> Vec<(&'static str, Spoil)> {
    let with = |field: &'static str, value: Value| {
        move |entry: &Value| {
            let mut entry = entry.clone();
            entry[field] = value.clone();
            entry.to_string()
        }
    };
    let text = |addition: String| move |entry: &Value| entry.to_string().replacen('{', &addition, 1);
    vec![
        ("bad_field", Box::new(with("body", json!({"distance_km": "-4"})))),
        ("bad_field", Box::new(with("body", json!("not a body")))),
        ("bad_field", Box::new(with("happened_at", json!("yesterday")))),
        ("bad_field", Box::new(with("form", json!("one")))),
        ("bad_field", Box::new(with("colour", json!("blue")))),
        ("bad_field", Box::new(with("kind", json!(7)))),
        ("entry_too_large", Box::new(with("body", json!({"why": "x".repeat(65_536)})))),
        ("entry_too_deep", Box::new(text(format!("{{\"seen\":{}{},", "[".repeat(17), "]".repeat(17))))),
        ("entry_too_deep", Box::new(text(format!("{{\"seen\":{}{},", "[".repeat(9_000), "]".repeat(9_000))))),
        ("name_twice", Box::new(text("{\"kind\":\"trip\",".to_owned()))),
        ("entry_unreadable", Box::new(text("{\"seen\":1e999,".to_owned()))),
        ("entry_unreadable", Box::new(text("{\"seen\":\"\\ud800\",".to_owned()))),
        ("text_unreadable", Box::new(with("body", json!({"why": "\u{0}"})))),
    ]
}

#[test]
fn a_poisoned_entry_is_refused_alone_wherever_it_stands() {
    let desk = Desk::new("poison");
    let mut lane = lane(&desk);
    let poisons = poisons();
    // Every kind of poison in every place of a short run, then in a full one.
    let full = [0, 1, 249, 498, 499].map(|at| (500, at));
    let runs = (0..poisons.len()).map(|at| (poisons.len(), at)).chain(full);
    for (i, (length, at)) in runs.enumerate() {
        let run = lane.note(length);
        let (code, spoil) = &poisons[i % poisons.len()];
        let texts: Vec<String> = run
            .iter()
            .enumerate()
            .map(|(j, entry)| if j == at { spoil(entry) } else { entry.to_string() })
            .collect();
        let body = format!("{{\"lane_id\":\"{}\",\"entries\":[{}]}}", lane.id, texts.join(","));
        let reply = lane.send_bytes(body.as_bytes(), None).expect(200).json();
        let mut expected = vec!["taken"; length];
        expected[at] = "refused";
        assert_eq!(verdicts(&reply), expected, "{code} at {at} of {length}");
        assert_eq!(&reply["verdicts"][at]["code"], code);
        let again = lane.send_bytes(body.as_bytes(), None).expect(200).json();
        assert_eq!(again["verdicts"][at]["verdict"], "refused", "final");
        assert_eq!(again["expected"], reply["expected"]);
        stored_once(&desk, &run[at..=at]);
    }
    desk.audit();
}

#[test]
fn a_queue_drains_on_after_whatever_went_wrong_with_one_part_of_it() {
    let desk = Desk::new("drain");
    let mut lane = lane(&desk);
    let queue = lane.note(60);
    let mut done = 0;
    for (round, part) in queue.chunks(10).enumerate() {
        let body = lane.body(part).to_string();
        match round {
            0 => lane.send_bytes(&body.as_bytes()[..body.len() - 9], None).expect_problem(422, "bad_json"),
            1 => lane.send_bytes(body.as_bytes(), Some("br")).expect_problem(415, "encoded_body"),
            2 => lane.send_bytes(body.as_bytes(), Some("gzip")).expect_problem(400, "bad_gzip"),
            3 => lane.send_bytes(&vec![b' '; (1 << 20) + 1], None).expect_problem(413, "body_too_large"),
            // Ahead of its turn: nothing is judged, and it is said where to go on.
            4 => assert_eq!(lane.hand_over(&queue[50..])["expected"], 41),
            _ => Lane { client: lane.client.with_token("nonsense"), ..lane.clone() }
                .send(part)
                .expect_problem(401, "not_signed_in"),
        }
        let reply = lane.hand_over(part);
        assert_eq!(verdicts(&reply), ["taken"; 10]);
        done += 10;
        assert_eq!(reply["expected"], done + 1);
    }
    stored_once(&desk, &queue);
    desk.audit();
}

#[test]
fn a_token_that_ends_while_its_handover_is_sent_loses_and_doubles_nothing() {
    let desk = Desk::new("token-end");
    let mut lane = lane(&desk);
    let sent = lane.note(5);
    let body = lane.body(&sent).to_string();
    let token = desk.fleet.token(desk.fleet.technician);
    let (early, late) = body.split_at(body.len() / 2);
    let mut socket = raw::open(desk.world.server.address);
    let head = format!(
        "POST /v1/device/handover HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\nconnection: close\r\n\
         content-type: application/json\r\ncontent-length: {}\r\n\r\n{early}",
        body.len()
    );
    socket.write_all(head.as_bytes()).unwrap();
    std::thread::sleep(Duration::from_millis(300));
    desk.world.clock.advance(chrono::TimeDelta::minutes(16));
    socket.write_all(late.as_bytes()).unwrap();
    let heard = raw::listen(&mut socket, Duration::from_secs(5));
    assert!(heard.starts_with("HTTP/1.1 200") || heard.starts_with("HTTP/1.1 401"), "{heard}");
    let old = Lane { client: lane.client.with_token(token), ..lane.clone() };
    old.send(&sent).expect_problem(401, "not_signed_in");
    let renewed = Lane { client: desk.fleet.as_technician(), ..lane.clone() };
    assert_eq!(verdicts(&renewed.hand_over(&sent)), ["taken"; 5]);
    stored_once(&desk, &sent);
    desk.audit();
}

#[test]
fn another_account_on_the_same_phone_neither_sends_nor_disturbs_what_waits_in_it() {
    let desk = Desk::new("account-switch");
    let mut first = lane(&desk);
    let waiting = first.note(8);
    assert_eq!(verdicts(&first.hand_over(&waiting[..3])), ["taken"; 3]);
    let other = Lane { client: desk.fleet.as_office(), ..first.clone() };
    other.send(&waiting[3..]).expect_problem(404, "not_found");
    let mut own = Lane::enrol(desk.fleet.as_office(), desk.cards.van);
    let theirs = own.note(2);
    assert_eq!(verdicts(&own.hand_over(&theirs)), ["taken"; 2]);
    let reply = first.hand_over(&waiting[3..]);
    assert_eq!((verdicts(&reply), &reply["expected"]), (vec!["taken"; 5], &json!(9)));
    stored_once(&desk, &waiting);
    desk.audit();
}

#[test]
fn a_lane_hands_over_as_often_as_is_promised_and_is_then_told_when_to_come_back() {
    use dropwise::config::PhonesConfig;
    use dropwise::server::Parts;
    let desk = Desk::new("often");
    let parts = end_to_end::server::parts(&desk.world.db.server_url(), &desk.world.clock, 1);
    let server = TestServer::start_parts(Parts { phones: PhonesConfig::default(), ..parts });
    let client = Client::new(server.address).with_token(desk.fleet.token(desk.fleet.technician));
    let lane = Lane::enrol(client.clone(), desk.cards.van);
    let (mut heard, start) = (0, std::time::Instant::now());
    let refused = loop {
        let answer = lane.send(&[]).expect_any(&[200, 429]);
        if answer.status == 429 {
            break answer;
        }
        heard += 1;
    };
    let regained = start.elapsed().as_secs();
    assert!((60..=61 + regained).contains(&heard), "{heard}");
    let wait: u64 = refused.header("retry-after").unwrap().parse().unwrap();
    assert!((1..=3).contains(&wait), "{wait}");
    let _ = Lane::enrol(client, desk.cards.van).hand_over(&[]);
    std::thread::sleep(Duration::from_secs(wait));
    let _ = lane.hand_over(&[]);
}

#[test]
fn an_app_too_old_to_read_can_still_hand_over() {
    use dropwise::config::PhonesConfig;
    use dropwise::server::Parts;
    let desk = Desk::new("old-app");
    let phones = PhonesConfig { minimum_app: Some("2.4.0".parse().unwrap()), ..PhonesConfig::default() };
    let parts = end_to_end::server::parts(&desk.world.db.server_url(), &desk.world.clock, 1);
    let server = TestServer::start_parts(Parts { phones, ..parts });
    let client = Client::new(server.address).with_token(desk.fleet.token(desk.fleet.technician));
    let mut lane = Lane::enrol(client.clone(), desk.cards.van);
    let old = [("dropwise-app", "2.3.9"), ("content-type", "application/json")];
    for path in ["/v1/device/trail", "/v1/device/fresh-copy", "/v1/device/signal"] {
        let refused = client.send("GET", path, &old[..1], None).expect(426);
        assert_eq!(refused.header("upgrade"), Some("dropwise-app/2.4.0"));
        refused.expect_problem(426, "app_too_old");
        client.send("GET", path, &[("dropwise-app", "new")], None).expect_problem(422, "bad_app_version");
        for version in ["2.4.0", "2.10.1", "3.0.0"] {
            client.send("GET", path, &[("dropwise-app", version)], None).expect(200);
        }
        client.send("GET", path, &[("dropwise-app", "2.4.0-rc.1")], None).expect(426);
    }
    let sent = lane.note(3);
    let body = lane.body(&sent).to_string();
    let reply = client.send("POST", "/v1/device/handover", &old, Some(body.as_bytes())).expect(200).json();
    assert_eq!(verdicts(&reply), ["taken"; 3]);
}

#[test]
fn what_cannot_be_answered_by_number_and_id_is_refused_as_a_whole_and_stores_nothing() {
    let desk = Desk::new("unnamed");
    let mut lane = lane(&desk);
    let run = lane.note(3);
    let before = desk.books();
    for (field, value) in [("n", json!("2")), ("n", json!(0)), ("id", json!("x")), ("id", json!(null))] {
        let mut spoilt = run.clone();
        spoilt[1][field] = value;
        let problem = lane.send(&spoilt).expect(422).json();
        assert_eq!((&problem["code"], &problem["pointer"]), (&json!("entry_unnamed"), &json!("/entries/1")));
    }
    assert_eq!(desk.books(), before);
    assert_eq!(verdicts(&lane.hand_over(&run)), ["taken"; 3]);
}
