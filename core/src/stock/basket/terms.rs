//! Branch and bound over the suppliers' terms: closed, open with freight, open with free freight.
#![expect(clippy::indexing_slicing, reason = "suppliers and products are numbered by the model")]

use super::covers::{Covers, real};
use super::dual::{Allowed, Point, SLACK, Value, Work, ascend, prices, weights};
use super::incumbent::Incumbent;
use super::model::Model;
use super::plans::{self, ceiling};
use crate::CoreError;
use std::collections::BinaryHeap;

/// What the search ends with.
#[derive(Debug)]
pub(super) struct Outcome {
    /// Packs of each offer; none when no basket was found.
    pub(super) packs: Option<Vec<u64>>,
    /// A bound in ticks below which there is no basket, where it is below the one found; none when proven.
    pub(super) bound: Option<i64>,
}

/// Rounds of subgradient steps at the start and at every later node.
const FIRST_ROUNDS: usize = 300;
const LATER_ROUNDS: usize = 40;

/// A part of the baskets, by what is allowed with each supplier; the least bound is looked at first.
struct Node {
    bound: i64,
    /// Later nodes first among equals, so that the search goes deep before it goes wide.
    number: usize,
    allowed: Vec<Allowed>,
    point: Point,
    /// How often the plans have been searched without coming to an end.
    attempts: u32,
}

impl PartialEq for Node {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other).is_eq()
    }
}
impl Eq for Node {}
impl PartialOrd for Node {
    fn partial_cmp(&self, other: &Self) -> Option<std::cmp::Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Node {
    fn cmp(&self, other: &Self) -> std::cmp::Ordering {
        other.bound.cmp(&self.bound).then(self.number.cmp(&other.number))
    }
}

/// The cheapest basket within an effort.
pub(super) fn search(model: &Model, effort: u64) -> Result<Outcome, CoreError> {
    let Some(mut graphs) = Covers::all(model)? else {
        return Ok(Outcome { packs: None, bound: None });
    };
    let mut incumbent = Incumbent::none(model);
    let mut work = Work::new(effort);
    let mut root =
        Node { bound: 0, number: 0, allowed: reachable(model), point: Point::zero(model), attempts: 0 };
    // Twice: the incumbent of the first ascent shrinks the graphs for the second.
    for _ in 0..2 {
        let (point, value) =
            ascend(model, &graphs, &root.allowed, &root.point, FIRST_ROUNDS, &mut incumbent, &mut work);
        if !value.bound.is_finite() {
            return Ok(Outcome { packs: None, bound: None });
        }
        shrink(&mut graphs, &root.allowed, &point, &value, &incumbent);
        root.bound = ceiling(value.bound);
        root.point = point;
    }
    let mut heap = BinaryHeap::from([root]);
    let mut unproven = i64::MAX;
    let mut number = 0;
    while let Some(mut node) = heap.pop() {
        if node.bound >= incumbent.ticks() {
            break;
        }
        if work.exhausted() {
            unproven = unproven.min(node.bound);
            break;
        }
        let (point, value) =
            ascend(model, &graphs, &node.allowed, &node.point, LATER_ROUNDS, &mut incumbent, &mut work);
        node.bound = node.bound.max(if value.bound.is_finite() { ceiling(value.bound) } else { i64::MAX });
        if node.bound >= incumbent.ticks() {
            continue;
        }
        rule_out(model, &mut node.allowed, &point, &value, &incumbent);
        let Some(supplier) = most_disputed(model, &node.allowed, &value) else {
            let mut local = graphs.clone();
            shrink(&mut local, &node.allowed, &point, &value, &incumbent);
            // A share of the effort at first, more of it when it comes round again.
            let aside = work.set_aside_all_but((effort / 16) << node.attempts.min(4));
            let (found, open) =
                plans::search(model, &local, &node.allowed, (&point, &value), &mut incumbent, &mut work);
            work.give_back(aside);
            let bound = found.max(node.bound);
            if bound < incumbent.ticks() && open {
                heap.push(Node { bound, attempts: node.attempts + 1, point, ..node });
            } else {
                unproven = unproven.min(bound);
            }
            continue;
        };
        for decision in node.allowed[supplier].decisions() {
            let mut allowed = node.allowed.clone();
            allowed[supplier] = decision;
            number += 1;
            heap.push(Node { bound: node.bound, number, allowed, point: point.clone(), attempts: 0 });
        }
    }
    let best = incumbent.ticks();
    let packs = incumbent.into_packs();
    let open = unproven < best;
    Ok(Outcome { bound: open.then_some(unproven), packs })
}

/// Every mode whose threshold the supplier's offers can reach.
fn reachable(model: &Model) -> Vec<Allowed> {
    (0..model.modes.len())
        .map(|supplier| {
            let most: i64 = model.offers_from[supplier]
                .iter()
                .map(|offer| {
                    let offer = &model.offers[*offer];
                    // The dearest number of packs: all of them, or the last before a cheaper tier.
                    let ends = offer.tiers.iter().map(|(from, _)| from - 1).chain([offer.cap]);
                    ends.map(|packs| offer.cost(packs)).max().unwrap_or(0)
                })
                .sum();
            let choices = model.modes[supplier].iter().enumerate();
            let bits = choices.filter(|(_, mode)| mode.threshold <= most).map(|(index, _)| 2_u8 << index);
            Allowed(bits.fold(1, |all, bit| all | bit))
        })
        .collect()
}

/// Drops the arcs that no basket cheaper than the incumbent uses.
fn shrink(graphs: &mut [Covers], allowed: &[Allowed], point: &Point, value: &Value, incumbent: &Incumbent) {
    let mut weight = Vec::new();
    weights(&point.pressure, allowed, &mut weight);
    let room = real(incumbent.ticks()) - 1.0 + SLACK - value.bound;
    for (product, graph) in graphs.iter_mut().enumerate() {
        graph.drop_above(prices(point, &weight, product), value.product[product] + room.max(0.0));
    }
}

/// Drops the decisions that no basket cheaper than the incumbent takes.
fn rule_out(model: &Model, allowed: &mut [Allowed], point: &Point, value: &Value, incumbent: &Incumbent) {
    let room = real(incumbent.ticks()) - 1.0 + SLACK - value.bound;
    for (supplier, allowed) in allowed.iter_mut().enumerate() {
        if allowed.decided() {
            continue;
        }
        for (index, mode) in model.modes[supplier].iter().enumerate() {
            let term = real(mode.freight) + point.pressure[supplier] * real(mode.threshold)
                - point.charges(supplier, model.modes.len());
            let without = allowed.0 & !(2_u8 << index);
            if without != 0 && allowed.mode(index) && term - value.term[supplier] > room {
                allowed.0 = without;
            }
        }
    }
}

/// The undecided supplier whose relaxed terms fall furthest short of what its goods would really pay.
fn most_disputed(model: &Model, allowed: &[Allowed], value: &Value) -> Option<usize> {
    (0..allowed.len())
        .filter(|supplier| !allowed[*supplier].decided())
        .map(|supplier| {
            let goods = value.goods[supplier];
            let real_terms = if goods > 0.0 {
                model.modes[supplier]
                    .iter()
                    .map(|mode| real(mode.freight) + (real(mode.threshold) - goods).max(0.0))
                    .fold(f64::INFINITY, f64::min)
            } else {
                0.0
            };
            let paid = value.term[supplier] + value.charged[supplier] - value.credit[supplier];
            (real_terms - paid, supplier)
        })
        .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
        .map(|(_, supplier)| supplier)
}
