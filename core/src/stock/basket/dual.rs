//! Lagrangian relaxation of the suppliers' terms.
//!
//! ```text
//! L(λ, μ) = sum_p min over covers of p of sum_s ((1 - λ_s) goods_ps + μ_ps [p buys from s])
//!         + sum_s min over allowed modes of s of (freight + λ_s threshold - sum_p μ_ps), closed counting 0
//! ```
//! `λ_s`, zero to one, presses goods towards a threshold; `μ_ps`, zero or above, makes a product pay its part
//! of opening a supplier that is not yet decided. For every λ and μ, L is at most the cost of any basket.
//! The best are sought by subgradient steps with Polyak's length.
#![expect(
    clippy::indexing_slicing,
    reason = "all tables are by the model's own products, suppliers and offers"
)]

use super::covers::{Covers, Prices, Scratch, real};
use super::incumbent::Incumbent;
use super::model::Model;

/// What may still be done with a supplier: bit 0 nothing, bit m + 1 order by mode m.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Allowed(pub(super) u8);

impl Allowed {
    pub(super) const fn may_close(self) -> bool {
        self.0 & 1 != 0
    }

    pub(super) const fn may_open(self) -> bool {
        self.0 & !1 != 0
    }

    pub(super) const fn mode(self, mode: usize) -> bool {
        self.0 & (2 << mode) != 0
    }

    pub(super) const fn decided(self) -> bool {
        self.0.count_ones() <= 1
    }

    /// Each single decision left.
    pub(super) fn decisions(self) -> impl Iterator<Item = Self> {
        (0..8).map(move |bit| Self(self.0 & (1 << bit))).filter(|decision| decision.0 != 0)
    }
}

/// Multipliers.
#[derive(Debug, Clone)]
pub(super) struct Point {
    /// λ by supplier.
    pub(super) pressure: Vec<f64>,
    /// μ by product, then supplier.
    charge: Vec<f64>,
}

impl Point {
    pub(super) fn zero(model: &Model) -> Self {
        let suppliers = model.modes.len();
        Self { pressure: vec![0.0; suppliers], charge: vec![0.0; suppliers * model.needs.len()] }
    }

    /// Charges of all products for using a supplier.
    pub(super) fn charges(&self, supplier: usize, suppliers: usize) -> f64 {
        self.charge.iter().skip(supplier).step_by(suppliers.max(1)).sum()
    }

    /// Takes back the charges of suppliers that are decided: their opening is paid outright.
    fn settle(&mut self, allowed: &[Allowed]) {
        for charges in self.charge.chunks_mut(allowed.len().max(1)) {
            for (charge, allowed) in charges.iter_mut().zip(allowed) {
                if !(allowed.may_close() && allowed.may_open()) {
                    *charge = 0.0;
                }
            }
        }
    }
}

/// The relaxation at one point.
#[derive(Debug, Clone)]
pub(super) struct Value {
    /// L, ticks; infinite when some product cannot be covered.
    pub(super) bound: f64,
    /// Price of each product's cheapest cover.
    pub(super) product: Vec<f64>,
    /// Goods at each supplier, ticks.
    pub(super) goods: Vec<f64>,
    /// What each supplier's term adds to L.
    pub(super) term: Vec<f64>,
    /// The mode that gives the term; none when closed.
    mode: Vec<Option<usize>>,
    /// Charges of the products that buy from each supplier.
    pub(super) charged: Vec<f64>,
    /// What the pressure takes off each supplier's goods.
    pub(super) credit: Vec<f64>,
    uses: Vec<bool>,
    pub(super) packs: Vec<u64>,
}

/// Steps left, and room to work in.
#[derive(Debug)]
pub(super) struct Work {
    left: u64,
    scratch: Scratch,
    weight: Vec<f64>,
}

impl Work {
    pub(super) fn new(effort: u64) -> Self {
        Self { left: effort, scratch: Scratch::default(), weight: Vec::new() }
    }

    /// Takes steps from what is left; false when there are none.
    pub(super) fn spend(&mut self, steps: usize) -> bool {
        self.left = self.left.saturating_sub(u64::try_from(steps).unwrap_or(u64::MAX));
        self.left > 0
    }

    /// Sets aside all but this many steps; what is set aside is given back with [`Self::give_back`].
    pub(super) fn set_aside_all_but(&mut self, steps: u64) -> u64 {
        let aside = self.left.saturating_sub(steps);
        self.left -= aside;
        aside
    }

    pub(super) const fn give_back(&mut self, steps: u64) {
        self.left = self.left.saturating_add(steps);
    }

    pub(super) const fn exhausted(&self) -> bool {
        self.left == 0
    }
}

/// Weight of each supplier's ticks at these pressures.
pub(super) fn weights(pressure: &[f64], allowed: &[Allowed], out: &mut Vec<f64>) {
    out.clear();
    out.extend(
        pressure.iter().zip(allowed).map(
            |(pressure, allowed)| {
                if allowed.may_open() { 1.0 - pressure } else { f64::INFINITY }
            },
        ),
    );
}

/// The prices of one product at a point.
pub(super) fn prices<'a>(point: &'a Point, weight: &'a [f64], product: usize) -> Prices<'a> {
    let suppliers = weight.len();
    Prices { weight, charge: &point.charge[product * suppliers..(product + 1) * suppliers] }
}

pub(super) fn evaluate(
    model: &Model,
    graphs: &[Covers],
    allowed: &[Allowed],
    point: &Point,
    work: &mut Work,
) -> Value {
    let suppliers = allowed.len();
    let mut value = Value {
        bound: 0.0,
        product: Vec::with_capacity(graphs.len()),
        goods: vec![0.0; suppliers],
        term: vec![0.0; suppliers],
        mode: vec![None; suppliers],
        charged: vec![0.0; suppliers],
        credit: Vec::new(),
        uses: vec![false; suppliers * graphs.len()],
        packs: vec![0; model.offers.len()],
    };
    let mut weight = std::mem::take(&mut work.weight);
    weights(&point.pressure, allowed, &mut weight);
    let mut all_charges = vec![0.0; suppliers];
    for (product, graph) in graphs.iter().enumerate() {
        work.spend(graph.arcs());
        let prices = prices(point, &weight, product);
        let price = graph.cheapest(prices, &mut work.scratch);
        value.product.push(price);
        value.bound += price;
        for &(offer, packs) in &work.scratch.taken {
            let terms = &model.offers[offer];
            let used = &mut value.uses[product * suppliers + terms.supplier];
            if !*used {
                value.charged[terms.supplier] += prices.charge[terms.supplier];
            }
            *used = true;
            value.goods[terms.supplier] += real(terms.cost(packs));
            value.packs[offer] = packs;
        }
        for (sum, charge) in all_charges.iter_mut().zip(prices.charge) {
            *sum += charge;
        }
    }
    work.weight = weight;
    // The tables of charges and packs are walked a few times per round as well.
    work.spend(2 * (point.charge.len() + model.offers.len()));
    value.credit =
        value.goods.iter().zip(&point.pressure).map(|(goods, pressure)| goods * pressure).collect();
    for supplier in 0..suppliers {
        let open = model.modes[supplier]
            .iter()
            .enumerate()
            .filter(|(mode, _)| allowed[supplier].mode(*mode))
            .map(|(index, mode)| {
                (real(mode.freight) + point.pressure[supplier] * real(mode.threshold), index)
            })
            .min_by(|a, b| a.0.total_cmp(&b.0));
        let Some((opening, mode)) = open else { continue };
        let term = opening - all_charges[supplier];
        if term < 0.0 || !allowed[supplier].may_close() {
            value.term[supplier] = term;
            value.mode[supplier] = Some(mode);
            value.bound += term;
        }
    }
    value
}

/// The best point found from a start, with its value. Every relaxed choice met on the way is mended and
/// offered to the incumbent. Ends early when the bound shows that nothing better is left.
pub(super) fn ascend(
    model: &Model,
    graphs: &[Covers],
    allowed: &[Allowed],
    start: &Point,
    rounds: usize,
    incumbent: &mut Incumbent,
    work: &mut Work,
) -> (Point, Value) {
    let mut point = start.clone();
    point.settle(allowed);
    let mut value = evaluate(model, graphs, allowed, &point, work);
    let (mut best, mut best_value) = (point.clone(), value.clone());
    let (mut length, mut stale) = (1.0, 0);
    let mut direction: Option<Point> = None;
    for _ in 0..rounds {
        if !value.bound.is_finite() {
            return (point, value);
        }
        incumbent.offer_mended(model, std::mem::take(&mut value.packs));
        let goal = real(incumbent.ticks());
        if best_value.bound > goal - 1.0 + SLACK || work.exhausted() {
            break;
        }
        let gap = (goal - best_value.bound).min(0.05 * best_value.bound.abs() + 1.0) + best_value.bound
            - value.bound;
        if !step(model, allowed, &mut point, &value, &mut direction, length * gap) {
            break;
        }
        value = evaluate(model, graphs, allowed, &point, work);
        if value.bound > best_value.bound + 1e-9 * best_value.bound.abs() {
            best = point.clone();
            best_value = value.clone();
            stale = 0;
        } else {
            stale += 1;
            if stale >= 8 {
                stale = 0;
                length *= 0.6;
                point = best.clone();
                value = best_value.clone();
                direction = None;
            }
        }
    }
    if !value.packs.is_empty() {
        incumbent.offer_mended(model, value.packs);
    }
    (best, best_value)
}

/// Rounding that a bound in ticks is given the benefit of.
pub(super) const SLACK: f64 = 1e-3;

/// One subgradient step; false when the relaxed choice keeps every rule, so that no step is left.
/// Pressures are stepped in ticks of the threshold they press towards, so that both kinds compare.
fn step(
    model: &Model,
    allowed: &[Allowed],
    point: &mut Point,
    value: &Value,
    direction: &mut Option<Point>,
    gap: f64,
) -> bool {
    let suppliers = allowed.len();
    let scale: Vec<f64> = (0..suppliers)
        .map(|s| model.modes[s].iter().map(|mode| real(mode.threshold)).fold(1.0, f64::max))
        .collect();
    let mut slope = Point { pressure: vec![0.0; suppliers], charge: vec![0.0; point.charge.len()] };
    for s in (0..suppliers).filter(|s| allowed[*s].may_open()) {
        let wanted = value.mode[s].map_or(0.0, |mode| real(model.modes[s][mode].threshold));
        slope.pressure[s] = (wanted - value.goods[s]) / scale[s];
    }
    for (index, slope) in slope.charge.iter_mut().enumerate() {
        let s = index % suppliers;
        if allowed[s].may_close() && allowed[s].may_open() {
            let opened = if value.mode[s].is_some() { 1.0 } else { 0.0 };
            *slope = if value.uses[index] { 1.0 } else { 0.0 } - opened;
        }
    }
    // A component that only pushes against its bound is no direction.
    for (slope, pressure) in slope.pressure.iter_mut().zip(&point.pressure) {
        if (*slope < 0.0 && *pressure <= 0.0) || (*slope > 0.0 && *pressure >= 1.0) {
            *slope = 0.0;
        }
    }
    for (slope, charge) in slope.charge.iter_mut().zip(&point.charge) {
        if *slope < 0.0 && *charge <= 0.0 {
            *slope = 0.0;
        }
    }
    let norm: f64 = slope.pressure.iter().chain(&slope.charge).map(|slope| slope * slope).sum();
    if norm <= 0.0 {
        return false;
    }
    // Part of the last direction is kept, which damps the zigzag.
    if let Some(before) = direction {
        let blend = |new: &mut f64, old: &f64| *new = 0.7 * *new + 0.3 * old;
        slope.pressure.iter_mut().zip(&before.pressure).for_each(|(new, old)| blend(new, old));
        slope.charge.iter_mut().zip(&before.charge).for_each(|(new, old)| blend(new, old));
    }
    let along = gap / norm;
    for ((pressure, slope), scale) in point.pressure.iter_mut().zip(&slope.pressure).zip(&scale) {
        *pressure = (*pressure + along * slope / scale).clamp(0.0, 1.0);
    }
    for (charge, slope) in point.charge.iter_mut().zip(&slope.charge) {
        *charge = (*charge + along * slope).max(0.0);
    }
    point.settle(allowed);
    *direction = Some(slope);
    true
}
