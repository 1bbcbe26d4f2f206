use super::{result, words};
use crate::safety::storage_pair::{ReactionHazard, StorageGroup, Verdict, container_rules, storage_pair};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "storage_pair",
    sentence: "Whether two storage groups may stand together, and what may happen if they meet.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    a: String,
    b: String,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let (a, b) = (group(&inputs.a, "/a")?, group(&inputs.b, "/b")?);
    let rule = storage_pair(a, b)?;
    let fields = [
        ("result", verdict(rule.verdict).into()),
        ("hazard_codes", words(rule.hazards.iter().copied().map(ReactionHazard::code))),
        ("rule", rule.id.into()),
        ("consequence", rule.consequence.into()),
        ("storage_action", rule.verdict.storage_action().into()),
    ];
    Ok(result(fields, steps, || {
        let chart = (format!("{}: source", rule.id), rule.source.into());
        let of_b = (a != b).then(|| container_rules(b)).into_iter().flatten();
        let containers = container_rules(a).chain(of_b).map(|rule| {
            (
                format!("{}: {} and {}", rule.id, rule.group.code(), rule.container),
                format!("{}: {}", verdict(rule.verdict), rule.consequence).into(),
            )
        });
        std::iter::once(chart).chain(containers).collect()
    }))
}

fn group(code: &str, pointer: &str) -> Result<StorageGroup, Refusal> {
    code.parse().map_err(|error| Refusal::from(error).at(pointer))
}

fn verdict(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Compatible => "compatible",
        Verdict::Caution => "caution",
        Verdict::Incompatible => "incompatible",
    }
}
