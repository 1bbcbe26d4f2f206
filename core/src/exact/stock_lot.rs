//! A quantity and what it is worth: the stuff that stock accounts are made of.

use super::arithmetic::{add, sub};
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// Decimals a value is kept to. Far below a cent, so that a job's drops keep their cost; what one part
/// loses in the last place stays with the rest, so that nothing is lost altogether.
pub const VALUE_PLACES: i32 = 12;

/// [`VALUE_PLACES`] as a decimal counts its own.
const VALUE_SCALE: u32 = 12;

/// A quantity together with its value. Both have the same sign, or one is zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Lot {
    /// In the item's stock unit.
    pub quantity: Decimal,
    /// In the fleet's currency.
    pub value: Decimal,
}

impl Lot {
    /// Nothing.
    pub const EMPTY: Self = Self { quantity: Decimal::ZERO, value: Decimal::ZERO };

    /// What `quantity` units are worth at this lot's unit cost.
    ///
    /// # Formula
    /// ```text
    /// v = q V / Q      Q, V this lot's quantity and value; exactly V when q = Q
    /// ```
    /// Exact where the quotient ends within twelve decimals, else its nearest neighbour there.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] for an empty lot; [`CoreError::OutOfRange`].
    pub fn worth(self, quantity: Decimal) -> Result<Decimal, CoreError> {
        if quantity == self.quantity {
            return Ok(self.value);
        }
        let product = &Ratio::from(quantity) * &Ratio::from(self.value);
        let value = product.over(&self.quantity.into(), "the lot's quantity")?;
        Ok(value.rounded(VALUE_PLACES, Toward::HalfEven, "value")?.normalize())
    }

    /// Value per unit, to 28 digits; `None` for an empty lot.
    #[must_use]
    pub fn unit_cost(self) -> Option<Decimal> {
        let value = Ratio::from(self.value);
        value.over(&self.quantity.into(), "the lot's quantity").ok()?.decimal("unit cost").ok()
    }

    /// Parts with `quantity` units: what is taken and what is left.
    ///
    /// # Errors
    /// As [`Lot::worth`].
    pub fn split(self, quantity: Decimal) -> Result<(Self, Self), CoreError> {
        let taken = Self { quantity, value: self.worth(quantity)? };
        Ok((taken, self.less(taken)?))
    }

    /// Both lots together.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when a sum does not fit a decimal exactly.
    pub fn plus(self, other: Self) -> Result<Self, CoreError> {
        Ok(Self {
            quantity: add(self.quantity, other.quantity, "quantity")?,
            value: add(self.value, other.value, "value")?,
        })
    }

    /// This lot without the other.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`] when a difference does not fit a decimal exactly.
    pub fn less(self, other: Self) -> Result<Self, CoreError> {
        Ok(Self {
            quantity: sub(self.quantity, other.quantity, "quantity")?,
            value: sub(self.value, other.value, "value")?,
        })
    }

    /// A lot that comes in: some units, at no negative value.
    pub(super) fn incoming(quantity: Decimal, value: Decimal) -> Result<Self, CoreError> {
        positive(quantity)?;
        if value < Decimal::ZERO {
            return Err(CoreError::Invalid { what: "value", rule: "must not be negative" });
        }
        // On this grid a part is never worth more than its whole, so no rest goes below zero.
        if value.normalize().scale() > VALUE_SCALE {
            return Err(CoreError::Invalid { what: "value", rule: "must have at most twelve decimals" });
        }
        Ok(Self { quantity, value })
    }
}

/// Refuses a movement of nothing.
pub(super) fn positive(quantity: Decimal) -> Result<(), CoreError> {
    if quantity > Decimal::ZERO {
        return Ok(());
    }
    Err(CoreError::Invalid { what: "quantity", rule: "must be above zero" })
}

/// What one event does to a stock account.
///
/// `value + true_up` is the whole change of the account's value; both are signed, positive coming in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Movement {
    /// Change in quantity.
    pub quantity: Decimal,
    /// Change in value by the event itself: a receipt's price, an issue's cost (negative).
    pub value: Decimal,
    /// Correction of earlier guesses that this event settles: units issued below zero at the last known
    /// cost, now bought at another. Belongs on a line of its own.
    pub true_up: Decimal,
}

impl Movement {
    /// What the moved units cost, as a positive amount whichever way they went.
    #[must_use]
    pub fn cost(self) -> Decimal {
        self.value.abs()
    }

    /// The movement that takes an account from `before` to `after`, of which `value` is the event's own.
    pub(super) fn between(before: Lot, after: Lot, value: Decimal) -> Result<Self, CoreError> {
        let change = after.less(before)?;
        let true_up = sub(change.value, value, "true-up")?;
        Ok(Self { quantity: change.quantity, value, true_up })
    }
}

/// What to do when more is asked for than there is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shortfall {
    /// Refuse, and change nothing.
    Refuse,
    /// Go below zero at the last known cost; the next receipt trues it up. Phones report late.
    Allow,
}
