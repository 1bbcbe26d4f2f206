//! `normal_service_factor_and_loss`.

use super::answer::Answer;
use crate::stock::normal::{cumulative, density, factor_for_loss, loss, service_factor, upper_tail};
use crate::worksheets::{Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::Value;

pub(super) const SHEET: Worksheet = Worksheet {
    method: "normal_service_factor_and_loss",
    sentence: "How many standard deviations of safety a service level asks for, and what is short on average.",
    run,
};

#[derive(Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Inputs {
    AtZ { z: f64 },
    ZForProbability { probability: f64 },
    ZForLoss { loss: f64 },
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let answer = Answer::new(steps);
    Ok(match read(inputs)? {
        Inputs::AtZ { z } => answer
            .step("upper_tail", upper_tail(z))
            .put("density", density(z))
            .put("cumulative_probability", cumulative(z))
            .put("loss", loss(z)),
        Inputs::ZForProbability { probability } => {
            let z = service_factor(probability)?;
            answer.step("cumulative_probability_at_z", cumulative(z)).put("z", z)
        }
        Inputs::ZForLoss { loss: target } => {
            let z = factor_for_loss(target)?;
            answer.step("loss_at_z", loss(z)).put("z", z)
        }
    }
    .done())
}
