//! Pad life from pads that failed and pads still in service: Weibull by maximum likelihood.
//!
//! A pad still in service says "at least this long", and is counted so: leaving it out would make
//! every pad look short-lived. Never guesses a shape: with too few failures see `few_failures`.

use super::weibull::Weibull;
use super::{Estimate, guard, quantile};
use crate::CoreError;

/// Failures it takes for a shape of their own.
pub const FAILURES_FOR_FIT: usize = 3;

/// Newton steps, each guarded by a bracket; a dozen do on any data that comes from pads.
const MOST_STEPS: u32 = 400;

/// A fitted distribution of lives with its uncertainty.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeibullFit {
    /// Pads that failed.
    pub failures: usize,
    /// Pads still in service, or taken out for another reason.
    pub suspensions: usize,
    /// The distribution found.
    pub weibull: Weibull,
    /// Log-likelihood at the maximum.
    pub log_likelihood: f64,
    /// Shape with its standard error.
    pub shape: Estimate,
    /// Scale with its standard error.
    pub scale: Estimate,
    /// Correlation of ln scale and ln shape.
    pub correlation: f64,
    /// Newton steps taken.
    pub iterations: u32,
}

/// The most likely distribution behind observed lives.
///
/// `failures` are the ages at which pads failed, each above zero; `suspensions` the ages of those that
/// have not (yet); zero for a pad just put in service.
///
/// # Formula
/// ```text
/// R(t) = exp(-(t/eta)^b).  b solves
///   sum_all t^b ln t / sum_all t^b - 1/b - mean_failures ln t = 0,  eta = (sum_all t^b / r)^(1/b)
/// ```
/// with r failures. Standard errors come from the observed information in (ln eta, ln b):
/// ```text
/// u = b ln(t/eta), e = exp(u):  I = [[b^2 r, -b sum e u], [-b sum e u, r + sum e u^2]]
/// ```
/// # Source
/// Meeker & Escobar, Statistical Methods for Reliability Data (1998), ch. 8 (from memory); check
/// values: `weibull_fit`.
/// # Errors
/// [`CoreError::NotEnough`] with fewer than [`FAILURES_FOR_FIT`] failures; [`CoreError::Invalid`] for a
/// failure that is not above zero, a suspension below zero, or when all failures are equal and no
/// suspension is longer (then the likelihood grows with the shape without end);
/// [`CoreError::OutOfRange`] when a figure does not fit.
/// # Example
/// ```
/// use dropwise_core::stats::weibull_fit::fit;
///
/// let fit = fit(&[38.0, 44.0, 51.0, 57.0, 60.0, 72.0], &[25.0, 40.0, 40.0, 66.0])?;
/// assert!((fit.weibull.scale() - 61.8).abs() < 0.01); // sections
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn fit(failures: &[f64], suspensions: &[f64]) -> Result<WeibullFit, CoreError> {
    if failures.len() < FAILURES_FOR_FIT {
        return Err(CoreError::NotEnough {
            what: "failed pads",
            have: failures.len(),
            need: FAILURES_FOR_FIT,
        });
    }
    maximise(failures, suspensions)
}

/// Whether the likelihood has a maximum: some failure is exceeded by another observation.
pub(super) fn has_finite_shape(failures: &[f64], suspensions: &[f64]) -> bool {
    let longest = failures.iter().chain(suspensions).copied().fold(0.0, f64::max);
    failures.iter().any(|t| *t < longest)
}

/// Refuses lives that cannot be lives.
pub(super) fn checked(failures: &[f64], suspensions: &[f64]) -> Result<(), CoreError> {
    failures.iter().try_for_each(|t| guard::positive("a failure time", *t).map(drop))?;
    suspensions.iter().try_for_each(|t| guard::not_negative("a suspension time", *t).map(drop))
}

/// [`fit`] without its demand for three failures.
pub(super) fn maximise(failures: &[f64], suspensions: &[f64]) -> Result<WeibullFit, CoreError> {
    checked(failures, suspensions)?;
    if !has_finite_shape(failures, suspensions) {
        return Err(CoreError::Invalid {
            what: "the failure times",
            rule: "must not all be equal with no suspension longer: no finite shape fits them best",
        });
    }
    let lives = LogLives::new(failures, suspensions);
    let (b, iterations) = lives.most_likely_shape()?;
    let r = guard::count(failures.len());
    let ln_scale = lives.longest_ln + (lives.powers(b).sum / r).ln() / b;
    let weibull = Weibull::try_new(
        guard::in_range_above_zero("the shape", b)?,
        guard::in_range_above_zero("the scale", ln_scale.exp())?,
    )?;
    let information = lives.information(b, ln_scale, r);
    Ok(WeibullFit {
        failures: failures.len(),
        suspensions: suspensions.len(),
        weibull,
        // Each failure adds ln b + u - ln t, all add -sum e, which is -r at the maximum.
        log_likelihood: guard::in_range(
            "the log-likelihood",
            r * (b.ln() + b * (lives.mean_failure() + lives.longest_ln - ln_scale) - 1.0)
                - r * (lives.mean_failure() + lives.longest_ln),
        )?,
        shape: Estimate::try_new(b, b * information.sd_ln_shape)?,
        scale: Estimate::try_new(weibull.scale(), weibull.scale() * information.sd_ln_scale)?,
        correlation: information.correlation,
        iterations,
    })
}

impl WeibullFit {
    /// Interval of the shape, normal on the log scale.
    ///
    /// # Formula
    /// ```text
    /// est exp(-+ z se / est)
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < confidence < 1`; [`CoreError::OutOfRange`] when an end does
    /// not fit.
    pub fn shape_interval(&self, confidence: f64) -> Result<[f64; 2], CoreError> {
        log_interval(self.shape.mean(), self.shape.sd() / self.shape.mean(), confidence)
    }

    /// Interval of the scale, normal on the log scale.
    ///
    /// # Errors
    /// As [`shape_interval`](Self::shape_interval).
    pub fn scale_interval(&self, confidence: f64) -> Result<[f64; 2], CoreError> {
        log_interval(self.scale.mean(), self.scale.sd() / self.scale.mean(), confidence)
    }

    /// Interval of the age survived by a share of pads, by the delta method on its logarithm.
    ///
    /// # Formula
    /// ```text
    /// ln t = ln eta + c/b, c = ln(-ln p);  var = V_ee - 2 (c/b) V_eb + (c/b)^2 V_bb
    /// ```
    /// with V the covariance of (ln eta, ln b).
    /// # Errors
    /// [`CoreError::Invalid`] unless share and confidence lie between 0 and 1;
    /// [`CoreError::OutOfRange`] when an end does not fit.
    pub fn life_interval(&self, share_surviving: f64, confidence: f64) -> Result<[f64; 2], CoreError> {
        let life = self.weibull.age_survived_by(share_surviving)?;
        log_interval(life, self.sd_ln_life(share_surviving), confidence)
    }

    /// One-sided lower bound of the age survived by a share of pads.
    ///
    /// # Errors
    /// As [`life_interval`](Self::life_interval).
    pub fn life_lower_bound(&self, share_surviving: f64, confidence: f64) -> Result<f64, CoreError> {
        let life = self.weibull.age_survived_by(share_surviving)?;
        let z = quantile::normal(confidence)?;
        guard::in_range("the lower bound of a life", life * (-z * self.sd_ln_life(share_surviving)).exp())
    }

    fn sd_ln_life(&self, share_surviving: f64) -> f64 {
        let sd_ln_scale = self.scale.sd() / self.scale.mean();
        let sd_ln_shape = self.shape.sd() / self.shape.mean();
        let slope = (-share_surviving.ln()).ln() / self.shape.mean();
        let cross = 2.0 * slope * self.correlation * sd_ln_scale * sd_ln_shape;
        let own = slope * sd_ln_shape;
        (sd_ln_scale * sd_ln_scale - cross + own * own).max(0.0).sqrt()
    }
}

fn log_interval(value: f64, sd_ln: f64, confidence: f64) -> Result<[f64; 2], CoreError> {
    let half = quantile::normal_two_sided(confidence)? * sd_ln;
    let lower = guard::in_range("an interval's lower end", value * (-half).exp())?;
    let upper = guard::in_range("an interval's upper end", value * half.exp())?;
    Ok([lower, upper])
}

/// Lives as logarithms below the longest, so that no power of them overflows.
struct LogLives {
    longest_ln: f64,
    failed: Vec<f64>,
    /// Failures and suspensions alike; a suspension at age zero says nothing and is left out.
    all: Vec<f64>,
}

/// `sum e`, `sum e x` and `sum e x^2` with `e = exp(b x)`.
struct Powers {
    sum: f64,
    first: f64,
    second: f64,
}

struct Information {
    sd_ln_scale: f64,
    sd_ln_shape: f64,
    correlation: f64,
}

impl LogLives {
    fn new(failures: &[f64], suspensions: &[f64]) -> Self {
        let longest = failures.iter().chain(suspensions).copied().fold(0.0, f64::max);
        let longest_ln = longest.ln();
        // ln of the ratio, not the difference of logarithms: close lives keep their digits.
        let below = |t: &f64| (t / longest).ln();
        let all = failures.iter().chain(suspensions).filter(|t| **t > 0.0).map(below).collect();
        Self { longest_ln, failed: failures.iter().map(below).collect(), all }
    }

    fn mean_failure(&self) -> f64 {
        self.failed.iter().sum::<f64>() / guard::count(self.failed.len())
    }

    fn powers(&self, b: f64) -> Powers {
        let mut powers = Powers { sum: 0.0, first: 0.0, second: 0.0 };
        for x in &self.all {
            let e = (b * x).exp();
            powers.sum += e;
            powers.first += e * x;
            powers.second += e * x * x;
        }
        powers
    }

    /// The shape where the score vanishes. The score rises with b from minus infinity to
    /// `-mean_failure`, which is above zero exactly when a finite shape exists.
    fn most_likely_shape(&self) -> Result<(f64, u32), CoreError> {
        const WHAT: &str = "the Weibull shape";
        let mean_failure = self.mean_failure();
        if mean_failure >= 0.0 {
            return Err(CoreError::NoConvergence { what: WHAT });
        }
        let (mut low, mut high) = (0.0_f64, f64::INFINITY);
        // Where the score would vanish if only the longest lives carried weight; they never carry all
        // of it, so the root lies here or above.
        let mut b = -1.0 / mean_failure;
        for step in 1..=MOST_STEPS {
            let powers = self.powers(b);
            let mean = powers.first / powers.sum;
            let score = mean - 1.0 / b - mean_failure;
            let slope = (powers.second / powers.sum - mean * mean).max(0.0) + 1.0 / (b * b);
            if score > 0.0 {
                high = b;
            } else {
                low = b;
            }
            let newton = b - score / slope;
            // Steps shrink quadratically: after one of 1e-10 only rounding is left.
            if (newton - b).abs() <= 1e-10 * b {
                return Ok((newton, step));
            }
            // Newton may leave the bracket, or the positive numbers; then halve, or double.
            let next = if newton > low && newton < high {
                newton
            } else if high.is_infinite() {
                2.0 * b
            } else {
                f64::midpoint(low, high)
            };
            if !next.is_finite() {
                return Err(CoreError::NoConvergence { what: WHAT });
            }
            b = next;
        }
        Err(CoreError::NoConvergence { what: WHAT })
    }

    fn information(&self, b: f64, ln_scale: f64, r: f64) -> Information {
        let (mut s1, mut s2) = (0.0, 0.0);
        for x in &self.all {
            let u = b * (x + self.longest_ln - ln_scale);
            let e = u.exp();
            s1 += e * u;
            s2 += e * u * u;
        }
        // r (r + s2) - s1^2 is at least r^2, as sum e = r (Cauchy and Schwarz).
        let determinant = (r * (r + s2) - s1 * s1).max(r * r);
        Information {
            sd_ln_scale: ((r + s2) / determinant).sqrt() / b,
            sd_ln_shape: (r / determinant).sqrt(),
            correlation: s1 / (r * (r + s2)).sqrt(),
        }
    }
}
