//! From a test spot to the whole car: minutes, drops or passes, with a prediction interval.
//! Never promises: one car is one draw, and the interval says how far it may lie.

use super::{guard, quantile};
use crate::CoreError;

/// One section worked in the test: how large, and what it took.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measurement {
    /// Area worked, in m².
    pub area_m2: f64,
    /// What it took: minutes, drops or passes.
    pub amount: f64,
}

/// What one unit of the amount is worth, when the total is wanted in another unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UnitSize {
    /// Output units per unit of the amount, e.g. ml per drop.
    pub mean: f64,
    /// Its relative standard deviation.
    pub relative_sd: f64,
}

impl UnitSize {
    /// The amount itself is wanted.
    pub const ONE: Self = Self { mean: 1.0, relative_sd: 0.0 };
}

/// How sure the interval is to be, and what to assume when there is nothing to learn a spread from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ProjectionRule {
    /// Confidence of the interval.
    pub confidence: f64,
    /// Standard deviation of the log rate when a single section was measured.
    pub fallback_log_sd: f64,
}

/// Where the spread of a projection came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Route {
    /// From the measured sections, with Student's t.
    StudentT,
    /// Assumed, as one section alone shows no spread, with a normal quantile.
    FallbackNormal,
}

/// One stage projected onto a car.
#[derive(Debug, Clone, PartialEq)]
pub struct Projection {
    /// Where the spread came from.
    pub route: Route,
    /// Sections measured.
    pub k: usize,
    /// Mean of the log rate (log of the amount per m²).
    pub mean_log_rate: f64,
    /// Standard deviation of the log rate.
    pub log_sd: f64,
    /// The quantile used.
    pub quantile: f64,
    /// Half the width of the interval, on the log scale.
    pub half_width_log: f64,
    /// The total as likely to be exceeded as not.
    pub median_total: f64,
    /// Lower end of the interval of the total.
    pub lower_total: f64,
    /// Upper end of the interval of the total.
    pub upper_total: f64,
    /// Mean total.
    pub mean_total: f64,
    /// The median of each section, in the order of the areas.
    pub section_medians: Vec<f64>,
}

/// Projects one stage of a test spot onto the sections of a car.
///
/// `measurements` has one entry per measured section, `section_areas_m2` one per section of the car;
/// neither may be empty.
///
/// # Formula
/// ```text
/// y_i = ln(amount_i/area_i), mean y, standard deviation s (k - 1 degrees of freedom)
/// half = q sqrt(s^2 (1 + 1/k) + ln(1 + c^2))      c relative spread of the unit size
/// median = A e^y, lower and upper = A e^(y -+ half), mean = A e^(y + s^2/2)     A area times unit size
/// ```
/// q is Student's t with k - 1 degrees of freedom; with one section s is the fallback and q normal.
/// One car is one draw of the log rate: its sections move together.
///
/// # Source
/// Prediction interval for one further observation of a log-normal rate (Hahn & Meeker, Statistical
/// Intervals, 1991, from memory); check values: `test_spot_projection`.
/// # Errors
/// [`CoreError::NotEnough`] when nothing was measured or the car has no sections;
/// [`CoreError::Invalid`] unless every area, amount and unit size is above zero and the spreads are not
/// below zero; [`CoreError::OutOfRange`] when a figure does not fit.
/// # Example
/// ```
/// use dropwise_core::stats::test_spot::{Measurement, ProjectionRule, UnitSize, project};
///
/// let rule = ProjectionRule { confidence: 0.9, fallback_log_sd: 0.35 };
/// let spot = [Measurement { area_m2: 0.25, amount: 5.0 }]; // 20 minutes per m2
/// let car = project(&spot, &[10.0], UnitSize::ONE, &rule)?;
/// assert!((car.median_total - 200.0).abs() < 1e-9);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn project(
    measurements: &[Measurement],
    section_areas_m2: &[f64],
    unit: UnitSize,
    rule: &ProjectionRule,
) -> Result<Projection, CoreError> {
    let k = measurements.len();
    if k == 0 {
        return Err(CoreError::NotEnough { what: "measured sections", have: 0, need: 1 });
    }
    let size = guard::positive("unit_size", unit.mean)?;
    let c = guard::not_negative("unit_size_relative_sd", unit.relative_sd)?;
    let fallback = guard::not_negative("fallback_log_sd", rule.fallback_log_sd)?;
    let area = vehicle_area_m2(section_areas_m2)?;

    let rates = measurements.iter().map(log_rate).collect::<Result<Vec<_>, _>>()?;
    let n = guard::count(k);
    let mean = rates.iter().sum::<f64>() / n;
    let (route, sd, q) = if k == 1 {
        (Route::FallbackNormal, fallback, quantile::normal_two_sided(rule.confidence)?)
    } else {
        let squares: f64 = rates.iter().map(|y| (y - mean) * (y - mean)).sum();
        let q = quantile::student_two_sided(rule.confidence, k - 1)?;
        (Route::StudentT, (squares / (n - 1.0)).sqrt(), q)
    };
    let half = q * (sd * sd * (1.0 + 1.0 / n) + (c * c).ln_1p()).sqrt();
    let total =
        |log_shift: f64| guard::in_range("the projected total", area * size * (mean + log_shift).exp());
    let per_m2 = size * mean.exp();
    Ok(Projection {
        route,
        k,
        mean_log_rate: mean,
        log_sd: sd,
        quantile: q,
        half_width_log: guard::in_range("the width of the interval", half)?,
        median_total: total(0.0)?,
        lower_total: total(-half)?,
        upper_total: total(half)?,
        mean_total: total(sd * sd / 2.0)?,
        section_medians: section_areas_m2.iter().map(|a| a * per_m2).collect(),
    })
}

/// The area of a car: its sections added up.
///
/// # Errors
/// [`CoreError::NotEnough`] without sections; [`CoreError::Invalid`] for one that is not above zero;
/// [`CoreError::OutOfRange`] when the sum does not fit.
pub fn vehicle_area_m2(section_areas_m2: &[f64]) -> Result<f64, CoreError> {
    if section_areas_m2.is_empty() {
        return Err(CoreError::NotEnough { what: "sections of the car", have: 0, need: 1 });
    }
    let mut sum = 0.0;
    for area in section_areas_m2 {
        sum += guard::positive("a section's area", *area)?;
    }
    guard::in_range("the area of the car", sum)
}

/// Totals of several stages together.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct StageSum {
    /// Sum of the medians.
    pub median: f64,
    /// Sum of the lower ends.
    pub lower: f64,
    /// Sum of the upper ends.
    pub upper: f64,
    /// Sum of the means.
    pub mean: f64,
}

/// Adds stages up as if a hard car were hard in all of them: the wide side.
///
/// # Errors
/// [`CoreError::OutOfRange`] when a sum does not fit.
pub fn sum_stages<'a>(stages: impl IntoIterator<Item = &'a Projection>) -> Result<StageSum, CoreError> {
    let mut sum = StageSum::default();
    for stage in stages {
        sum.median += stage.median_total;
        sum.lower += stage.lower_total;
        sum.upper += stage.upper_total;
        sum.mean += stage.mean_total;
    }
    for total in [sum.median, sum.lower, sum.upper, sum.mean] {
        guard::in_range("the total of the stages", total)?;
    }
    Ok(sum)
}

fn log_rate(measured: &Measurement) -> Result<f64, CoreError> {
    let area = guard::positive("area_m2", measured.area_m2)?;
    let amount = guard::positive("amount", measured.amount)?;
    Ok(guard::in_range_above_zero("the rate per area", amount / area)?.ln())
}
