//! Card fees: what a charge costs, and what to charge so that a wanted amount arrives.
//!
//! Passing a fee on to the payer is regulated in places and by card contracts; that is for the fleet to check.

use super::guards::not_negative;
use super::rounding::places;
use crate::CoreError;
use crate::ratio::{Int, Ratio, Toward, from_steps};
use rust_decimal::Decimal;

/// What taking a card costs: a fraction of the charge and a fixed part.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CardTerms {
    /// Fraction of the charge, at least 0 and below 1.
    pub fee_fraction: Decimal,
    /// Fixed part per charge.
    pub fee_fixed: Decimal,
    /// Decimals of the currency's minor unit.
    pub minor_unit_digits: u32,
}

/// A charge that leaves the wanted amount, and the figures around it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct GrossUp {
    /// The formula's own answer, not rounded.
    pub unrounded_charge: Decimal,
    /// The smallest whole-unit charge that leaves enough.
    pub charge: Decimal,
    /// Its fee.
    pub fee: Decimal,
    /// What arrives.
    pub net_received: Decimal,
    /// The formula's answer rounded half up, which may differ by a minor unit.
    pub charge_by_rounding_the_formula: Decimal,
}

impl CardTerms {
    /// The fee on a charge.
    ///
    /// # Formula
    /// ```text
    /// fee(g) = round_half_up(g f + F)      g charge, f fee fraction, F fixed fee
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] when anything is negative or `f ≥ 1`; [`CoreError::OutOfRange`].
    pub fn fee(self, charge: Decimal) -> Result<Decimal, CoreError> {
        not_negative(charge, "charge")?;
        let places = self.check()?;
        let fee = Ratio::from(charge) * self.fee_fraction.into() + self.fee_fixed.into();
        fee.rounded(places, Toward::HalfUp, "card fee")
    }

    /// The smallest charge in whole minor units that leaves at least `target_net` after its fee.
    ///
    /// # Formula
    /// ```text
    /// g − fee(g) ≥ t   ⇔   g > (t + F − ½) / (1 − f)      all in minor units, t the target rounded up
    /// ```
    /// because the fee, rounded half up, is at most `g − t` exactly when `g f + F < g − t + ½`.
    ///
    /// # Source
    /// Worked gross-up examples (check values: `card_fee`).
    ///
    /// # Errors
    /// As [`CardTerms::fee`].
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, exact::card_fee::CardTerms};
    /// let terms = CardTerms {
    ///     fee_fraction: Decimal::new(29, 3), fee_fixed: Decimal::new(30, 2), minor_unit_digits: 2,
    /// };
    /// assert_eq!(terms.charge_for(Decimal::from(100))?.charge, Decimal::new(10330, 2));
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn charge_for(self, target_net: Decimal) -> Result<GrossUp, CoreError> {
        not_negative(target_net, "target_net")?;
        let places = self.check()?;
        let kept = &Ratio::one() - &self.fee_fraction.into();
        let target = Ratio::from(target_net);
        let unrounded = (&target + &self.fee_fixed.into()).over(&kept, "fee_fraction")?;
        // Half a minor unit is five steps of the next place.
        let half_unit = Ratio::from_steps(&Int::Small(5), places.saturating_add(1));
        let whole_target = Ratio::from(target.rounded(places, Toward::Ceiling, "target_net")?);
        let bound = (whole_target + self.fee_fixed.into() - half_unit).over(&kept, "fee_fraction")?;
        let units = (&bound.steps(places, Toward::Floor) + &Int::ONE).max(Int::ZERO);
        let charge = from_steps(&units, places, "charge")?;
        let fee = self.fee(charge)?;
        let net = Ratio::from(charge) - fee.into();
        Ok(GrossUp {
            unrounded_charge: unrounded.decimal("charge")?,
            charge,
            fee,
            net_received: net.rounded(places, Toward::HalfUp, "net received")?,
            charge_by_rounding_the_formula: unrounded.rounded(places, Toward::HalfUp, "charge")?,
        })
    }

    fn check(self) -> Result<i32, CoreError> {
        not_negative(self.fee_fraction, "fee_fraction")?;
        not_negative(self.fee_fixed, "fee_fixed")?;
        if self.fee_fraction >= Decimal::ONE {
            return Err(CoreError::Invalid { what: "fee_fraction", rule: "must be below 1" });
        }
        places(self.minor_unit_digits)
    }
}
