//! What is sent is never trusted: unknown fields, other kinds of body, hostile text, too much of it.

use super::calls::{Call, call};
use super::stage::{Actor, Operation, Stage, Whose, all_operations};
use end_to_end::Answer;
use serde_json::{Value, json};

/// Every operation that takes a body, called as the owner on our own records.
fn with_bodies(stage: &Stage) -> Vec<(Operation, Call)> {
    let all: Vec<_> = all_operations()
        .into_iter()
        .filter_map(|operation| Some((call(stage, &operation, Actor::Owner, Whose::Ours)?, operation)))
        .filter(|(call, _)| call.body.is_some())
        .map(|(call, operation)| (operation, call))
        .collect();
    assert!(all.len() > 8);
    all
}

fn is_problem(answer: &Answer, statuses: &[u16], what: &str) {
    assert!(statuses.contains(&answer.status), "{what}: {} {}", answer.status, answer.text());
    assert_eq!(answer.header("content-type"), Some("application/problem+json"), "{what}");
}

#[test]
fn fields_nobody_documented_are_refused_wherever_they_are_put() {
    let stage = Stage::set();
    let client = stage.client(Actor::Owner);
    let mut tried = 0;
    for (operation, call) in with_bodies(&stage) {
        let body = call.body.clone().expect("a body");
        for place in objects(&body) {
            for (field, value) in [
                ("fleet_id", json!(stage.theirs.id)),
                ("member_id", json!(stage.theirs.owner.id)),
                ("version", json!(99)),
                ("total_amount_of_the_tests", json!("1")),
            ] {
                let mut spoilt = body.clone();
                spoilt.pointer_mut(&place).expect("a place")[field] = value;
                let answer = Call { body: Some(spoilt), ..call.clone() }.send(&client);
                // Of a run of entries each is judged for itself: none may be taken.
                if operation.id == "hand_over" && answer.status == 200 {
                    assert!(!answer.text().contains("\"taken\""), "{place}/{field}: {}", answer.text());
                    continue;
                }
                is_problem(&answer, &[409, 422], &format!("{} with {place}/{field}", operation.id));
                tried += 1;
            }
        }
    }
    assert!(tried > 30);
}

/// Pointers of every object in a body.
fn objects(value: &Value) -> Vec<String> {
    let mut found = Vec::new();
    walk(value, "", &mut |pointer, value| {
        if value.is_object() {
            found.push(pointer.to_owned());
        }
    });
    found
}

/// Pointers of every text in a body.
fn texts(value: &Value) -> Vec<String> {
    let mut found = Vec::new();
    walk(value, "", &mut |pointer, value| {
        if value.is_string() {
            found.push(pointer.to_owned());
        }
    });
    found
}

fn walk(value: &Value, pointer: &str, visit: &mut impl FnMut(&str, &Value)) {
    visit(pointer, value);
    match value {
        Value::Object(fields) => {
            fields.iter().for_each(|(key, inner)| walk(inner, &format!("{pointer}/{key}"), visit))
        }
        Value::Array(items) => {
            items.iter().enumerate().for_each(|(i, inner)| walk(inner, &format!("{pointer}/{i}"), visit))
        }
        _ => {}
    }
}

#[test]
fn hostile_text_and_wrong_types_in_any_field_are_data_or_refused_and_never_our_fault() {
    let stage = Stage::set();
    let hostile = [
        json!("'; drop table cards; --"),
        json!("\" or 1=1 --"),
        json!("a\u{0}b"),
        json!("\u{202e}gnp.exe"),
        json!("{{7*7}}${7*7}<script>alert(1)</script>"),
        json!("../../etc/passwd"),
        json!("x".repeat(100_000)),
        json!("\u{fffd}\u{10ffff}\u{1f9fd}"),
        json!("9".repeat(400)),
        json!("1e308"),
        json!("-0"),
        json!("NaN"),
        json!("Infinity"),
        json!("0001-01-01T00:00:00Z"),
        json!("9999-12-31T23:59:59Z"),
        json!("+262142-12-31T23:59:59Z"),
        json!(""),
        json!(null),
        json!(-1),
        json!(1.5e300),
        json!(9_223_372_036_854_775_807_i64),
        json!([]),
        json!({}),
        json!(true),
    ];
    let mut tried = 0;
    for operation in all_operations() {
        let Some(sample) = call(&stage, &operation, Actor::Owner, Whose::Ours) else { continue };
        let Some(body) = sample.body.clone() else { continue };
        for place in texts(&body) {
            for value in &hostile {
                // One call may have used up what it named; the stage makes it anew where that matters.
                let mut spoilt = body.clone();
                *spoilt.pointer_mut(&place).expect("a place") = value.clone();
                let answer = Call { body: Some(spoilt), ..sample.clone() }.send(&stage.client(Actor::Owner));
                let what = format!("{} with {place} = {:.60}", operation.id, value.to_string());
                assert!(answer.status < 500, "{what}: {} {}", answer.status, answer.text());
                if answer.status >= 400 {
                    is_problem(&answer, &[400, 401, 403, 404, 409, 410, 412, 413, 422, 429], &what);
                }
                tried += 1;
            }
        }
    }
    let standing: i64 =
        stage.world.db.as_owner().query_one("select count(*) from cards", &[]).expect("cards").get(0);
    assert!(standing > 20, "the cards are gone");
    println!("{tried} spoilt bodies");
    assert!(tried > 400);
}

#[test]
fn hostile_queries_and_path_parts_are_refused_and_never_our_fault() {
    let stage = Stage::set();
    let client = stage.client(Actor::Owner);
    let hostile = [
        "%27%3B--",
        "%00",
        "a%00b",
        "-1",
        "999999999999999999999",
        "%F0%9F%A7%BD",
        "..%2f..%2f",
        "null",
        "%",
        "1e9",
        "",
    ];
    let mut tried = 0;
    for operation in all_operations() {
        let document = crate::contract::openapi::document();
        let described = &document["paths"][&operation.path][operation.method.to_lowercase()]["parameters"];
        let sample = call(&stage, &operation, Actor::Owner, Whose::Ours).expect("a call");
        let plain = sample.path.split('?').next().expect("a path").to_owned();
        for parameter in described.as_array().into_iter().flatten() {
            let name = parameter["name"].as_str().expect("a name");
            for value in hostile {
                let path = match parameter["in"].as_str() {
                    Some("query") => format!("{plain}?{name}={value}"),
                    Some("path") if !value.is_empty() => {
                        let mut parts: Vec<&str> = plain.split('/').collect();
                        let at = operation.path.split('/').position(|part| part == format!("{{{name}}}"));
                        parts[at.expect("the part")] = value;
                        parts.join("/")
                    }
                    _ => continue,
                };
                let Ok(answer) = client.try_send(&sample.method, &path, &[("if-match", "\"1\"")], None)
                else {
                    continue;
                };
                assert!(answer.status < 500, "{} {path}: {}", sample.method, answer.text());
                if answer.status >= 400 {
                    is_problem(&answer, &[400, 404, 405, 409, 412, 415, 422], &path);
                }
                tried += 1;
            }
        }
        // A query the operation does not know is refused where it takes any, and harmless elsewhere.
        let answer = client.get(&format!("{plain}?surprise=1"));
        assert!(answer.status < 500, "{plain}: {}", answer.text());
    }
    assert!(tried > 100);
}

#[test]
fn bodies_are_json_plain_bounded_and_shallow() {
    let stage = Stage::set();
    let client = stage.client(Actor::Owner);
    for (operation, call) in with_bodies(&stage) {
        let send = |headers: &[(&str, &str)], body: &[u8]| {
            let mut all: Vec<(&str, &str)> =
                call.headers.iter().map(|(name, value)| (*name, value.as_str())).collect();
            all.extend(headers);
            client.send(&call.method, &call.path, &all, Some(body))
        };
        let json = ("content-type", "application/json");
        let good = call.body.clone().expect("a body").to_string();
        let name = &operation.id;
        is_problem(&send(&[("content-type", "text/plain")], good.as_bytes()), &[415], name);
        is_problem(&send(&[("content-type", "application/x-www-form-urlencoded")], b"a=b"), &[415], name);
        is_problem(&send(&[], good.as_bytes()), &[415], name);
        for encoding in ["gzip", "br", "deflate", "gzip, gzip", "zstd"] {
            // A handover may come as gzip, and this is none.
            let status = if name == "hand_over" && encoding == "gzip" { 400 } else { 415 };
            is_problem(&send(&[json, ("content-encoding", encoding)], &[0x1f, 0x8b, 8, 0]), &[status], name);
        }
        for text in ["", "{", "null", "[]", "\u{feff}{}", "{\"a\":1}{\"a\":1}", "nonsense", "\"text\""] {
            is_problem(&send(&[json], text.as_bytes()), &[400, 422], &format!("{name} with {text}"));
        }
        is_problem(&send(&[json], b"{\"name\": \"\xff\xfe\"}"), &[400, 422], name);
        let deep = format!("{}{}", "[".repeat(40), "]".repeat(40));
        is_problem(&send(&[json], format!("{{\"name\": {deep}}}").as_bytes()), &[422], name);
        let very_deep = "[".repeat(500_000);
        is_problem(&send(&[json], very_deep.as_bytes()), &[422], name);
        let large = format!("{{\"name\": \"{}\"}}", "a".repeat(1024 * 1024));
        is_problem(&send(&[json], large.as_bytes()), &[413], name);
        // The same member twice would mean two things.
        let twice = good.replacen(
            '{',
            "{\"kind\": \"place\", \"kind\": \"place\", \"name\": \"a\", \"name\": \"b\", ",
            1,
        );
        is_problem(&send(&[json], twice.as_bytes()), &[400, 422], &format!("{name} with a field twice"));
    }
}
