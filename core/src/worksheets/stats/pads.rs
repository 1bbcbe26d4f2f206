//! Worksheets of pad life: fitting it, what is left of it, and when to end it.

use super::super::steps::Steps;
use super::super::{Refusal, read};
use crate::stats::age_replacement::{SwapCosts, cheapest_age};
use crate::stats::few_failures::{ShapeInReserve, pad_life};
use crate::stats::kaplan_meier::kaplan_meier;
use crate::stats::remaining_life::UsedPad;
use crate::stats::weibull::Weibull;
use crate::stats::weibull_fit::fit;
use serde::Deserialize;
use serde_json::{Value, json};

/// The share that survives B10.
const B10_SURVIVORS: f64 = 0.9;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Lives {
    failure_times: Vec<f64>,
    suspension_times: Vec<f64>,
    confidence: f64,
}

pub(super) fn weibull_fit(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: Lives = read(inputs)?;
    let found = fit(&given.failure_times, &given.suspension_times)?;
    let mut taken = Steps::new(steps);
    taken.note("Newton steps", found.iterations);
    taken.note("correlation of ln scale and ln shape", found.correlation);
    Ok(taken.onto(json!({
        "failures": found.failures,
        "suspensions": found.suspensions,
        "shape": found.shape.mean(),
        "scale": found.scale.mean(),
        "log_likelihood": found.log_likelihood,
        "shape_se": found.shape.sd(),
        "scale_se": found.scale.sd(),
        "shape_ci": found.shape_interval(given.confidence)?,
        "scale_ci": found.scale_interval(given.confidence)?,
        "b10_life": found.weibull.b10_life()?,
        "b10_ci": found.life_interval(B10_SURVIVORS, given.confidence)?,
        "median_life": found.weibull.median_life()?,
        "mean_life": found.weibull.mean_life()?,
    })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FewFailures {
    failure_times: Vec<f64>,
    suspension_times: Vec<f64>,
    fixed_shape: f64,
    min_failures_for_mle: usize,
    lower_bound_confidence: f64,
}

pub(super) fn weibull_few_failures(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: FewFailures = read(inputs)?;
    let reserve = ShapeInReserve {
        fixed_shape: given.fixed_shape,
        min_failures_for_fit: given.min_failures_for_mle,
        lower_bound_confidence: given.lower_bound_confidence,
    };
    let life = pad_life(&given.failure_times, &given.suspension_times, &reserve)?;
    let mut taken = Steps::new(steps);
    if let Some(fit) = &life.fit {
        taken.note("standard error of the shape", fit.shape.sd());
        taken.note("standard error of the scale", fit.scale.sd());
    } else {
        taken.note("degrees of freedom of the lower bound, 2 r + 2", 2 * life.failures + 2);
    }
    Ok(taken.onto(json!({
        "route": if life.fit.is_some() { "mle" } else { "weibayes" },
        "failures": life.failures,
        "suspensions": life.suspensions,
        "shape": life.weibull.shape(),
        "scale": life.weibull.scale(),
        "scale_lower_bound": life.scale_lower_bound,
        "b10_life": life.weibull.b10_life()?,
        "b10_lower_bound": life.b10_lower_bound,
        "mean_life": life.weibull.mean_life()?,
    })))
}

pub(super) fn kaplan_meier_curve(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: Lives = read(inputs)?;
    let curve = kaplan_meier(&given.failure_times, &given.suspension_times, given.confidence)?;
    let mut taken = Steps::new(steps);
    let mut table = Vec::with_capacity(curve.points.len());
    for point in &curve.points {
        let left = point.at_risk - point.events;
        taken.note("survived of those at risk", format!("{left}/{}", point.at_risk));
        table.push(json!({
            "time": point.time,
            "at_risk": point.at_risk,
            "events": point.events,
            "survival": point.survival,
            "greenwood_sd": point.spread.map(|spread| spread.greenwood_sd),
            "ci_plain": point.spread.map(|spread| spread.plain),
            "ci_log_log": point.spread.map(|spread| spread.log_log),
        }));
    }
    Ok(taken.onto(json!({ "table": table, "median_life": curve.median_life })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Replacement {
    shape: f64,
    scale: f64,
    planned_swap_cost: f64,
    on_job_failure_cost: f64,
}

pub(super) fn age_replacement(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: Replacement = read(inputs)?;
    let weibull = Weibull::try_new(given.shape, given.scale)?;
    let costs = SwapCosts { planned: given.planned_swap_cost, on_job_failure: given.on_job_failure_cost };
    let plan = cheapest_age(weibull, costs)?;
    let mut taken = Steps::new(steps);
    taken.note("mean life", weibull.mean_life()?);
    if let Some(swap) = plan.optimum {
        taken.note("c_p / (c_f - c_p)", costs.planned / (costs.on_job_failure - costs.planned));
        taken.note("hazard rate at the optimum", swap.cost_rate / (costs.on_job_failure - costs.planned));
    }
    Ok(taken.onto(json!({
        "finite_optimum": plan.optimum.is_some(),
        "optimal_age": plan.optimum.map(|swap| swap.age),
        "cost_rate_at_optimum": plan.optimum.map(|swap| swap.cost_rate),
        "cost_rate_run_to_failure": plan.cost_rate_run_to_failure,
        "saving_fraction": plan.saving_fraction,
        "probability_fails_before_optimum": plan.optimum.map(|swap| swap.probability_fails_before),
    })))
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Conditional {
    shape: f64,
    scale: f64,
    age: f64,
    extra_use: f64,
    target_probability: f64,
}

pub(super) fn conditional_life(inputs: &Value, steps: bool) -> Result<Value, Refusal> {
    let given: Conditional = read(inputs)?;
    let weibull = Weibull::try_new(given.shape, given.scale)?;
    let pad = UsedPad::try_new(weibull, given.age)?;
    let mut taken = Steps::new(steps);
    taken.note("share surviving to this age", weibull.survival(given.age)?);
    Ok(taken.onto(json!({
        "conditional_survival": pad.survives(given.extra_use)?,
        "mean_residual_life": pad.mean_residual_life()?,
        "extra_use_at_target": pad.extra_use_survived_by(given.target_probability)?,
        "conditional_median_residual_life": pad.median_residual_life()?,
    })))
}
