//! The margin bridge.

use super::{DecimalText, Map, Refusal, Value, json, read, text};
use crate::exact::margin_bridge::{BridgeSteps, MaterialUse, Month, ServiceCard, bridge, month_margin};
use serde::Deserialize;
use std::collections::BTreeMap;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    base_month: MonthInputs,
    actual_month: MonthInputs,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MonthInputs {
    other_costs: DecimalText,
    services: BTreeMap<String, ServiceInputs>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ServiceInputs {
    jobs: DecimalText,
    price: DecimalText,
    materials: Vec<MaterialInputs>,
    labour_hours: DecimalText,
    labour_rate: DecimalText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MaterialInputs {
    name: String,
    usage: DecimalText,
    price: DecimalText,
}

/// `steps` is this worksheet's own result: the eight steps of the bridge. The figures between, when asked
/// for, are under `working`.
pub(super) fn margin_bridge(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: Inputs = read(inputs)?;
    let base = month(&asked.base_month, "/base_month")?;
    let actual = month(&asked.actual_month, "/actual_month")?;
    let found = bridge(&base, &actual, 2)?;
    let mut result = json!({
        "base_margin": text(found.base_margin),
        "actual_margin": text(found.actual_margin),
        "change": text(found.change),
        "steps_exact": named(&found.exact),
        "steps": named(&found.rounded),
    });
    if steps && let Some(fields) = result.as_object_mut() {
        fields.insert("working".to_owned(), working(&base, &actual)?);
    }
    Ok(result)
}

fn month(asked: &MonthInputs, pointer: &str) -> Result<Month, Refusal> {
    let mut services = BTreeMap::new();
    for (name, service) in &asked.services {
        let mut materials = BTreeMap::new();
        for material in &service.materials {
            let used = MaterialUse { usage: material.usage.0, price: material.price.0 };
            if materials.insert(material.name.clone(), used).is_some() {
                let refusal = Refusal::new("bad_inputs", "A material is listed once per service.");
                return Err(refusal.at(format!("{pointer}/services/{name}/materials")));
            }
        }
        let card = ServiceCard {
            jobs: service.jobs.0,
            price: service.price.0,
            materials,
            labour_hours: service.labour_hours.0,
            labour_rate: service.labour_rate.0,
        };
        services.insert(name.clone(), card);
    }
    Ok(Month { other_costs: asked.other_costs.0, services })
}

fn named(steps: &BridgeSteps) -> Value {
    steps
        .named()
        .into_iter()
        .map(|(name, value)| (name.to_owned(), text(value)))
        .collect::<Map<_, _>>()
        .into()
}

/// Each service's margin in each month.
fn working(base: &Month, actual: &Month) -> Result<Value, Refusal> {
    let mut lines = Vec::new();
    for (when, month) in [("base", base), ("actual", actual)] {
        for (name, card) in &month.services {
            let alone = Month { services: [(name.clone(), card.clone())].into(), ..Month::default() };
            let margin = text(month_margin(&alone, 2)?);
            lines.push(json!({ "name": format!("{when} month, margin of {name}"), "value": margin }));
        }
    }
    Ok(lines.into())
}
