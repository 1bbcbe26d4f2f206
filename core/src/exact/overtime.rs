//! A week's pay with the overtime premium on the regular rate.
//!
//! Pay law differs by place (daily overtime, double time, exemptions, what counts as remuneration). This
//! computes the federal US weekly rule; whoever runs payroll checks it against the law that applies.

use super::guards::{above_zero, not_negative};
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// Hours worked at one hourly rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HoursAtRate {
    /// Hours.
    pub hours: Decimal,
    /// Money per hour.
    pub hourly_rate: Decimal,
}

/// What one person did and earned in one work week.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Week<'a> {
    /// One entry per hourly rate, in any order; may be empty.
    pub work: &'a [HoursAtRate],
    /// Earned by the piece, e.g. per car.
    pub piece_rate_earnings: Decimal,
    /// Hours worked by the piece.
    pub piece_rate_hours: Decimal,
    /// Promised bonus that counts into the regular rate.
    pub bonus: Decimal,
    /// Least pay per hour worked, if one was agreed.
    pub guaranteed_hourly_rate: Option<Decimal>,
}

/// The fleet's overtime rule.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OvertimeRule {
    /// Hours in a week beyond which overtime begins.
    pub threshold_hours: Decimal,
    /// Pay per overtime hour as a multiple of the regular rate; 1.5 for time and a half.
    pub multiplier: Decimal,
}

/// A week's pay and the figures it came from.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WeekPay {
    /// Hours worked.
    pub total_hours: Decimal,
    /// Pay for all hours before the premium.
    pub total_remuneration: Decimal,
    /// Remuneration per hour, not rounded.
    pub regular_rate: Decimal,
    /// Hours beyond the threshold.
    pub overtime_hours: Decimal,
    /// The premium, not rounded.
    pub overtime_premium: Decimal,
    /// The premium to the cent.
    pub overtime_premium_rounded: Decimal,
    /// Remuneration and premium together, rounded once.
    pub total_pay: Decimal,
}

/// Pay for one work week with overtime on the regular rate.
///
/// # Formula
/// ```text
/// R = Σ h_i r_i + E + B         h hours, r rate, E piece earnings, B bonus
/// H = Σ h_i + piece hours       regular rate w = R / H
/// P = (m − 1) w max(0, H − T)   m multiplier, T threshold
/// pay = R + P                   rounded half up to the cent, once
/// ```
/// Where a guaranteed rate g is agreed and `Σ h_i r_i + E < g H`, the guarantee g H takes its place.
///
/// # Source
/// 29 CFR 778.110, 778.111 and 778.115 with their printed examples (check values: `overtime`).
///
/// # Errors
/// [`CoreError::Invalid`] when no hours were worked, anything is negative or the multiplier is below one;
/// [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::overtime::{HoursAtRate, OvertimeRule, Week, week_pay}};
/// let d = Decimal::from;
/// let work = [HoursAtRate { hours: d(46), hourly_rate: d(12) }];
/// let week = Week { work: &work, piece_rate_earnings: d(0), piece_rate_hours: d(0), bonus: d(0),
///                   guaranteed_hourly_rate: None };
/// let rule = OvertimeRule { threshold_hours: d(40), multiplier: Decimal::new(15, 1) };
/// assert_eq!(week_pay(&week, rule)?.total_pay, d(588));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn week_pay(week: &Week<'_>, rule: OvertimeRule) -> Result<WeekPay, CoreError> {
    check(week, rule)?;
    let hourly: Ratio = week.work.iter().map(|w| Ratio::from(w.hours) * w.hourly_rate.into()).sum();
    let hours = week.work.iter().map(|w| Ratio::from(w.hours)).sum::<Ratio>() + week.piece_rate_hours.into();
    if hours.is_zero() {
        return Err(CoreError::Invalid { what: "hours", rule: "must be above zero in a week that is paid" });
    }
    let guarantee = week.guaranteed_hourly_rate.map_or_else(Ratio::zero, |rate| &Ratio::from(rate) * &hours);
    let earned = (hourly + week.piece_rate_earnings.into()).max(guarantee);
    let remuneration = earned + week.bonus.into();
    let overtime = (&hours - &rule.threshold_hours.into()).max(Ratio::zero());
    let regular_rate = remuneration.over(&hours, "hours")?;
    let premium = &(&Ratio::from(rule.multiplier) - &Ratio::one()) * &(&regular_rate * &overtime);
    Ok(WeekPay {
        total_hours: hours.decimal("hours")?,
        total_remuneration: remuneration.decimal("remuneration")?,
        regular_rate: regular_rate.decimal("regular rate")?,
        overtime_hours: overtime.decimal("overtime hours")?,
        overtime_premium: premium.decimal("overtime premium")?,
        overtime_premium_rounded: premium.rounded(2, Toward::HalfUp, "overtime premium")?,
        total_pay: (remuneration + premium).rounded(2, Toward::HalfUp, "total pay")?,
    })
}

fn check(week: &Week<'_>, rule: OvertimeRule) -> Result<(), CoreError> {
    for work in week.work {
        not_negative(work.hours, "hours")?;
        not_negative(work.hourly_rate, "hourly_rate")?;
    }
    not_negative(week.piece_rate_earnings, "piece_rate_earnings")?;
    not_negative(week.piece_rate_hours, "piece_rate_hours")?;
    not_negative(week.bonus, "bonus")?;
    not_negative(week.guaranteed_hourly_rate.unwrap_or_default(), "guaranteed_hourly_rate")?;
    above_zero(rule.threshold_hours, "overtime_threshold_hours")?;
    if rule.multiplier < Decimal::ONE {
        return Err(CoreError::Invalid { what: "overtime_multiplier", rule: "must be at least 1" });
    }
    Ok(())
}
