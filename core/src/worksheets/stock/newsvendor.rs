//! `newsvendor`.

use super::answer::Answer;
use crate::stock::newsvendor::{
    DemandChance, MismatchCosts, SeasonPrices, discrete_level, normal_cost, normal_level, poisson_level,
    season_order,
};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::{Number, Value};

pub(super) const SHEET: Worksheet = Worksheet {
    method: "newsvendor",
    sentence: "How much to take for one selling period when too much and too little both cost.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    NormalCost {
        overage_cost_per_unit: DecimalText,
        underage_cost_per_unit: DecimalText,
        demand_mean: f64,
        demand_sd: f64,
    },
    NormalCostOfGivenLevel {
        overage_cost_per_unit: DecimalText,
        underage_cost_per_unit: DecimalText,
        demand_mean: f64,
        demand_sd: f64,
        order_up_to_level: f64,
    },
    NormalProfit {
        selling_price_per_unit: DecimalText,
        purchase_cost_per_unit: DecimalText,
        salvage_value_per_unit: DecimalText,
        demand_mean: f64,
        demand_sd: f64,
    },
    PoissonCost {
        overage_cost_per_unit: DecimalText,
        underage_cost_per_unit: DecimalText,
        demand_mean: f64,
    },
    DiscreteCost {
        overage_cost_per_unit: DecimalText,
        underage_cost_per_unit: DecimalText,
        demand_distribution: Vec<Chance>,
    },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Chance {
    quantity: u64,
    probability: Number,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let answer = Answer::new(steps);
    let costs = |over: DecimalText, under: DecimalText| MismatchCosts { overage: over.0, underage: under.0 };
    Ok(match read(inputs)? {
        Inputs::NormalCost { overage_cost_per_unit, underage_cost_per_unit, demand_mean, demand_sd } => {
            let costs = costs(overage_cost_per_unit, underage_cost_per_unit);
            let level = normal_level(costs, demand_mean, demand_sd)?;
            answer
                .step("safety_stock", level.order_up_to - demand_mean)
                .put("critical_ratio", costs.critical_ratio()?)
                .put("order_up_to_level", level.order_up_to)
                .put("expected_cost", level.expected_cost)
        }
        Inputs::NormalCostOfGivenLevel {
            overage_cost_per_unit,
            underage_cost_per_unit,
            demand_mean,
            demand_sd,
            order_up_to_level,
        } => {
            let costs = costs(overage_cost_per_unit, underage_cost_per_unit);
            answer
                .step("least_expected_cost", normal_level(costs, demand_mean, demand_sd)?.expected_cost)
                .put("expected_cost", normal_cost(costs, demand_mean, demand_sd, order_up_to_level)?)
        }
        Inputs::NormalProfit {
            selling_price_per_unit,
            purchase_cost_per_unit,
            salvage_value_per_unit,
            demand_mean,
            demand_sd,
        } => {
            let prices = SeasonPrices {
                selling: selling_price_per_unit.0,
                purchase: purchase_cost_per_unit.0,
                salvage: salvage_value_per_unit.0,
            };
            let order = season_order(prices, demand_mean, demand_sd)?;
            answer
                .step("safety_stock", order.order_quantity - demand_mean)
                .put("critical_ratio", order.critical_ratio)
                .put("order_quantity", order.order_quantity)
                .put("expected_lost_sales", order.expected_lost_sales)
                .put("expected_profit", order.expected_profit)
        }
        Inputs::PoissonCost { overage_cost_per_unit, underage_cost_per_unit, demand_mean } => {
            let costs = costs(overage_cost_per_unit, underage_cost_per_unit);
            let level = poisson_level(costs, demand_mean)?;
            whole(answer, costs, level.order_up_to, level.expected_cost)?
        }
        Inputs::DiscreteCost { overage_cost_per_unit, underage_cost_per_unit, demand_distribution } => {
            let costs = costs(overage_cost_per_unit, underage_cost_per_unit);
            let chances: Vec<DemandChance> =
                demand_distribution.iter().map(chance).collect::<Result<_, _>>()?;
            let level = discrete_level(costs, &chances)?;
            whole(answer, costs, level.order_up_to, level.expected_cost)?
        }
    }
    .done())
}

fn whole(answer: Answer, costs: MismatchCosts, level: u64, cost: f64) -> Result<Answer, Refusal> {
    let ratio = costs.critical_ratio()?;
    Ok(answer
        .step("critical_ratio", ratio)
        .put("critical_ratio", ratio)
        .put("order_up_to_level", level)
        .put("expected_cost", cost))
}

/// A chance as it was written: reaching the critical ratio exactly must count, so no rounding on the way.
fn chance(chance: &Chance) -> Result<DemandChance, Refusal> {
    let text = chance.probability.to_string();
    let probability = Decimal::from_str_exact(&text).or_else(|_| Decimal::from_scientific(&text));
    let probability =
        probability.map_err(|_| Refusal::new("bad_inputs", "A probability is a number from 0 to 1."))?;
    Ok(DemandChance { quantity: chance.quantity, probability })
}
