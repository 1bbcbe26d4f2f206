//! `simple_exponential_smoothing`.

use super::answer::Answer;
use crate::stock::series::SeriesShape;
use crate::stock::smoothing::{LevelStart, smooth};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "simple_exponential_smoothing",
    sentence: "The level of demand, smoothed with a fixed weight, as the forecast of every later week.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    demand_per_week: Vec<f64>,
    alpha: f64,
    initialisation: Initialisation,
    initial_level: Option<f64>,
}

#[derive(Deserialize)]
#[serde(rename_all = "snake_case")]
enum Initialisation {
    FirstObservation,
    GivenLevel,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let start = match (inputs.initialisation, inputs.initial_level) {
        (Initialisation::FirstObservation, _) => LevelStart::FirstObservation,
        (Initialisation::GivenLevel, Some(level)) => LevelStart::Given(level),
        (Initialisation::GivenLevel, None) => {
            return Err(Refusal::new("bad_inputs", "A given level needs its figure.").at("/initial_level"));
        }
    };
    let smoothed = smooth(&inputs.demand_per_week, inputs.alpha, start)?;
    let mut answer = Answer::new(steps).caution(SeriesShape::of(&inputs.demand_per_week));
    for (week, level) in smoothed.one_step_forecasts.iter().enumerate().skip(1) {
        answer = answer.step(format!("level after week {week}"), *level);
    }
    Ok(answer
        .put("one_step_forecasts", smoothed.one_step_forecasts)
        .put("final_level", smoothed.level)
        .put("forecast_next", smoothed.level)
        .put("mean_squared_one_step_error", smoothed.mean_squared_error)
        .done())
}
