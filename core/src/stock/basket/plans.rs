//! The last step: every supplier's mode is decided, and each product has a list of plans that may still be
//! part of a cheaper basket. Branch and bound over the lists, with the pressures set anew at every node.
#![expect(clippy::indexing_slicing, reason = "lists, plans and suppliers are numbered in this search alone")]

use super::covers::{Covers, Plan, real};
use super::dual::{Allowed, Point, SLACK, Value, Work, prices, weights};
use super::incumbent::Incumbent;
use super::model::Model;
use super::top_up::{TopUp, top_up_exactly};

/// The deepest a search goes: every level stands on the one above it.
const DEEPEST: usize = 300;
/// The most plans listed at once.
const MOST_PLANS: usize = 60_000;

/// Searches the baskets with these modes, starting from a relaxed point and its value.
/// Returns a bound in ticks that no such basket, other than the incumbent, falls below, and whether more
/// effort could raise it.
pub(super) fn search(
    model: &Model,
    graphs: &[Covers],
    allowed: &[Allowed],
    (point, value): (&Point, &Value),
    incumbent: &mut Incumbent,
    work: &mut Work,
) -> (i64, bool) {
    let mut proven = ceiling(value.bound);
    let mut fits = true;
    // Few plans are listed first: a better incumbent found among them shortens the next list.
    for part in [0.05, 0.25, 1.0] {
        let gap = real(incumbent.ticks()) - 1.0 - value.bound;
        if gap < -SLACK || work.exhausted() {
            break;
        }
        let slack = gap * part + SLACK;
        let Some(lists) = lists(model, graphs, allowed, point, slack, work) else {
            fits = false;
            break;
        };
        let mut search = Search::new(model, allowed, lists, point, slack, incumbent, work);
        let pressure = search.targets.iter().map(|target| point.pressure[target.supplier]).collect();
        let everything = search.lists.iter().map(|plans| (0..plans.len()).collect()).collect();
        let found = search.node(everything, pressure, 0);
        // A basket with a plan that is not listed costs more than the bound and the slack together; once the
        // slack is the whole gap, that is no less than the incumbent.
        let beyond = if part < 1.0 { ceiling(value.bound + slack) } else { i64::MAX };
        proven = found.min(beyond).max(proven);
    }
    (proven.min(incumbent.ticks()), fits)
}

/// The least whole number of ticks that is not below a bound, rounding aside.
pub(super) fn ceiling(bound: f64) -> i64 {
    rust_decimal::prelude::ToPrimitive::to_i64(&(bound - SLACK).ceil()).unwrap_or(i64::MAX)
}

fn lists(
    model: &Model,
    graphs: &[Covers],
    allowed: &[Allowed],
    point: &Point,
    slack: f64,
    work: &mut Work,
) -> Option<Vec<Vec<Plan>>> {
    let mut weight = Vec::new();
    weights(&point.pressure, allowed, &mut weight);
    let (mut lists, mut room) = (Vec::with_capacity(graphs.len()), MOST_PLANS);
    for (product, graph) in graphs.iter().enumerate() {
        let plans = graph.plans(model, prices(point, &weight, product), slack, room)?;
        work.spend(graph.arcs() + 8 * plans.len());
        room -= plans.len();
        lists.push(plans);
    }
    Some(lists)
}

/// A threshold some open supplier must reach.
struct Target {
    supplier: usize,
    ticks: i64,
    threshold: f64,
    /// Packs beyond every need may pay, to reach the threshold.
    tops_up: bool,
}

/// A plan with what it adds towards each target.
struct Listed {
    plan: Plan,
    ticks: f64,
    towards: Vec<f64>,
}

struct Search<'a> {
    model: &'a Model,
    /// Freight of all orders, paid whatever is bought.
    freight: f64,
    targets: Vec<Target>,
    lists: Vec<Vec<Listed>>,
    incumbent: &'a mut Incumbent,
    work: &'a mut Work,
}

/// The relaxation over lists: bound, the plan chosen for each product, and what they add to each target.
struct Relaxed {
    bound: f64,
    chosen: Vec<usize>,
    towards: Vec<f64>,
    /// Price of each product's chosen plan.
    price: Vec<f64>,
}

impl<'a> Search<'a> {
    fn new(
        model: &'a Model,
        allowed: &[Allowed],
        lists: Vec<Vec<Plan>>,
        point: &Point,
        slack: f64,
        incumbent: &'a mut Incumbent,
        work: &'a mut Work,
    ) -> Self {
        let (mut freight, mut targets) = (0.0, Vec::new());
        for (supplier, (modes, allowed)) in model.modes.iter().zip(allowed).enumerate() {
            for (_, mode) in modes.iter().enumerate().filter(|(index, _)| allowed.mode(*index)) {
                freight += real(mode.freight);
                if mode.threshold > 0 {
                    // A step that alone is priced above the slack is part of no basket sought here.
                    let step = (1.0 - point.pressure[supplier]) * real(model.least_step[supplier]);
                    targets.push(Target {
                        supplier,
                        ticks: mode.threshold,
                        threshold: real(mode.threshold),
                        tops_up: step <= slack,
                    });
                }
            }
        }
        let listed = |plan: Plan| {
            let mut towards = vec![0.0; targets.len()];
            for &(offer, packs) in &plan.packs {
                let offer = &model.offers[offer];
                for (sum, target) in towards.iter_mut().zip(&targets) {
                    if target.supplier == offer.supplier {
                        *sum += real(offer.cost(packs));
                    }
                }
            }
            Listed { ticks: real(plan.ticks), plan, towards }
        };
        let lists = lists
            .into_iter()
            .map(|plans| undominated(plans.into_iter().map(listed).collect(), &targets, model, work))
            .collect();
        Self { model, freight, targets, lists, incumbent, work }
    }

    /// A bound on the baskets made of these plans that is exact when the search was not cut short.
    fn node(&mut self, mut open: Vec<Vec<usize>>, mut pressure: Vec<f64>, depth: usize) -> i64 {
        if self.out_of_reach(&open) {
            return i64::MAX;
        }
        let rounds = if depth == 0 { 80 } else { 16 };
        let relaxed = self.press(&open, &mut pressure, rounds);
        let limit = real(self.incumbent.ticks()) - 1.0 + SLACK;
        if relaxed.bound > limit {
            return i64::MAX;
        }
        if self.work.exhausted() || depth >= DEEPEST {
            return ceiling(relaxed.bound);
        }
        for ((product, open), price) in open.iter_mut().enumerate().zip(&relaxed.price) {
            let plans = &self.lists[product];
            let room = limit - relaxed.bound;
            open.retain(|index| priced(&plans[*index], &pressure) - price <= room);
        }
        let Some(product) = self.widest(&open, &pressure) else {
            return self.finish(&open, relaxed.bound);
        };
        let mut children = open[product].clone();
        let key = |index: &usize| priced(&self.lists[product][*index], &pressure);
        children.sort_by(|a, b| key(a).total_cmp(&key(b)).then(a.cmp(b)));
        let mut bound = i64::MAX;
        for child in children {
            let mut open = open.clone();
            open[product] = vec![child];
            bound = bound.min(self.node(open, pressure.clone(), depth + 1));
        }
        bound
    }

    /// One plan each: what is still short is topped up at least cost, supplier by supplier.
    fn finish(&mut self, open: &[Vec<usize>], bound: f64) -> i64 {
        let mut packs = vec![0; self.model.offers.len()];
        let mut total = self.freight;
        for (plans, open) in self.lists.iter().zip(open) {
            let Some(index) = open.first() else { return i64::MAX };
            total += plans[*index].ticks;
            for &(offer, taken) in &plans[*index].plan.packs {
                packs[offer] += taken;
            }
        }
        for target in &self.targets {
            let limit = self.incumbent.ticks().saturating_sub(ceiling(total));
            match top_up_exactly(self.model, target.supplier, target.ticks, limit, &mut packs, self.work) {
                TopUp::Added(ticks) => total += real(ticks),
                TopUp::OutOfReach => return i64::MAX,
                TopUp::TooLarge => return ceiling(bound),
            }
        }
        self.incumbent.offer(self.model, &packs);
        i64::MAX
    }

    /// Some target stays out of reach whatever is chosen.
    fn out_of_reach(&self, open: &[Vec<usize>]) -> bool {
        let strict = (0..self.targets.len()).filter(|target| !self.targets[*target].tops_up);
        strict.into_iter().any(|target| {
            let most: f64 = open
                .iter()
                .zip(&self.lists)
                .map(|(open, plans)| open.iter().map(|i| plans[*i].towards[target]).fold(0.0, f64::max))
                .sum();
            most < self.targets[target].threshold
        })
    }

    fn relax(&mut self, open: &[Vec<usize>], pressure: &[f64]) -> Relaxed {
        let mut relaxed = Relaxed {
            bound: self.freight,
            chosen: Vec::with_capacity(open.len()),
            towards: vec![0.0; self.targets.len()],
            price: Vec::with_capacity(open.len()),
        };
        for (target, pressure) in self.targets.iter().zip(pressure) {
            relaxed.bound += pressure * target.threshold;
        }
        let mut steps = 0;
        for (plans, open) in self.lists.iter().zip(open) {
            steps += open.len();
            let cheapest = open
                .iter()
                .map(|index| (priced(&plans[*index], pressure), *index))
                .min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            let Some((price, index)) = cheapest else { continue };
            relaxed.bound += price;
            relaxed.price.push(price);
            relaxed.chosen.push(index);
            for (sum, more) in relaxed.towards.iter_mut().zip(&plans[index].towards) {
                *sum += more;
            }
        }
        self.work.spend(steps * (1 + self.targets.len()));
        relaxed
    }

    /// Sets the pressures by subgradient steps, leaving the best; offers what it meets.
    fn press(&mut self, open: &[Vec<usize>], pressure: &mut Vec<f64>, rounds: usize) -> Relaxed {
        let mut relaxed = self.relax(open, pressure);
        let mut best = (pressure.clone(), relaxed.bound);
        let (mut length, mut stale) = (1.0, 0);
        for round in 0..rounds {
            if round % 4 == 0 {
                self.mend(open, &relaxed);
            }
            let goal = real(self.incumbent.ticks());
            if best.1 > goal - 1.0 + SLACK {
                break;
            }
            let mut slope: Vec<f64> = self
                .targets
                .iter()
                .zip(&relaxed.towards)
                .map(|(target, towards)| 1.0 - towards / target.threshold)
                .collect();
            for (slope, pressure) in slope.iter_mut().zip(pressure.iter()) {
                if (*slope < 0.0 && *pressure <= 0.0) || (*slope > 0.0 && *pressure >= 1.0) {
                    *slope = 0.0;
                }
            }
            let norm: f64 = slope.iter().map(|slope| slope * slope).sum();
            if norm <= 0.0 {
                break;
            }
            let gap = (goal - best.1).min(0.01 * best.1.abs() + 1.0) + best.1 - relaxed.bound;
            let along = length * gap / norm;
            for ((pressure, slope), target) in pressure.iter_mut().zip(&slope).zip(&self.targets) {
                *pressure = (*pressure + along * slope / target.threshold).clamp(0.0, 1.0);
            }
            relaxed = self.relax(open, pressure);
            if relaxed.bound > best.1 {
                best = (pressure.clone(), relaxed.bound);
                stale = 0;
            } else {
                stale += 1;
                if stale >= 4 {
                    stale = 0;
                    length *= 0.5;
                    pressure.clone_from(&best.0);
                    relaxed = self.relax(open, pressure);
                }
            }
        }
        pressure.clone_from(&best.0);
        let relaxed = self.relax(open, pressure);
        self.mend(open, &relaxed);
        relaxed
    }

    /// Swaps single plans until every target is reached, then for as long as a swap saves; offers the result.
    fn mend(&mut self, open: &[Vec<usize>], relaxed: &Relaxed) {
        let mut chosen = relaxed.chosen.clone();
        let mut towards = relaxed.towards.clone();
        for _ in 0..4 * (self.targets.len() + 2) {
            self.work.spend(open.iter().map(Vec::len).sum::<usize>() * 2 * (1 + self.targets.len()));
            let Some((product, index)) = self.best_swap(open, &chosen, &towards) else { break };
            let (before, after) = (&self.lists[product][chosen[product]], &self.lists[product][index]);
            for ((sum, less), more) in towards.iter_mut().zip(&before.towards).zip(&after.towards) {
                *sum += more - less;
            }
            chosen[product] = index;
        }
        let mut packs = vec![0; self.model.offers.len()];
        for (plans, index) in self.lists.iter().zip(&chosen) {
            for &(offer, taken) in &plans[*index].plan.packs {
                packs[offer] += taken;
            }
        }
        self.incumbent.offer_mended(self.model, packs);
        self.work.spend(2 * self.model.offers.len());
    }

    /// The swap that leaves least short and, of those, costs least; none when no swap is better than staying.
    fn best_swap(&self, open: &[Vec<usize>], chosen: &[usize], towards: &[f64]) -> Option<(usize, usize)> {
        let short = |less: &[f64], more: &[f64]| -> f64 {
            let mut sum = 0.0;
            for (((target, towards), less), more) in self.targets.iter().zip(towards).zip(less).zip(more) {
                sum += (target.threshold - (towards - less + more)).max(0.0);
            }
            sum
        };
        let none = vec![0.0; towards.len()];
        let mut best: (f64, f64) = (short(&none, &none), 0.0);
        let mut swap = None;
        for (product, (plans, open)) in self.lists.iter().zip(open).enumerate() {
            let before = &plans[chosen[product]];
            for &index in open {
                let after = &plans[index];
                let candidate = (short(&before.towards, &after.towards), after.ticks - before.ticks);
                if candidate.0 < best.0 || (candidate.0 <= best.0 && candidate.1 < best.1) {
                    best = candidate;
                    swap = Some((product, index));
                }
            }
        }
        swap
    }

    /// The product whose open plans differ most in what they add to the pressed targets.
    fn widest(&self, open: &[Vec<usize>], pressure: &[f64]) -> Option<usize> {
        let spread = |product: usize| -> f64 {
            let plans = &self.lists[product];
            let pressed = |index: &usize| -> f64 {
                plans[*index]
                    .towards
                    .iter()
                    .zip(pressure)
                    .map(|(towards, pressure)| towards * if *pressure > 0.0 { 1.0 } else { 0.01 })
                    .sum::<f64>()
                    + 1e-6 * plans[*index].ticks
            };
            let values = || open[product].iter().map(pressed);
            values().fold(f64::NEG_INFINITY, f64::max) - values().fold(f64::INFINITY, f64::min)
        };
        (0..open.len())
            .filter(|product| open[*product].len() > 1)
            .map(|product| (spread(product), product))
            .max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)))
            .map(|(_, product)| product)
    }
}

/// Ticks of a plan less what the pressures credit it with.
fn priced(listed: &Listed, pressure: &[f64]) -> f64 {
    let credit: f64 = listed.towards.iter().zip(pressure).map(|(towards, pressure)| towards * pressure).sum();
    listed.ticks - credit
}

/// Drops plans that cost no less than another and add no more to any target.
fn undominated(mut plans: Vec<Listed>, targets: &[Target], model: &Model, work: &mut Work) -> Vec<Listed> {
    const COMPARED: usize = 2_000;
    plans.sort_by(|a, b| a.ticks.total_cmp(&b.ticks));
    // What can be added later depends on what is taken already, where anything is added at all.
    let grows = |listed: &Listed| -> Vec<(usize, u64)> {
        let taken = listed.plan.packs.iter().copied();
        taken
            .filter(|(offer, _)| {
                let supplier = model.offers[*offer].supplier;
                targets.iter().any(|target| target.tops_up && target.supplier == supplier)
            })
            .collect()
    };
    let mut kept: Vec<(Listed, Vec<(usize, u64)>)> = Vec::with_capacity(plans.len());
    for plan in plans {
        let growth = grows(&plan);
        let beaten = |(other, growing): &(Listed, Vec<(usize, u64)>)| {
            other.towards.iter().zip(&plan.towards).all(|(a, b)| a >= b) && *growing == growth
        };
        work.spend(kept.len().min(COMPARED));
        if kept.len() > COMPARED || !kept.iter().any(beaten) {
            kept.push((plan, growth));
        }
    }
    kept.into_iter().map(|(plan, _)| plan).collect()
}
