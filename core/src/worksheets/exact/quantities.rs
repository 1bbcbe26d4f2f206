//! Units and dilutions.

use super::{DecimalText, Map, Refusal, Value, json, read, text, with_steps};
use crate::exact::dilution::Dilution;
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

/// Said with every dilution.
const LABEL_CAUTION: &str = "The product's own label and safety sheet say how strong a mix may be and what \
     to wear; they govern.";

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct DilutionInputs {
    product_parts: DecimalText,
    water_parts: DecimalText,
    ready_to_use_ml: Option<DecimalText>,
    ready_to_use_us_fl_oz: Option<DecimalText>,
    concentrate_pack_ml: Option<DecimalText>,
    concentrate_pack_price: Option<DecimalText>,
}

pub(super) fn dilution(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: DilutionInputs = read(inputs)?;
    let dilution = Dilution { product_parts: asked.product_parts.0, water_parts: asked.water_parts.0 };
    let (ready_to_use, unit) = match (asked.ready_to_use_ml, asked.ready_to_use_us_fl_oz) {
        (Some(volume), None) => (volume.0, "ml"),
        (None, Some(volume)) => (volume.0, "us_fl_oz"),
        (None, None) | (Some(_), Some(_)) => {
            let sentence = "Give either ready_to_use_ml or ready_to_use_us_fl_oz.";
            return Err(Refusal::new("bad_inputs", sentence));
        }
    };
    let batch = dilution.batch(ready_to_use)?;
    let mut result = Map::new();
    result.insert(format!("concentrate_{unit}"), text(batch.concentrate));
    result.insert(format!("water_{unit}"), text(batch.water));
    result.insert("dilution_factor".to_owned(), text(dilution.factor()?));
    result.insert("caution".to_owned(), LABEL_CAUTION.into());
    if let (Some(pack), Some(price)) = (asked.concentrate_pack_ml, asked.concentrate_pack_price) {
        let ready_to_use_ml = match unit {
            "ml" => ready_to_use,
            _ => convert(ready_to_use, Unit::UsFluidOunce, Unit::Millilitre)?,
        };
        let cost = dilution.cost(ready_to_use_ml, pack.0, price.0)?;
        result.insert("cost_per_ready_to_use_litre".to_owned(), text(cost.per_ready_to_use_litre));
        result.insert("cost_of_batch".to_owned(), text(cost.of_batch));
        result.insert("cost_of_batch_rounded".to_owned(), text(cost.of_batch_rounded));
    }
    let between = [
        ("parts of product", text(dilution.product_parts)),
        ("parts of water", text(dilution.water_parts)),
        ("dilution factor", text(dilution.factor()?)),
    ];
    Ok(with_steps(Value::Object(result), steps, &between))
}
