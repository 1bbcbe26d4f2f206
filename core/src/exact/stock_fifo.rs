//! Stock valued first in, first out, perpetual, in posting order.

use super::arithmetic::sub;
use super::stock_lot::{Lot, Movement, Shortfall, positive};
use crate::CoreError;
use rust_decimal::Decimal;
use std::collections::BTreeMap;

/// One item's open cost layers. `K` names a receipt and orders the queue: the least key is the oldest.
///
/// Only open layers are held, so a long run needs no more memory than the stock on hand is old.
///
/// # Formula
/// ```text
/// receipt   opens a layer (q units worth v)
/// issue     takes from the oldest layer, then the next; each unit at its layer's unit cost
/// ```
/// Nothing is rounded while the figures end within twelve decimals; beyond, a part's value is rounded
/// there and the layer keeps the rest, so that purchases = used + written off + sent back + on hand, exactly.
///
/// # Source
/// Perpetual FIFO with printed results (check values: `stock_costing_fifo`).
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, exact::{stock_fifo::FifoStock, stock_lot::Shortfall}};
/// let mut stock = FifoStock::default();
/// stock.receive(1, Decimal::from(2), Decimal::from(10))?;
/// stock.receive(2, Decimal::from(4), Decimal::from(28))?;
/// let issue = stock.issue(Decimal::from(3), Shortfall::Refuse)?;
/// assert_eq!((issue.cost()?, stock.on_hand().value), (Decimal::from(17), Decimal::from(21)));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FifoStock<K> {
    layers: BTreeMap<K, Lot>,
    /// Units issued before their receipt: negative quantity and value, or empty.
    ahead: Lot,
    /// The newest receipt, which units issued ahead are valued by.
    last_receipt: Lot,
    on_hand: Lot,
}

/// What one issue took, oldest layer first; kept by the caller, who may give some back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Issue<K> {
    /// The units taken out of each layer.
    pub taken: Vec<(K, Lot)>,
    /// The units issued ahead of their receipt, at the last known cost.
    pub ahead: Lot,
}

impl<K> Issue<K> {
    /// What the units it still holds cost.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`].
    pub fn cost(&self) -> Result<Decimal, CoreError> {
        Ok(self.total()?.value)
    }

    fn total(&self) -> Result<Lot, CoreError> {
        self.taken.iter().try_fold(self.ahead, |total, (_, lot)| total.plus(*lot))
    }
}

impl<K> Default for FifoStock<K> {
    fn default() -> Self {
        Self { layers: BTreeMap::new(), ahead: Lot::EMPTY, last_receipt: Lot::EMPTY, on_hand: Lot::EMPTY }
    }
}

impl<K: Ord + Clone> FifoStock<K> {
    /// The account as the books hold it: open layers, units issued ahead (negative), newest receipt.
    ///
    /// # Errors
    /// [`CoreError::OutOfRange`].
    pub fn from_books(layers: BTreeMap<K, Lot>, ahead: Lot, last_receipt: Lot) -> Result<Self, CoreError> {
        let on_hand = layers.values().try_fold(ahead, |total, lot| total.plus(*lot))?;
        Ok(Self { layers, ahead, last_receipt, on_hand })
    }

    /// Quantity and value of all layers, less units issued ahead.
    #[must_use]
    pub const fn on_hand(&self) -> Lot {
        self.on_hand
    }

    /// Units issued ahead of their receipt: negative, or empty.
    #[must_use]
    pub const fn ahead(&self) -> Lot {
        self.ahead
    }

    /// The newest receipt, or an empty lot.
    #[must_use]
    pub const fn last_receipt(&self) -> Lot {
        self.last_receipt
    }

    /// Open layers, oldest first.
    pub fn layers(&self) -> impl Iterator<Item = (&K, &Lot)> {
        self.layers.iter()
    }

    /// Units bought, at the price paid for all of them.
    ///
    /// Units issued ahead take this receipt's cost first; the difference to what they were issued at is
    /// the movement's true-up.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless `quantity > 0` and `value ≥ 0` with at most twelve decimals;
    /// [`CoreError::OutOfRange`].
    pub fn receive(&mut self, key: K, quantity: Decimal, value: Decimal) -> Result<Movement, CoreError> {
        let incoming = Lot::incoming(quantity, value)?;
        let movement = self.put(key, incoming)?;
        self.last_receipt = incoming;
        Ok(movement)
    }

    /// Units used on a job or written off, oldest first.
    ///
    /// # Errors
    /// [`CoreError::Insufficient`] when there are fewer and `shortfall` refuses; [`CoreError::Invalid`]
    /// unless `quantity > 0`; [`CoreError::OutOfRange`]. The account is then as before.
    pub fn issue(&mut self, quantity: Decimal, shortfall: Shortfall) -> Result<Issue<K>, CoreError> {
        positive(quantity)?;
        if quantity > self.on_hand.quantity && shortfall == Shortfall::Refuse {
            return Err(CoreError::Insufficient { what: "stock" });
        }
        let (mut wanted, mut taken, mut left_open) = (quantity, Vec::new(), None);
        for (key, lot) in &self.layers {
            if wanted.is_zero() {
                break;
            }
            let (part, left) = lot.split(wanted.min(lot.quantity))?;
            wanted = sub(wanted, part.quantity, "quantity")?;
            taken.push((key.clone(), part));
            left_open = (!left.quantity.is_zero()).then(|| (key.clone(), left));
        }
        let mut issue = Issue { taken, ahead: Lot::EMPTY };
        let mut ahead = self.ahead;
        if !wanted.is_zero() {
            issue.ahead = Lot { quantity: wanted, value: self.at_last_cost(wanted)? };
            ahead = ahead.less(issue.ahead)?;
        }
        let on_hand = self.on_hand.less(issue.total()?)?;
        // Nothing can fail from here on.
        for (key, _) in &issue.taken {
            self.layers.remove(key);
        }
        self.layers.extend(left_open);
        (self.ahead, self.on_hand) = (ahead, on_hand);
        Ok(issue)
    }

    /// Units of one issue that come back unused: those it took last come back first, each at the cost it
    /// left at, into the layer it came from, which keeps its place in the queue.
    ///
    /// Units issued ahead, should their receipt have come since, go into the layer named `ahead_key`.
    ///
    /// # Errors
    /// [`CoreError::Insufficient`] when the issue holds fewer; [`CoreError::Invalid`] unless
    /// `quantity > 0`; [`CoreError::OutOfRange`]. Account and issue are then as before.
    pub fn give_back(
        &mut self,
        issue: &mut Issue<K>,
        quantity: Decimal,
        ahead_key: &K,
    ) -> Result<Movement, CoreError> {
        positive(quantity)?;
        if quantity > issue.total()?.quantity {
            return Err(CoreError::Insufficient { what: "units of that issue" });
        }
        let (mut account, mut rest, mut wanted) = (self.clone(), issue.clone(), quantity);
        let mut value = Decimal::ZERO;
        while !wanted.is_zero() {
            let from_layer = rest.ahead.quantity.is_zero();
            let last = if from_layer { rest.taken.pop() } else { Some((ahead_key.clone(), rest.ahead)) };
            let Some((key, lot)) = last else { break };
            let (part, kept) = lot.split(wanted.min(lot.quantity))?;
            wanted = sub(wanted, part.quantity, "quantity")?;
            value = super::arithmetic::add(value, account.put(key.clone(), part)?.value, "value")?;
            if !from_layer {
                rest.ahead = kept;
            } else if !kept.quantity.is_zero() {
                rest.taken.push((key, kept));
            }
        }
        let movement = Movement::between(self.on_hand, account.on_hand, value)?;
        (*self, *issue) = (account, rest);
        Ok(movement)
    }

    /// Units of one receipt sent back to the supplier, at that receipt's cost whatever its age.
    ///
    /// # Errors
    /// [`CoreError::Insufficient`] when that layer holds fewer; [`CoreError::Invalid`] unless
    /// `quantity > 0`; [`CoreError::OutOfRange`]. The account is then as before.
    pub fn send_back(&mut self, key: &K, quantity: Decimal) -> Result<Movement, CoreError> {
        positive(quantity)?;
        let layer = self.layers.get(key).copied().unwrap_or_default();
        if quantity > layer.quantity {
            return Err(CoreError::Insufficient { what: "units of that receipt" });
        }
        let (part, left) = layer.split(quantity)?;
        let on_hand = self.on_hand.less(part)?;
        let movement = Movement::between(self.on_hand, on_hand, -part.value)?;
        if left.quantity.is_zero() {
            self.layers.remove(key);
        } else {
            self.layers.insert(key.clone(), left);
        }
        self.on_hand = on_hand;
        Ok(movement)
    }

    /// A count or weigh-in that found more units than the books say: a layer of its own, at the newest
    /// receipt's cost.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] unless `quantity > 0`; [`CoreError::OutOfRange`].
    pub fn find(&mut self, key: K, quantity: Decimal) -> Result<Movement, CoreError> {
        let found = Lot::incoming(quantity, self.at_last_cost(quantity)?)?;
        self.put(key, found)
    }

    /// Units that come in settle those issued ahead first; the rest joins the layer of that key.
    fn put(&mut self, key: K, incoming: Lot) -> Result<Movement, CoreError> {
        let settled = incoming.quantity.min(-self.ahead.quantity);
        let (_, rest) = incoming.split(settled)?;
        let ahead = if settled.is_zero() { self.ahead } else { self.ahead.split(-settled)?.1 };
        let layer = self.layers.get(&key).copied().unwrap_or_default().plus(rest)?;
        // The settled units leave the negative side at what they were issued at, whatever they cost now.
        let settled_at = self.ahead.less(ahead)?.value;
        let change = Lot { quantity: incoming.quantity, value: sub(rest.value, settled_at, "value")? };
        let on_hand = self.on_hand.plus(change)?;
        let movement = Movement::between(self.on_hand, on_hand, incoming.value)?;
        if !layer.quantity.is_zero() {
            self.layers.insert(key, layer);
        }
        (self.ahead, self.on_hand) = (ahead, on_hand);
        Ok(movement)
    }

    fn at_last_cost(&self, quantity: Decimal) -> Result<Decimal, CoreError> {
        if self.last_receipt.quantity.is_zero() {
            Ok(Decimal::ZERO)
        } else {
            self.last_receipt.worth(quantity)
        }
    }
}
