//! Stock valued at the moving weighted average, perpetual, in posting order.

use super::stock_lot::{Lot, Movement, Shortfall, positive};
use crate::CoreError;
use crate::ratio::{Ratio, Toward};
use rust_decimal::Decimal;

/// One item's stock across the fleet. Each event gives the state after it and the movement to book.
///
/// # Formula
/// ```text
/// receipt   Q += q, V += v               Q, V quantity and value on hand; v price of the q units
/// issue     c = q V / Q, Q −= q, V −= c  the average V/Q stays
/// ```
/// V is exactly zero when Q is. The average is never rounded; a cost is, at its twelfth decimal, and
/// V keeps the rest, so that purchases = used + written off + sent back + on hand, exactly.
///
/// # Source
/// Perpetual moving average with printed results (check values: `stock_costing_moving_average`).
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::{stock_average::AverageStock, stock_lot::Shortfall}};
/// let (stock, _) = AverageStock::EMPTY.receive(Decimal::from(10), Decimal::from(40))?;
/// let (stock, moved) = stock.issue(Decimal::from(3), Shortfall::Refuse)?;
/// assert_eq!((moved.cost(), stock.on_hand.value), (Decimal::from(12), Decimal::from(28)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct AverageStock {
    /// Quantity and value; both negative after issues that ran ahead of their receipt.
    pub on_hand: Lot,
    /// The average when there last was one, to twelve decimals: what units below zero are valued at.
    pub last_unit_cost: Option<Decimal>,
}

impl AverageStock {
    /// An item never received.
    pub const EMPTY: Self = Self { on_hand: Lot::EMPTY, last_unit_cost: None };

    /// Units bought or found, at the price paid for all of them. Also units that come back from a job,
    /// at the value they left with.
    ///
    /// Below zero, the units already issued take this receipt's cost; the difference to what they were
    /// issued at is the movement's true-up.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless `quantity > 0` and `value ≥ 0` with at most twelve decimals;
    /// [`CoreError::OutOfRange`].
    pub fn receive(self, quantity: Decimal, value: Decimal) -> Result<(Self, Movement), CoreError> {
        let incoming = Lot::incoming(quantity, value)?;
        let mut after = self.on_hand.plus(incoming)?;
        if self.on_hand.quantity < Decimal::ZERO {
            let still_short = after.quantity < Decimal::ZERO;
            let at_cost_of = if still_short { self.on_hand } else { incoming };
            after.value = at_cost_of.worth(after.quantity)?;
        }
        self.moved_to(after, value)
    }

    /// Units used on a job or written off, at the average.
    ///
    /// # Errors
    /// [`CoreError::Insufficient`] when there are fewer and `shortfall` refuses; [`CoreError::Invalid`]
    /// unless `quantity > 0`; [`CoreError::OutOfRange`].
    pub fn issue(self, quantity: Decimal, shortfall: Shortfall) -> Result<(Self, Movement), CoreError> {
        positive(quantity)?;
        if quantity <= self.on_hand.quantity {
            let (taken, left) = self.on_hand.split(quantity)?;
            return self.moved_to(left, -taken.value);
        }
        if shortfall == Shortfall::Refuse {
            return Err(CoreError::Insufficient { what: "stock" });
        }
        let mut after = self.on_hand.less(Lot { quantity, value: Decimal::ZERO })?;
        // Whatever was on hand leaves whole; only the units below zero are guessed at.
        let guessed = if self.on_hand.quantity > Decimal::ZERO {
            Lot { quantity: after.quantity, value: self.at_known_cost(after.quantity)? }
        } else {
            self.on_hand.plus(Lot { quantity: -quantity, value: self.at_known_cost(-quantity)? })?
        };
        after.value = guessed.value;
        let change = after.less(self.on_hand)?;
        self.moved_to(after, change.value)
    }

    /// A count or weigh-in that found more (positive) or less (negative) than the books say, at the
    /// average or the last known cost.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`].
    pub fn adjust(self, quantity_change: Decimal) -> Result<(Self, Movement), CoreError> {
        if quantity_change.is_zero() {
            return Ok((self, Movement::default()));
        }
        if quantity_change < Decimal::ZERO {
            return self.issue(-quantity_change, Shortfall::Allow);
        }
        let value = self.at_known_cost(quantity_change)?;
        self.receive(quantity_change, value)
    }

    /// Units sent back to the supplier at the price they were bought for.
    ///
    /// The average moves. When the last unit leaves, or that price exceeds all the value there is, the
    /// difference is the movement's true-up, so that no value is left without units or below zero.
    ///
    /// # Errors
    /// [`CoreError::Insufficient`] when there are fewer; otherwise as [`AverageStock::receive`].
    pub fn send_back(self, quantity: Decimal, value: Decimal) -> Result<(Self, Movement), CoreError> {
        let outgoing = Lot::incoming(quantity, value)?;
        if quantity > self.on_hand.quantity {
            return Err(CoreError::Insufficient { what: "stock" });
        }
        let mut after = self.on_hand.less(outgoing)?;
        if after.quantity.is_zero() || after.value < Decimal::ZERO {
            after.value = Decimal::ZERO;
        }
        self.moved_to(after, -value)
    }

    /// Value per unit now; `None` when there are no units.
    #[must_use]
    pub fn unit_cost(self) -> Option<Decimal> {
        self.on_hand.unit_cost()
    }

    /// What units are worth at the average, or at the last known one, or nothing when none is known.
    fn at_known_cost(self, quantity: Decimal) -> Result<Decimal, CoreError> {
        if self.on_hand.quantity > Decimal::ZERO {
            return self.on_hand.worth(quantity);
        }
        let unit_cost = self.last_unit_cost.or(self.unit_cost()).unwrap_or_default();
        let value = &Ratio::from(quantity) * &Ratio::from(unit_cost);
        value
            .rounded(super::stock_lot::VALUE_PLACES, Toward::HalfEven, "value")
            .map(|value| value.normalize())
    }

    fn moved_to(self, after: Lot, value: Decimal) -> Result<(Self, Movement), CoreError> {
        let runs_out = self.on_hand.quantity > Decimal::ZERO && after.quantity <= Decimal::ZERO;
        let last_unit_cost =
            if runs_out { Some(self.on_hand.worth(Decimal::ONE)?) } else { self.last_unit_cost };
        let movement = Movement::between(self.on_hand, after, value)?;
        Ok((Self { on_hand: after, last_unit_cost }, movement))
    }
}
