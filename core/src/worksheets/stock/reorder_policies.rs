//! `reorder_policies`.

use super::answer::Answer;
use crate::stock::reorder_policy::{PolicyCosts, normal_quantity, poisson_level, poisson_quantity};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use normal_quantity::{NormalDemand, NormalPolicy};
use rust_decimal::Decimal;
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "reorder_policies",
    sentence: "When to order and how much, weighing ordering, holding and waiting against each other.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    RQNormalCost {
        reorder_point: f64,
        order_quantity: f64,
        holding_cost_per_unit_per_year: DecimalText,
        backorder_cost_per_unit_per_year: DecimalText,
        fixed_order_cost: DecimalText,
        demand_per_year_mean: f64,
        demand_per_year_sd: f64,
        lead_time_years: f64,
    },
    RQNormalBestReorderPoint {
        order_quantity: f64,
        holding_cost_per_unit_per_year: DecimalText,
        backorder_cost_per_unit_per_year: DecimalText,
        demand_per_year_mean: f64,
        demand_per_year_sd: f64,
        lead_time_years: f64,
    },
    RQNormalOptimum {
        holding_cost_per_unit_per_year: DecimalText,
        backorder_cost_per_unit_per_year: DecimalText,
        fixed_order_cost: DecimalText,
        demand_per_year_mean: f64,
        demand_per_year_sd: f64,
        lead_time_years: f64,
    },
    RQNormalEoqPlusSafetyStock {
        holding_cost_per_unit_per_year: DecimalText,
        backorder_cost_per_unit_per_year: DecimalText,
        fixed_order_cost: DecimalText,
        demand_per_year_mean: f64,
        demand_per_year_sd: f64,
        lead_time_years: f64,
    },
    RQPoissonOptimum {
        holding_cost_per_unit_per_year: DecimalText,
        backorder_cost_per_unit_per_year: DecimalText,
        fixed_order_cost: DecimalText,
        demand_per_year_mean: f64,
        lead_time_years: f64,
    },
    SSPoissonOptimum {
        holding_cost_per_unit_per_period: DecimalText,
        backorder_cost_per_unit_per_period: DecimalText,
        fixed_order_cost: DecimalText,
        demand_per_period_mean: f64,
    },
    SSPoissonCost {
        reorder_level: i64,
        order_up_to_level: i64,
        holding_cost_per_unit_per_period: DecimalText,
        backorder_cost_per_unit_per_period: DecimalText,
        fixed_order_cost: DecimalText,
        demand_per_period_mean: f64,
    },
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let answer = Answer::new(steps);
    let costs = |holding: DecimalText, backorder: DecimalText, fixed: Decimal| PolicyCosts {
        fixed_order_cost: fixed,
        holding_cost_per_unit: holding.0,
        backorder_cost_per_unit: backorder.0,
    };
    let demand = |mean: f64, sd: f64, lead_time: f64| NormalDemand { mean, sd, lead_time };
    Ok(match read(inputs)? {
        Inputs::RQNormalCost {
            reorder_point,
            order_quantity,
            holding_cost_per_unit_per_year: h,
            backorder_cost_per_unit_per_year: b,
            fixed_order_cost: k,
            demand_per_year_mean,
            demand_per_year_sd,
            lead_time_years,
        } => {
            let (costs, demand) =
                (costs(h, b, k.0), demand(demand_per_year_mean, demand_per_year_sd, lead_time_years));
            let cost = normal_quantity::policy_cost(costs, demand, reorder_point, order_quantity)?;
            let answer = answer.put("cost_per_year", cost);
            if steps {
                answer.step("least_cost_per_year", normal_quantity::best_policy(costs, demand)?.cost)
            } else {
                answer
            }
        }
        Inputs::RQNormalBestReorderPoint {
            order_quantity,
            holding_cost_per_unit_per_year: h,
            backorder_cost_per_unit_per_year: b,
            demand_per_year_mean,
            demand_per_year_sd,
            lead_time_years,
        } => {
            let demand = demand(demand_per_year_mean, demand_per_year_sd, lead_time_years);
            // With the quantity given, the cost of an order does not bear on the reorder point.
            let point =
                normal_quantity::best_reorder_point(costs(h, b, Decimal::ONE), demand, order_quantity)?;
            answer
                .step("lead_time_demand_mean", demand_per_year_mean * lead_time_years)
                .put("reorder_point", point)
        }
        Inputs::RQNormalOptimum {
            holding_cost_per_unit_per_year: h,
            backorder_cost_per_unit_per_year: b,
            fixed_order_cost: k,
            demand_per_year_mean,
            demand_per_year_sd,
            lead_time_years,
        } => {
            let demand = demand(demand_per_year_mean, demand_per_year_sd, lead_time_years);
            put_normal(answer, demand, normal_quantity::best_policy(costs(h, b, k.0), demand)?)
        }
        Inputs::RQNormalEoqPlusSafetyStock {
            holding_cost_per_unit_per_year: h,
            backorder_cost_per_unit_per_year: b,
            fixed_order_cost: k,
            demand_per_year_mean,
            demand_per_year_sd,
            lead_time_years,
        } => {
            let demand = demand(demand_per_year_mean, demand_per_year_sd, lead_time_years);
            put_normal(answer, demand, normal_quantity::quantity_plus_safety_stock(costs(h, b, k.0), demand)?)
        }
        Inputs::RQPoissonOptimum {
            holding_cost_per_unit_per_year: h,
            backorder_cost_per_unit_per_year: b,
            fixed_order_cost: k,
            demand_per_year_mean,
            lead_time_years,
        } => {
            let best =
                poisson_quantity::best_policy(costs(h, b, k.0), demand_per_year_mean, lead_time_years)?;
            answer
                .step("lead_time_demand_mean", demand_per_year_mean * lead_time_years)
                .put("reorder_point", best.reorder_point)
                .put("order_quantity", best.order_quantity)
                .put("cost_per_year", best.cost)
        }
        Inputs::SSPoissonOptimum {
            holding_cost_per_unit_per_period: h,
            backorder_cost_per_unit_per_period: b,
            fixed_order_cost: k,
            demand_per_period_mean,
        } => {
            let best = poisson_level::best_policy(costs(h, b, k.0), demand_per_period_mean)?;
            answer
                .step("span_of_levels", best.order_up_to_level - best.reorder_level)
                .put("reorder_level", best.reorder_level)
                .put("order_up_to_level", best.order_up_to_level)
                .put("cost_per_period", best.cost)
        }
        Inputs::SSPoissonCost {
            reorder_level,
            order_up_to_level,
            holding_cost_per_unit_per_period: h,
            backorder_cost_per_unit_per_period: b,
            fixed_order_cost: k,
            demand_per_period_mean,
        } => {
            let costs = costs(h, b, k.0);
            let mean = demand_per_period_mean;
            let cost = poisson_level::policy_cost(costs, mean, reorder_level, order_up_to_level)?;
            let answer = answer.put("cost_per_period", cost);
            if steps {
                answer.step("least_cost_per_period", poisson_level::best_policy(costs, mean)?.cost)
            } else {
                answer
            }
        }
    }
    .done())
}

fn put_normal(answer: Answer, demand: NormalDemand, policy: NormalPolicy) -> Answer {
    let mean = demand.mean * demand.lead_time;
    answer
        .step("lead_time_demand_mean", mean)
        .step("safety_stock", policy.reorder_point - mean)
        .put("reorder_point", policy.reorder_point)
        .put("order_quantity", policy.order_quantity)
        .put("cost_per_year", policy.cost)
}
