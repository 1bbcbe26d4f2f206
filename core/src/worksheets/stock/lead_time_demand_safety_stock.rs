//! `lead_time_demand_safety_stock`.

use super::answer::Answer;
use crate::stock::safety_stock::{LeadTimeDemand, Service, reorder_point};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "lead_time_demand_safety_stock",
    sentence: "Safety stock and reorder point when neither demand nor lead time is certain.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    demand_per_day_mean: f64,
    demand_per_day_sd: f64,
    lead_time_days_mean: f64,
    lead_time_days_sd: f64,
    review_period_days: f64,
    cycle_service_level: Option<f64>,
    service_factor: Option<f64>,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let service = match (inputs.cycle_service_level, inputs.service_factor) {
        (Some(level), _) => Service::CycleServiceLevel(level),
        (None, Some(factor)) => Service::Factor(factor),
        (None, None) => {
            let rule = "Give cycle_service_level or service_factor.";
            return Err(Refusal::new("bad_inputs", rule).at("/cycle_service_level"));
        }
    };
    let demand = LeadTimeDemand {
        demand_per_day_mean: inputs.demand_per_day_mean,
        demand_per_day_sd: inputs.demand_per_day_sd,
        lead_time_days_mean: inputs.lead_time_days_mean,
        lead_time_days_sd: inputs.lead_time_days_sd,
        review_period_days: inputs.review_period_days,
    };
    let point = reorder_point(demand, service)?;
    Ok(Answer::new(steps)
        .step("protection_time_days", inputs.lead_time_days_mean + inputs.review_period_days)
        .step("lead_time_demand_variance", point.demand_sd * point.demand_sd)
        .put("lead_time_demand_mean", point.demand_mean)
        .put("lead_time_demand_sd", point.demand_sd)
        .put("service_factor", point.service_factor)
        .put("safety_stock", point.safety_stock)
        .put("reorder_point", point.reorder_point)
        .done())
}
