//! What to move between places before anything is bought, one item at a time.

use super::ticks::Ticks;
use crate::CoreError;
use rust_decimal::Decimal;

/// The most lanes looked at in one plan.
const MOST_LANES: usize = 200_000;

/// The dearest lane in ticks: a path over all lanes still adds up within a machine integer.
const DEAREST_LANE: i64 = 1 << 40;

/// A way from a place with surplus to a place with a deficit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lane {
    /// Index into the surpluses.
    pub from: usize,
    /// Index into the deficits.
    pub to: usize,
    /// Cost of moving one unit, money.
    pub cost_per_unit: Decimal,
}

/// Units moved along one lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Move {
    /// Index into the surpluses.
    pub from: usize,
    /// Index into the deficits.
    pub to: usize,
    /// Units, at least one.
    pub units: u64,
}

/// What to move, what that costs, and what is left to buy.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TransferPlan {
    /// In order of surplus, then deficit.
    pub moves: Vec<Move>,
    /// Units moved in all.
    pub units_transferred: u64,
    /// Deficit that no transfer covers, units.
    pub units_to_buy: u64,
    /// Money, exact.
    pub transfer_cost: Decimal,
}

/// Covers as much deficit as possible by transfers, and does so at least cost.
///
/// # Formula
/// ```text
/// max sum x_ij, then min sum c_ij x_ij        sum_j x_ij ≤ surplus_i        sum_i x_ij ≤ deficit_j
/// x_ij whole units on lanes only
/// ```
/// Minimum-cost maximum flow by successive cheapest paths: each path adds units at the least possible
/// further cost, so the flow is cheapest at every size, the largest included. Costs are exact.
/// Written out here because no maintained crate offers a minimum-cost flow with exact costs.
/// # Source
/// Ford & Fulkerson, Flows in Networks (1962), successive shortest paths (from memory). Check values:
/// `depot_van_transfer`.
/// # Errors
/// [`CoreError::Invalid`] when a lane names a place that is not listed or costs less than nothing, or there
/// are more than 200,000 lanes; [`CoreError::OutOfRange`] when units or costs leave their range.
/// # Example
/// ```
/// use dropwise_core::{Decimal, stock::transfer::{Lane, plan_transfer}};
/// // Two units to give, three missing: two move, one is bought.
/// let lane = Lane { from: 0, to: 0, cost_per_unit: Decimal::ONE };
/// let plan = plan_transfer(&[2], &[3], &[lane])?;
/// assert_eq!((plan.units_transferred, plan.units_to_buy, plan.transfer_cost), (2, 1, Decimal::TWO));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn plan_transfer(surplus: &[u64], deficit: &[u64], lanes: &[Lane]) -> Result<TransferPlan, CoreError> {
    if lanes.len() > MOST_LANES {
        return Err(CoreError::Invalid { what: "lanes", rule: "must be at most 200,000" });
    }
    let ticks = Ticks::for_all(lanes.iter().map(|lane| lane.cost_per_unit));
    let mut network = Network::new(surplus, deficit);
    for lane in lanes {
        if lane.from >= surplus.len() || lane.to >= deficit.len() {
            return Err(CoreError::Invalid {
                what: "lane",
                rule: "must join a surplus and a deficit listed",
            });
        }
        super::numbers::exact_not_negative(lane.cost_per_unit, "cost per unit moved")?;
        let cost = ticks.count(lane.cost_per_unit)?;
        if cost > DEAREST_LANE {
            return Err(CoreError::OutOfRange { what: "cost per unit moved" });
        }
        network.lane(lane.from, surplus.len() + lane.to, cost);
    }
    let total = deficit.iter().try_fold(0_u64, |sum, units| sum.checked_add(*units));
    let total = total.ok_or(CoreError::OutOfRange { what: "units missing" })?;
    let mut cost: i128 = 0;
    while let Some((units, unit_cost)) = network.augment() {
        let more = i128::from(units).checked_mul(unit_cost.into());
        cost = more.and_then(|more| cost.checked_add(more)).ok_or(CoreError::OutOfRange { what: "cost" })?;
    }
    let moves = network.moves(surplus.len());
    let units_transferred = moves.iter().map(|moved| moved.units).sum();
    Ok(TransferPlan {
        units_transferred,
        units_to_buy: total - units_transferred,
        transfer_cost: ticks.amount(cost)?,
        moves,
    })
}

/// Places as nodes (surpluses first), lanes as arcs with what they carry.
struct Network {
    /// Units each place can still give (surpluses) or take (deficits).
    open: Vec<u64>,
    arcs: Vec<Arc>,
    givers: usize,
    /// Potentials: with them, the cost of every arc that can carry more is zero or above.
    potential: Vec<i64>,
    /// Arcs at each node, by index.
    at: Vec<Vec<usize>>,
}

struct Arc {
    from: usize,
    to: usize,
    cost: i64,
    carried: u64,
}

const FAR: i64 = i64::MAX / 4;

impl Network {
    fn new(surplus: &[u64], deficit: &[u64]) -> Self {
        let open: Vec<u64> = surplus.iter().chain(deficit).copied().collect();
        let nodes = open.len();
        let (potential, at) = (vec![0; nodes], vec![Vec::new(); nodes]);
        Self { open, arcs: Vec::new(), givers: surplus.len(), potential, at }
    }

    fn lane(&mut self, from: usize, to: usize, cost: i64) {
        for node in [from, to] {
            if let Some(arcs) = self.at.get_mut(node) {
                arcs.push(self.arcs.len());
            }
        }
        self.arcs.push(Arc { from, to, cost, carried: 0 });
    }

    /// Sends as much as possible along the cheapest path from any place that can give to any that can take:
    /// units and cost of each. None when no such path is left.
    fn augment(&mut self) -> Option<(u64, i64)> {
        let (distance, via) = self.distances();
        let potential = |node: usize| self.potential.get(node).copied().unwrap_or(0);
        let reached = |node: usize| distance.get(node).copied().filter(|d| *d < FAR);
        let takers = self.givers..self.open.len();
        let (end, cost) = takers
            .filter(|node| self.open.get(*node).is_some_and(|units| *units > 0))
            .filter_map(|node| Some((node, reached(node)? + potential(node))))
            .min_by_key(|(node, cost)| (*cost, *node))?;
        let path = self.path(end, &via);
        let start = path.last().map_or(end, |(arc, forward)| self.tail(*arc, *forward));
        let mut units = self.open_at(start).min(self.open_at(end));
        // Lanes carry any number of units; only what they already carry limits walking them backwards.
        for (arc, _) in path.iter().filter(|(_, forward)| !forward) {
            units = units.min(self.arcs.get(*arc).map_or(0, |arc| arc.carried));
        }
        for (arc, forward) in path {
            if let Some(arc) = self.arcs.get_mut(arc) {
                arc.carried = if forward { arc.carried + units } else { arc.carried - units };
            }
        }
        for node in [start, end] {
            if let Some(open) = self.open.get_mut(node) {
                *open -= units;
            }
        }
        let furthest = distance.iter().copied().filter(|d| *d < FAR).max().unwrap_or(0);
        for (potential, d) in self.potential.iter_mut().zip(&distance) {
            *potential = potential.saturating_add((*d).min(furthest));
        }
        Some((units, cost))
    }

    /// Cheapest reduced distances from the places that can give, and the arc each node is reached by.
    /// All places that can give start at the same true distance, zero, whatever their potential.
    fn distances(&self) -> (Vec<i64>, Vec<Option<(usize, bool)>>) {
        let nodes = self.open.len();
        let (mut distance, mut via) = (vec![FAR; nodes], vec![None; nodes]);
        let mut queue = std::collections::BinaryHeap::new();
        for node in (0..self.givers).filter(|node| self.open_at(*node) > 0) {
            // A place that can still give keeps potential zero, so its reduced distance is zero as well.
            if let Some(slot) = distance.get_mut(node) {
                *slot = 0;
            }
            queue.push(std::cmp::Reverse((0, node)));
        }
        while let Some(std::cmp::Reverse((d, node))) = queue.pop() {
            if distance.get(node).is_none_or(|best| d > *best) {
                continue;
            }
            for &index in self.at.get(node).into_iter().flatten() {
                let Some((next, cost, forward)) = self.walk(index, node) else { continue };
                let potential = |node: usize| self.potential.get(node).copied().unwrap_or(0);
                let further = d + cost + potential(node) - potential(next);
                if let (Some(best), Some(slot)) = (distance.get_mut(next), via.get_mut(next))
                    && further < *best
                {
                    *best = further;
                    *slot = Some((index, forward));
                    queue.push(std::cmp::Reverse((further, next)));
                }
            }
        }
        (distance, via)
    }

    /// Where an arc leads from a node, at what cost, and whether it is walked forwards.
    fn walk(&self, index: usize, node: usize) -> Option<(usize, i64, bool)> {
        let arc = self.arcs.get(index)?;
        if arc.from == node {
            Some((arc.to, arc.cost, true))
        } else if arc.carried > 0 {
            Some((arc.from, -arc.cost, false))
        } else {
            None
        }
    }

    fn path(&self, end: usize, via: &[Option<(usize, bool)>]) -> Vec<(usize, bool)> {
        let (mut path, mut node) = (Vec::new(), end);
        while let Some((arc, forward)) = via.get(node).copied().flatten() {
            path.push((arc, forward));
            node = self.tail(arc, forward);
        }
        path
    }

    fn tail(&self, arc: usize, forward: bool) -> usize {
        self.arcs.get(arc).map_or(0, |arc| if forward { arc.from } else { arc.to })
    }

    fn open_at(&self, node: usize) -> u64 {
        self.open.get(node).copied().unwrap_or(0)
    }

    fn moves(&self, givers: usize) -> Vec<Move> {
        let mut moves: Vec<Move> = self
            .arcs
            .iter()
            .filter(|arc| arc.carried > 0)
            .map(|arc| Move { from: arc.from, to: arc.to - givers, units: arc.carried })
            .collect();
        moves.sort_unstable_by_key(|moved| (moved.from, moved.to));
        moves
    }
}
