//! Replays every check value: one loop over every file, every case, every expected key.
//!
//! The answers were not computed by the code they judge; each case names its source. A number passes
//! when `|got - expected| <= max(abs, rel * |expected|)`, a missing tolerance counting as zero.
//! Integers, words, dates, nulls and refusals must match exactly; decimal strings are compared as numbers.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

use dropwise_core::worksheets;
use serde_json::Value;
use std::path::{Path, PathBuf};

/// How far a figure may lie from the expected one.
#[derive(Clone, Copy, Default)]
struct Tolerance {
    abs: f64,
    rel: f64,
}

/// Cases held to be wrong at their source: (file stem, case id, reason). They must keep failing, so
/// that a mended case is noticed. The list may only shrink.
const DISPUTED: &[(&str, &str, &str)] = &[];

#[test]
fn every_check_value_is_met() {
    let mut files = Vec::new();
    for room in ["costing", "stock", "safety"] {
        files.extend(json_files(&root().join(room)));
    }
    files.sort();
    assert!(files.len() >= 50, "the check values are missing: {} files", files.len());
    let only = std::env::var("ONLY").ok();
    let (mut met, mut failures) = (0, Vec::new());
    for file in files {
        let method = file.file_stem().unwrap().to_str().unwrap().to_owned();
        if only.as_ref().is_some_and(|only| !only.split(',').any(|o| o == method)) {
            continue;
        }
        let table: Value = serde_json::from_str(&std::fs::read_to_string(&file).unwrap()).unwrap();
        for case in table["cases"].as_array().expect("cases") {
            let id = case["id"].as_str().expect("id");
            let disputed = DISPUTED.iter().any(|(m, i, _)| *m == method && *i == id);
            match (judge(&method, case), disputed) {
                (Ok(()), false) => met += 1,
                (Ok(()), true) => failures.push(format!("{method} {id}: disputed, yet it passes")),
                (Err(why), false) => failures.push(format!("{method} {id}: {}", why.join("; "))),
                (Err(_), true) => {}
            }
        }
    }
    println!("{met} check values met, {} disputed", DISPUTED.len());
    assert!(failures.is_empty(), "{} cases differ:\n{}", failures.len(), failures.join("\n"));
}

fn judge(method: &str, case: &Value) -> Result<(), Vec<String>> {
    let Some(sheet) = worksheets::find(method) else {
        return Err(vec!["no worksheet of that name".to_owned()]);
    };
    let expected = &case["expected"];
    let refused = expected.get("error").is_some();
    let got = match (sheet.run)(&case["inputs"], false) {
        Ok(_) if refused => return Err(vec!["should have been refused".to_owned()]),
        Ok(got) => got,
        Err(refusal) if !refused => return Err(vec![format!("refused: {refusal:?}")]),
        Err(refusal) => {
            let mut got = refusal.details;
            // `true` stands for any refusal; a word stands for that code.
            let code = if expected["error"] == Value::Bool(true) { true.into() } else { refusal.code.into() };
            got.insert("error".to_owned(), code);
            Value::Object(got)
        }
    };
    let mut differences = Vec::new();
    for (name, value) in expected.as_object().expect("expected") {
        // A tolerance may be given for all figures, or by the name of each.
        let named = &case["tolerance"][name];
        let given = if named.is_object() { named } else { &case["tolerance"] };
        let tolerance = Tolerance { abs: number(&given["abs"]), rel: number(&given["rel"]) };
        let at = format!("/{name}");
        match got.get(name) {
            Some(found) => compare(&at, value, found, tolerance, &mut differences),
            None => differences.push(format!("{at}: missing")),
        }
    }
    if differences.is_empty() { Ok(()) } else { Err(differences) }
}

fn compare(at: &str, expected: &Value, got: &Value, tolerance: Tolerance, out: &mut Vec<String>) {
    let differ = |out: &mut Vec<String>| out.push(format!("{at}: expected {expected}, got {got}"));
    match (expected, got) {
        (Value::Object(fields), Value::Object(found)) => {
            for (name, value) in fields {
                let inner = format!("{at}/{name}");
                match found.get(name) {
                    Some(other) => compare(&inner, value, other, tolerance, out),
                    None => out.push(format!("{inner}: missing")),
                }
            }
        }
        (Value::Array(items), Value::Array(found)) => {
            if items.len() != found.len() {
                out.push(format!("{at}: {} entries expected, {} got", items.len(), found.len()));
            }
            for (i, (value, other)) in items.iter().zip(found).enumerate() {
                compare(&format!("{at}/{i}"), value, other, tolerance, out);
            }
        }
        (Value::Number(a), Value::Number(b)) if a.is_i64() && b.is_i64() => {
            if a != b {
                differ(out);
            }
        }
        (Value::Number(a), Value::Number(b)) => {
            if !close(a.as_f64().unwrap(), b.as_f64().unwrap(), tolerance) {
                differ(out);
            }
        }
        (Value::String(a), Value::String(b)) => {
            let numbers = a.parse::<f64>().ok().zip(b.parse::<f64>().ok());
            let same = match numbers {
                Some(_) if tolerance.abs == 0.0 && tolerance.rel == 0.0 => plain(a) == plain(b),
                Some((a, b)) => close(a, b, tolerance),
                None => a == b,
            };
            if !same {
                differ(out);
            }
        }
        _ if expected == got => {}
        _ => differ(out),
    }
}

fn close(a: f64, b: f64, tolerance: Tolerance) -> bool {
    let bound = tolerance.abs.max(tolerance.rel * a.abs());
    (a - b).abs() <= bound
}

/// A decimal string without trailing zeros, so that "1.50" and "1.5" are the same number.
fn plain(text: &str) -> String {
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { text };
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn number(value: &Value) -> f64 {
    match value {
        Value::String(text) => text.parse().expect("a tolerance is a number"),
        Value::Number(n) => n.as_f64().unwrap(),
        Value::Null | Value::Bool(_) | Value::Array(_) | Value::Object(_) => 0.0,
    }
}

fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/reference")
}

fn json_files(folder: &Path) -> Vec<PathBuf> {
    let mut found: Vec<PathBuf> = std::fs::read_dir(folder)
        .expect("the folder of check values")
        .map(|entry| entry.unwrap().path())
        .filter(|path| path.extension().is_some_and(|ext| ext == "json"))
        .collect();
    found.sort();
    found
}
