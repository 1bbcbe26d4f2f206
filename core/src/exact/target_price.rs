//! The price that leaves a wanted margin after all costs and the card fee.

use super::card_fee::CardTerms;
use super::guards::not_negative;
use super::rounding::places;
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// A price, what it leaves, and the figures around it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TargetPrice {
    /// The formula's own answer.
    pub price_unrounded: Decimal,
    /// Rounded up to the minor unit.
    pub price: Decimal,
    /// The card fee on that price.
    pub card_fee: Decimal,
    /// Price less cost and fee.
    pub profit: Decimal,
    /// Profit as a fraction of the price; `None` for a price of zero.
    pub achieved_margin_fraction: Option<Decimal>,
    /// The same wish as a markup on cost.
    pub equivalent_markup_on_cost: Decimal,
}

/// The least price whose profit, after the card fee, is the wanted fraction of it.
///
/// # Formula
/// ```text
/// P = (C + F) / (1 − m − f)      C cost, m margin, f and F the card's fraction and fixed fee
/// markup on cost = m / (1 − m)
/// ```
/// Rounded up to the next minor unit. The fee is rounded half up, so that the margin achieved may differ
/// from the wish by the rounding of one fee.
///
/// # Source
/// Definition: margin is profit over price (check values: `target_price`).
///
/// # Errors
/// [`CoreError::Invalid`] when the cost is negative, the margin is, the card terms are out of range, or
/// margin and fee together reach 1, where no price is high enough; [`CoreError::OutOfRange`].
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::{card_fee::CardTerms, target_price::price_for_margin}};
/// let cash = CardTerms { fee_fraction: Decimal::ZERO, fee_fixed: Decimal::ZERO, minor_unit_digits: 2 };
/// let found = price_for_margin(Decimal::from(120), Decimal::new(4, 1), cash)?;
/// assert_eq!((found.price, found.profit), (Decimal::from(200), Decimal::from(80)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn price_for_margin(
    total_cost: Decimal,
    target_margin_fraction: Decimal,
    card: CardTerms,
) -> Result<TargetPrice, CoreError> {
    not_negative(total_cost, "total_cost")?;
    not_negative(target_margin_fraction, "target_margin_fraction")?;
    card.fee(Decimal::ZERO)?;
    let places = places(card.minor_unit_digits)?;
    let margin = Ratio::from(target_margin_fraction);
    let kept = &(&Ratio::one() - &margin) - &card.fee_fraction.into();
    if !kept.is_positive() {
        let rule = "must leave something of the price together with card_fee_fraction: below 1 in all";
        return Err(CoreError::Invalid { what: "target_margin_fraction", rule });
    }
    let exact = (Ratio::from(total_cost) + card.fee_fixed.into()).over(&kept, "target_margin_fraction")?;
    let price = exact.rounded(places, Toward::Ceiling, "price")?;
    let card_fee = card.fee(price)?;
    let profit = Ratio::from(price) - total_cost.into() - card_fee.into();
    let achieved = profit.over(&price.into(), "price").ok();
    let markup = margin.over(&(&Ratio::one() - &margin), "target_margin_fraction")?;
    Ok(TargetPrice {
        price_unrounded: exact.decimal("price")?,
        price,
        card_fee,
        profit: profit.decimal("profit")?,
        achieved_margin_fraction: achieved.map(|margin| margin.decimal("margin")).transpose()?,
        equivalent_markup_on_cost: markup.decimal("markup")?,
    })
}
