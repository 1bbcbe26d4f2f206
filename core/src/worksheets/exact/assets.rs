//! Vans and machines: depreciation and mileage.

use super::{DecimalText, Refusal, Value, decimals, json, read, text, texts, with_steps};
use crate::exact::depreciation::{Asset, Schedule};
use crate::exact::mileage::{Leg, mileage_amount};
use rust_decimal::prelude::ToPrimitive as _;
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(tag = "method", rename_all = "snake_case", deny_unknown_fields)]
enum DepreciationInputs {
    StraightLine {
        cost: DecimalText,
        salvage_value: DecimalText,
        life_years: DecimalText,
        months_in_first_year: Option<DecimalText>,
    },
    UnitsOfProduction {
        cost: DecimalText,
        salvage_value: DecimalText,
        life_units: DecimalText,
        #[serde(rename = "unit_name")]
        _unit_name: Option<String>,
        units_used: Vec<DecimalText>,
    },
}

pub(super) fn depreciation(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asset = |cost: DecimalText, salvage: DecimalText| Asset {
        cost: cost.0,
        salvage_value: salvage.0,
        minor_unit_digits: 2,
    };
    let (mut result, schedule) = match read(inputs)? {
        DepreciationInputs::StraightLine { cost, salvage_value, life_years, months_in_first_year } => {
            let asset = asset(cost, salvage_value);
            let years = whole(life_years, "/life_years")?;
            let months = match months_in_first_year {
                Some(months) => whole(months, "/months_in_first_year")?,
                None => 12,
            };
            let schedule = asset.straight_line(years, months)?;
            (json!({ "annual_depreciation": text(asset.annual_depreciation(years)?) }), schedule)
        }
        DepreciationInputs::UnitsOfProduction { cost, salvage_value, life_units, units_used, .. } => {
            let asset = asset(cost, salvage_value);
            let schedule = asset.units_of_production(life_units.0, &decimals(&units_used))?;
            (json!({ "rate_per_unit": text(asset.rate_per_unit(life_units.0)?) }), schedule)
        }
    };
    let Schedule { depreciable_base, charges, closing_book_values } = schedule;
    if let Some(fields) = result.as_object_mut() {
        fields.insert("depreciable_base".to_owned(), text(depreciable_base));
        fields.insert("schedule".to_owned(), texts(&charges));
        fields.insert("closing_book_values".to_owned(), texts(&closing_book_values));
    }
    Ok(with_steps(result, steps, &[("cost less salvage value", text(depreciable_base))]))
}

fn whole(value: DecimalText, pointer: &str) -> Result<u32, Refusal> {
    let whole = value.0.is_integer().then(|| value.0.to_u32()).flatten();
    whole.ok_or_else(|| Refusal::new("bad_inputs", "A whole number is needed here.").at(pointer))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MileageInputs {
    legs: Vec<LegInputs>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct LegInputs {
    miles: DecimalText,
    rate_per_mile: DecimalText,
    #[serde(rename = "rate_period")]
    _rate_period: Option<String>,
}

pub(super) fn mileage(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: MileageInputs = read(inputs)?;
    let leg = |leg: &LegInputs| Leg { miles: leg.miles.0, rate_per_mile: leg.rate_per_mile.0 };
    let legs: Vec<Leg> = asked.legs.iter().map(leg).collect();
    let sum = mileage_amount(&legs)?;
    let result = json!({ "amount": text(sum.amount), "amount_exact": text(sum.amount_exact) });
    Ok(with_steps(result, steps, &[("sum before rounding", text(sum.amount_exact))]))
}
