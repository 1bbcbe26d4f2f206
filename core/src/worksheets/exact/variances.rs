//! Variances of cost and sales.

use super::{DecimalText, Map, Refusal, Value, read, text, with_steps};
use crate::exact::cost_variances::{Actual, Paid, Standard, cost_variances as split_cost};
use crate::exact::sales_variances::{Market, Prices, ProductSales, sales_variances as split_sales};
use rust_decimal::Decimal;
use serde::Deserialize;
use std::cmp::Ordering;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct CostInputs {
    kind: Kind,
    actual_quantity: DecimalText,
    actual_price: Option<DecimalText>,
    actual_cost: Option<DecimalText>,
    standard_quantity: DecimalText,
    standard_price: DecimalText,
    purchased_quantity: Option<DecimalText>,
}

#[derive(Deserialize, Clone, Copy)]
#[serde(rename_all = "snake_case")]
enum Kind {
    DirectMaterial,
    DirectLabour,
    VariableOverhead,
}

pub(super) fn cost_variances(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: CostInputs = read(inputs)?;
    let paid = match (asked.actual_price, asked.actual_cost) {
        (Some(price), None) => Paid::PerUnit(price.0),
        (None, Some(cost)) => Paid::InAll(cost.0),
        (None, None) | (Some(_), Some(_)) => {
            return Err(Refusal::new("bad_inputs", "Give either actual_price or actual_cost."));
        }
    };
    let actual = Actual {
        quantity: asked.actual_quantity.0,
        paid,
        purchased_quantity: asked.purchased_quantity.map(|quantity| quantity.0),
    };
    let standard = Standard { quantity: asked.standard_quantity.0, price: asked.standard_price.0 };
    let found = split_cost(actual, standard)?;
    let (by_price, by_quantity) = match asked.kind {
        Kind::DirectMaterial => ("price_variance", "quantity_variance"),
        Kind::DirectLabour => ("rate_variance", "efficiency_variance"),
        Kind::VariableOverhead => ("spending_variance", "efficiency_variance"),
    };
    let mut result = Map::new();
    for (name, value) in
        [(by_price, found.price), (by_quantity, found.quantity), ("total_variance", found.total)]
    {
        result.insert(name.to_owned(), text(value));
        // More cost than standard is unfavourable.
        result.insert(format!("{name}_direction"), direction(-value).into());
    }
    let between = [
        ("actual less standard quantity, at standard price", text(found.quantity)),
        ("actual less standard price, on the actual quantity", text(found.price)),
    ];
    Ok(with_steps(Value::Object(result), steps, &between))
}

/// The word for a signed effect on margin.
fn direction(effect: Decimal) -> &'static str {
    match effect.cmp(&Decimal::ZERO) {
        Ordering::Greater => "favorable",
        Ordering::Less => "unfavorable",
        Ordering::Equal => "none",
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SalesInputs {
    products: Vec<ProductInputs>,
    market: Option<MarketInputs>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ProductInputs {
    #[serde(rename = "name")]
    _name: String,
    budget_units: DecimalText,
    budget_price: Option<DecimalText>,
    budget_contribution_per_unit: DecimalText,
    actual_units: DecimalText,
    actual_price: Option<DecimalText>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct MarketInputs {
    budget_market_units: DecimalText,
    actual_market_units: DecimalText,
}

pub(super) fn sales_variances(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let asked: SalesInputs = read(inputs)?;
    let product = |product: &ProductInputs| ProductSales {
        budget_units: product.budget_units.0,
        actual_units: product.actual_units.0,
        budget_contribution_per_unit: product.budget_contribution_per_unit.0,
        prices: product
            .budget_price
            .zip(product.actual_price)
            .map(|(budget, actual)| Prices { budget: budget.0, actual: actual.0 }),
    };
    let products: Vec<ProductSales> = asked.products.iter().map(product).collect();
    let market = asked.market.map(|market| Market {
        budget_units: market.budget_market_units.0,
        actual_units: market.actual_market_units.0,
    });
    let found = split_sales(&products, market)?;
    let lines = [
        ("sales_price", found.price),
        ("sales_volume", Some(found.volume)),
        ("sales_quantity", Some(found.quantity)),
        ("sales_mix", Some(found.mix)),
        ("market_size", found.market.map(|market| market.size)),
        ("market_share", found.market.map(|market| market.share)),
    ];
    let mut result = Map::new();
    for (name, value) in lines.into_iter().filter_map(|(name, value)| Some((name, value?))) {
        result.insert(format!("{name}_variance"), text(value));
        result.insert(format!("{name}_direction"), direction(value).into());
    }
    let average = text(found.budget_average_contribution);
    result.insert("budget_average_contribution".to_owned(), average.clone());
    Ok(with_steps(Value::Object(result), steps, &[("planned average contribution per unit", average)]))
}
