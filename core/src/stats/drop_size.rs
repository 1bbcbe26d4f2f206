//! What drop size to expect of a bottle nobody has weighed yet: pooled over the bottles that were.
//!
//! Bottles of one product in one pair of hands differ, but not wildly: each tells something about
//! the next. Never pools across products; the caller chooses the group.

use super::{Estimate, guard};
use crate::CoreError;

/// How many bottles it takes before their spread is estimated instead of assumed.
pub const BOTTLES_FOR_SPREAD: usize = 3;

/// What a group of bottles says about itself, its next bottle and each of its members.
#[derive(Debug, Clone, PartialEq)]
pub struct PooledDropSize {
    /// Mean drop size of the group, in ml per drop.
    pub group: Estimate,
    /// What a new bottle of the group should start from.
    pub new_bottle: Estimate,
    /// Each bottle's own drop size, pulled towards the group; in the order given.
    pub bottles: Vec<Estimate>,
}

/// The drop sizes of a group, pooled with a known spread between bottles.
///
/// # Formula
/// ```text
/// d_j ~ N(theta_j, s_j^2),  theta_j ~ N(mu, tau^2),  mu ~ N(mu0, v0)
/// 1/V = 1/v0 + sum 1/(s_j^2 + tau^2)
/// mu_hat = V (mu0/v0 + sum d_j/(s_j^2 + tau^2));  a new bottle: N(mu_hat, V + tau^2)
/// B_j = s_j^2/(s_j^2 + tau^2)
/// theta_j: mean (1 - B_j) d_j + B_j mu_hat, variance (1 - B_j) s_j^2 + B_j^2 V
/// ```
/// `prior` is mu0 and sqrt(v0), `between_sd_ml` is tau; one entry of `bottles` per weighed bottle,
/// may be empty, then the prior comes back, widened by tau.
///
/// # Source
/// The normal-normal hierarchical model (Gelman et al., Bayesian Data Analysis, 3rd ed., ch. 5; from
/// memory); check values: `pooled_drop_size`.
/// # Errors
/// [`CoreError::Invalid`] for a prior or a bottle without spread, or a spread between bottles below
/// zero; [`CoreError::OutOfRange`] when a figure does not fit.
/// # Example
/// ```
/// use dropwise_core::stats::{Estimate, drop_size::pool};
///
/// let prior = Estimate::try_new(0.05, 0.02)?;
/// let pooled = pool(prior, 0.0, &[Estimate::try_new(0.07, 0.02)?])?;
/// assert!((pooled.group.mean() - 0.06).abs() < 1e-15); // two equally sure voices: half-way
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn pool(prior: Estimate, between_sd_ml: f64, bottles: &[Estimate]) -> Result<PooledDropSize, CoreError> {
    let tau = guard::not_negative("between_bottle_sd_ml", between_sd_ml)?;
    let v0 = variance("prior_sd_ml_per_drop", prior)?;
    let (mut weight, mut weighted) = (1.0 / v0, prior.mean() / v0);
    for bottle in bottles {
        let spread = variance("bottle_sd_ml_per_drop", *bottle)? + tau * tau;
        weight += 1.0 / spread;
        weighted += bottle.mean() / spread;
    }
    let v = guard::in_range("the spread of the pooled drop size", 1.0 / weight)?;
    let mean = guard::in_range("the pooled drop size", weighted / weight)?;
    let shrunk = |bottle: &Estimate| {
        let s2 = bottle.sd() * bottle.sd();
        let pull = s2 / (s2 + tau * tau);
        let keep = tau * tau / (s2 + tau * tau);
        let mean = keep * bottle.mean() + pull * mean;
        Estimate::try_new(mean, (keep * s2 + pull * pull * v).sqrt())
    };
    Ok(PooledDropSize {
        group: Estimate::try_new(mean, v.sqrt())?,
        new_bottle: Estimate::try_new(mean, (v + tau * tau).sqrt())?,
        bottles: bottles.iter().map(shrunk).collect::<Result<_, _>>()?,
    })
}

/// How much bottles differ beyond what weighing explains, and what they say together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BetweenBottles {
    /// The mean when all bottles share one drop size, with its standard error.
    pub fixed_effect: Estimate,
    /// Cochran's Q: the weighted squares around that mean.
    pub cochran_q: f64,
    /// tau²: variance between bottles, zero when Q is no larger than chance makes it.
    pub between_variance: f64,
    /// The mean when bottles differ by tau, with its standard error.
    pub random_effects: Estimate,
}

/// The spread between bottles, by moments.
///
/// # Formula
/// ```text
/// w_j = 1/s_j^2,  Q = sum w_j (d_j - m)^2,  m = sum w_j d_j / sum w_j
/// tau^2 = max(0, (Q - (k - 1)) / (sum w_j - sum w_j^2 / sum w_j))
/// ```
/// # Source
/// `DerSimonian` and Laird, Controlled Clinical Trials 7 (1986) 177-188; check values: `pooled_drop_size`.
/// # Errors
/// [`CoreError::NotEnough`] with fewer than [`BOTTLES_FOR_SPREAD`] bottles; [`CoreError::Invalid`] for
/// a bottle without spread; [`CoreError::OutOfRange`] when a figure does not fit.
pub fn between_bottles(bottles: &[Estimate]) -> Result<BetweenBottles, CoreError> {
    let have = bottles.len();
    if have < BOTTLES_FOR_SPREAD {
        return Err(CoreError::NotEnough { what: "weighed bottles", have, need: BOTTLES_FOR_SPREAD });
    }
    let fixed_effect = weighted_mean(bottles, 0.0)?;
    let (mut q, mut sum, mut squares) = (0.0, 0.0, 0.0);
    for bottle in bottles {
        let w = 1.0 / variance("a bottle's standard deviation", *bottle)?;
        let off = bottle.mean() - fixed_effect.mean();
        q += w * off * off;
        sum += w;
        squares += w * w;
    }
    let excess = q - (guard::count(have) - 1.0);
    // `sum - squares / sum` vanishes when one bottle outweighs all others beyond the last digit: then
    // there is nothing left to tell a spread from.
    let room = sum - squares / sum;
    let tau2 = if excess <= 0.0 || room <= 0.0 { 0.0 } else { excess / room };
    let tau2 = guard::in_range("the variance between bottles", tau2)?;
    Ok(BetweenBottles {
        fixed_effect,
        cochran_q: guard::in_range("Cochran's Q", q)?,
        between_variance: tau2,
        random_effects: weighted_mean(bottles, tau2)?,
    })
}

/// What a new bottle of the group should start from: the spread between bottles is estimated once
/// there are [`BOTTLES_FOR_SPREAD`] of them, and assumed before.
///
/// # Errors
/// As [`pool`].
pub fn expect_of_new_bottle(
    prior: Estimate,
    assumed_between_sd_ml: f64,
    bottles: &[Estimate],
) -> Result<Estimate, CoreError> {
    let between = if bottles.len() < BOTTLES_FOR_SPREAD {
        assumed_between_sd_ml
    } else {
        between_bottles(bottles)?.between_variance.sqrt()
    };
    Ok(pool(prior, between, bottles)?.new_bottle)
}

/// What a bottle's own weighings said of its drops: its filtered estimate less the prior it began with.
///
/// [`pool`] takes every bottle as a voice of its own. A filtered estimate repeats the prior, which came
/// from the other bottles: pooled as it is, the group would hear itself again and grow too sure.
///
/// # Formula
/// ```text
/// 1/s^2 = 1/s_1^2 - 1/s_0^2,  d = s^2 (m_1/s_1^2 - m_0/s_0^2)      0 prior, 1 filtered
/// ```
/// None when the filtered estimate is no surer than the prior: nothing has been weighed yet. Exact for a
/// drop size that stays what it is; drift makes it a little too modest, never too sure.
///
/// # Source
/// A product of normal densities, divided again (definition).
/// # Errors
/// [`CoreError::Invalid`] for an estimate without spread; [`CoreError::OutOfRange`] when a figure does
/// not fit.
/// # Example
/// ```
/// use dropwise_core::stats::{Estimate, drop_size::own_evidence};
///
/// let (prior, filtered) = (Estimate::try_new(0.05, 0.02)?, Estimate::try_new(0.06, 0.02 / 2_f64.sqrt())?);
/// let own = own_evidence(prior, filtered)?.expect("something was weighed");
/// assert!((own.mean() - 0.07).abs() < 1e-12); // half-way between 0.05 and 0.07 lies 0.06
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn own_evidence(prior: Estimate, filtered: Estimate) -> Result<Option<Estimate>, CoreError> {
    let before = 1.0 / variance("the prior's standard deviation", prior)?;
    let after = 1.0 / variance("the filtered standard deviation", filtered)?;
    let gained = after - before;
    if gained <= 0.0 {
        return Ok(None);
    }
    let mean = (filtered.mean() * after - prior.mean() * before) / gained;
    let sd = guard::in_range("the spread of a bottle's own drop size", gained.recip().sqrt())?;
    Ok(Some(Estimate::try_new(guard::in_range("a bottle's own drop size", mean)?, sd)?))
}

fn weighted_mean(bottles: &[Estimate], tau2: f64) -> Result<Estimate, CoreError> {
    let (mut weight, mut weighted) = (0.0, 0.0);
    for bottle in bottles {
        let spread = variance("a bottle's standard deviation", *bottle)? + tau2;
        weight += 1.0 / spread;
        weighted += bottle.mean() / spread;
    }
    let mean = guard::in_range("the mean drop size", weighted / weight)?;
    Estimate::try_new(mean, weight.recip().sqrt())
}

fn variance(what: &'static str, estimate: Estimate) -> Result<f64, CoreError> {
    let sd = guard::positive(what, estimate.sd())?;
    guard::in_range_above_zero(what, sd * sd)
}
