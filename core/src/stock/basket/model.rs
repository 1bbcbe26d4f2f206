//! The basket in whole ticks: offers with their useful pack counts, suppliers with their modes.

use super::{BasketProblem, Offer, SupplierTerms};
use crate::CoreError;
use crate::stock::numbers::exact_not_negative;
use crate::stock::ticks::{LARGEST, Ticks};

/// One way to order from a supplier.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Mode {
    /// Ticks per order.
    pub(super) freight: i64,
    /// Ticks of goods the order must reach.
    pub(super) threshold: i64,
}

/// One offer.
#[derive(Debug, Clone)]
pub(super) struct OfferModel {
    pub(super) product: usize,
    pub(super) supplier: usize,
    /// Units in a pack.
    pub(super) size: u64,
    /// First number of packs and price in ticks of each tier, in rising order.
    pub(super) tiers: Vec<(u64, i64)>,
    /// More packs than this are never of use: they cover the need, reach the last tier and every threshold.
    pub(super) cap: u64,
}

impl OfferModel {
    /// Ticks for this many packs, at most the cap.
    pub(super) fn cost(&self, packs: u64) -> i64 {
        let price = self.tiers.iter().rev().find(|(from, _)| *from <= packs).map_or(0, |(_, price)| *price);
        price.saturating_mul(i64::try_from(packs).unwrap_or(i64::MAX))
    }

    /// Packs that cover this many units.
    pub(super) fn covering(&self, units: u64) -> u64 {
        units.div_ceil(self.size)
    }
}

/// Goods and freight of a basket, ticks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Cost {
    pub(super) goods: i64,
    pub(super) freight: i64,
}

/// The whole basket.
#[derive(Debug)]
pub(super) struct Model {
    pub(super) needs: Vec<u64>,
    /// One or two modes per supplier, the one with freight first.
    pub(super) modes: Vec<Vec<Mode>>,
    pub(super) offers: Vec<OfferModel>,
    /// Offers of each product, by index.
    pub(super) offers_of: Vec<Vec<usize>>,
    /// Offers of each supplier, by index.
    pub(super) offers_from: Vec<Vec<usize>>,
    /// No pack bought from a supplier beyond what is needed adds less than this to its goods, ticks.
    pub(super) least_step: Vec<i64>,
    /// No basket with useful pack counts costs more, ticks.
    pub(super) most: i64,
}

/// The most offers of one product: its plans are listed one offer inside another.
const MOST_OFFERS: usize = 300;

const OUT_OF_RANGE: CoreError = CoreError::OutOfRange { what: "total cost" };

impl Model {
    pub(super) fn new(problem: &BasketProblem, ticks: Ticks) -> Result<Self, CoreError> {
        let modes: Vec<Vec<Mode>> =
            problem.suppliers.iter().map(|terms| modes(terms, ticks)).collect::<Result<_, _>>()?;
        let mut offers_of = vec![Vec::new(); problem.needs.len()];
        let mut offers_from = vec![Vec::new(); modes.len()];
        let mut offers = Vec::with_capacity(problem.offers.len());
        let mut most: i64 = modes.iter().flatten().map(|mode| mode.freight.max(mode.threshold)).sum();
        for (index, offer) in problem.offers.iter().enumerate() {
            let checked = offer_model(offer, &problem.needs, &modes, ticks)?;
            let dearest = checked.tiers.iter().map(|(_, price)| *price).max().unwrap_or(0);
            let all = i64::try_from(checked.cap).ok().and_then(|cap| cap.checked_mul(dearest));
            most = all.and_then(|all| most.checked_add(all)).ok_or(OUT_OF_RANGE)?;
            if let Some(offers) = offers_of.get_mut(checked.product) {
                offers.push(index);
            }
            if let Some(offers) = offers_from.get_mut(checked.supplier) {
                offers.push(index);
            }
            offers.push(checked);
        }
        if offers_of.iter().any(|of| of.len() > MOST_OFFERS) {
            return Err(CoreError::Invalid { what: "offers of one product", rule: "must be at most 300" });
        }
        // Sums stay exact in doubles below this.
        if most > LARGEST {
            return Err(OUT_OF_RANGE);
        }
        let least_step = offers_from
            .iter()
            .map(|of| {
                of.iter().filter_map(|index| offers.get(*index)).map(least_step).min().unwrap_or(i64::MAX)
            })
            .collect();
        Ok(Self { needs: problem.needs.clone(), modes, offers, offers_of, offers_from, least_step, most })
    }

    /// What these packs cost by the suppliers' own rules; none when a need or a minimum is not met.
    pub(super) fn cost(&self, packs: &[u64]) -> Option<Cost> {
        let mut goods = vec![0_i64; self.modes.len()];
        let mut open = vec![false; self.modes.len()];
        let mut units = vec![0_u64; self.needs.len()];
        for (offer, packs) in self.offers.iter().zip(packs.iter().copied()).filter(|(_, packs)| *packs > 0) {
            *goods.get_mut(offer.supplier)? += offer.cost(packs);
            *open.get_mut(offer.supplier)? = true;
            let units = units.get_mut(offer.product)?;
            *units = units.saturating_add(packs.saturating_mul(offer.size));
        }
        if units.iter().zip(&self.needs).any(|(units, need)| units < need) {
            return None;
        }
        let mut freight = 0;
        for ((modes, goods), _) in self.modes.iter().zip(&goods).zip(&open).filter(|(_, open)| **open) {
            freight += modes.iter().filter(|mode| mode.threshold <= *goods).map(|mode| mode.freight).min()?;
        }
        Some(Cost { goods: goods.iter().sum(), freight })
    }
}

/// A free mode only where it can save something; the one with freight only where the free one needs more.
fn modes(terms: &SupplierTerms, ticks: Ticks) -> Result<Vec<Mode>, CoreError> {
    let amount = |value, what| exact_not_negative(value, what).and_then(|value| ticks.count(value));
    let minimum = amount(terms.minimum_order_value, "minimum order value")?;
    let freight = amount(terms.freight_charge, "freight charge")?;
    let free_from = terms.free_freight_from.map(|from| amount(from, "free freight threshold")).transpose()?;
    let paid = Mode { freight, threshold: minimum };
    Ok(match free_from {
        Some(from) if from <= minimum => vec![Mode { freight: 0, threshold: minimum }],
        Some(from) if freight > 0 => vec![paid, Mode { freight: 0, threshold: from }],
        Some(_) | None => vec![paid],
    })
}

fn offer_model(
    offer: &Offer,
    needs: &[u64],
    modes: &[Vec<Mode>],
    ticks: Ticks,
) -> Result<OfferModel, CoreError> {
    let (Some(need), Some(modes)) = (needs.get(offer.product), modes.get(offer.supplier)) else {
        return Err(CoreError::Invalid { what: "offer", rule: "must name a product and supplier listed" });
    };
    if offer.pack_size_units == 0 {
        return Err(CoreError::Invalid { what: "pack size", rule: "must be at least one unit" });
    }
    let rises = offer.price_tiers.is_sorted_by(|a, b| a.from_packs < b.from_packs);
    if offer.price_tiers.first().is_none_or(|tier| tier.from_packs != 1) || !rises {
        return Err(CoreError::Invalid { what: "price tiers", rule: "must start at one pack and rise" });
    }
    let mut tiers = Vec::with_capacity(offer.price_tiers.len());
    for tier in &offer.price_tiers {
        let price = exact_not_negative(tier.pack_price, "pack price")?;
        tiers.push((tier.from_packs, ticks.count(price)?));
    }
    let (last_from, last_price) = tiers.last().copied().unwrap_or((1, 0));
    let threshold = modes.iter().map(|mode| mode.threshold).max().unwrap_or(0);
    // Without a price, no number of packs reaches a threshold.
    let reaching = if last_price > 0 { threshold / last_price + 1 } else { 0 };
    let useful =
        need.div_ceil(offer.pack_size_units).max(last_from).max(u64::try_from(reaching).unwrap_or(u64::MAX));
    let cap = useful.min(offer.max_packs.unwrap_or(u64::MAX));
    tiers.retain(|(from, _)| *from <= cap);
    Ok(OfferModel {
        product: offer.product,
        supplier: offer.supplier,
        size: offer.pack_size_units,
        tiers,
        cap,
    })
}

/// The least that more packs can add to the cost of fewer, where they add anything: a price within a tier, or
/// less where a break makes up for most of it.
fn least_step(offer: &OfferModel) -> i64 {
    const LONGEST: u64 = 500;
    let mut least = offer.tiers.iter().map(|(_, price)| *price).filter(|price| *price > 0).min();
    for (index, (from, _)) in offer.tiers.iter().enumerate() {
        for (later_from, later_price) in offer.tiers.iter().skip(index + 1).filter(|(_, price)| *price > 0) {
            if later_from - from > LONGEST {
                return 1;
            }
            for packs in *from..*later_from {
                let before = offer.cost(packs);
                let beyond = u64::try_from(before / later_price + 1).unwrap_or(u64::MAX).max(*later_from);
                let step = later_price.saturating_mul(i64::try_from(beyond).unwrap_or(i64::MAX)) - before;
                least = Some(least.map_or(step, |least| least.min(step)));
            }
        }
    }
    least.unwrap_or(i64::MAX)
}
