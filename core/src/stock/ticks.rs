//! Amounts as whole numbers of one tick, the finest step among them, so that searches add and compare
//! machine integers and stay exact.

use crate::CoreError;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;

/// The step every amount is a whole number of: ten to the minus scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ticks {
    scale: u32,
}

/// Sums of ticks stay exact in `f64` below this.
pub(crate) const LARGEST: i64 = 1 << 51;

const OUT_OF_RANGE: CoreError = CoreError::OutOfRange { what: "amount" };

impl Ticks {
    /// The coarsest tick that divides every amount.
    pub(crate) fn for_all(amounts: impl IntoIterator<Item = Decimal>) -> Self {
        Self { scale: amounts.into_iter().map(|amount| amount.normalize().scale()).max().unwrap_or(0) }
    }

    /// An amount in ticks.
    pub(crate) fn count(self, amount: Decimal) -> Result<i64, CoreError> {
        let one = 10_i128.checked_pow(self.scale).ok_or(OUT_OF_RANGE)?;
        let amount = amount.normalize();
        let spread = 10_i128.checked_pow(amount.scale()).ok_or(OUT_OF_RANGE)?;
        let ticks = amount.mantissa().checked_mul(one / spread).ok_or(OUT_OF_RANGE)?;
        ticks.to_i64().filter(|ticks| ticks.abs() <= LARGEST).ok_or(OUT_OF_RANGE)
    }

    /// Ticks as an amount.
    pub(crate) fn amount(self, ticks: i128) -> Result<Decimal, CoreError> {
        Decimal::try_from_i128_with_scale(ticks, self.scale).map_err(|_| OUT_OF_RANGE)
    }
}
