//! Units and dilutions.

use super::{DecimalText, Refusal, Value, json, read, text, with_steps};
use crate::units::conversion::{Unit, convert};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct UnitsInputs {
    value: DecimalText,
    from_unit: String,
    to_unit: String,
}

pub(super) fn units(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: UnitsInputs = read(inputs)?;
    let unit = |code: &str, pointer| Unit::from_code(code).map_err(|error| Refusal::from(error).at(pointer));
    let from = unit(&asked.from_unit, "/from_unit")?;
    let to = unit(&asked.to_unit, "/to_unit")?;
    let value = convert(asked.value.0, from, to).map_err(|error| Refusal::from(error).at("/to_unit"))?;
    let result = json!({ "value": text(value) });
    if !steps {
        return Ok(result);
    }
    let one = convert(1.into(), from, to)?;
    Ok(with_steps(result, true, &[("to_unit in one from_unit", text(one))]))
}
