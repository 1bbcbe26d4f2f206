//! The ways to cover one product's need, as paths through a layered graph.
//!
//! A node is an offer not yet decided and the units covered so far; an arc takes some packs of that offer.
//! Arcs take no more packs than cover the rest, or the first packs of a later tier when those cost less.
//! Any other way to cover is one of these with packs added, which is of use only to reach a supplier's
//! threshold: see `top_up`.
#![expect(
    clippy::indexing_slicing,
    reason = "arcs point at nodes of the same graph, numbered when it is built"
)]

use super::model::{Model, OfferModel};
use crate::CoreError;
use std::collections::BTreeMap;

/// The most arcs of one basket: beyond it the tables would not fit.
const MOST_ARCS: usize = 4_000_000;

/// What a path is charged: ticks weighted by supplier, and a charge for using the supplier at all.
#[derive(Clone, Copy)]
pub(super) struct Prices<'a> {
    /// Weight of each supplier's ticks, zero to one; infinite where nothing may be bought.
    pub(super) weight: &'a [f64],
    /// Charge of this product for using each supplier.
    pub(super) charge: &'a [f64],
}

#[derive(Debug, Clone, Copy)]
struct Arc {
    from: usize,
    to: usize,
    offer: usize,
    supplier: usize,
    packs: u64,
    ticks: f64,
}

impl Arc {
    fn price(&self, prices: Prices<'_>) -> f64 {
        if self.packs == 0 {
            0.0
        } else {
            self.ticks * prices.weight[self.supplier] + prices.charge[self.supplier]
        }
    }
}

/// The graph of one product; node 0 is the start, the last node the end. Arcs are sorted by their start.
#[derive(Debug, Clone)]
pub(super) struct Covers {
    nodes: usize,
    arcs: Vec<Arc>,
}

/// Room to work in, used over and over.
#[derive(Debug, Default)]
pub(super) struct Scratch {
    distance: Vec<f64>,
    via: Vec<usize>,
    /// Offer and packs of the last path found, where any are taken.
    pub(super) taken: Vec<(usize, u64)>,
}

/// One way to cover a product, with what it is worth to each supplier.
#[derive(Debug, Clone)]
pub(super) struct Plan {
    pub(super) packs: Vec<(usize, u64)>,
    pub(super) ticks: i64,
}

const NONE: usize = usize::MAX;

impl Covers {
    /// The graphs of all products; none for a product that cannot be covered.
    pub(super) fn all(model: &Model) -> Result<Option<Vec<Self>>, CoreError> {
        let (mut graphs, mut arcs) = (Vec::with_capacity(model.needs.len()), 0);
        for (product, offers) in model.offers_of.iter().enumerate() {
            let Some(graph) = Self::new(model, model.needs[product], offers, MOST_ARCS - arcs)? else {
                return Ok(None);
            };
            arcs += graph.arcs.len();
            graphs.push(graph);
        }
        Ok(Some(graphs))
    }

    fn new(model: &Model, need: u64, offers: &[usize], room: usize) -> Result<Option<Self>, CoreError> {
        let mut arcs = Vec::new();
        let mut layer = BTreeMap::from([(0_u64, 0_usize)]);
        let mut nodes = 1;
        for &index in offers {
            let offer = &model.offers[index];
            let mut next = BTreeMap::new();
            for (&covered, &from) in &layer {
                let ways = offer.covering(need - covered).min(offer.cap);
                if usize::try_from(ways).unwrap_or(usize::MAX) >= room.saturating_sub(arcs.len()) {
                    return Err(CoreError::OutOfRange { what: "number of packs" });
                }
                for packs in sensible_packs(offer, need - covered) {
                    let reached = covered.saturating_add(packs.saturating_mul(offer.size)).min(need);
                    let to = *next.entry(reached).or_insert_with(|| {
                        nodes += 1;
                        nodes - 1
                    });
                    arcs.push(Arc {
                        from,
                        to,
                        offer: index,
                        supplier: offer.supplier,
                        packs,
                        ticks: real(offer.cost(packs)),
                    });
                }
            }
            layer = next;
        }
        let Some(end) = layer.get(&need).copied() else {
            return Ok(None);
        };
        // Layers are numbered one after another, so this keeps every arc behind the arcs it can follow.
        arcs.sort_by_key(|arc: &Arc| arc.from);
        let keep = vec![true; arcs.len()];
        let mut graph = Self { nodes, arcs };
        graph.retain(&keep, end);
        Ok(Some(graph))
    }

    pub(super) fn arcs(&self) -> usize {
        self.arcs.len()
    }

    fn end(&self) -> usize {
        self.nodes - 1
    }

    /// Price of the cheapest path, infinite when there is none; the path is left in `scratch.taken`.
    pub(super) fn cheapest(&self, prices: Prices<'_>, scratch: &mut Scratch) -> f64 {
        scratch.distance.clear();
        scratch.distance.resize(self.nodes, f64::INFINITY);
        scratch.via.clear();
        scratch.via.resize(self.nodes, NONE);
        scratch.taken.clear();
        scratch.distance[0] = 0.0;
        for (index, arc) in self.arcs.iter().enumerate() {
            let reached = scratch.distance[arc.from] + arc.price(prices);
            if reached < scratch.distance[arc.to] {
                scratch.distance[arc.to] = reached;
                scratch.via[arc.to] = index;
            }
        }
        let mut node = self.end();
        while scratch.via[node] != NONE {
            let arc = &self.arcs[scratch.via[node]];
            if arc.packs > 0 {
                scratch.taken.push((arc.offer, arc.packs));
            }
            node = arc.from;
        }
        scratch.distance[self.end()]
    }

    /// Drops every arc all of whose paths are priced above the limit.
    pub(super) fn drop_above(&mut self, prices: Prices<'_>, limit: f64) {
        let (before, after) = (self.price_before(prices), self.price_after(prices));
        let keep: Vec<bool> = self
            .arcs
            .iter()
            .map(|arc| before[arc.from] + arc.price(prices) + after[arc.to] <= limit)
            .collect();
        if keep.iter().any(|keep| !keep) && keep.iter().any(|keep| *keep) {
            self.retain(&keep, self.end());
        }
    }

    /// Every path priced at most `slack` above the cheapest; none when there are more than `most` of them.
    pub(super) fn plans(
        &self,
        model: &Model,
        prices: Prices<'_>,
        slack: f64,
        most: usize,
    ) -> Option<Vec<Plan>> {
        let after = self.price_after(prices);
        let mut listing = Listing {
            graph: self,
            model,
            prices,
            limit: after[0] + slack,
            after: &after,
            first_arc: self.first_arcs(),
            most,
            taken: Vec::new(),
            plans: Vec::new(),
        };
        listing.walk(0, 0.0, 0).then_some(listing.plans)
    }

    fn price_before(&self, prices: Prices<'_>) -> Vec<f64> {
        let mut distance = vec![f64::INFINITY; self.nodes];
        distance[0] = 0.0;
        for arc in &self.arcs {
            distance[arc.to] = distance[arc.to].min(distance[arc.from] + arc.price(prices));
        }
        distance
    }

    fn price_after(&self, prices: Prices<'_>) -> Vec<f64> {
        let mut distance = vec![f64::INFINITY; self.nodes];
        distance[self.end()] = 0.0;
        for arc in self.arcs.iter().rev() {
            distance[arc.from] = distance[arc.from].min(distance[arc.to] + arc.price(prices));
        }
        distance
    }

    /// Index of the first arc of each node, and the number of arcs after the last.
    fn first_arcs(&self) -> Vec<usize> {
        let mut first = vec![0; self.nodes + 1];
        for arc in &self.arcs {
            first[arc.from + 1] += 1;
        }
        for node in 1..first.len() {
            first[node] += first[node - 1];
        }
        first
    }

    /// Keeps the arcs marked that still lie on a path from the start to the end, and numbers the nodes anew.
    fn retain(&mut self, keep: &[bool], end: usize) {
        let mut reached = vec![false; self.nodes];
        reached[0] = true;
        for (arc, keep) in self.arcs.iter().zip(keep) {
            reached[arc.to] |= *keep && reached[arc.from];
        }
        let mut leads = vec![false; self.nodes];
        leads[end] = true;
        for (arc, keep) in self.arcs.iter().zip(keep).rev() {
            leads[arc.from] |= *keep && leads[arc.to];
        }
        let used = |node: usize| reached[node] && leads[node];
        let mut number = vec![NONE; self.nodes];
        let mut nodes = 0;
        for node in (0..self.nodes).filter(|node| used(*node) && *node != end) {
            number[node] = nodes;
            nodes += 1;
        }
        number[end] = nodes;
        let mut keeps = keep.iter();
        self.arcs.retain(|arc| keeps.next().is_some_and(|keep| *keep) && used(arc.from) && used(arc.to));
        for arc in &mut self.arcs {
            arc.from = number[arc.from];
            arc.to = number[arc.to];
        }
        self.nodes = nodes + 1;
    }
}

/// Lists the plans of one product, depth first, with what each node still costs at least.
struct Listing<'a> {
    graph: &'a Covers,
    model: &'a Model,
    prices: Prices<'a>,
    limit: f64,
    after: &'a [f64],
    first_arc: Vec<usize>,
    most: usize,
    taken: Vec<(usize, u64)>,
    plans: Vec<Plan>,
}

impl Listing<'_> {
    /// False when there are too many plans.
    fn walk(&mut self, node: usize, price: f64, ticks: i64) -> bool {
        if node == self.graph.end() {
            if self.plans.len() == self.most {
                return false;
            }
            self.plans.push(Plan { packs: self.taken.clone(), ticks });
            return true;
        }
        for index in self.first_arc[node]..self.first_arc[node + 1] {
            let arc = self.graph.arcs[index];
            let after = price + arc.price(self.prices);
            if after + self.after[arc.to] > self.limit {
                continue;
            }
            if arc.packs > 0 {
                self.taken.push((arc.offer, arc.packs));
            }
            let within = self.walk(arc.to, after, ticks + self.model.offers[arc.offer].cost(arc.packs));
            if arc.packs > 0 {
                self.taken.pop();
            }
            if !within {
                return false;
            }
        }
        true
    }
}

/// None, what may be part of a cover, and the first of a later tier that costs less than the plain cover.
fn sensible_packs(offer: &OfferModel, rest: u64) -> impl Iterator<Item = u64> {
    let cover = offer.covering(rest).min(offer.cap);
    let plain = offer.cost(cover);
    let cheaper = offer.tiers.iter().map(|(from, _)| *from).filter(move |from| {
        *from > cover && rest > 0 && offer.covering(rest) <= offer.cap && offer.cost(*from) < plain
    });
    (0..=cover).chain(cheaper)
}

/// Ticks as a weight; the model keeps every sum below 2^51, where this is exact.
pub(super) fn real(ticks: i64) -> f64 {
    rust_decimal::prelude::ToPrimitive::to_f64(&ticks).unwrap_or(f64::INFINITY)
}
