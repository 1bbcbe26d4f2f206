//! `run_out_date`.

use super::answer::Answer;
use crate::stock::run_out::{BackgroundUse, BookedUse, RunOut, run_out};
use crate::worksheets::{DecimalText, Refusal, Worksheet, read};
use chrono::{Days, NaiveDate};
use serde::Deserialize;
use serde_json::{Value, json};

pub(super) const SHEET: Worksheet = Worksheet {
    method: "run_out_date",
    sentence: "When an item runs out at a place, and from which day the risk of it passes the threshold.",
    run,
};

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    as_of_date: String,
    stock_level_units: DecimalText,
    background_demand_per_day_mean: DecimalText,
    background_demand_per_day_variance: DecimalText,
    bookings: Vec<Booking>,
    risk_threshold: f64,
    horizon_days: u32,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
#[expect(clippy::struct_field_names, reason = "the names of the check values")]
struct Booking {
    from_day: u32,
    to_day: u32,
    demand_per_day: DecimalText,
}

fn run(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let inputs: Inputs = read(inputs)?;
    let as_of: NaiveDate = inputs.as_of_date.parse().map_err(|_| {
        Refusal::new("bad_inputs", "A date is written as year-month-day, e.g. 2025-03-03.").at("/as_of_date")
    })?;
    let background = BackgroundUse {
        mean_per_day: inputs.background_demand_per_day_mean.0,
        variance_per_day: inputs.background_demand_per_day_variance.0,
    };
    let bookings: Vec<BookedUse> = inputs
        .bookings
        .iter()
        .map(|b| BookedUse { from_day: b.from_day, to_day: b.to_day, demand_per_day: b.demand_per_day.0 })
        .collect();
    let outlook = run_out(
        inputs.stock_level_units.0,
        background,
        &bookings,
        inputs.risk_threshold,
        inputs.horizon_days,
    )?;
    let date = |day: Option<u32>| {
        day.and_then(|day| as_of.checked_add_days(Days::new(day.into()))).map(|date| date.to_string())
    };
    let mut answer = Answer::new(steps)
        .put("first_day_at_risk", outlook.first_day_at_risk)
        .put("first_day_at_risk_date", date(outlook.first_day_at_risk))
        .put("expected_run_out_day", outlook.expected_run_out_day)
        .put("expected_run_out_date", date(outlook.expected_run_out_day));
    let mut shown = Vec::new();
    for day in outlook.days.iter().filter(|day| telling_days(&outlook).contains(&Some(day.day))) {
        let name = format!("expected demand to the end of day {}", day.day);
        answer = answer.step(name, day.expected_demand.to_string());
        shown.push(json!({ "day": day.day, "probability": day.probability }));
    }
    Ok(answer.put("stock_out_probability_by_day", shown).done())
}

/// The days worth showing: tomorrow, one and two weeks ahead, the eve of the risk, the risk, the run-out.
fn telling_days(outlook: &RunOut) -> [Option<u32>; 6] {
    let risk = outlook.first_day_at_risk;
    [Some(1), Some(7), Some(14), risk.map(|day| day - 1), risk, outlook.expected_run_out_day]
}
