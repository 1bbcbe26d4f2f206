//! How much is left in a bottle, and how large its drops are: one linear-Gaussian filter per bottle.
//!
//! Counting drops predicts, weighing corrects both figures at once: a bottle lighter than the count
//! says has larger drops than assumed. Never clips the state, only what is reported from it.

use super::{Estimate, guard};
use crate::CoreError;
use rust_decimal::prelude::ToPrimitive;

/// Drop size to start from when nothing is known: 20 drops per ml, with a wide spread.
///
/// # Source
/// The pharmacy convention of 20 drops of water per ml (check values: `drop_conventions`); the
/// relative spread of 0.40 covers the 25 to 70 microlitres published for dropper bottles.
pub const UNKNOWN_ML_PER_DROP: (f64, f64) = (0.05, 0.02);

/// The rounding slack of the count of whole drops left, so that 2.9999999999 reads as 3.
const WHOLE_DROP_SLACK: f64 = 1e-9;

/// How uneven drops and scales are.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BottleNoise {
    /// Standard deviation of one drop around the bottle's own drop size, in ml.
    pub drop_sd_ml: f64,
    /// Standard deviation by which the drop size itself wanders from one use to the next, in ml per drop.
    pub drift_sd_ml_per_use: f64,
    /// Standard deviation of one reading of the scale, in g.
    pub scale_sd_g: f64,
    /// Standard deviation of the recorded tare, in g.
    pub tare_sd_g: f64,
    /// Beyond how many standard deviations a weigh-in is flagged. A weigh-in that somebody has
    /// confirmed is applied with `f64::INFINITY` here.
    pub flag_sigma: f64,
}

impl Default for BottleNoise {
    fn default() -> Self {
        Self {
            drop_sd_ml: 0.005,
            drift_sd_ml_per_use: 0.0005,
            scale_sd_g: 0.5,
            tare_sd_g: 0.3,
            flag_sigma: 4.0,
        }
    }
}

impl BottleNoise {
    /// Variance of one weigh-in, in ml².
    ///
    /// # Formula
    /// ```text
    /// R = (s_scale^2 + s_tare^2) / rho^2      rho density (g per ml)
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] for a spread below zero or a density that is not above zero.
    pub fn measurement_variance_ml2(&self, bottle: &Bottle) -> Result<f64, CoreError> {
        let scale = guard::not_negative("scale_sd_g", self.scale_sd_g)?;
        let tare = guard::not_negative("tare_sd_g", self.tare_sd_g)?;
        let sd = scale.hypot(tare) / guard::positive("density_g_per_ml", bottle.density_g_per_ml)?;
        guard::in_range("the variance of a weigh-in", sd * sd)
    }
}

/// What is written on the bottle and its product: fixed while the bottle lives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bottle {
    /// What a full bottle holds, in ml.
    pub nominal_ml: f64,
    /// Mass of the empty bottle with its cap, in g.
    pub tare_g: f64,
    /// Density of the product, in g per ml.
    pub density_g_per_ml: f64,
}

/// What is believed of one bottle: remaining volume and drop size, with their joint spread.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BottleState {
    remaining_ml: f64,
    ml_per_drop: f64,
    remaining_variance: f64,
    covariance: f64,
    ml_per_drop_variance: f64,
}

/// What a weigh-in did to the belief.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct WeighIn {
    /// Volume by weight, in ml.
    pub measured_remaining_ml: f64,
    /// Measured less expected, in ml.
    pub innovation_ml: f64,
    /// Standard deviation of that difference, in ml.
    pub innovation_sd_ml: f64,
    /// True when the difference was too large to be believed; the state is then as before.
    pub flagged: bool,
    /// Share of the difference taken up by the volume, and ml per drop per ml of difference.
    pub gain: [f64; 2],
    /// The belief afterwards.
    pub state: BottleState,
}

impl BottleState {
    /// A bottle just put in service: volume and drop size unrelated so far.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when a variance does not fit.
    pub fn start(remaining_ml: Estimate, ml_per_drop: Estimate) -> Result<Self, CoreError> {
        Self {
            remaining_ml: remaining_ml.mean(),
            ml_per_drop: ml_per_drop.mean(),
            remaining_variance: remaining_ml.sd() * remaining_ml.sd(),
            covariance: 0.0,
            ml_per_drop_variance: ml_per_drop.sd() * ml_per_drop.sd(),
        }
        .checked()
    }

    /// A state as it was kept: `[remaining_ml, ml_per_drop]` and their covariance matrix.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when the matrix is not symmetric, not finite or has a negative direction.
    pub fn from_parts(mean: [f64; 2], covariance: [[f64; 2]; 2]) -> Result<Self, CoreError> {
        let [[p00, p01], [p10, p11]] = covariance;
        for x in [mean[0], mean[1], p00, p01, p10, p11] {
            guard::finite("a kept bottle state", x)?;
        }
        let bound = p00.max(0.0).sqrt() * p11.max(0.0).sqrt() * (1.0 + 1e-9);
        let [a, b] = [p01, p10].map(|p| p.total_cmp(&0.0).is_eq() || p.abs() <= bound);
        if p00 < 0.0 || p11 < 0.0 || !(a && b) || (p01 - p10).abs() > 1e-9 * bound {
            return Err(CoreError::Invalid {
                what: "a kept bottle covariance",
                rule: "must be symmetric and have no negative direction",
            });
        }
        Ok(Self {
            remaining_ml: mean[0],
            ml_per_drop: mean[1],
            remaining_variance: p00,
            covariance: f64::midpoint(p01, p10),
            ml_per_drop_variance: p11,
        })
    }

    /// `[remaining_ml, ml_per_drop]`, as believed; the volume may lie below zero or above nominal.
    #[must_use]
    pub const fn mean(&self) -> [f64; 2] {
        [self.remaining_ml, self.ml_per_drop]
    }

    /// The covariance matrix of [`mean`](Self::mean): `[[ml², ml²/drop], [ml²/drop, ml²/drop²]]`.
    #[must_use]
    pub const fn covariance(&self) -> [[f64; 2]; 2] {
        [[self.remaining_variance, self.covariance], [self.covariance, self.ml_per_drop_variance]]
    }

    /// Standard deviations of `[remaining_ml, ml_per_drop]`.
    #[must_use]
    pub fn sd(&self) -> [f64; 2] {
        [self.remaining_variance.sqrt(), self.ml_per_drop_variance.sqrt()]
    }

    /// The belief after `n` drops were put down.
    ///
    /// # Formula
    /// ```text
    /// x = F x,  P = F P F' + Q,  F = [[1, -n], [0, 1]],  Q = diag(n s_drop^2, s_drift^2)
    /// ```
    /// # Source
    /// Kalman (1960), prediction step; check values: `bottle_filter`.
    /// # Errors
    /// [`CoreError::Invalid`] for a spread below zero; [`CoreError::OutOfRange`] when a figure does not fit.
    /// # Example
    /// ```
    /// use dropwise_core::stats::{Estimate, bottle::{BottleNoise, BottleState}};
    ///
    /// let full = BottleState::start(Estimate::try_new(250.0, 2.5)?, Estimate::try_new(0.05, 0.02)?)?;
    /// let used = full.after_drops(24, &BottleNoise::default())?;
    /// assert!((used.mean()[0] - 248.8).abs() < 1e-12); // 250 - 24 * 0.05
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn after_drops(&self, drops: u32, noise: &BottleNoise) -> Result<Self, CoreError> {
        let n = f64::from(drops);
        let drop_sd = guard::not_negative("drop_sd_ml", noise.drop_sd_ml)?;
        let drift_sd = guard::not_negative("drift_sd_ml_per_use", noise.drift_sd_ml_per_use)?;
        let (p00, p01, p11) = (self.remaining_variance, self.covariance, self.ml_per_drop_variance);
        Self {
            remaining_ml: self.remaining_ml - n * self.ml_per_drop,
            ml_per_drop: self.ml_per_drop,
            // Added up as (p00 - n p01) - n (p01 - n p11): the order of the matrix product.
            remaining_variance: (p00 - n * p01) - n * (p01 - n * p11) + n * drop_sd * drop_sd,
            covariance: p01 - n * p11,
            ml_per_drop_variance: p11 + drift_sd * drift_sd,
        }
        .checked()
    }

    /// The belief after a measured volume was taken out (a decant, a spill, a dose in ml).
    ///
    /// # Formula
    /// ```text
    /// x0 = x0 - d,  P00 = P00 + s_d^2      d volume taken (ml), s_d its standard deviation
    /// ```
    /// # Errors
    /// [`CoreError::OutOfRange`] when a figure does not fit.
    pub fn after_draw(&self, drawn_ml: Estimate) -> Result<Self, CoreError> {
        Self {
            remaining_ml: self.remaining_ml - drawn_ml.mean(),
            remaining_variance: self.remaining_variance + drawn_ml.sd() * drawn_ml.sd(),
            ..*self
        }
        .checked()
    }

    /// The belief after a measured volume was filled in.
    ///
    /// # Formula
    /// ```text
    /// x0 = x0 + a,  P00 = P00 + s_a^2      a volume added (ml), s_a its standard deviation
    /// ```
    /// # Errors
    /// [`CoreError::OutOfRange`] when a figure does not fit.
    pub fn after_refill(&self, added_ml: Estimate) -> Result<Self, CoreError> {
        Self {
            remaining_ml: self.remaining_ml + added_ml.mean(),
            remaining_variance: self.remaining_variance + added_ml.sd() * added_ml.sd(),
            ..*self
        }
        .checked()
    }

    /// What the weight of the bottle says, and the belief after it.
    ///
    /// # Formula
    /// ```text
    /// z = (gross - tare) / rho,  S = P00 + R,  y = z - x0
    /// flagged, state unchanged, when |y| > flag_sigma sqrt(S); otherwise
    /// K = [P00, P10] / S,  x = x + K y,  P = (I - K H) P (I - K H)' + K R K',  H = [1, 0]
    /// ```
    /// # Source
    /// Kalman (1960), update step in Joseph's form, which keeps P symmetric and positive; check values:
    /// `bottle_filter`.
    /// # Errors
    /// [`CoreError::Invalid`] for a density or gate that is not above zero, or when neither the state
    /// nor the scale has any spread; [`CoreError::OutOfRange`] when a figure does not fit.
    pub fn after_weigh_in(
        &self,
        gross_g: f64,
        bottle: &Bottle,
        noise: &BottleNoise,
    ) -> Result<WeighIn, CoreError> {
        let r = noise.measurement_variance_ml2(bottle)?;
        let net_g = guard::finite("gross_g", gross_g)? - guard::finite("tare_g", bottle.tare_g)?;
        let measured = guard::in_range("the measured volume", net_g / bottle.density_g_per_ml)?;
        if noise.flag_sigma.is_nan() || noise.flag_sigma <= 0.0 {
            return Err(CoreError::Invalid { what: "flag_sigma", rule: "must be above zero" });
        }
        let (p00, p01, p11) = (self.remaining_variance, self.covariance, self.ml_per_drop_variance);
        let s = guard::in_range("the spread of a weigh-in", p00 + r)?;
        if s <= 0.0 {
            return Err(CoreError::Invalid {
                what: "the spread of a weigh-in",
                rule: "must be above zero: neither the bottle nor the scale is uncertain",
            });
        }
        let innovation = guard::in_range("the innovation", measured - self.remaining_ml)?;
        let flagged = innovation.abs() > noise.flag_sigma * s.sqrt();
        let [k0, k1] = [p00 / s, p01 / s];
        let state = if flagged {
            *self
        } else {
            Self {
                remaining_ml: self.remaining_ml + k0 * innovation,
                ml_per_drop: self.ml_per_drop + k1 * innovation,
                // r / s is 1 - k0, without the cancellation when the scale is far sharper than the belief.
                remaining_variance: (r / s) * (r / s) * p00 + k0 * k0 * r,
                covariance: (r / s) * (p01 - k1 * p00) + k0 * k1 * r,
                ml_per_drop_variance: p11 - 2.0 * k1 * p01 + k1 * k1 * p00 + k1 * k1 * r,
            }
            .checked()?
        };
        Ok(WeighIn {
            measured_remaining_ml: measured,
            innovation_ml: innovation,
            innovation_sd_ml: s.sqrt(),
            flagged,
            gain: [k0, k1],
            state,
        })
    }

    /// The volume to show: never below zero, never above nominal.
    #[must_use]
    pub fn reported_remaining_ml(&self, bottle: &Bottle) -> f64 {
        self.remaining_ml.min(bottle.nominal_ml).max(0.0)
    }

    /// Whole drops in the volume shown; none when the drop size is not above zero or the count does
    /// not fit.
    ///
    /// # Formula
    /// ```text
    /// floor(reported / v + 1e-9)      v drop size (ml per drop)
    /// ```
    #[must_use]
    pub fn reported_drops_left(&self, bottle: &Bottle) -> Option<u64> {
        if self.ml_per_drop <= 0.0 {
            return None;
        }
        (self.reported_remaining_ml(bottle) / self.ml_per_drop + WHOLE_DROP_SLACK).floor().to_u64()
    }

    /// The interval that holds the remaining volume with the given confidence, kept within what the
    /// bottle can hold.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless `0 < confidence < 1`; [`CoreError::OutOfRange`] when an end does
    /// not fit.
    pub fn remaining_interval_ml(&self, confidence: f64, bottle: &Bottle) -> Result<[f64; 2], CoreError> {
        let whole = Estimate::try_new(self.remaining_ml, self.remaining_variance.sqrt())?;
        Ok(whole.interval(confidence)?.map(|end| end.min(bottle.nominal_ml).max(0.0)))
    }

    /// The state, when every figure fits and the covariance still has no negative direction.
    fn checked(mut self) -> Result<Self, CoreError> {
        let (p00, p11) = (self.remaining_variance, self.ml_per_drop_variance);
        for x in [self.remaining_ml, self.ml_per_drop, self.covariance, p00, p11] {
            guard::in_range("the state of a bottle", x)?;
        }
        // Rounding may leave a variance a hair below zero, or a correlation a hair beyond one.
        self.remaining_variance = p00.max(0.0);
        self.ml_per_drop_variance = p11.max(0.0);
        let bound = self.remaining_variance.sqrt() * self.ml_per_drop_variance.sqrt();
        self.covariance = self.covariance.clamp(-bound, bound);
        Ok(self)
    }
}
