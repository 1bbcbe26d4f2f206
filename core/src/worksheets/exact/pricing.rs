//! Prices: break-even, the price for a margin, overhead on jobs.

use super::{DecimalText, Map, Refusal, Value, json, read, text, with_steps};
use crate::exact::break_even::{MixLine, UnitEconomics, profit_before_tax};
use crate::exact::card_fee::CardTerms;
use crate::exact::overhead::OverheadRate;
use crate::exact::target_price::price_for_margin;
use crate::ratio::Ratio;
use rust_decimal::Decimal;
use serde::Deserialize;

pub(super) fn cost_volume_profit(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    if inputs.get("products").is_some() {
        break_even_of_mix(inputs, steps)
    } else {
        break_even(inputs, steps)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct BreakEvenInputs {
    price_per_unit: DecimalText,
    variable_cost_per_unit: DecimalText,
    fixed_costs: DecimalText,
    target_profit_after_tax: Option<DecimalText>,
    tax_rate: Option<DecimalText>,
    units_sold: Option<DecimalText>,
}

fn break_even(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: BreakEvenInputs = read(inputs)?;
    let unit = UnitEconomics { price: asked.price_per_unit.0, variable_cost: asked.variable_cost_per_unit.0 };
    let contribution = unit.contribution()?;
    let point = unit.sales_to_cover(asked.fixed_costs.0)?;
    let mut result = Map::new();
    let mut put = |name: &str, value: Decimal| result.insert(name.to_owned(), text(value));
    put("contribution_per_unit", contribution);
    put("contribution_ratio", unit.contribution_ratio()?);
    put("break_even_units_exact", point.units_exact);
    put("break_even_units", point.units);
    put("break_even_revenue", point.revenue);
    let mut between = vec![("contribution per unit", text(contribution))];
    if let Some(after_tax) = asked.target_profit_after_tax {
        let before = profit_before_tax(after_tax.0, asked.tax_rate.map_or(Decimal::ZERO, |rate| rate.0))?;
        let to_cover =
            (Ratio::from(asked.fixed_costs.0) + before.into()).decimal("fixed costs and profit")?;
        let target = unit.sales_to_cover(to_cover)?;
        put("target_profit_before_tax", before);
        put("target_units_exact", target.units_exact);
        put("target_units", target.units);
        put("target_revenue", target.revenue);
        between.push(("fixed costs and profit before tax", text(to_cover)));
    }
    if let Some(units_sold) = asked.units_sold {
        let sold = unit.sold(units_sold.0, asked.fixed_costs.0)?;
        put("total_contribution", sold.total_contribution);
        put("operating_income", sold.operating_income);
        put("margin_of_safety_revenue", sold.margin_of_safety_revenue);
    }
    Ok(with_steps(Value::Object(result), steps, &between))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MixInputs {
    products: Vec<ProductInputs>,
    fixed_costs: DecimalText,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ProductInputs {
    name: String,
    mix_units: DecimalText,
    price: DecimalText,
    variable_cost: DecimalText,
}

fn break_even_of_mix(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: MixInputs = read(inputs)?;
    let line = |product: &ProductInputs| MixLine {
        mix_units: product.mix_units.0,
        unit: UnitEconomics { price: product.price.0, variable_cost: product.variable_cost.0 },
    };
    let composite = UnitEconomics::composite(&asked.products.iter().map(line).collect::<Vec<_>>())?;
    let point = composite.sales_to_cover(asked.fixed_costs.0)?;
    let mut units = Map::new();
    for product in &asked.products {
        let of_product = Ratio::from(point.units_exact) * product.mix_units.0.into();
        units.insert(product.name.clone(), text(of_product.decimal("units")?));
    }
    let result = json!({
        "composite_contribution": text(composite.contribution()?),
        "composite_price": text(composite.price),
        "break_even_composites_exact": text(point.units_exact),
        "break_even_composites": text(point.units),
        "break_even_units_exact": units,
        "break_even_revenue": text(point.revenue),
    });
    let between = [("variable cost of one composite", text(composite.variable_cost))];
    Ok(with_steps(result, steps, &between))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct TargetPriceInputs {
    total_cost: DecimalText,
    target_margin_fraction: DecimalText,
    card_fee_fraction: DecimalText,
    card_fee_fixed: DecimalText,
    minor_unit_digits: u32,
}

pub(super) fn target_price(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: TargetPriceInputs = read(inputs)?;
    let card = CardTerms {
        fee_fraction: asked.card_fee_fraction.0,
        fee_fixed: asked.card_fee_fixed.0,
        minor_unit_digits: asked.minor_unit_digits,
    };
    let found = price_for_margin(asked.total_cost.0, asked.target_margin_fraction.0, card)?;
    let result = json!({
        "price_unrounded": text(found.price_unrounded),
        "price": text(found.price),
        "card_fee": text(found.card_fee),
        "profit": text(found.profit),
        "achieved_margin_fraction": found.achieved_margin_fraction.map(text),
        "equivalent_markup_on_cost": text(found.equivalent_markup_on_cost),
    });
    let between = [
        ("price before rounding up", text(found.price_unrounded)),
        ("card fee on the price", text(found.card_fee)),
        ("price less cost and fee", text(found.profit)),
    ];
    Ok(with_steps(result, steps, &between))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct OverheadInputs {
    estimated_overhead: Option<DecimalText>,
    estimated_base: Option<DecimalText>,
    predetermined_rate: Option<DecimalText>,
    actual_base: Option<DecimalText>,
    actual_overhead: Option<DecimalText>,
    jobs: Option<Vec<JobInputs>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct JobInputs {
    materials: DecimalText,
    labour: DecimalText,
    base_units: DecimalText,
}

pub(super) fn overhead(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: OverheadInputs = read(inputs)?;
    let rate = match (asked.predetermined_rate, asked.estimated_overhead, asked.estimated_base) {
        (Some(rate), None, None) => OverheadRate::per_base_unit(rate.0)?,
        (None, Some(overhead), Some(base)) => OverheadRate::estimated(overhead.0, base.0)?,
        _ => {
            let sentence = "Give either predetermined_rate, or estimated_overhead and estimated_base.";
            return Err(Refusal::new("bad_inputs", sentence));
        }
    };
    let mut result = Map::new();
    result.insert("predetermined_rate".to_owned(), text(rate.rate()?));
    if let (Some(base), Some(overhead)) = (asked.actual_base, asked.actual_overhead) {
        let settled = rate.settle(base.0, overhead.0)?;
        let status = match settled.under_applied.cmp(&Decimal::ZERO) {
            std::cmp::Ordering::Greater => "under_applied",
            std::cmp::Ordering::Less => "over_applied",
            std::cmp::Ordering::Equal => "none",
        };
        result.insert("applied_overhead".to_owned(), text(settled.applied));
        result.insert("under_applied".to_owned(), text(settled.under_applied));
        result.insert("status".to_owned(), status.into());
    }
    if let Some(jobs) = asked.jobs {
        let jobs: Result<Vec<Value>, Refusal> = jobs.iter().map(|job| job_cost(rate, job)).collect();
        result.insert("jobs".to_owned(), jobs?.into());
    }
    let between = [("overhead per unit of base", text(rate.rate()?))];
    Ok(with_steps(Value::Object(result), steps, &between))
}

fn job_cost(rate: OverheadRate, job: &JobInputs) -> Result<Value, Refusal> {
    let applied = rate.applied(job.base_units.0)?;
    let total = Ratio::from(job.materials.0) + job.labour.0.into() + applied.into();
    Ok(json!({ "applied_overhead": text(applied), "total_cost": text(total.decimal("total cost")?) }))
}
