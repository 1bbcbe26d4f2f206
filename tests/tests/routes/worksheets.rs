//! Worksheets by HTTP and at the command line: the same answers, the same refusals.

use end_to_end::{World, binary};
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Output, Stdio};

fn at_the_command_line(arguments: &[&str], input: &str) -> Output {
    let mut child = Command::new(binary::dropwise())
        .args(arguments)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("a process");
    child.stdin.take().unwrap().write_all(input.as_bytes()).expect("its input");
    child.wait_with_output().expect("its end")
}

fn inputs() -> Value {
    json!({"value": "2", "from_unit": "us_gallon", "to_unit": "mL"})
}

#[test]
fn every_worksheet_has_a_name_and_a_sentence() {
    let world = World::new();
    let fleet = world.fleet("sheets");
    let all = fleet.as_technician().get("/v1/worksheets").expect(200).json();
    let listed = at_the_command_line(&["worksheet", "--list"], "");
    let listed = String::from_utf8(listed.stdout).unwrap();
    let all = all.as_array().unwrap();
    assert!(all.len() >= 52);
    assert_eq!(listed.lines().count(), all.len());
    for sheet in all {
        assert!(sheet["sentence"].as_str().unwrap().ends_with('.'), "{sheet}");
        assert!(
            listed.lines().any(|line| line.starts_with(&format!("{} ", sheet["method"].as_str().unwrap())))
        );
    }
}

#[test]
fn the_same_inputs_give_the_same_result_both_ways() {
    let world = World::new();
    let fleet = world.fleet("both-ways");
    let table: Value =
        serde_json::from_str(include_str!("../../../core/tests/reference/costing/bottle_filter.json"))
            .unwrap();
    let case = &table["cases"][0];
    let by_http =
        fleet.as_technician().post("/v1/worksheets/bottle_filter", &case["inputs"]).expect(200).json();
    let by_hand = at_the_command_line(&["worksheet", "bottle_filter"], &case["inputs"].to_string());
    assert_eq!(by_hand.status.code(), Some(0));
    assert_eq!(serde_json::from_slice::<Value>(&by_hand.stdout).unwrap(), by_http);
    let lines = format!("{0}\n{0}\n", case["inputs"]);
    let lines = at_the_command_line(&["worksheet", "bottle_filter", "--lines"], &lines);
    let lines: Vec<Value> = String::from_utf8(lines.stdout)
        .unwrap()
        .lines()
        .map(|line| serde_json::from_str(line).unwrap())
        .collect();
    assert_eq!(lines, [by_http.clone(), by_http]);
}

#[test]
fn what_cannot_be_worked_out_is_a_problem_with_its_own_ending() {
    let refused = at_the_command_line(&["worksheet", "units"], &json!({"value": "many"}).to_string());
    assert_eq!(refused.status.code(), Some(2));
    let problem: Value = serde_json::from_slice(&refused.stderr).unwrap();
    assert_eq!(problem["code"], "bad_inputs");
    assert_eq!(at_the_command_line(&["worksheet", "units"], "{\"value\":").status.code(), Some(64));
    assert_eq!(at_the_command_line(&["worksheet", "tea_leaves"], "{}").status.code(), Some(2));

    let world = World::new();
    let fleet = world.fleet("refused");
    let tech = fleet.as_technician();
    tech.post("/v1/worksheets/units", &json!({"value": "many"})).expect_problem(422, "bad_inputs");
    tech.post("/v1/worksheets/tea_leaves", &inputs()).expect_problem(404, "not_found");
    world.as_nobody().post("/v1/worksheets/units", &inputs()).expect_problem(401, "not_signed_in");
}
