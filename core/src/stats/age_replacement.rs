//! The cheapest age to swap a pad: a planned swap costs less than a failure on the job, but wastes
//! the life left in the pad. Costs here are plain numbers in one currency. Never knows whose money.

use super::weibull::Weibull;
use super::{guard, incomplete_gamma, root};
use crate::CoreError;
use statrs::function::gamma::gamma;

/// The two prices of a swap.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SwapCosts {
    /// A swap at the chosen age, between jobs.
    pub planned: f64,
    /// A swap because the pad failed on the job.
    pub on_job_failure: f64,
}

/// The age to swap at, and what it saves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlannedSwap {
    /// The age, in use units of the pad.
    pub age: f64,
    /// Cost per use unit when swapping at that age.
    pub cost_rate: f64,
    /// Share of pads that fail before that age.
    pub probability_fails_before: f64,
}

/// Whether to swap before failure, and when.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AgeReplacement {
    /// The cheapest age; none when running to failure is cheapest.
    pub optimum: Option<PlannedSwap>,
    /// Cost per use unit when running every pad to failure.
    pub cost_rate_run_to_failure: f64,
    /// Share of that cost saved by the optimum, zero without one.
    pub saving_fraction: f64,
}

/// The cheapest age to replace a pad.
///
/// # Formula
/// ```text
/// C(T) = (c_p R(T) + c_f (1 - R(T))) / integral_0^T R
/// optimum: h(T) integral_0^T R - (1 - R(T)) = c_p / (c_f - c_p);  there C = h(T) (c_f - c_p)
/// ```
/// with R survival, h hazard rate, `c_p` planned and `c_f` on-job cost. No finite optimum when the shape is not
/// above one or `c_f <= c_p`: run to failure at `c_f`/mean. The left side depends on `u = T/eta` alone:
/// `u^(b-1) Gamma(1/b) P(1/b, u^b) - (1 - exp(-u^b))`, and rises with it.
///
/// # Source
/// Barlow & Hunter, Operations Research 8 (1960) 90-100 (from memory); check values: `age_replacement`.
/// # Errors
/// [`CoreError::Invalid`] unless both costs are finite and above zero; [`CoreError::OutOfRange`] when a
/// figure does not fit.
/// # Example
/// ```
/// use dropwise_core::stats::{age_replacement::{SwapCosts, cheapest_age}, weibull::Weibull};
///
/// let pads = Weibull::try_new(3.0, 60.0)?;
/// let plan = cheapest_age(pads, SwapCosts { planned: 14.0, on_job_failure: 75.0 })?;
/// assert!((plan.optimum.expect("wear-out").age - 29.3).abs() < 0.01); // sections
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn cheapest_age(weibull: Weibull, costs: SwapCosts) -> Result<AgeReplacement, CoreError> {
    let planned = guard::positive("planned_swap_cost", costs.planned)?;
    let failure = guard::positive("on_job_failure_cost", costs.on_job_failure)?;
    let run_to_failure = guard::in_range("the cost of running to failure", failure / weibull.mean_life()?)?;
    let never =
        AgeReplacement { optimum: None, cost_rate_run_to_failure: run_to_failure, saving_fraction: 0.0 };
    if weibull.shape() <= 1.0 || failure <= planned {
        return Ok(never);
    }
    let Some(u) = optimal_scaled_age(weibull.shape(), planned / (failure - planned))? else {
        return Ok(never);
    };
    let age = weibull.scale() * u;
    if !age.is_finite() {
        return Ok(never);
    }
    let hazard = u.powf(weibull.shape());
    let rate = weibull.shape() / weibull.scale() * u.powf(weibull.shape() - 1.0);
    let cost_rate = guard::in_range("the cost at the cheapest age", rate * (failure - planned))?;
    Ok(AgeReplacement {
        optimum: Some(PlannedSwap { age, cost_rate, probability_fails_before: -(-hazard).exp_m1() }),
        saving_fraction: (1.0 - cost_rate / run_to_failure).max(0.0),
        ..never
    })
}

/// `u = T/eta` at the optimum; none when it lies beyond every number: then no pad lives to see it.
fn optimal_scaled_age(shape: f64, cost_ratio: f64) -> Result<Option<f64>, CoreError> {
    /// Logarithms of the smallest and the largest scaled age considered.
    const RANGE: (f64, f64) = (-700.0, 700.0);
    let a = 1.0 / shape;
    let gamma_a = gamma(a);
    let beyond = |ln_u: f64| {
        let z = (shape * ln_u).exp();
        let used = ((shape - 1.0) * ln_u).exp() * gamma_a * incomplete_gamma::lower_regularised(a, z);
        used + (-z).exp_m1() - cost_ratio
    };
    if beyond(RANGE.1) < 0.0 {
        return Ok(None);
    }
    let ln_u = root::of_increasing("the cheapest age", RANGE.0, RANGE.1, beyond)?;
    Ok(Some(ln_u.exp()))
}
