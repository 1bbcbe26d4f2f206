//! What the invented fleet buys, holds and uses. No product of anybody's: makers and figures are made
//! up, in the orders of magnitude common in the trade (no source).

use crate::flows::cards::kinds::Dose;

/// A chemical.
#[derive(Debug, Clone, Copy)]
pub(super) struct ProductWare {
    pub(super) key: &'static str,
    pub(super) name: &'static str,
    pub(super) dose: Dose,
    pub(super) nominal_ml: u32,
    pub(super) tare_g: u32,
    pub(super) density_g_per_ml: f64,
    /// What the card says a dose is; none: nobody has written it down.
    pub(super) card_ml_per_dose: Option<f64>,
    /// What a dose is taken to be when reckoning how many to put down.
    pub(super) usual_ml_per_dose: f64,
    /// What a bottle costs.
    pub(super) bottle_amount: f64,
}

#[expect(clippy::too_many_arguments, reason = "one row of a table")]
const fn product(
    key: &'static str,
    name: &'static str,
    dose: Dose,
    nominal_ml: u32,
    tare_g: u32,
    density_g_per_ml: f64,
    card_ml_per_dose: Option<f64>,
    usual_ml_per_dose: f64,
    bottle_amount: f64,
) -> ProductWare {
    ProductWare {
        key,
        name,
        dose,
        nominal_ml,
        tare_g,
        density_g_per_ml,
        card_ml_per_dose,
        usual_ml_per_dose,
        bottle_amount,
    }
}

/// Chemicals. Two have no dose on their card: their first bottles start from the convention.
pub(super) const PRODUCTS: [ProductWare; 14] = [
    product("wash", "Fenlow rinse-free wash", Dose::Shot, 1000, 92, 1.02, Some(1.2), 1.2, 14.5),
    product("iron", "Fenlow iron remover", Dose::Shot, 500, 61, 1.06, Some(1.2), 1.2, 15.8),
    product("tar", "Fenlow tar remover", Dose::Shot, 500, 60, 0.83, None, 1.1, 13.9),
    product("lube", "Fenlow clay lubricant", Dose::Shot, 750, 70, 1.0, Some(1.2), 1.2, 12.4),
    product("coarse", "Dunmarrow 10 cutting compound", Dose::Drop, 500, 58, 1.16, Some(0.25), 0.25, 34.0),
    product("medium", "Dunmarrow 20 cutting compound", Dose::Drop, 500, 58, 1.13, Some(0.25), 0.25, 33.0),
    product("polish", "Dunmarrow 40 polish", Dose::Drop, 500, 57, 1.1, Some(0.22), 0.22, 31.0),
    product("fine", "Dunmarrow 60 fine polish", Dose::Drop, 500, 57, 1.08, Some(0.22), 0.22, 31.5),
    product("finish", "Dunmarrow 90 finishing polish", Dose::Drop, 250, 41, 1.05, Some(0.2), 0.2, 24.0),
    product("wipe", "Fenlow panel wipe", Dose::Shot, 500, 60, 0.81, Some(1.0), 1.0, 11.2),
    product("spray", "Osterby spray sealant", Dose::Shot, 500, 61, 1.0, Some(0.9), 0.9, 27.5),
    product("paste", "Osterby cream sealant", Dose::BeadCm, 250, 40, 0.97, Some(0.25), 0.25, 38.0),
    product("glass", "Fenlow glass cleaner", Dose::Shot, 500, 60, 0.98, Some(1.1), 1.1, 8.6),
    product("trim", "Osterby trim dressing", Dose::Drop, 100, 24, 0.95, None, 0.055, 18.5),
];

/// A supply, counted.
#[derive(Debug, Clone, Copy)]
pub(super) struct SupplyWare {
    pub(super) key: &'static str,
    pub(super) name: &'static str,
    pub(super) pack: u32,
    pub(super) pack_amount: f64,
    /// What a van holds when it is full.
    pub(super) van_holds: u32,
}

const fn supply(
    key: &'static str,
    name: &'static str,
    pack: u32,
    pack_amount: f64,
    van_holds: u32,
) -> SupplyWare {
    SupplyWare { key, name, pack, pack_amount, van_holds }
}

/// Supplies.
pub(super) const SUPPLIES: [SupplyWare; 6] = [
    supply("towel", "Microfibre towel", 100, 62.0, 160),
    supply("glove", "Nitrile gloves, pair", 100, 14.0, 60),
    supply("tape", "Masking tape, metre", 500, 19.0, 200),
    supply("applicator", "Foam applicator", 50, 21.0, 25),
    supply("clay", "Clay pad", 20, 58.0, 12),
    supply("swab", "Detail swab", 200, 9.5, 120),
];

/// A pad model.
#[derive(Debug, Clone, Copy)]
pub(super) struct PadWare {
    pub(super) key: &'static str,
    pub(super) name: &'static str,
    pub(super) diameter_cm: f64,
    /// What the card expects.
    pub(super) expected_cycles: u32,
    pub(super) wash_after_cycles: u32,
    pub(super) pad_amount: f64,
    /// The true law of its life (sections): scale and shape.
    pub(super) life: (f64, f64),
}

const fn pad(
    key: &'static str,
    name: &'static str,
    diameter_cm: f64,
    expected_cycles: u32,
    wash_after_cycles: u32,
    pad_amount: f64,
    life: (f64, f64),
) -> PadWare {
    PadWare { key, name, diameter_cm, expected_cycles, wash_after_cycles, pad_amount, life }
}

/// Pad models.
pub(super) const PADS: [PadWare; 6] = [
    pad("wool", "Harl wool cutting pad", 15.0, 90, 6, 19.0, (82.0, 2.6)),
    pad("fibre", "Harl microfibre cutting pad", 15.0, 80, 6, 15.5, (70.0, 2.2)),
    pad("foam", "Harl foam polishing pad", 15.0, 110, 8, 12.5, (128.0, 2.4)),
    pad("light", "Harl light polishing pad", 15.0, 110, 8, 12.5, (104.0, 2.8)),
    pad("soft", "Harl soft finishing pad", 15.0, 140, 10, 13.0, (150.0, 3.0)),
    pad("spot", "Harl spot pad", 8.0, 60, 5, 7.5, (48.0, 2.0)),
];
