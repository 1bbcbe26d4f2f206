//! The worksheet of paint thickness.

use super::super::steps::Steps;
use super::super::{DecimalText, Refusal, read};
use crate::Decimal;
use crate::units::film_thickness::{UM_PER_MIL, mil_to_um, total_um, um_to_mil};
use serde::Deserialize;
use serde_json::{Value, json};

#[derive(Deserialize)]
#[serde(untagged, expecting = "expected { value, from_unit, to_unit } or { layers_um }")]
enum Film {
    Convert(Convert),
    Build(Build),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Convert {
    value: DecimalText,
    from_unit: Unit,
    to_unit: Unit,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Unit {
    Um,
    Mil,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Build {
    layers_um: Vec<DecimalText>,
}

pub(super) fn film_thickness(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let mut taken = Steps::new(steps);
    taken.note("micrometres in a mil", UM_PER_MIL.to_string());
    let result = match read(inputs)? {
        Film::Convert(Convert { value, from_unit, to_unit }) => {
            let shown = match (from_unit, to_unit) {
                (Unit::Um, Unit::Mil) => um_to_mil(value.0)?,
                (Unit::Mil, Unit::Um) => mil_to_um(value.0)?,
                (Unit::Um, Unit::Um) | (Unit::Mil, Unit::Mil) => value.0,
            };
            json!({ "value": DecimalText(shown) })
        }
        Film::Build(Build { layers_um }) => {
            let layers: Vec<Decimal> = layers_um.into_iter().map(|layer| layer.0).collect();
            let total = total_um(&layers)?;
            json!({ "total_um": DecimalText(total), "total_mil": DecimalText(um_to_mil(total)?) })
        }
    };
    Ok(taken.onto(result))
}
