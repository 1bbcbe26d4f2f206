//! Laws of every worksheet: no input makes one panic, and asking for the steps changes nothing else.

use dropwise_core::worksheets::{self, Worksheet};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use serde_json::{Value, json};
use std::path::Path;

/// Every check value's inputs, beside the worksheet that reads them.
fn cases() -> Vec<(&'static Worksheet, Value)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference");
    let mut found = Vec::new();
    for sheet in worksheets::all() {
        for room in ["costing", "stock", "safety"] {
            let Ok(text) = std::fs::read_to_string(root.join(room).join(format!("{}.json", sheet.method)))
            else {
                continue;
            };
            let table: Value = serde_json::from_str(&text).unwrap();
            for case in table["cases"].as_array().unwrap() {
                found.push((sheet, case["inputs"].clone()));
            }
        }
    }
    assert!(found.len() >= 80, "{} cases", found.len());
    found
}

/// Something to put where a number, a word or a list stood.
fn surprise() -> impl Strategy<Value = Value> {
    prop_oneof![
        super::stats::any_number().prop_map(Value::from), // what is not finite becomes null
        any::<i64>().prop_map(Value::from),
        (any::<i64>(), 0_u32..24).prop_map(|(digits, scale)| {
            Value::from(dropwise_core::Decimal::new(digits, scale).to_string())
        }),
        select(vec![
            json!(null),
            json!([]),
            json!({}),
            json!(""),
            json!("x"),
            json!(true),
            json!("0"),
            json!("-1")
        ]),
    ]
}

/// Pointers to everything within a value, the value itself included.
fn pointers(value: &Value, at: &str, out: &mut Vec<String>) {
    out.push(at.to_owned());
    match value {
        Value::Object(fields) => {
            for (name, inner) in fields {
                pointers(inner, &format!("{at}/{}", name.replace('~', "~0").replace('/', "~1")), out);
            }
        }
        Value::Array(items) => {
            for (i, inner) in items.iter().enumerate() {
                pointers(inner, &format!("{at}/{i}"), out);
            }
        }
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

#[test]
fn no_surprise_makes_a_worksheet_panic() {
    let cases = cases();
    let changes = proptest::collection::vec((any::<Index>(), surprise()), 1..3);
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases: 8_000,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let outcome = runner.run(&(any::<Index>(), changes, any::<bool>()), |(which, changes, steps)| {
        let (sheet, mut inputs) = which.get(cases.as_slice()).to_owned();
        for (place, value) in changes {
            let mut places = Vec::new();
            pointers(&inputs, "", &mut places);
            if let Some(spot) = inputs.pointer_mut(place.get(&places).as_str()) {
                *spot = value;
            }
        }
        if let Err(refusal) = (sheet.run)(&inputs, steps) {
            prop_assert!(!refusal.sentence.is_empty(), "{} refuses without a word", sheet.method);
        }
        Ok(())
    });
    if let Err(failure) = outcome {
        panic!("{failure}");
    }
}

#[test]
fn asking_for_the_steps_changes_nothing_else() {
    for (sheet, inputs) in cases() {
        let (plain, with_steps) = ((sheet.run)(&inputs, false), (sheet.run)(&inputs, true));
        let (Ok(plain), Ok(with_steps)) = (&plain, &with_steps) else {
            assert_eq!(plain, with_steps, "{}", sheet.method);
            continue;
        };
        for (name, value) in plain.as_object().unwrap() {
            if name != "steps" {
                assert_eq!(with_steps.get(name), Some(value), "{} {name}", sheet.method);
            }
        }
    }
}
