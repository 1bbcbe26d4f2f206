//! Invented markets: products, suppliers and offers of any size, the same for the same seed.

use dropwise_core::Decimal;
use dropwise_core::stock::basket::{BasketProblem, Offer, PriceTier, SupplierTerms};

/// Whole numbers by the `SplitMix64` generator.
pub(super) struct Dice(pub u64);

impl Dice {
    /// From low to high, both included.
    pub(super) fn roll(&mut self, low: u64, high: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        low + (z ^ (z >> 31)) % (high - low + 1)
    }

    /// An index of a list of this length.
    fn below(&mut self, length: usize) -> usize {
        let last = u64::try_from(length).unwrap_or(1).max(1) - 1;
        usize::try_from(self.roll(0, last)).unwrap_or(0)
    }

    /// True so many times in a hundred.
    pub(super) fn chance(&mut self, percent: u64) -> bool {
        self.roll(1, 100) <= percent
    }
}

fn cents(n: u64) -> Decimal {
    Decimal::new(i64::try_from(n).unwrap_or(0), 2)
}

/// A market in the manner of the check values; `strain` scales minimum orders and free-freight thresholds.
pub(super) fn market(seed: u64, products: usize, suppliers: usize, strain: u64) -> BasketProblem {
    let mut dice = Dice(seed);
    let terms = (0..suppliers)
        .map(|_| SupplierTerms {
            minimum_order_value: cents(dice.roll(0, 5) * 2_500 * strain),
            freight_charge: cents(dice.roll(0, 2_400)),
            free_freight_from: dice.chance(70).then(|| cents(dice.roll(3, 16) * 2_500 * strain)),
        })
        .collect();
    let mut needs = Vec::new();
    let mut offers = Vec::new();
    for product in 0..products {
        needs.push(dice.roll(1, 13));
        let unit_price = dice.roll(100, 1_200);
        let sure = dice.below(suppliers);
        for supplier in 0..suppliers {
            if supplier == sure || dice.chance(60) {
                offers.push(offer(&mut dice, product, supplier, unit_price));
            }
        }
    }
    BasketProblem { needs, suppliers: terms, offers }
}

fn offer(dice: &mut Dice, product: usize, supplier: usize, unit_price: u64) -> Offer {
    let sizes = [1, 1, 1, 2, 3, 4, 5, 6, 10, 12];
    let size = sizes.get(dice.below(sizes.len())).copied().unwrap_or(1);
    let mut price = (unit_price * size * dice.roll(88, 112) / 100).max(1);
    let mut price_tiers = vec![PriceTier { from_packs: 1, pack_price: cents(price) }];
    let mut from_packs = 1;
    for _ in 0..dice.roll(0, 2) {
        from_packs += dice.roll(1, 4);
        price = (price * dice.roll(88, 97) / 100).max(1);
        price_tiers.push(PriceTier { from_packs, pack_price: cents(price) });
    }
    let max_packs = dice.chance(8).then(|| dice.roll(1, 6));
    Offer { product, supplier, pack_size_units: size, price_tiers, max_packs }
}
