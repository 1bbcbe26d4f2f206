//! `discrete_lead_time_demand_quantiles`.

use super::answer::Answer;
use crate::stock::count_demand::CountDemand;
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "discrete_lead_time_demand_quantiles",
    sentence: "The smallest whole number of pieces that meets a service level, for slow-moving items.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "distribution", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    Poisson { lead_time_demand_mean: f64, service_probability: f64 },
    NegativeBinomial { lead_time_demand_mean: f64, lead_time_demand_variance: f64, service_probability: f64 },
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let (demand, service) = match read(inputs)? {
        Inputs::Poisson { lead_time_demand_mean, service_probability } => {
            (CountDemand::poisson(lead_time_demand_mean)?, service_probability)
        }
        Inputs::NegativeBinomial {
            lead_time_demand_mean,
            lead_time_demand_variance,
            service_probability,
        } => {
            let demand = CountDemand::negative_binomial(lead_time_demand_mean, lead_time_demand_variance)?;
            (demand, service_probability)
        }
    };
    let quantile = demand.quantile(service)?;
    let mut answer = Answer::new(steps).step("lead_time_demand_mean", demand.mean());
    if let Some((r, q)) = demand.shape() {
        answer = answer
            .step("shape_r", r)
            .step("success_probability", q)
            .put("shape_r", r)
            .put("success_probability", q);
    }
    Ok(answer
        .put("reorder_point", quantile.reorder_point)
        .put("probability_at_reorder_point", quantile.probability)
        .put("probability_one_below", quantile.probability_one_below)
        .put("expected_short", quantile.expected_short)
        .done())
}
