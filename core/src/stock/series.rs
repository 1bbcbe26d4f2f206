//! A demand series: what is refused, and what a reader should know before trusting a forecast of it.

use super::numbers::{any_finite, not_negative};
use crate::CoreError;

/// What stands out about a series. Every method answers on each of these; the word says how much the
/// answer is worth.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SeriesShape {
    /// No period has any demand: the forecast is zero because nothing else is known.
    NoDemand,
    /// One period only: the forecast repeats it.
    OneObservation,
    /// Demand in one period only: its size is known once, its interval hardly.
    OneDemand,
    /// One period holds more than half of all demand: the forecast follows that spike.
    OneSpike,
    /// Nothing stands out.
    Ordinary,
}

impl SeriesShape {
    /// The shape of a series of finite demands.
    #[must_use]
    pub fn of(series: &[f64]) -> Self {
        let largest = series.iter().copied().fold(0.0, f64::max);
        if largest <= 0.0 {
            return Self::NoDemand;
        }
        if series.len() == 1 {
            return Self::OneObservation;
        }
        if series.iter().filter(|y| **y > 0.0).count() == 1 {
            return Self::OneDemand;
        }
        // In shares of the largest, so that the sum stays in range.
        let total: f64 = series.iter().map(|y| y / largest).sum();
        if total < 2.0 { Self::OneSpike } else { Self::Ordinary }
    }

    /// A sentence for the reader, or none when nothing stands out.
    #[must_use]
    pub const fn caution(self) -> Option<&'static str> {
        match self {
            Self::NoDemand => Some("No demand in any period: zero is all that can be said."),
            Self::OneObservation => Some("A single period: the figures only repeat it."),
            Self::OneDemand => Some("Demand in one period only: its size and interval are seen once."),
            Self::OneSpike => {
                Some("One period holds more than half of all demand: the figures follow that spike.")
            }
            Self::Ordinary => None,
        }
    }
}

/// Refuses a series with a period that is negative or not finite, or without any period.
pub(crate) fn demands(series: &[f64]) -> Result<(), CoreError> {
    at_least(series, 1)?;
    series.iter().try_for_each(|y| not_negative(*y, "demand of a period").map(drop))
}

/// Refuses a series with a period that is not finite, or with fewer periods than needed.
pub(crate) fn finite_series(series: &[f64], need: usize) -> Result<(), CoreError> {
    at_least(series, need)?;
    series.iter().try_for_each(|y| any_finite(*y, "demand of a period").map(drop))
}

fn at_least(series: &[f64], need: usize) -> Result<(), CoreError> {
    if series.len() < need {
        return Err(CoreError::NotEnough { what: "periods of demand", have: series.len(), need });
    }
    Ok(())
}
