//! Diluting a concentrate: how much of each, and what the mix costs.
//!
//! How strong a mix may be, and what goes with what, is for the product's own label and safety sheet.

use super::guards::{above_zero, not_negative};
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// A dilution of `p : w`: p parts product to w parts water, p + w parts in all.
///
/// Print knows three readings of "1:10"; this is the one on detailing labels. The others (one part in
/// ten, ounces to a full gallon) have to be turned into parts first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dilution {
    /// Parts of product.
    pub product_parts: Decimal,
    /// Parts of water; zero for an undiluted product.
    pub water_parts: Decimal,
}

/// What goes into a batch of ready-to-use mix, in the unit the batch was asked in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Batch {
    /// Concentrate.
    pub concentrate: Decimal,
    /// Water.
    pub water: Decimal,
}

/// What a mix costs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MixCost {
    /// Money per litre of ready-to-use mix, not rounded.
    pub per_ready_to_use_litre: Decimal,
    /// The whole batch, not rounded.
    pub of_batch: Decimal,
    /// The whole batch to the cent.
    pub of_batch_rounded: Decimal,
}

impl Dilution {
    /// How many times weaker the mix is than the concentrate.
    ///
    /// # Formula
    /// ```text
    /// f = (p + w) / p
    /// ```
    /// # Errors
    /// [`CoreError::Invalid`] unless `p > 0` and `w ≥ 0`; [`CoreError::OutOfRange`].
    pub fn factor(self) -> Result<Decimal, CoreError> {
        Ratio::one().over(&self.strength()?, "product_parts")?.decimal("dilution factor")
    }

    /// Concentrate and water for a batch, in the batch's own unit.
    ///
    /// # Formula
    /// ```text
    /// concentrate = V p / (p + w)      water = V − concentrate      V ready-to-use volume
    /// ```
    /// # Source
    /// Trade pages on dilution with printed results (check values: `dilution`).
    ///
    /// # Errors
    /// As [`Dilution::factor`], and when `V` is negative.
    ///
    /// # Example
    /// ```
    /// use dropwise_core::{Decimal, exact::dilution::Dilution};
    /// let one_to_seven = Dilution { product_parts: Decimal::ONE, water_parts: Decimal::from(7) };
    /// assert_eq!(one_to_seven.batch(Decimal::from(32))?.concentrate, Decimal::from(4));
    /// # Ok::<(), dropwise_core::CoreError>(())
    /// ```
    pub fn batch(self, ready_to_use: Decimal) -> Result<Batch, CoreError> {
        not_negative(ready_to_use, "ready_to_use")?;
        let whole = Ratio::from(ready_to_use);
        let concentrate = &whole * &self.strength()?;
        let water = &whole - &concentrate;
        Ok(Batch { concentrate: concentrate.decimal("concentrate")?, water: water.decimal("water")? })
    }

    /// What a batch costs, from the price of a pack of concentrate. Water is free.
    ///
    /// # Formula
    /// ```text
    /// per litre = P / K × 1000 × p / (p + w)      P pack price, K pack size (ml)
    /// ```
    /// # Errors
    /// As [`Dilution::batch`], and unless the pack holds something and its price is not negative.
    pub fn cost(
        self,
        ready_to_use_ml: Decimal,
        pack_ml: Decimal,
        pack_price: Decimal,
    ) -> Result<MixCost, CoreError> {
        not_negative(ready_to_use_ml, "ready_to_use_ml")?;
        above_zero(pack_ml, "concentrate_pack_ml")?;
        not_negative(pack_price, "concentrate_pack_price")?;
        let concentrate_per_ml = Ratio::from(pack_price).over(&pack_ml.into(), "concentrate_pack_ml")?;
        let per_ml = concentrate_per_ml * self.strength()?;
        let of_batch = &per_ml * &ready_to_use_ml.into();
        Ok(MixCost {
            per_ready_to_use_litre: (per_ml * Ratio::from(1_000_u64)).decimal("cost per litre")?,
            of_batch: of_batch.decimal("cost of batch")?,
            of_batch_rounded: of_batch.rounded(2, Toward::HalfUp, "cost of batch")?,
        })
    }

    /// The part of the mix that is product.
    fn strength(self) -> Result<Ratio, CoreError> {
        above_zero(self.product_parts, "product_parts")?;
        not_negative(self.water_parts, "water_parts")?;
        let product = Ratio::from(self.product_parts);
        product.over(&(&product + &self.water_parts.into()), "parts")
    }
}
