//! Sharing and rounding so that the parts add up to the total.

use super::rounding::places;
use crate::CoreError;
use crate::ratio::{Int, Ratio, Toward, from_steps};
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
    if Ratio::from_steps(&units, places) != size {
        return Err(CoreError::Invalid { what: "total", rule: "must be a whole number of minor units" });
    }
    let per_weight = size.over(&all, "weights")?;
    let quotas: Vec<Ratio> = weights.iter().map(|weight| weight * &per_weight).collect();
    let signed = |share: Int| {
        let share = if total.is_sign_negative() { -share } else { share };
        from_steps(&share, places, "a share")
    };
    deal(&quotas, &units, places)?.into_iter().map(signed).collect()
}

/// Parts rounded to the minor unit together, so that they add up to their rounded sum.
///
/// Each part is floored; the minor units then missing go to the largest fractional parts, ties to the
/// earlier. A line of a bill or a job sheet is so within one minor unit of its exact figure.
///
/// # Formula
/// ```text
/// T = round_half_up(Σ x_i)      r_i = floor(x_i) or floor(x_i) + 1, Σ r_i = T
/// ```
/// # Source
/// Definition.
///
/// # Errors
/// [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::shares::round_parts};
/// let third = Decimal::new(3_333, 3);
/// let (parts, total) = round_parts(&[third, third, third], 2)?;
/// assert_eq!((total, parts.iter().sum::<Decimal>()), (Decimal::from(10), Decimal::from(10)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn round_parts(parts: &[Decimal], minor_unit_digits: u32) -> Result<(Vec<Decimal>, Decimal), CoreError> {
    let places = places(minor_unit_digits)?;
    let parts: Vec<Ratio> = parts.iter().copied().map(Ratio::from).collect();
    let total = parts.iter().cloned().sum::<Ratio>().steps(places, Toward::HalfUp);
    let rounded = deal(&parts, &total, places)?;
    let rounded = rounded.iter().map(|part| from_steps(part, places, "a part")).collect::<Result<_, _>>()?;
    Ok((rounded, from_steps(&total, places, "total")?))
}

/// Parts as whole steps of `10^-places` that add up to `total` steps: each floored, then the missing
/// steps dealt to the largest fractional parts (ties: earlier), or steps too many taken from the smallest
/// (ties: later).
pub(super) fn deal(parts: &[Ratio], total: &Int, places: i32) -> Result<Vec<Int>, CoreError> {
    let mut dealt: Vec<Int> = parts.iter().map(|part| part.steps(places, Toward::Floor)).collect();
    let missing = dealt.iter().fold(total.clone(), |left, part| &left - part);
    let how_many = missing.small().and_then(|missing| usize::try_from(missing.unsigned_abs()).ok());
    let how_many = how_many.filter(|count| *count <= parts.len());
    let how_many =
        how_many.ok_or(CoreError::Invalid { what: "total", rule: "must be the sum of its parts" })?;
    if how_many == 0 {
        return Ok(dealt);
    }
    let mut order: Vec<(Reverse<Ratio>, usize)> = parts
        .iter()
        .zip(&dealt)
        .enumerate()
        .map(|(position, (part, floor))| (Reverse(part - &Ratio::from_steps(floor, places)), position))
        .collect();
    order.sort();
    let step = if missing.is_negative() { -Int::ONE } else { Int::ONE };
    if missing.is_negative() {
        order.reverse();
    }
    for (_, position) in order.into_iter().take(how_many) {
        if let Some(part) = dealt.get_mut(position) {
            *part = &*part + &step;
        }
    }
    Ok(dealt)
}
