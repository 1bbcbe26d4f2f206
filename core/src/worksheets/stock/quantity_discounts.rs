//! `quantity_discounts`.

use super::answer::Answer;
use crate::stock::quantity_discount::{Discount, DiscountedOrder, QuantityTier, cheapest_quantity};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "quantity_discounts",
    sentence: "The order quantity that costs least per year when the price falls with the quantity.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    kind: Kind,
    fixed_order_cost: DecimalText,
    holding_cost_rate_per_year: DecimalText,
    demand_per_year: DecimalText,
    tiers: Vec<Tier>,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Kind {
    AllUnits,
    Incremental,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Tier {
    from_quantity: DecimalText,
    unit_cost: DecimalText,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let tiers: Vec<QuantityTier> = inputs
        .tiers
        .iter()
        .map(|tier| QuantityTier { from_quantity: tier.from_quantity.0, unit_cost: tier.unit_cost.0 })
        .collect();
    let discount = match inputs.kind {
        Kind::AllUnits => Discount::AllUnits,
        Kind::Incremental => Discount::Incremental,
    };
    let order = DiscountedOrder {
        fixed_order_cost: inputs.fixed_order_cost.0,
        holding_cost_rate_per_year: inputs.holding_cost_rate_per_year.0,
        demand_per_year: inputs.demand_per_year.0,
        tiers: &tiers,
    };
    let best = cheapest_quantity(order, discount)?;
    let mut answer = Answer::new(steps);
    for index in (0..tiers.len()).filter(|_| steps) {
        let first_tiers = tiers.get(..=index).unwrap_or_default();
        let without_later = cheapest_quantity(DiscountedOrder { tiers: first_tiers, ..order }, discount)?;
        let name = format!("total_cost_per_year without the tiers after {index}");
        answer = answer.step(name, without_later.total_cost_per_year);
    }
    Ok(answer
        .put("order_quantity", best.quantity)
        .put("tier_index", best.tier_index)
        .put("total_cost_per_year", best.total_cost_per_year)
        .done())
}
