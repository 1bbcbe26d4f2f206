//! `intermittent_demand_forecast`.

use super::answer::Answer;
use crate::stock::intermittent::{IntermittentWeights, forecast_intermittent};
use crate::stock::series::SeriesShape;
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "intermittent_demand_forecast",
    sentence: "Weekly demand that comes only now and then, by three methods side by side.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    demand_per_week: Vec<f64>,
    alpha: f64,
    alpha_demand: f64,
    alpha_probability: f64,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let weights = IntermittentWeights {
        alpha: inputs.alpha,
        alpha_demand: inputs.alpha_demand,
        alpha_probability: inputs.alpha_probability,
    };
    let forecast = forecast_intermittent(&inputs.demand_per_week, weights)?;
    let sizes: Vec<f64> = forecast.states.iter().map(|state| state.size_level).collect();
    let intervals: Vec<f64> = forecast.states.iter().map(|state| state.interval_level).collect();
    Ok(Answer::new(steps)
        .step("weeks_with_demand", forecast.states.len())
        .step("syntetos_boylan_factor", 1.0 - 0.5 * inputs.alpha)
        .caution(SeriesShape::of(&inputs.demand_per_week))
        .put("size_level", sizes.last().copied())
        .put("interval_level", intervals.last().copied())
        .put("size_levels", sizes)
        .put("interval_levels", intervals)
        .put("croston_forecast", forecast.croston)
        .put("sba_forecast", forecast.syntetos_boylan)
        .put("tsb_size_level", forecast.tsb_size_level)
        .put("tsb_probability_level", forecast.tsb_probability_level)
        .put("tsb_forecast", forecast.teunter_syntetos_babai)
        .done())
}
