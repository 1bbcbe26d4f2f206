//! `economic_order_quantity`.

use super::answer::Answer;
use crate::stock::order_quantity::{
    OrderCosts, cost_of_quantity, economic_order_quantity, with_planned_backorders,
};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "economic_order_quantity",
    sentence: "The order quantity at which ordering and holding together cost least per year.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    Plain {
        fixed_order_cost: DecimalText,
        holding_cost_per_unit_per_year: DecimalText,
        demand_per_year: DecimalText,
    },
    CostOfGivenQuantity {
        fixed_order_cost: DecimalText,
        holding_cost_per_unit_per_year: DecimalText,
        demand_per_year: DecimalText,
        order_quantity: DecimalText,
    },
    PlannedBackorders {
        fixed_order_cost: DecimalText,
        holding_cost_per_unit_per_year: DecimalText,
        backorder_cost_per_unit_per_year: DecimalText,
        demand_per_year: DecimalText,
    },
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let answer = Answer::new(steps);
    let costs = |fixed: DecimalText, holding: DecimalText, demand: DecimalText| OrderCosts {
        fixed_order_cost: fixed.0,
        holding_cost_per_unit_per_year: holding.0,
        demand_per_year: demand.0,
    };
    Ok(match read(inputs)? {
        Inputs::Plain { fixed_order_cost, holding_cost_per_unit_per_year, demand_per_year } => {
            let costs = costs(fixed_order_cost, holding_cost_per_unit_per_year, demand_per_year);
            let best = economic_order_quantity(costs)?;
            answer
                .step("ordering_cost_per_year", best.cost_per_year / 2.0)
                .step("holding_cost_per_year", best.cost_per_year / 2.0)
                .put("order_quantity", best.quantity)
                .put("cost_per_year", best.cost_per_year)
                .put("cycle_time_years", best.cycle_time_years)
        }
        Inputs::CostOfGivenQuantity {
            fixed_order_cost,
            holding_cost_per_unit_per_year,
            demand_per_year,
            order_quantity,
        } => {
            let costs = costs(fixed_order_cost, holding_cost_per_unit_per_year, demand_per_year);
            answer
                .step("least_cost_per_year", economic_order_quantity(costs)?.cost_per_year)
                .put("cost_per_year", cost_of_quantity(costs, order_quantity.0)?)
        }
        Inputs::PlannedBackorders {
            fixed_order_cost,
            holding_cost_per_unit_per_year,
            backorder_cost_per_unit_per_year,
            demand_per_year,
        } => {
            let costs = costs(fixed_order_cost, holding_cost_per_unit_per_year, demand_per_year);
            let best = with_planned_backorders(costs, backorder_cost_per_unit_per_year.0)?;
            answer
                .step("quantity_without_backorders", economic_order_quantity(costs)?.quantity)
                .put("order_quantity", best.quantity)
                .put("backordered_fraction", best.backordered_fraction)
                .put("max_backorder", best.max_backorder)
                .put("cost_per_year", best.cost_per_year)
        }
    }
    .done())
}
