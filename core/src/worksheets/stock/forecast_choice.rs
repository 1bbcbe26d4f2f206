//! `forecast_choice`.

use super::answer::Answer;
use crate::stock::forecast_choice::{ForecastBasis, choose_forecast};
use crate::stock::series::SeriesShape;
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "forecast_choice",
    sentence: "Which forecast suits an item, chosen by backtest, and the weekly demand it leads to expect.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    demand_per_week: Vec<f64>,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let choice = choose_forecast(&inputs.demand_per_week)?;
    let (basis, class) = match choice.basis {
        ForecastBasis::NoDemand => ("no_demand", None),
        ForecastBasis::Class(class) => ("class", Some(class.word())),
        ForecastBasis::Backtest => ("backtest", None),
    };
    let mut answer = Answer::new(steps)
        .caution(SeriesShape::of(&inputs.demand_per_week))
        .put("method", choice.method.word())
        .put("alpha", choice.alpha)
        .put("basis", basis)
        .put("class", class)
        .put("forecast_per_week", choice.per_period)
        .put("expected_error_per_week", choice.expected_error);
    for candidate in &choice.candidates {
        let word = candidate.method.word();
        answer = answer
            .step(format!("alpha of {word}, fitted on the first half"), candidate.alpha)
            .step(format!("error of {word} on the third quarter, compared"), candidate.compared)
            .step(format!("error of {word} on the last quarter, scored"), candidate.scored);
    }
    Ok(answer.done())
}
