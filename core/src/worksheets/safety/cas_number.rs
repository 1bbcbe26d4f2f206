use super::result;
use crate::safety::cas_number::CasNumber;
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "cas_number",
    sentence: "Whether a CAS registry number has the right form and check digit.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    cas: String,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let Inputs { cas } = read(inputs)?;
    let number: Result<CasNumber, _> = cas.parse();
    let why = number.as_ref().err().map_or(Value::Null, |error| format!("{error}.").into());
    Ok(result([("valid", number.is_ok().into()), ("why_not", why)], steps, || match number {
        Ok(number) => vec![
            ("sum of digits, weighted 1, 2, 3 ... from the right".to_owned(), number.weighted_sum().into()),
            ("check digit".to_owned(), number.check_digit().into()),
        ],
        Err(_) => Vec::new(),
    }))
}
