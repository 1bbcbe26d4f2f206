//! The best basket so far, and how a relaxed choice of packs becomes a basket that keeps every rule.

use super::model::Model;

/// The cheapest basket found.
#[derive(Debug)]
pub(super) struct Incumbent {
    packs: Option<Vec<u64>>,
    /// Its cost, or one tick more than any basket can cost while there is none.
    ticks: i64,
}

impl Incumbent {
    pub(super) fn none(model: &Model) -> Self {
        Self { packs: None, ticks: model.most.saturating_add(1) }
    }

    /// What a better basket must cost less than, ticks.
    pub(super) const fn ticks(&self) -> i64 {
        self.ticks
    }

    pub(super) fn into_packs(self) -> Option<Vec<u64>> {
        self.packs
    }

    /// Keeps these packs if they are a basket and cheaper than the one so far.
    pub(super) fn offer(&mut self, model: &Model, packs: &[u64]) {
        let Some(cost) = model.cost(packs) else { return };
        let ticks = cost.goods + cost.freight;
        if ticks < self.ticks {
            self.ticks = ticks;
            self.packs = Some(packs.to_vec());
        }
    }

    /// Mends packs that cover every need so that orders reach their minimum, then keeps them if they are
    /// cheaper; also with orders filled up to free freight where that costs less than the freight.
    pub(super) fn offer_mended(&mut self, model: &Model, mut packs: Vec<u64>) {
        for (supplier, modes) in model.modes.iter().enumerate() {
            let minimum = modes.iter().map(|mode| mode.threshold).min().unwrap_or(0);
            if ordered(model, supplier, &packs) && !top_up(model, supplier, minimum, &mut packs) {
                return;
            }
        }
        for (supplier, modes) in model.modes.iter().enumerate() {
            let [paid, free] = modes.as_slice() else { continue };
            let short = free.threshold - goods(model, supplier, &packs);
            if ordered(model, supplier, &packs) && short > 0 && short < paid.freight {
                let mut filled = packs.clone();
                if top_up(model, supplier, free.threshold, &mut filled) {
                    self.offer(model, &filled);
                    if goods(model, supplier, &filled) - goods(model, supplier, &packs) < paid.freight {
                        packs = filled;
                    }
                }
            }
        }
        self.offer(model, &packs);
    }
}

fn packs_of(packs: &[u64], offer: usize) -> u64 {
    packs.get(offer).copied().unwrap_or(0)
}

fn of_supplier(model: &Model, supplier: usize) -> impl Iterator<Item = usize> {
    model.offers_from.get(supplier).into_iter().flatten().copied()
}

fn ordered(model: &Model, supplier: usize, packs: &[u64]) -> bool {
    of_supplier(model, supplier).any(|offer| packs_of(packs, offer) > 0)
}

fn goods(model: &Model, supplier: usize, packs: &[u64]) -> i64 {
    of_supplier(model, supplier)
        .filter_map(|offer| Some(model.offers.get(offer)?.cost(packs_of(packs, offer))))
        .sum()
}

/// Adds packs of one supplier until its goods reach the threshold, each time the offer that passes it by
/// least, or else the one that comes nearest. False when there is not enough to be had.
fn top_up(model: &Model, supplier: usize, threshold: i64, packs: &mut [u64]) -> bool {
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
