//! The committed document is the one the code gives, and it hangs together.

use serde_json::Value;
use std::collections::HashSet;
use std::path::Path;

/// Who may be named in `x-roles`.
const ROLES: [&str; 4] = ["nobody", "technician", "office", "owner"];
/// What a path item may hold besides methods.
const METHODS: [&str; 7] = ["get", "put", "post", "delete", "patch", "head", "options"];

pub(crate) fn document() -> Value {
    serde_json::from_str(&dropwise::openapi::document().expect("a document")).expect("JSON")
}

/// Every operation with its path and method.
pub(crate) fn operations(document: &Value) -> Vec<(String, String, Value)> {
    let mut all = Vec::new();
    for (path, item) in document["paths"].as_object().expect("paths") {
        for (method, operation) in item.as_object().expect("a path item") {
            if METHODS.contains(&method.as_str()) {
                all.push((path.clone(), method.clone(), operation.clone()));
            }
        }
    }
    all
}

#[test]
fn the_committed_document_is_the_one_the_code_gives() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../openapi/openapi.json");
    let committed = std::fs::read_to_string(&path).unwrap_or_default();
    let given = dropwise::openapi::document().expect("a document");
    if committed == given {
        return;
    }
    let mut differs = String::new();
    let (old, new): (Vec<_>, Vec<_>) = (committed.lines().collect(), given.lines().collect());
    let first = old.iter().zip(&new).take_while(|(a, b)| a == b).count();
    for line in old.iter().skip(first).take(8) {
        differs += &format!("- {line}\n");
    }
    for line in new.iter().skip(first).take(8) {
        differs += &format!("+ {line}\n");
    }
    panic!(
        "openapi/openapi.json is not what the code gives, from line {}:\n{differs}\
         Run: cargo run -p dropwise -- openapi > openapi/openapi.json",
        first + 1
    );
}

#[test]
fn every_reference_leads_somewhere() {
    let document = document();
    let mut references = Vec::new();
    collect_references(&document, &mut references);
    assert!(!references.is_empty(), "a document without references was not read right");
    for reference in references {
        let pointer =
            reference.strip_prefix('#').unwrap_or_else(|| panic!("{reference} leaves the document"));
        assert!(document.pointer(pointer).is_some(), "{reference} leads nowhere");
    }
}

fn collect_references(value: &Value, into: &mut Vec<String>) {
    match value {
        Value::Object(fields) => {
            if let Some(Value::String(reference)) = fields.get("$ref") {
                into.push(reference.clone());
            }
            fields.values().for_each(|inner| collect_references(inner, into));
        }
        Value::Array(items) => items.iter().for_each(|inner| collect_references(inner, into)),
        _ => {}
    }
}

#[test]
fn every_part_of_a_path_is_described_and_nothing_else_is() {
    for (path, method, operation) in operations(&document()) {
        let parts: HashSet<&str> = path.split(['{', '}']).skip(1).step_by(2).collect();
        let described: HashSet<&str> = operation["parameters"]
            .as_array()
            .into_iter()
            .flatten()
            .filter(|p| p["in"] == "path")
            .inspect(|p| assert_eq!(p["required"], true, "{method} {path}: {p}"))
            .inspect(|p| assert!(p["schema"].is_object(), "{method} {path}: {p} has no schema"))
            .filter_map(|p| p["name"].as_str())
            .collect();
        assert_eq!(parts, described, "{method} {path}");
    }
}

#[test]
fn every_operation_has_an_id_of_verb_and_noun() {
    let mut seen = HashSet::new();
    for (path, method, operation) in operations(&document()) {
        let id = operation["operationId"].as_str().unwrap_or_else(|| panic!("{method} {path} has no id"));
        let words: Vec<&str> = id.split('_').collect();
        let plain = |word: &&str| {
            !word.is_empty() && word.chars().all(|c| c.is_ascii_lowercase() || c.is_ascii_digit())
        };
        assert!(words.len() >= 2 && words.iter().all(plain), "{method} {path}: {id} is not verb_noun");
        assert!(seen.insert(id.to_owned()), "{id} names two operations");
    }
}

#[test]
fn every_operation_says_who_may_call_it() {
    for (path, method, operation) in operations(&document()) {
        let roles: Vec<&str> =
            operation["x-roles"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        assert!(!roles.is_empty(), "{method} {path} says nothing of roles");
        assert!(roles.iter().all(|role| ROLES.contains(role)), "{method} {path}: unknown role in {roles:?}");
        let open = roles == ["nobody"];
        assert!(
            open || !roles.contains(&"nobody"),
            "{method} {path}: nobody means everybody, and stands alone"
        );
        let secured = operation["security"].as_array().is_some_and(|all| !all.is_empty());
        assert_eq!(secured, !open, "{method} {path}: security and x-roles disagree");
        // A role may never do less than the one below it.
        for (above, below) in [("office", "technician"), ("owner", "office")] {
            if roles.contains(&below) {
                assert!(roles.contains(&above), "{method} {path}: {below} may, {above} may not");
            }
        }
    }
}

#[test]
fn every_refusal_is_a_problem_document() {
    for (path, method, operation) in operations(&document()) {
        let responses = operation["responses"].as_object().expect("responses");
        assert!(responses.keys().any(|s| s.starts_with('2')), "{method} {path} never succeeds");
        for (status, response) in responses {
            let kinds: Vec<&str> = response["content"]
                .as_object()
                .into_iter()
                .flatten()
                .map(|(kind, _)| kind.as_str())
                .collect();
            if status.starts_with(['4', '5']) || status == "default" {
                assert_eq!(kinds, ["application/problem+json"], "{method} {path}: {status}");
            }
        }
    }
}

#[test]
fn every_operation_and_field_is_explained() {
    let document = document();
    for (path, method, operation) in operations(&document) {
        let told = ["summary", "description"]
            .iter()
            .any(|key| operation[*key].as_str().is_some_and(|t| t.len() > 9));
        assert!(told, "{method} {path} is not explained");
    }
    let mut bare = Vec::new();
    for (name, schema) in document["components"]["schemas"].as_object().expect("schemas") {
        for (field, shape) in schema["properties"].as_object().into_iter().flatten() {
            let referred =
                shape["$ref"].is_string() || shape["oneOf"].is_array() || shape["allOf"].is_array();
            if shape["description"].as_str().is_none_or(str::is_empty) && !referred {
                bare.push(format!("{name}.{field}"));
            }
        }
    }
    assert!(bare.is_empty(), "fields without a word of explanation: {bare:?}");
}
