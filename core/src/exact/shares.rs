//! Sharing a total so that the shares add up to it.

use super::rounding::places;
use crate::CoreError;
use crate::ratio::{Ratio, Toward, from_steps};
use num_bigint::BigInt;
use num_traits::ToPrimitive as _;
use rust_decimal::Decimal;
use std::cmp::Reverse;

/// Shares a total over weights by largest remainder (Hamilton's method).
///
/// `weights`: one per sharer, none negative, at least one positive; order breaks ties. The answer has
/// one share per weight, in the same order, each of the total's sign, and adds up to the total exactly.
///
/// # Formula
/// ```text
/// quota_i = T w_i / Σw      T total in whole minor units, w_i weight
/// share_i = floor(quota_i), plus one minor unit for the largest fractional parts until all are dealt
/// ```
/// Ties go to the earlier position; a negative total mirrors the positive one, so a refund undoes a charge.
///
/// # Source
/// Largest-remainder apportionment with printed results (check values: `cents_allocation`).
///
/// # Errors
/// [`CoreError::Invalid`] when no weight is positive, one is negative, or the total has a fraction of a
/// minor unit; [`CoreError::OutOfRange`] when a share does not fit a decimal.
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::shares::share_out};
/// let shares = share_out(Decimal::new(5, 2), &[Decimal::from(3), Decimal::from(7)], 2)?;
/// assert_eq!(shares, [Decimal::new(2, 2), Decimal::new(3, 2)]);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn share_out(
    total: Decimal,
    weights: &[Decimal],
    minor_unit_digits: u32,
) -> Result<Vec<Decimal>, CoreError> {
    let places = places(minor_unit_digits)?;
    if weights.iter().any(|weight| *weight < Decimal::ZERO) {
        return Err(CoreError::Invalid { what: "weights", rule: "must not be negative" });
    }
    let weights: Vec<Ratio> = weights.iter().copied().map(Ratio::from).collect();
    let all = weights.iter().cloned().sum::<Ratio>();
    if !all.is_positive() {
        return Err(CoreError::Invalid { what: "weights", rule: "must hold one above zero to share by" });
    }
    let size = Ratio::from(total.abs());
    let units = size.steps(places, Toward::Floor);
    if Ratio::from(from_steps(&units, places, "total")?) != size {
        return Err(CoreError::Invalid { what: "total", rule: "must be a whole number of minor units" });
    }
    let per_weight = size.over(&all, "weights")?;
    let quotas: Vec<Ratio> = weights.iter().map(|weight| weight * &per_weight).collect();
    let mut shares: Vec<BigInt> = quotas.iter().map(|quota| quota.steps(places, Toward::Floor)).collect();
    let missing = shares.iter().fold(units, |left, share| left - share);
    for position in largest_remainders(&quotas, &shares, places)?.into_iter().take(count(&missing)) {
        if let Some(share) = shares.get_mut(position) {
            *share += 1;
        }
    }
    let signed = |share: &BigInt| {
        let share = if total.is_sign_negative() { -share } else { share.clone() };
        from_steps(&share, places, "a share")
    };
    shares.iter().map(signed).collect()
}

/// Positions by fractional part, largest first, earlier first among equals.
fn largest_remainders(quotas: &[Ratio], floors: &[BigInt], places: i32) -> Result<Vec<usize>, CoreError> {
    let mut order = Vec::with_capacity(quotas.len());
    for (position, (quota, floor)) in quotas.iter().zip(floors).enumerate() {
        let floor = Ratio::from(from_steps(floor, places, "a share")?);
        order.push((Reverse(quota - &floor), position));
    }
    order.sort();
    Ok(order.into_iter().map(|(_, position)| position).collect())
}

/// How many units the floors leave over: fewer than there are sharers.
fn count(missing: &BigInt) -> usize {
    missing.to_usize().unwrap_or(0)
}
