//! Packs beyond every need, bought only to bring a supplier's goods up to a threshold.

use super::dual::Work;
use super::model::Model;

/// The most words of memory an exact search may take.
const MOST_WORDS: usize = 4_000_000;

/// What an exact search for packs to add comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum TopUp {
    /// Done, by adding this many ticks, the least there is.
    Added(i64),
    /// Nothing within the limit reaches the threshold.
    OutOfReach,
    /// The tables would not fit.
    TooLarge,
}

/// Adds the packs of one supplier that bring its goods to the threshold at least cost, below a limit in ticks.
///
/// What extra packs cost is what they add to the goods, so the least sum of steps that is at least the
/// shortage is sought: one bit per sum that can be reached, offer by offer, then the way back.
pub(super) fn top_up_exactly(
    model: &Model,
    supplier: usize,
    threshold: i64,
    limit: i64,
    packs: &mut [u64],
    work: &mut Work,
) -> TopUp {
    let short = threshold - goods(model, supplier, packs);
    if short <= 0 {
        return TopUp::Added(0);
    }
    if limit <= short {
        return TopUp::OutOfReach;
    }
    let offers: Vec<usize> = of_supplier(model, supplier).collect();
    let Ok(bits) = usize::try_from(limit) else { return TopUp::TooLarge };
    let words = bits / 64 + 1;
    if words.saturating_mul(offers.len() + 1) > MOST_WORDS {
        return TopUp::TooLarge;
    }
    let mut layers = vec![Sums::zero(words)];
    for &offer in &offers {
        let before = layers.last().cloned().unwrap_or_else(|| Sums::zero(words));
        let mut after = before.clone();
        for (_, step) in steps(model, offer, packs_of(packs, offer), limit) {
            // Eight words in about the time of one step elsewhere.
            work.spend(words / 8 + 1);
            after.add_shifted(&before, step);
        }
        layers.push(after);
    }
    let reached = layers.last().and_then(|sums| sums.least_from(short, limit));
    let Some(total) = reached else { return TopUp::OutOfReach };
    let mut rest = total;
    for (&offer, before) in offers.iter().zip(&layers).rev() {
        if before.has(rest) {
            continue;
        }
        let found = steps(model, offer, packs_of(packs, offer), limit)
            .find(|(_, step)| rest.checked_sub(*step).is_some_and(|rest| before.has(rest)));
        if let (Some((more, step)), Some(slot)) = (found, packs.get_mut(offer)) {
            *slot = more;
            rest -= step;
        }
    }
    TopUp::Added(i64::try_from(total).unwrap_or(i64::MAX))
}

/// More packs of an offer, and what each number adds, for as long as it stays within the limit.
fn steps(model: &Model, offer: usize, now: u64, limit: i64) -> impl Iterator<Item = (u64, usize)> {
    let terms = model.offers.get(offer);
    let steady_from = terms.and_then(|offer| offer.tiers.last()).map_or(0, |(from, _)| *from);
    let cost = move |packs| terms.map_or(0, |offer| offer.cost(packs));
    (now + 1..=terms.map_or(now, |offer| offer.cap))
        .map(move |packs| (packs, cost(packs) - cost(now)))
        // In the last tier more packs only cost more.
        .take_while(move |(packs, step)| *packs < steady_from || *step <= limit)
        .filter(move |(_, step)| (1..=limit).contains(step))
        .filter_map(|(packs, step)| Some((packs, usize::try_from(step).ok()?)))
}

/// The sums that can be reached, one bit each.
#[derive(Debug, Clone)]
struct Sums(Vec<u64>);

impl Sums {
    fn zero(words: usize) -> Self {
        let mut sums = vec![0; words];
        if let Some(first) = sums.first_mut() {
            *first = 1;
        }
        Self(sums)
    }

    fn has(&self, sum: usize) -> bool {
        self.0.get(sum / 64).is_some_and(|word| word >> (sum % 64) & 1 == 1)
    }

    fn add_shifted(&mut self, other: &Self, by: usize) {
        let (whole, part) = (by / 64, by % 64);
        let mut carried = 0;
        for (word, from) in self.0.iter_mut().skip(whole).zip(&other.0) {
            *word |= from << part | carried;
            carried = if part == 0 { 0 } else { from >> (64 - part) };
        }
    }

    /// The least sum from one bound to below another.
    fn least_from(&self, least: i64, below: i64) -> Option<usize> {
        let (least, below) = (usize::try_from(least).ok()?, usize::try_from(below).ok()?);
        (least..below).find(|sum| self.has(*sum))
    }
}

fn packs_of(packs: &[u64], offer: usize) -> u64 {
    packs.get(offer).copied().unwrap_or(0)
}

fn of_supplier(model: &Model, supplier: usize) -> impl Iterator<Item = usize> {
    model.offers_from.get(supplier).into_iter().flatten().copied()
}

pub(super) fn ordered(model: &Model, supplier: usize, packs: &[u64]) -> bool {
    of_supplier(model, supplier).any(|offer| packs_of(packs, offer) > 0)
}

pub(super) fn goods(model: &Model, supplier: usize, packs: &[u64]) -> i64 {
    of_supplier(model, supplier)
        .filter_map(|offer| Some(model.offers.get(offer)?.cost(packs_of(packs, offer))))
        .sum()
}

/// Adds packs of one supplier until its goods reach the threshold, each time the offer that passes it by
/// least, or else the one that comes nearest. False when there is not enough to be had.
pub(super) fn top_up(model: &Model, supplier: usize, threshold: i64, packs: &mut [u64]) -> bool {
    loop {
        let short = threshold - goods(model, supplier, packs);
        if short <= 0 {
            return true;
        }
        let reaching = of_supplier(model, supplier)
            .filter_map(|offer| {
                let (more, ticks) = reaching(model, offer, packs_of(packs, offer), short)?;
                Some((ticks, offer, more))
            })
            .min();
        let nearest = || {
            of_supplier(model, supplier)
                .filter_map(|offer| {
                    let terms = model.offers.get(offer)?;
                    let now = packs_of(packs, offer);
                    let gained = terms.cost(terms.cap) - terms.cost(now);
                    (terms.cap > now && gained > 0).then_some((-gained, offer, terms.cap))
                })
                .min()
        };
        let Some((_, offer, more)) = reaching.or_else(nearest) else { return false };
        if let Some(slot) = packs.get_mut(offer) {
            *slot = more;
        }
    }
}

/// The number of packs of an offer, above the present one, that costs least while costing at least `short`
/// more than now; and what it adds.
fn reaching(model: &Model, offer: usize, now: u64, short: i64) -> Option<(u64, i64)> {
    let offer = model.offers.get(offer)?;
    let goal = offer.cost(now).checked_add(short)?;
    let ends = offer.tiers.iter().skip(1).map(|(from, _)| from - 1).chain([offer.cap]);
    offer
        .tiers
        .iter()
        .zip(ends)
        .filter(|((_, price), _)| *price > 0)
        .filter_map(|((from, price), end)| {
            let enough = u64::try_from(goal.checked_add(price - 1)? / price).ok()?;
            let packs = enough.max(*from).max(now + 1);
            (packs <= end).then(|| (packs, offer.cost(packs) - offer.cost(now)))
        })
        .min_by_key(|(packs, ticks)| (*ticks, *packs))
}
