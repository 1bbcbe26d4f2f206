//! `depot_van_transfer`.

use super::answer::Answer;
use crate::stock::transfer::{Lane, plan_transfer};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use serde::Deserialize;
use serde_json::{Value, json};

pub(super) const SHEET: Worksheet = Worksheet {
    method: "depot_van_transfer",
    sentence: "What to move between depot and vans before buying, and what that costs.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    surplus: Vec<Place>,
    deficit: Vec<Place>,
    lanes: Vec<NamedLane>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Place {
    location: String,
    units: u64,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct NamedLane {
    from: String,
    to: String,
    cost_per_unit: DecimalText,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let lanes: Vec<Lane> = inputs
        .lanes
        .iter()
        .enumerate()
        .map(|(index, lane)| {
            let from = index_of(&inputs.surplus, &lane.from, &format!("/lanes/{index}/from"))?;
            let to = index_of(&inputs.deficit, &lane.to, &format!("/lanes/{index}/to"))?;
            Ok(Lane { from, to, cost_per_unit: lane.cost_per_unit.0 })
        })
        .collect::<Result<_, Refusal>>()?;
    let units = |places: &[Place]| places.iter().map(|place| place.units).collect::<Vec<u64>>();
    let plan = plan_transfer(&units(&inputs.surplus), &units(&inputs.deficit), &lanes)?;
    let name = |places: &[Place], index: usize| places.get(index).map(|place| place.location.clone());
    let mut answer = Answer::new(steps);
    let mut moves = Vec::new();
    for moved in &plan.moves {
        let (from, to) = (name(&inputs.surplus, moved.from), name(&inputs.deficit, moved.to));
        let label = format!("{} to {}", from.as_deref().unwrap_or(""), to.as_deref().unwrap_or(""));
        answer = answer.step(label, moved.units);
        moves.push(json!({ "from": from, "to": to, "units": moved.units }));
    }
    Ok(answer
        .put("units_transferred", plan.units_transferred)
        .put("units_to_buy", plan.units_to_buy)
        .put("transfer_cost", plan.transfer_cost.to_string())
        .put("moves", moves)
        .done())
}

fn index_of(places: &[Place], location: &str, pointer: &str) -> Result<usize, Refusal> {
    places
        .iter()
        .position(|place| place.location == location)
        .ok_or_else(|| Refusal::new("bad_inputs", "A lane must join places that are listed.").at(pointer))
}
