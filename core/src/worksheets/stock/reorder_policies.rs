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
#[serde(tag = "kind", rename_all = "snake_case")]
enum Inputs {
    RQNormalCost(Normal),
    RQNormalBestReorderPoint(Normal),
    RQNormalOptimum(Normal),
    RQNormalEoqPlusSafetyStock(Normal),
    RQPoissonOptimum(PoissonQuantity),
    SSPoissonOptimum(PoissonLevel),
    SSPoissonCost(PoissonLevel),
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Normal {
    reorder_point: Option<f64>,
    order_quantity: Option<f64>,
    holding_cost_per_unit_per_year: DecimalText,
    backorder_cost_per_unit_per_year: DecimalText,
    fixed_order_cost: Option<DecimalText>,
    demand_per_year_mean: f64,
    demand_per_year_sd: f64,
    lead_time_years: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PoissonQuantity {
    holding_cost_per_unit_per_year: DecimalText,
    backorder_cost_per_unit_per_year: DecimalText,
    fixed_order_cost: DecimalText,
    demand_per_year_mean: f64,
    lead_time_years: f64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct PoissonLevel {
    reorder_level: Option<i64>,
    order_up_to_level: Option<i64>,
    holding_cost_per_unit_per_period: DecimalText,
    backorder_cost_per_unit_per_period: DecimalText,
    fixed_order_cost: DecimalText,
    demand_per_period_mean: f64,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let answer = match read(inputs)? {
        Inputs::RQNormalCost(normal) => normal.cost(steps)?,
        Inputs::RQNormalBestReorderPoint(normal) => normal.best_reorder_point(steps)?,
        Inputs::RQNormalOptimum(normal) => normal.put(
            Answer::new(steps),
            normal_quantity::best_policy(normal.costs(normal.fixed_order_cost()?), normal.demand())?,
        ),
        Inputs::RQNormalEoqPlusSafetyStock(normal) => {
            let costs = normal.costs(normal.fixed_order_cost()?);
            let policy = normal_quantity::quantity_plus_safety_stock(costs, normal.demand())?;
            normal.put(Answer::new(steps), policy)
        }
        Inputs::RQPoissonOptimum(poisson) => poisson.best(steps)?,
        Inputs::SSPoissonOptimum(poisson) => poisson.best(steps)?,
        Inputs::SSPoissonCost(poisson) => poisson.cost(steps)?,
    };
    Ok(answer.done())
}

impl Normal {
    fn costs(&self, fixed_order_cost: Decimal) -> PolicyCosts {
        PolicyCosts {
            fixed_order_cost,
            holding_cost_per_unit: self.holding_cost_per_unit_per_year.0,
            backorder_cost_per_unit: self.backorder_cost_per_unit_per_year.0,
        }
    }

    fn demand(&self) -> NormalDemand {
        NormalDemand {
            mean: self.demand_per_year_mean,
            sd: self.demand_per_year_sd,
            lead_time: self.lead_time_years,
        }
    }

    fn fixed_order_cost(&self) -> Result<Decimal, Refusal> {
        needed(self.fixed_order_cost, "fixed_order_cost").map(|cost| cost.0)
    }

    fn cost(&self, steps: bool) -> Result<Answer, Refusal> {
        let (costs, demand) = (self.costs(self.fixed_order_cost()?), self.demand());
        let r = needed(self.reorder_point, "reorder_point")?;
        let q = needed(self.order_quantity, "order_quantity")?;
        let answer =
            Answer::new(steps).put("cost_per_year", normal_quantity::policy_cost(costs, demand, r, q)?);
        if !steps {
            return Ok(answer);
        }
        Ok(answer.step("least_cost_per_year", normal_quantity::best_policy(costs, demand)?.cost))
    }

    fn best_reorder_point(&self, steps: bool) -> Result<Answer, Refusal> {
        // With the quantity given, the cost of an order does not bear on the reorder point.
        let costs = self.costs(Decimal::ONE);
        let q = needed(self.order_quantity, "order_quantity")?;
        Ok(Answer::new(steps)
            .step("lead_time_demand_mean", self.demand_per_year_mean * self.lead_time_years)
            .put("reorder_point", normal_quantity::best_reorder_point(costs, self.demand(), q)?))
    }

    fn put(&self, answer: Answer, policy: NormalPolicy) -> Answer {
        let mean = self.demand_per_year_mean * self.lead_time_years;
        answer
            .step("lead_time_demand_mean", mean)
            .step("safety_stock", policy.reorder_point - mean)
            .put("reorder_point", policy.reorder_point)
            .put("order_quantity", policy.order_quantity)
            .put("cost_per_year", policy.cost)
    }
}

impl PoissonQuantity {
    fn best(&self, steps: bool) -> Result<Answer, Refusal> {
        let costs = PolicyCosts {
            fixed_order_cost: self.fixed_order_cost.0,
            holding_cost_per_unit: self.holding_cost_per_unit_per_year.0,
            backorder_cost_per_unit: self.backorder_cost_per_unit_per_year.0,
        };
        let best = poisson_quantity::best_policy(costs, self.demand_per_year_mean, self.lead_time_years)?;
        Ok(Answer::new(steps)
            .step("lead_time_demand_mean", self.demand_per_year_mean * self.lead_time_years)
            .put("reorder_point", best.reorder_point)
            .put("order_quantity", best.order_quantity)
            .put("cost_per_year", best.cost))
    }
}

impl PoissonLevel {
    fn costs(&self) -> PolicyCosts {
        PolicyCosts {
            fixed_order_cost: self.fixed_order_cost.0,
            holding_cost_per_unit: self.holding_cost_per_unit_per_period.0,
            backorder_cost_per_unit: self.backorder_cost_per_unit_per_period.0,
        }
    }

    fn best(&self, steps: bool) -> Result<Answer, Refusal> {
        let best = poisson_level::best_policy(self.costs(), self.demand_per_period_mean)?;
        Ok(Answer::new(steps)
            .step("span_of_levels", best.order_up_to_level - best.reorder_level)
            .put("reorder_level", best.reorder_level)
            .put("order_up_to_level", best.order_up_to_level)
            .put("cost_per_period", best.cost))
    }

    fn cost(&self, steps: bool) -> Result<Answer, Refusal> {
        let (costs, mean) = (self.costs(), self.demand_per_period_mean);
        let s = needed(self.reorder_level, "reorder_level")?;
        let top = needed(self.order_up_to_level, "order_up_to_level")?;
        let answer =
            Answer::new(steps).put("cost_per_period", poisson_level::policy_cost(costs, mean, s, top)?);
        if !steps {
            return Ok(answer);
        }
        Ok(answer.step("least_cost_per_period", poisson_level::best_policy(costs, mean)?.cost))
    }
}

fn needed<T>(value: Option<T>, field: &str) -> Result<T, Refusal> {
    value.ok_or_else(|| Refusal::new("bad_inputs", format!("Give {field}.")).at(format!("/{field}")))
}
