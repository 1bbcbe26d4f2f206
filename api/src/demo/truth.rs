//! What really happens, which the books can only estimate: bottles that give uneven doses, pads that
//! wear out, scales that err.

use super::chance::Chance;
use super::wares::{PadWare, ProductWare};
use rust_decimal::prelude::ToPrimitive;
use uuid::Uuid;

/// How bottles of one product differ, as a share of the dose.
const BETWEEN_BOTTLES: f64 = 0.12;
/// How one dose differs from the next of the same bottle and hand, as a share of it.
const BETWEEN_DOSES: f64 = 0.12;
/// How the dose of a bottle wanders from section to section, as a share of it.
const WANDER: f64 = 0.004;
/// How well a measuring cup is read, as a share.
const CUP: f64 = 0.04;
/// How full new bottles are, as a share of nominal: mean and spread.
const FILL: (f64, f64) = (1.0, 0.008);
/// How bottles of one kind differ in tare (g).
const TARE_SD_G: f64 = 0.5;
/// How a reading of the kitchen scale errs (g), before it is shown in whole grams.
const SCALE_SD_G: f64 = 0.9;

/// A bottle as it really is.
#[derive(Debug, Clone)]
pub(super) struct TrueBottle {
    pub(super) id: Uuid,
    pub(super) remaining_ml: f64,
    pub(super) nominal_ml: f64,
    pub(super) ml_per_dose: f64,
    card_tare_g: f64,
    tare_g: f64,
    density_g_per_ml: f64,
    /// Doses given, and the millilitres they really were.
    pub(super) given: (u32, f64),
}

impl TrueBottle {
    /// A full bottle of a product whose doses are `product_ml_per_dose` on average.
    pub(super) fn new(chance: &mut Chance, id: Uuid, ware: &ProductWare, product_ml_per_dose: f64) -> Self {
        let nominal_ml = f64::from(ware.nominal_ml);
        Self {
            id,
            remaining_ml: nominal_ml * chance.normal(FILL.0, FILL.1),
            nominal_ml,
            ml_per_dose: product_ml_per_dose * chance.normal(1.0, BETWEEN_BOTTLES).max(0.4),
            card_tare_g: f64::from(ware.tare_g),
            tare_g: f64::from(ware.tare_g) + chance.normal(0.0, TARE_SD_G),
            density_g_per_ml: ware.density_g_per_ml,
            given: (0, 0.0),
        }
    }

    /// Gives up to `count` doses in somebody's hand and answers how many came.
    pub(super) fn give(&mut self, chance: &mut Chance, count: u32, hand: f64) -> u32 {
        self.ml_per_dose *= chance.normal(1.0, WANDER);
        let one = self.ml_per_dose * hand;
        let n = f64::from(count);
        let wanted = (n * one + n.sqrt() * chance.normal(0.0, BETWEEN_DOSES * one)).max(0.2 * n * one);
        let came = if wanted <= self.remaining_ml {
            count
        } else {
            (n * self.remaining_ml / wanted).floor().to_u32().unwrap_or(0)
        };
        let ml = wanted.min(self.remaining_ml);
        self.remaining_ml -= ml;
        self.given = (self.given.0 + came, self.given.1 + ml);
        came
    }

    /// Pours a measured volume and answers what the cup showed; less when the bottle is emptied.
    pub(super) fn pour(&mut self, chance: &mut Chance, ml: f64) -> f64 {
        let truly = (ml * chance.normal(1.0, CUP)).max(0.0);
        if truly <= self.remaining_ml {
            self.remaining_ml -= truly;
            return ml;
        }
        let shown = ml * self.remaining_ml / truly;
        self.remaining_ml = 0.0;
        shown
    }

    pub(super) fn is_empty(&self) -> bool {
        self.remaining_ml <= 0.0
    }

    /// Heavier than this it cannot be, by what its card says: see the weigh-in's own check.
    pub(super) fn heaviest_g(&self) -> f64 {
        self.card_tare_g + 1.2 * self.nominal_ml * self.density_g_per_ml
    }

    /// What a scale in whole grams shows.
    pub(super) fn gross_g(&self, chance: &mut Chance) -> u32 {
        let g = self.tare_g + self.remaining_ml * self.density_g_per_ml + chance.normal(0.0, SCALE_SD_G);
        g.round().to_u32().unwrap_or(0)
    }
}

/// A pad as it really is.
#[derive(Debug, Clone)]
pub(super) struct TruePad {
    pub(super) id: Uuid,
    pub(super) cycles: u32,
    pub(super) since_wash: u32,
    /// Sections it lasts.
    life: f64,
    /// Swapped before it fails at this age, by a careful owner.
    swap_at: Option<u32>,
}

/// How a pad left service.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Leaves {
    Not,
    Failed,
    Swapped,
}

impl TruePad {
    pub(super) fn new(chance: &mut Chance, id: Uuid, ware: &PadWare) -> Self {
        let (scale, shape) = ware.life;
        let swap_at = chance.yes(0.25).then(|| (chance.between(0.5, 1.0) * scale).round().to_u32()).flatten();
        Self { id, cycles: 0, since_wash: 0, life: chance.weibull(scale, shape).max(2.0), swap_at }
    }

    /// One more section.
    pub(super) fn work(&mut self) -> Leaves {
        self.cycles += 1;
        self.since_wash += 1;
        if f64::from(self.cycles) >= self.life {
            Leaves::Failed
        } else if self.swap_at.is_some_and(|at| self.cycles >= at) {
            Leaves::Swapped
        } else {
            Leaves::Not
        }
    }
}
