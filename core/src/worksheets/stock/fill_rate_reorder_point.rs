//! `fill_rate_reorder_point`.

use super::answer::Answer;
use crate::stock::fill_rate::{OrderCycle, ShortageCount, fill_rate_of, reorder_point_for_fill_rate};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "fill_rate_reorder_point",
    sentence: "The reorder point that serves a given share of demand from the shelf, or the share a point serves.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    ReorderPointForFillRate {
        variant: Variant,
        lead_time_demand_mean: f64,
        lead_time_demand_sd: f64,
        order_quantity: f64,
        fill_rate: f64,
    },
    FillRateForReorderPoint {
        variant: Variant,
        lead_time_demand_mean: f64,
        lead_time_demand_sd: f64,
        order_quantity: f64,
        reorder_point: f64,
    },
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Variant {
    PerCycle,
    Exact,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let cycle = |variant: Variant, demand_mean: f64, demand_sd: f64, order_quantity: f64| OrderCycle {
        demand_mean,
        demand_sd,
        order_quantity,
        count: match variant {
            Variant::PerCycle => ShortageCount::PerCycle,
            Variant::Exact => ShortageCount::Exact,
        },
    };
    let found = match read(inputs)? {
        Inputs::ReorderPointForFillRate {
            variant,
            lead_time_demand_mean,
            lead_time_demand_sd,
            order_quantity,
            fill_rate,
        } => {
            let cycle = cycle(variant, lead_time_demand_mean, lead_time_demand_sd, order_quantity);
            reorder_point_for_fill_rate(cycle, fill_rate)?
        }
        Inputs::FillRateForReorderPoint {
            variant,
            lead_time_demand_mean,
            lead_time_demand_sd,
            order_quantity,
            reorder_point,
        } => {
            let cycle = cycle(variant, lead_time_demand_mean, lead_time_demand_sd, order_quantity);
            fill_rate_of(cycle, reorder_point)?
        }
    };
    Ok(Answer::new(steps)
        .step("service_factor", found.service_factor)
        .step("expected_short_per_cycle", found.expected_short_per_cycle)
        .put("service_factor", found.service_factor)
        .put("safety_stock", found.safety_stock)
        .put("reorder_point", found.reorder_point)
        .put("expected_short_per_cycle", found.expected_short_per_cycle)
        .put("fill_rate", found.fill_rate)
        .put("cycle_service_level", found.cycle_service_level)
        .done())
}
