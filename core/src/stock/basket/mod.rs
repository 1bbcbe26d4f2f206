//! One basket over several suppliers: packs, price breaks, minimum orders and freight, at least total cost.
//!
//! The search is exact. Suppliers' terms are decided by branch and bound (closed, open with freight, open
//! with free freight); prices on coverage come from Lagrangian relaxation of the thresholds and of paying
//! freight at all, which splits the basket into one small covering problem per product; what is left open
//! is settled over each product's few competing plans.
//!
//! A general-purpose integer solver is not used here. The pure-Rust one, `microlp` 0.7, proves small baskets,
//! and the laws compare with it; on a market of 25 products and 5 suppliers it did not finish within 100 s,
//! where this search takes some hundredths: thresholds make the linear relaxation weak. The other solvers
//! need a C or C++ toolchain.

mod covers;
mod dual;
mod incumbent;
mod model;
mod plans;
mod terms;
mod top_up;

use super::ticks::Ticks;
use crate::CoreError;
use model::Model;
use rust_decimal::Decimal;

/// What to buy, from whom, and on which terms.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct BasketProblem {
    /// Units needed of each product; buying more is allowed and has no value.
    pub needs: Vec<u64>,
    /// Terms of each supplier.
    pub suppliers: Vec<SupplierTerms>,
    /// Every pack on offer.
    pub offers: Vec<Offer>,
}

/// Terms of one supplier; one order each.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SupplierTerms {
    /// Least value of goods in an order, money.
    pub minimum_order_value: Decimal,
    /// Freight of an order, money.
    pub freight_charge: Decimal,
    /// Value of goods from which freight is free; none when it never is.
    pub free_freight_from: Option<Decimal>,
}

/// One product in one pack size from one supplier.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// Index into the needs.
    pub product: usize,
    /// Index into the suppliers.
    pub supplier: usize,
    /// Units in a pack.
    pub pack_size_units: u64,
    /// Price of every pack by how many are taken, in rising order, the first from one pack.
    pub price_tiers: Vec<PriceTier>,
    /// The most packs to be had; none when there is no limit.
    pub max_packs: Option<u64>,
}

/// Price of every pack from a number of packs on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PriceTier {
    /// At least this many packs.
    pub from_packs: u64,
    /// Price of one pack, money.
    pub pack_price: Decimal,
}

/// How much work a search may take before it answers with what it has proven, counted in steps over the
/// search's own tables: a search never looks at a clock, so the same basket always gets the same answer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Effort(pub u64);

impl Default for Effort {
    /// Below two seconds on one core of a plain server.
    fn default() -> Self {
        Self(650_000_000)
    }
}

/// What the search found out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum BasketAnswer {
    /// The cheapest basket there is, proven.
    Optimal(Basket),
    /// A basket, and how much cheaper another could be at most.
    WithinGap {
        /// The cheapest found.
        basket: Basket,
        /// No basket costs less than this, money.
        proven_bound: Decimal,
    },
    /// No basket meets every need and every minimum.
    Infeasible,
    /// The effort ran out before any basket was found.
    Undecided,
}

/// A basket.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Basket {
    /// What to order, in the order of the offers.
    pub lines: Vec<BasketLine>,
    /// Value of the goods, money, exact.
    pub goods: Decimal,
    /// Freight of all orders, money, exact.
    pub freight: Decimal,
    /// Goods and freight, money, exact.
    pub total_cost: Decimal,
}

/// One line of an order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BasketLine {
    /// Index into the offers.
    pub offer: usize,
    /// Packs, at least one.
    pub packs: u64,
    /// Price of each pack, money.
    pub pack_price: Decimal,
}

/// The cheapest basket.
///
/// # Formula
/// ```text
/// min  sum_s (goods_s + freight_s)
/// goods_s = sum over offers of s of x · price(x)       price of the last tier from ≤ x packs, for every pack
/// units of each product ≥ need, x whole, x ≤ max_packs
/// goods_s = 0, or goods_s ≥ minimum_s and freight_s = 0 if goods_s ≥ free_from_s else charge_s
/// ```
/// Costs are exact: amounts are whole numbers of the finest step among the prices.
/// # Source
/// Geoffrion (1974), Lagrangean relaxation for integer programming, Mathematical Programming Study 2; Held,
/// Wolfe & Crowder (1974), Validation of subgradient optimization, Mathematical Programming 6 (both from
/// memory). Check values: `supplier_basket`, proven there by two general-purpose integer solvers.
/// # Errors
/// [`CoreError::Invalid`] when an offer names a product or supplier that is not listed, holds no unit or has
/// no price from one pack on in rising order, an amount is negative, or a product has more than 300 offers;
/// [`CoreError::OutOfRange`] when
/// amounts differ too much in scale, or needs are so many single packs that the tables would not fit.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::basket::*};
/// // Ten cost less than nine.
/// let tier = |from_packs, cents| PriceTier { from_packs, pack_price: Decimal::new(cents, 2) };
/// let problem = BasketProblem {
///     needs: vec![9],
///     suppliers: vec![SupplierTerms {
///         minimum_order_value: Decimal::ZERO,
///         freight_charge: Decimal::ZERO,
///         free_freight_from: None,
///     }],
///     offers: vec![Offer {
///         product: 0,
///         supplier: 0,
///         pack_size_units: 1,
///         price_tiers: vec![tier(1, 560), tier(10, 490)],
///         max_packs: None,
///     }],
/// };
/// let BasketAnswer::Optimal(basket) = cheapest_basket(&problem, Effort::default())? else { panic!() };
/// assert_eq!((basket.total_cost, basket.lines[0].packs), (Decimal::new(4900, 2), 10));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn cheapest_basket(problem: &BasketProblem, effort: Effort) -> Result<BasketAnswer, CoreError> {
    let ticks = Ticks::for_all(amounts(problem));
    let model = Model::new(problem, ticks)?;
    let outcome = terms::search(&model, effort.0)?;
    let Some(packs) = outcome.packs else {
        return Ok(if outcome.bound.is_some() { BasketAnswer::Undecided } else { BasketAnswer::Infeasible });
    };
    let basket = priced(problem, &model, ticks, &packs)?;
    match outcome.bound {
        Some(bound) => Ok(BasketAnswer::WithinGap { basket, proven_bound: ticks.amount(bound.into())? }),
        None => Ok(BasketAnswer::Optimal(basket)),
    }
}

fn amounts(problem: &BasketProblem) -> impl Iterator<Item = Decimal> {
    let terms = problem.suppliers.iter().flat_map(|terms| {
        [Some(terms.minimum_order_value), Some(terms.freight_charge), terms.free_freight_from]
    });
    let prices = problem.offers.iter().flat_map(|offer| &offer.price_tiers).map(|tier| tier.pack_price);
    terms.flatten().chain(prices)
}

fn priced(problem: &BasketProblem, model: &Model, ticks: Ticks, packs: &[u64]) -> Result<Basket, CoreError> {
    let cost = model.cost(packs).ok_or(CoreError::OutOfRange { what: "total cost" })?;
    let mut lines = Vec::new();
    for ((index, offer), packs) in problem.offers.iter().enumerate().zip(packs.iter().copied()) {
        let tier = offer.price_tiers.iter().rev().find(|tier| tier.from_packs <= packs);
        if let Some(tier) = tier.filter(|_| packs > 0) {
            lines.push(BasketLine { offer: index, packs, pack_price: tier.pack_price });
        }
    }
    Ok(Basket {
        lines,
        goods: ticks.amount(cost.goods.into())?,
        freight: ticks.amount(cost.freight.into())?,
        total_cost: ticks.amount((cost.goods + cost.freight).into())?,
    })
}
