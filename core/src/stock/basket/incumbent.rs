//! The best basket so far, and how a relaxed choice of packs becomes a basket that keeps every rule.

use super::model::Model;
use super::top_up::{goods, ordered, top_up};

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
