//! What a pad costs per section worked, and what is left on its account when it goes.

use super::guards::not_negative;
use super::stock_lot::VALUE_PLACES;
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// A pad's account: what has to be borne by the sections it works, and how many those are meant to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PadAccount {
    /// What the pad cost.
    pub cost: Decimal,
    /// What it will still fetch; usually nothing.
    pub salvage_value: Decimal,
    /// Sections it is expected to work in its life, at least one.
    pub expected_cycles: u32,
    /// What earlier sections have borne.
    pub charged: Decimal,
}

impl PadAccount {
    /// What the next cycles bear.
    ///
    /// # Formula
    /// ```text
    /// n (C − S) / L, but never more than is left of C − S      C cost, S salvage, L expected cycles
    /// ```
    /// To twelve decimals. A pad that outlives its expectation works for nothing.
    ///
    /// # Source
    /// Units-of-production depreciation, as in [`Asset`](super::depreciation::Asset), kept finer than a cent.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when anything is negative or no cycle is expected; [`CoreError::OutOfRange`].
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, exact::pad_cost::PadAccount};
    /// let pad = PadAccount { cost: Decimal::from(12), salvage_value: Decimal::ZERO, expected_cycles: 80,
    ///                        charged: Decimal::from(3) };
    /// assert_eq!(pad.cycle_charge(2)?, Decimal::new(3, 1));
    /// assert_eq!(pad.unamortised()?, Decimal::from(9));
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn cycle_charge(self, cycles: u32) -> Result<Decimal, CoreError> {
        let life = Ratio::from(u64::from(self.expected_cycles));
        let borne = self.to_bear()? * Ratio::from(u64::from(cycles));
        let charge =
            borne.over(&life, "expected_cycles")?.rounded(VALUE_PLACES, Toward::HalfEven, "charge")?;
        Ok(charge.min(self.unamortised()?).normalize())
    }

    /// What no section has borne when the pad goes now: a line of its own, not a job's.
    ///
    /// # Formula
    /// ```text
    /// max(0, C − S − charged)
    /// ```
    /// # Errors
    /// As [`PadAccount::cycle_charge`].
    pub fn unamortised(self) -> Result<Decimal, CoreError> {
        not_negative(self.charged, "charged")?;
        let left = self.to_bear()? - self.charged.into();
        left.max(Ratio::zero()).decimal("unamortised cost")
    }

    fn to_bear(self) -> Result<Ratio, CoreError> {
        not_negative(self.cost, "cost")?;
        not_negative(self.salvage_value, "salvage_value")?;
        Ok((Ratio::from(self.cost) - self.salvage_value.into()).max(Ratio::zero()))
    }
}
