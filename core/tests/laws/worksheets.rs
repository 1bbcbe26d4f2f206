//! Laws of every worksheet: no input makes one panic, and asking for the steps changes nothing else.
//!
//! With `DROPWISE_FUZZ_SECONDS` set, the two campaigns each go on for so long, on fresh cases.

use dropwise_core::worksheets::{self, Worksheet};
use proptest::prelude::*;
use proptest::sample::{Index, select};
use proptest::test_runner::TestRunner;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::path::Path;
use std::time::{Duration, Instant};

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

/// Runs a check on `cases` drawn inputs, and again until the time asked for is over.
fn campaign<S: Strategy>(cases: u32, inputs: &S, check: impl Fn(S::Value) -> Result<(), TestCaseError>) {
    let seconds =
        std::env::var("DROPWISE_FUZZ_SECONDS").ok().map(|text| text.parse().expect("whole seconds"));
    let (started, budget) = (Instant::now(), Duration::from_secs(seconds.unwrap_or(0)));
    let config = ProptestConfig { cases, failure_persistence: None, ..ProptestConfig::default() };
    let mut runner = TestRunner::new(config);
    loop {
        if let Err(failure) = runner.run(inputs, &check) {
            panic!("{failure}");
        }
        if started.elapsed() >= budget {
            return;
        }
    }
}

/// An answer is an object of figures, or a refusal in words.
fn check_answer(sheet: &Worksheet, inputs: &Value, steps: bool) -> Result<(), TestCaseError> {
    match (sheet.run)(inputs, steps) {
        Ok(result) => prop_assert!(result.is_object(), "{} answers {}", sheet.method, result),
        Err(refusal) => {
            prop_assert!(!refusal.sentence.trim().is_empty(), "{} refuses without a word", sheet.method);
            prop_assert!(!refusal.code.is_empty(), "{} refuses without a code", sheet.method);
        }
    }
    Ok(())
}

#[test]
fn no_surprise_makes_a_worksheet_panic() {
    let cases = cases();
    let changes = proptest::collection::vec((any::<Index>(), surprise()), 1..3);
    campaign(8_000, &(any::<Index>(), changes, any::<bool>()), |(which, changes, steps)| {
        let (sheet, mut inputs) = which.get(cases.as_slice()).to_owned();
        for (place, value) in changes {
            let mut places = Vec::new();
            pointers(&inputs, "", &mut places);
            if let Some(spot) = inputs.pointer_mut(place.get(&places).as_str()) {
                *spot = value;
            }
        }
        check_answer(sheet, &inputs, steps)
    });
}

/// Any JSON, its objects made of fields that worksheets know and of some they do not.
fn any_json() -> impl Strategy<Value = Value> {
    let mut known = BTreeSet::from(["unknown".to_owned()]);
    for (_, inputs) in cases() {
        field_names(&inputs, &mut known);
    }
    let name = select(known.into_iter().collect::<Vec<_>>());
    surprise().prop_recursive(3, 24, 8, move |inner| {
        prop_oneof![
            1 => proptest::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            3 => proptest::collection::btree_map(name.clone(), inner, 0..8)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

fn field_names(value: &Value, out: &mut BTreeSet<String>) {
    match value {
        Value::Object(fields) => {
            for (name, inner) in fields {
                out.insert(name.clone());
                field_names(inner, out);
            }
        }
        Value::Array(items) => items.iter().for_each(|item| field_names(item, out)),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

#[test]
fn any_json_has_an_answer_or_a_refusal() {
    campaign(500, &(any_json(), any::<bool>()), |(inputs, steps)| {
        worksheets::all().try_for_each(|sheet| check_answer(sheet, &inputs, steps))
    });
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
