//! `holt_linear_trend`.

use super::answer::Answer;
use crate::stock::series::SeriesShape;
use crate::stock::trend::{TrendStart, follow_trend};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "holt_linear_trend",
    sentence: "The level and trend of demand, followed with fixed weights, and the weeks they lead to.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    demand_per_week: Vec<f64>,
    alpha: f64,
    beta: f64,
    initialisation: Initialisation,
    horizon_weeks: u32,
    initial_level: Option<f64>,
    initial_trend: Option<f64>,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Initialisation {
    FirstTwoObservations,
    MeanOfFirstThreeDifferences,
    GivenState,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let start = match (inputs.initialisation, inputs.initial_level, inputs.initial_trend) {
        (Initialisation::FirstTwoObservations, ..) => TrendStart::FirstTwoObservations,
        (Initialisation::MeanOfFirstThreeDifferences, ..) => TrendStart::MeanOfFirstThreeDifferences,
        (Initialisation::GivenState, Some(level), Some(trend)) => TrendStart::Given { level, trend },
        (Initialisation::GivenState, None, _) => {
            return Err(Refusal::new("bad_inputs", "A given state needs its level.").at("/initial_level"));
        }
        (Initialisation::GivenState, _, None) => {
            return Err(Refusal::new("bad_inputs", "A given state needs its trend.").at("/initial_trend"));
        }
    };
    let trended =
        follow_trend(&inputs.demand_per_week, inputs.alpha, inputs.beta, start, inputs.horizon_weeks)?;
    let errors = trended.one_step_forecasts.iter().zip(&inputs.demand_per_week);
    let mut answer = Answer::new(steps).caution(SeriesShape::of(&inputs.demand_per_week));
    for (week, (forecast, y)) in errors.enumerate() {
        answer = answer.step(format!("error of week {}", week + 1), forecast.map(|forecast| y - forecast));
    }
    Ok(answer
        .put("one_step_forecasts", trended.one_step_forecasts)
        .put("final_level", trended.level)
        .put("final_trend", trended.trend)
        .put("forecasts", trended.forecasts)
        .done())
}
