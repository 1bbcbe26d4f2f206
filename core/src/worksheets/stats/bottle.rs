//! The worksheet of one bottle: a state, replayed through counts, draws, refills and weigh-ins.

use super::super::steps::Steps;
use super::super::{Refusal, read};
use crate::CoreError;
use crate::stats::Estimate;
use crate::stats::bottle::{Bottle, BottleNoise, BottleState, UNKNOWN_ML_PER_DROP, WeighIn};
use serde::Deserialize;
use serde_json::{Value, json};

/// The share of cases the shown interval is meant to hold.
const SHOWN_CONFIDENCE: f64 = 0.90;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Inputs {
    #[serde(default = "unknown_size")]
    prior_ml_per_drop: f64,
    #[serde(default = "unknown_size_sd")]
    prior_ml_per_drop_sd: f64,
    #[serde(default = "usual_drop_sd")]
    drop_sd_ml: f64,
    #[serde(default = "usual_drift_sd")]
    drift_sd_ml_per_use: f64,
    #[serde(default = "usual_scale_sd")]
    scale_sd_g: f64,
    #[serde(default = "usual_tare_sd")]
    tare_sd_g: f64,
    #[serde(default = "usual_gate")]
    flag_sigma: f64,
    nominal_ml: f64,
    initial_remaining_ml: f64,
    initial_remaining_sd_ml: f64,
    tare_g: f64,
    density_g_per_ml: f64,
    events: Vec<Event>,
}

#[derive(Deserialize)]
#[serde(tag = "type", rename_all = "snake_case", deny_unknown_fields)]
enum Event {
    Count { drops: u32 },
    WeighIn { gross_g: f64 },
    Draw { ml: f64, sd_ml: f64 },
    Refill { ml: f64, sd_ml: f64 },
}

pub(super) fn bottle_filter(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: Inputs = read(inputs)?;
    let noise = BottleNoise {
        drop_sd_ml: given.drop_sd_ml,
        drift_sd_ml_per_use: given.drift_sd_ml_per_use,
        scale_sd_g: given.scale_sd_g,
        tare_sd_g: given.tare_sd_g,
        flag_sigma: given.flag_sigma,
    };
    let bottle = Bottle {
        nominal_ml: given.nominal_ml,
        tare_g: given.tare_g,
        density_g_per_ml: given.density_g_per_ml,
    };
    let mut state = BottleState::start(
        Estimate::try_new(given.initial_remaining_ml, given.initial_remaining_sd_ml)?,
        Estimate::try_new(given.prior_ml_per_drop, given.prior_ml_per_drop_sd)?,
    )?;
    let mut lines = Vec::with_capacity(given.events.len());
    for (i, event) in given.events.iter().enumerate() {
        let refuse = |error: CoreError| refused_event(error, i, &state);
        let (next, weighed) = apply(event, &state, &bottle, &noise).map_err(refuse)?;
        lines.push(line(&next, weighed.as_ref(), &bottle, steps).map_err(refuse)?);
        state = next;
    }
    // The states after each event are this worksheet's steps, whether asked for or not; asked for,
    // each of them shows how it came about.
    Ok(json!({
        "measurement_variance_ml2": noise.measurement_variance_ml2(&bottle)?,
        "steps": lines,
    }))
}

fn apply(
    event: &Event,
    state: &BottleState,
    bottle: &Bottle,
    noise: &BottleNoise,
) -> Result<(BottleState, Option<WeighIn>), CoreError> {
    match *event {
        Event::Count { drops } => Ok((state.after_drops(drops, noise)?, None)),
        Event::Draw { ml, sd_ml } => Ok((state.after_draw(Estimate::try_new(ml, sd_ml)?)?, None)),
        Event::Refill { ml, sd_ml } => Ok((state.after_refill(Estimate::try_new(ml, sd_ml)?)?, None)),
        Event::WeighIn { gross_g } => {
            let weighed = state.after_weigh_in(gross_g, bottle, noise)?;
            Ok((weighed.state, Some(weighed)))
        }
    }
}

fn line(
    state: &BottleState,
    weighed: Option<&WeighIn>,
    bottle: &Bottle,
    steps: bool,
) -> Result<Value, CoreError> {
    let ([remaining_ml, ml_per_drop], [remaining_sd_ml, ml_per_drop_sd]) = (state.mean(), state.sd());
    let mut shown = json!({
        "flagged": weighed.is_some_and(|w| w.flagged),
        "remaining_ml": remaining_ml,
        "ml_per_drop": ml_per_drop,
        "covariance": state.covariance(),
        "remaining_sd_ml": remaining_sd_ml,
        "ml_per_drop_sd": ml_per_drop_sd,
        "reported_remaining_ml": state.reported_remaining_ml(bottle),
        "reported_drops_left": state.reported_drops_left(bottle),
        "remaining_interval_90_ml": state.remaining_interval_ml(SHOWN_CONFIDENCE, bottle)?,
    });
    let mut taken = Steps::new(steps);
    if let (Some(weighed), Some(fields)) = (weighed, shown.as_object_mut()) {
        fields.insert("measured_remaining_ml".to_owned(), weighed.measured_remaining_ml.into());
        fields.insert("innovation_ml".to_owned(), weighed.innovation_ml.into());
        fields.insert("innovation_sd_ml".to_owned(), weighed.innovation_sd_ml.into());
        taken.note("innovation in standard deviations", weighed.innovation_ml / weighed.innovation_sd_ml);
        taken.note("gain on the volume, P00 / S", weighed.gain[0]);
        taken.note("gain on the drop size, P10 / S", weighed.gain[1]);
    }
    Ok(taken.onto(shown))
}

fn refused_event(error: CoreError, index: usize, before: &BottleState) -> Refusal {
    let mut refusal = Refusal::from(error).at(format!("/events/{index}"));
    refusal.details.insert("remaining_ml".to_owned(), before.mean()[0].into());
    refusal.details.insert("ml_per_drop".to_owned(), before.mean()[1].into());
    refusal
}

fn unknown_size() -> f64 {
    UNKNOWN_ML_PER_DROP.0
}

fn unknown_size_sd() -> f64 {
    UNKNOWN_ML_PER_DROP.1
}

fn usual_drop_sd() -> f64 {
    BottleNoise::default().drop_sd_ml
}

fn usual_drift_sd() -> f64 {
    BottleNoise::default().drift_sd_ml_per_use
}

fn usual_scale_sd() -> f64 {
    BottleNoise::default().scale_sd_g
}

fn usual_tare_sd() -> f64 {
    BottleNoise::default().tare_sd_g
}

fn usual_gate() -> f64 {
    BottleNoise::default().flag_sigma
}
