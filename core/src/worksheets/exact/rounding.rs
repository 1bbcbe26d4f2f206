//! Rounding, sharing and minor units.

use super::{DecimalText, Refusal, Value, decimals, json, read, text, texts, with_steps};
use crate::exact::rounding::{Ties, round};
use crate::exact::shares::share_out;
use crate::units::currency::Currency;
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RoundingInputs {
    value: DecimalText,
    decimal_places: i32,
}

pub(super) fn rounding(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: RoundingInputs = read(inputs)?;
    let half_up = round(asked.value.0, asked.decimal_places, Ties::HalfUp)?;
    let half_even = round(asked.value.0, asked.decimal_places, Ties::HalfEven)?;
    let result = json!({ "half_up": text(half_up), "half_even": text(half_even) });
    Ok(with_steps(result, steps, &[("value before rounding", text(asked.value.0))]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SharesInputs {
    total: DecimalText,
    weights: Vec<DecimalText>,
    minor_unit_digits: u32,
}

pub(super) fn cents_allocation(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: SharesInputs = read(inputs)?;
    let weights = decimals(&asked.weights);
    let shares = share_out(asked.total.0, &weights, asked.minor_unit_digits)?;
    Ok(with_steps(json!({ "shares": texts(&shares) }), steps, &[("weights", texts(&weights))]))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CurrencyInputs {
    currency: String,
    amount: DecimalText,
}

pub(super) fn currency_minor_units(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: CurrencyInputs = read(inputs)?;
    let currency = Currency::from_code(&asked.currency).map_err(|error| {
        let mut refusal = Refusal::from(error).at("/currency");
        refusal.details.insert("minor_unit_digits".to_owned(), Value::Null);
        refusal
    })?;
    let minor_units =
        currency.minor_units(asked.amount.0).map_err(|error| Refusal::from(error).at("/amount"))?;
    let result = json!({ "minor_unit_digits": currency.minor_unit_digits(), "minor_units": minor_units });
    Ok(with_steps(result, steps, &[("amount before rounding", text(asked.amount.0))]))
}
