//! `demand_classification`.

use super::answer::Answer;
use crate::stock::demand_class::{DemandMeasures, classify, measure};
use crate::stock::series::SeriesShape;
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "demand_classification",
    sentence: "Whether demand is smooth, erratic, intermittent or lumpy, and by which measures.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    FromSeries { demand_per_week: Vec<f64> },
    FromMeasures { average_demand_interval_weeks: f64, squared_coefficient_of_variation: f64 },
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let mut answer = Answer::new(steps);
    let measures = match read(inputs)? {
        Inputs::FromSeries { demand_per_week } => {
            let with_demand = demand_per_week.iter().filter(|y| **y > 0.0).count();
            answer = answer
                .step("weeks", demand_per_week.len())
                .step("weeks_with_demand", with_demand)
                .caution(SeriesShape::of(&demand_per_week));
            measure(&demand_per_week)?
        }
        Inputs::FromMeasures { average_demand_interval_weeks, squared_coefficient_of_variation } => {
            let average_interval = average_demand_interval_weeks;
            Some(DemandMeasures { average_interval, squared_coefficient_of_variation })
        }
    };
    let class = measures.map(classify).transpose()?;
    Ok(answer
        .put("average_demand_interval_weeks", measures.map(|m| m.average_interval))
        .put("squared_coefficient_of_variation", measures.map(|m| m.squared_coefficient_of_variation))
        .put("class", class.map_or("no_demand", |class| class.word()))
        .done())
}
