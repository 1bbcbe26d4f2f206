//! The cost rate `g(y)` under Poisson demand, tabulated once.

use super::Rates;
use crate::CoreError;
use crate::stock::count_demand::CountDemand;
use rust_decimal::prelude::ToPrimitive;

/// The most positions a table may hold.
const MOST_POSITIONS: i64 = 4_000_000;

/// `g(y)` at whole positions.
pub(super) struct PoissonRate {
    rates: Rates,
    mean: f64,
    demand: CountDemand,
    /// `E[(X - y)^+]` at y = first, first + 1, …; below the first it is `m - y` to the last digit.
    shortages: Vec<f64>,
    first: i64,
    /// `P(X = y)` and `P(X ≤ y)` at the last tabulated y.
    last: (f64, f64),
}

impl PoissonRate {
    pub(super) fn new(rates: Rates, mean: f64) -> Result<Self, CoreError> {
        let demand = CountDemand::poisson(mean)?;
        let (start, mass) = demand.start();
        let first = start.to_i64().unwrap_or(0);
        // At the start nothing below weighs anything, so all of the mean beyond it is short.
        let shortages = vec![mean - real(first)];
        Ok(Self { rates, mean, demand, shortages, first, last: (mass, mass) })
    }

    /// `g(y) = h (y - m) + (h + b) E[(X - y)^+]`, extending the table as far as asked.
    pub(super) fn at(&mut self, y: i64) -> Result<f64, CoreError> {
        let short = self.shortage(y)?;
        Ok(self.rates.h * (real(y) - self.mean + short) + self.rates.b * short)
    }

    /// The position where g is least: the smallest y with `g(y + 1) ≥ g(y)`.
    pub(super) fn least(&mut self) -> Result<i64, CoreError> {
        let ratio = self.rates.b / (self.rates.b + self.rates.h);
        let mut y = if ratio < 1.0 {
            self.demand.quantile(ratio)?.reorder_point.to_i64().unwrap_or(0)
        } else {
            self.first
        };
        while self.at(y - 1)? <= self.at(y)? {
            y -= 1;
        }
        while self.at(y + 1)? < self.at(y)? {
            y += 1;
        }
        Ok(y)
    }

    fn shortage(&mut self, y: i64) -> Result<f64, CoreError> {
        if y <= self.first {
            return Ok(self.mean - real(y));
        }
        if y - self.first > MOST_POSITIONS {
            return Err(CoreError::OutOfRange { what: "stock position" });
        }
        let index = usize::try_from(y - self.first).unwrap_or(usize::MAX);
        while self.shortages.len() <= index {
            self.extend();
        }
        Ok(self.shortages.get(index).copied().unwrap_or(0.0))
    }

    /// `E[(X - y - 1)^+] = E[(X - y)^+] - P(X > y)`.
    fn extend(&mut self) {
        let (mass, reached) = self.last;
        let short = self.shortages.last().copied().unwrap_or(0.0);
        self.shortages.push((short - (1.0 - reached)).max(0.0));
        let y = self.first + self.shortages.len().to_i64().unwrap_or(i64::MAX) - 2;
        let mass = mass * self.demand.ratio(y.to_u64().unwrap_or(0));
        self.last = (mass, (reached + mass).min(1.0));
    }
}

/// Positions here stay far below 2^53, where this is exact.
pub(super) fn real(y: i64) -> f64 {
    y.to_f64().unwrap_or(f64::NAN)
}
