//! When an item runs out at a place: the chance of being out by day, and the expected day.

use super::normal::upper_tail;
use super::numbers::{exact_not_negative, real};
use crate::CoreError;
use rust_decimal::Decimal;

/// The longest horizon looked at, in days: ten years.
pub const LONGEST_HORIZON_DAYS: u32 = 3_660;

/// Use that bookings make known: the same amount on every day from the first to the last, both counted.
/// Day 1 is the day after the level was taken. Segments add up where they overlap.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BookedUse {
    /// First day of the booking, 1 or later.
    pub from_day: u32,
    /// Last day of the booking, not before the first.
    pub to_day: u32,
    /// Units used on each of these days.
    pub demand_per_day: Decimal,
}

/// Use that no booking explains, independent from day to day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BackgroundUse {
    /// Mean, units per day.
    pub mean_per_day: Decimal,
    /// Variance, units² per day.
    pub variance_per_day: Decimal,
}

/// One day of the outlook.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayOutlook {
    /// Days after the level was taken; 1 is the first.
    pub day: u32,
    /// Expected demand from the start to the end of this day, units.
    pub expected_demand: Decimal,
    /// Chance that demand to the end of this day exceeds the level.
    pub probability: f64,
}

/// The outlook over the whole horizon.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOut {
    /// First day whose chance of being out reaches the threshold; none within the horizon.
    pub first_day_at_risk: Option<u32>,
    /// First day at whose end the expected level is zero or below; none within the horizon.
    pub expected_run_out_day: Option<u32>,
    /// Every day of the horizon, in order.
    pub days: Vec<DayOutlook>,
}

/// The chance of being out by day, from the level, the bookings and the background use.
///
/// # Formula
/// ```text
/// P_t = 1 - Phi((x - K_t - m t) / sqrt(v t))       v = 0: P_t = 1 if K_t + m t > x else 0
/// first day at risk    = smallest t with P_t >= p
/// expected run-out day = smallest t with K_t + m t >= x
/// x level (units), K_t booked demand of days 1..t (units), m, v mean and variance of background use
/// per day, p risk threshold
/// ```
/// Demand to the end of day t is taken as normal, without continuity correction. `P_t` is the chance of
/// being out at the end of day t, not of having been out before; no deliveries are assumed.
/// The level may be negative: phones report late. Days and expected demand are exact decimals.
/// # Source
/// Definition; the normal distribution by the complementary error function. Check values: `run_out_date`.
/// # Errors
/// [`CoreError::Invalid`] when a use or a variance is negative, a booking ends before it starts or starts
/// before day 1, the threshold is no probability, or the horizon is not 1 to 3,660 days;
/// [`CoreError::OutOfRange`] when demand leaves the range of a decimal.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::run_out::{BackgroundUse, BookedUse, run_out}};
/// // Ten booked days of 3 units use exactly the 30 there are.
/// let booked = BookedUse { from_day: 1, to_day: 10, demand_per_day: Decimal::from(3) };
/// let none = BackgroundUse { mean_per_day: Decimal::ZERO, variance_per_day: Decimal::ZERO };
/// let outlook = run_out(Decimal::from(30), none, &[booked], 0.05, 30)?;
/// assert_eq!((outlook.expected_run_out_day, outlook.first_day_at_risk), (Some(10), None));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn run_out(
    level: Decimal,
    background: BackgroundUse,
    bookings: &[BookedUse],
    risk_threshold: f64,
    horizon_days: u32,
) -> Result<RunOut, CoreError> {
    exact_not_negative(background.mean_per_day, "background demand per day")?;
    exact_not_negative(background.variance_per_day, "background variance per day")?;
    if !(0.0..=1.0).contains(&risk_threshold) {
        return Err(CoreError::Invalid { what: "risk threshold", rule: "must lie between 0 and 1" });
    }
    if !(1..=LONGEST_HORIZON_DAYS).contains(&horizon_days) {
        return Err(CoreError::Invalid { what: "horizon", rule: "must be 1 to 3,660 days" });
    }
    for booking in bookings {
        exact_not_negative(booking.demand_per_day, "booked demand per day")?;
        if booking.from_day < 1 || booking.to_day < booking.from_day {
            return Err(CoreError::Invalid {
                what: "booking",
                rule: "must start on day 1 or later and not end before it starts",
            });
        }
    }
    let mut outlook = RunOut { first_day_at_risk: None, expected_run_out_day: None, days: Vec::new() };
    let variance = real(background.variance_per_day);
    let mut expected = Decimal::ZERO;
    for day in 1..=horizon_days {
        expected = expected_after(expected, day, background.mean_per_day, bookings)?;
        let spare = level.checked_sub(expected).ok_or(OUT_OF_RANGE)?;
        let probability = chance_of_being_out(spare, variance * f64::from(day));
        if outlook.first_day_at_risk.is_none() && probability >= risk_threshold {
            outlook.first_day_at_risk = Some(day);
        }
        if outlook.expected_run_out_day.is_none() && spare <= Decimal::ZERO {
            outlook.expected_run_out_day = Some(day);
        }
        outlook.days.push(DayOutlook { day, expected_demand: expected, probability });
    }
    Ok(outlook)
}

const OUT_OF_RANGE: CoreError = CoreError::OutOfRange { what: "expected demand" };

/// Expected demand to the end of this day, from that to the end of the day before.
fn expected_after(
    before: Decimal,
    day: u32,
    mean_per_day: Decimal,
    bookings: &[BookedUse],
) -> Result<Decimal, CoreError> {
    bookings
        .iter()
        .filter(|booking| (booking.from_day..=booking.to_day).contains(&day))
        .map(|booking| booking.demand_per_day)
        .chain([mean_per_day])
        .try_fold(before, Decimal::checked_add)
        .ok_or(OUT_OF_RANGE)
}

/// `P(demand > level)` when the level exceeds mean demand by `spare`.
fn chance_of_being_out(spare: Decimal, variance: f64) -> f64 {
    let sd = variance.sqrt();
    if sd > 0.0 {
        upper_tail(real(spare) / sd)
    } else if spare < Decimal::ZERO {
        1.0
    } else {
        0.0
    }
}
