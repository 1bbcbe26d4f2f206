//! How the invented fleet works: vehicle classes, recipes and what they are sold for. Areas, rates and
//! doses are common practice in order of magnitude, no source.

use crate::flows::cards::kinds::StageKind;

/// A size of vehicle: its name, its sections (m²) and what it adds to a price.
#[derive(Debug, Clone, Copy)]
pub(super) struct ClassPlan {
    pub(super) name: &'static str,
    pub(super) scale: f64,
    pub(super) price_factor: f64,
}

/// Sections of a middling car (m²), in the order they are worked.
pub(super) const SECTIONS: [(&str, f64); 11] = [
    ("hood_left", 0.80),
    ("hood_right", 0.80),
    ("fender_left", 0.55),
    ("door_front_left", 1.05),
    ("door_rear_left", 0.95),
    ("quarter_left", 0.85),
    ("trunk", 1.10),
    ("fender_right", 0.55),
    ("door_front_right", 1.05),
    ("roof", 1.60),
    ("pillars", 0.35),
];

/// Vehicle classes.
pub(super) const CLASSES: [ClassPlan; 4] = [
    ClassPlan { name: "Small hatchback", scale: 0.82, price_factor: 0.88 },
    ClassPlan { name: "Saloon", scale: 1.0, price_factor: 1.0 },
    ClassPlan { name: "Estate", scale: 1.14, price_factor: 1.12 },
    ClassPlan { name: "Tall wagon", scale: 1.36, price_factor: 1.3 },
];

/// One step: stage, product, pad model, ml per m², minutes per m², machine speed.
#[derive(Debug, Clone, Copy)]
pub(super) struct StepPlan {
    pub(super) what: StageKind,
    pub(super) product: &'static str,
    pub(super) pad: Option<&'static str>,
    pub(super) ml_per_m2: f64,
    pub(super) min_per_m2: f64,
}

const fn by_hand(what: StageKind, product: &'static str, ml_per_m2: f64, min_per_m2: f64) -> StepPlan {
    StepPlan { what, product, pad: None, ml_per_m2, min_per_m2 }
}

const fn with_pad(
    what: StageKind,
    product: &'static str,
    pad: &'static str,
    ml_per_m2: f64,
    min_per_m2: f64,
) -> StepPlan {
    StepPlan { what, product, pad: Some(pad), ml_per_m2, min_per_m2 }
}

/// A recipe and the service that sells it.
#[derive(Debug, Clone, Copy)]
pub(super) struct RecipePlan {
    pub(super) name: &'static str,
    pub(super) service: &'static str,
    pub(super) price_amount: f64,
    /// How often it is asked for.
    pub(super) share: f64,
    /// Whether it fills the day of one technician alone.
    pub(super) long: bool,
    pub(super) steps: &'static [StepPlan],
}

use StageKind::{Cutting, Finishing, Polishing, Preparation, Protection};

/// Recipes.
pub(super) const RECIPES: [RecipePlan; 4] = [
    RecipePlan {
        name: "Wash and seal",
        service: "Kerb wash with seal",
        price_amount: 165.0,
        share: 0.38,
        long: false,
        steps: &[
            by_hand(Preparation, "wash", 9.0, 2.6),
            by_hand(Preparation, "lube", 7.0, 2.0),
            by_hand(Protection, "spray", 5.0, 1.6),
            by_hand(Protection, "glass", 3.0, 0.8),
            by_hand(Protection, "trim", 0.35, 0.6),
        ],
    },
    RecipePlan {
        name: "One step",
        service: "One-step gloss",
        price_amount: 335.0,
        share: 0.32,
        long: false,
        steps: &[
            by_hand(Preparation, "wash", 9.0, 2.6),
            by_hand(Preparation, "iron", 8.0, 1.4),
            with_pad(Polishing, "polish", "foam", 3.0, 7.0),
            by_hand(Protection, "spray", 5.0, 1.6),
        ],
    },
    RecipePlan {
        name: "Two step",
        service: "Two-step correction",
        price_amount: 640.0,
        share: 0.21,
        long: true,
        steps: &[
            by_hand(Preparation, "wash", 9.0, 2.6),
            by_hand(Preparation, "iron", 8.0, 1.4),
            with_pad(Cutting, "medium", "fibre", 3.2, 8.5),
            with_pad(Polishing, "fine", "light", 2.6, 6.5),
            by_hand(Protection, "wipe", 5.0, 0.8),
            by_hand(Protection, "paste", 2.2, 2.4),
        ],
    },
    RecipePlan {
        name: "Three step",
        service: "Three-step restoration",
        price_amount: 980.0,
        share: 0.09,
        long: true,
        steps: &[
            by_hand(Preparation, "wash", 9.0, 2.6),
            by_hand(Preparation, "iron", 8.0, 1.4),
            by_hand(Preparation, "tar", 5.0, 1.2),
            with_pad(Cutting, "coarse", "wool", 3.6, 9.0),
            with_pad(Polishing, "polish", "foam", 2.8, 6.5),
            with_pad(Finishing, "finish", "soft", 2.2, 5.5),
            by_hand(Protection, "wipe", 5.0, 0.8),
            by_hand(Protection, "paste", 2.2, 2.4),
        ],
    },
];
