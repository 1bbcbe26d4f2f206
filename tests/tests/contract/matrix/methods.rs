//! Only documented methods are taken, and a wrong one is told which are.

use super::stage::{Actor, Stage, all_operations};
use dropwise::ids::fresh;
use std::collections::{BTreeMap, BTreeSet};

#[test]
fn a_method_nobody_documented_is_refused_on_every_path() {
    let stage = Stage::set();
    let client = stage.client(Actor::Owner);
    let mut paths: BTreeMap<String, BTreeSet<String>> = BTreeMap::new();
    for operation in all_operations() {
        paths.entry(operation.path).or_default().insert(operation.method);
    }
    let mut tried = 0;
    for (path, documented) in &paths {
        let mut concrete = path.clone();
        while let (Some(open), Some(close)) = (concrete.find('{'), concrete.find('}')) {
            concrete.replace_range(open..=close, &fresh().to_string());
        }
        for method in ["GET", "PUT", "POST", "PATCH", "DELETE", "TRACE", "PROPFIND"] {
            // `/things/word` is also a `/things/{id}`: there the word is an id of nothing.
            let neighbour =
                paths.iter().any(|(other, methods)| methods.contains(method) && fits(&concrete, other));
            if documented.contains(method) || neighbour {
                continue;
            }
            let answer = client.send(method, &concrete, &[], None);
            let allow: BTreeSet<String> =
                answer.header("allow").unwrap_or_default().split(", ").map(str::to_owned).collect();
            assert_eq!(answer.status, 405, "{method} {path}: {}", answer.text());
            assert_eq!(&allow, documented, "{method} {path}");
            answer.expect_problem(405, "method_not_allowed");
            tried += 1;
        }
    }
    assert!(tried > 40);
}

/// Whether a concrete path fits a template.
fn fits(concrete: &str, template: &str) -> bool {
    let (have, want): (Vec<&str>, Vec<&str>) = (concrete.split('/').collect(), template.split('/').collect());
    have.len() == want.len() && have.iter().zip(want).all(|(a, b)| *a == b || b.starts_with('{'))
}
