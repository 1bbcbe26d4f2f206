//! What a diluted, ready-to-use product may do to skin and eyes, from its ingredients.

use super::hazard_statements::{self, HazardStatement};
use super::pictograms::{Jurisdiction, LabelElements, label_elements};
pub use super::skin_eye::{EyeClass, SkinClass, SkinEye};
use crate::CoreError;
use rust_decimal::{Decimal, RoundingStrategy, dec};

/// One ingredient of the concentrate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ingredient {
    /// Percent by mass in the concentrate; of a range, its upper end.
    pub pct_w_w: Decimal,
    /// Its own classes.
    pub class: SkinEye,
    /// Whether it goes by the sums; false for strong acids and bases, inorganic salts, aldehydes,
    /// phenols and some surfactants.
    pub additive: bool,
    /// The neat ingredient has a pH of at most 2 or at least 11.5. Such a one never goes by the sums.
    pub extreme_ph: bool,
    /// Hydrofluoric acid or a bifluoride.
    pub fluoride: bool,
}

/// How the product is diluted, parts of concentrate to parts of water.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dilution {
    /// Parts by mass.
    Mass {
        /// Parts of concentrate.
        concentrate: Decimal,
        /// Parts of water.
        water: Decimal,
    },
    /// Parts by volume, with densities (g/ml).
    Volume {
        /// Parts of concentrate.
        concentrate: Decimal,
        /// Parts of water.
        water: Decimal,
        /// Density of the concentrate.
        density_concentrate: Decimal,
        /// Density of the water; 1.000 unless measured.
        density_water: Decimal,
    },
}

/// What is known of the ready-to-use product itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct KnownOfProduct {
    /// Measured pH.
    pub ph: Option<Decimal>,
    /// Data show that an extreme pH has too little acid or alkali behind it to corrode.
    pub reserve_evidence_noncorrosive: bool,
    /// The class the supplier gives for the product as used; it governs.
    pub supplier_class: Option<SkinEye>,
}

/// Which step of the method settled the class.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Path {
    /// The supplier's class for the product as used.
    Supplier,
    /// An extreme pH.
    Ph,
    /// Ingredients that do not go by the sums.
    NonAdditive,
    /// The sums.
    Additive,
    /// Both gave a class; the graver stands.
    NonAdditiveAndAdditive,
    /// Nothing gave a class. That is no clearance.
    None,
}

/// Something to look at, whatever the class, in the order of their names.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Flag {
    /// A corrosive ingredient lies below the 1 % cut-off and may still count.
    CorrosiveBelowCutOff,
    /// A fluoride acid: systemic poisoning can follow from dilute solutions without warning pain.
    FluorideAcid,
    /// The pH is extreme, but data on acid or alkali reserve speak against corrosion.
    PhExtremeButReserveEvidence,
    /// The supplier's class was taken.
    SupplierGoverns,
}

impl Flag {
    /// Its name in results.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::CorrosiveBelowCutOff => "corrosive_below_cut_off_ask_supplier",
            Self::FluorideAcid => "fluoride_acid_never_show_as_unclassified",
            Self::PhExtremeButReserveEvidence => "ph_extreme_but_reserve_evidence",
            Self::SupplierGoverns => "supplier_governs",
        }
    }
}

/// The class of the diluted product, and how it came about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DilutedClass {
    /// The class.
    pub class: SkinEye,
    /// The step that settled it.
    pub path: Path,
    /// Percent by mass of each ingredient in the diluted product, in the order given, to four decimals half-even.
    pub rtu_pct: Vec<Decimal>,
    /// Hazard statements that follow.
    pub statements: Vec<&'static HazardStatement>,
    /// Pictograms and signal word that follow.
    pub label: LabelElements,
    /// What to look at besides.
    pub flags: Vec<Flag>,
}

/// Ingredients below this share (%) do not count.
const CUT_OFF_PCT: Decimal = dec!(1);

/// Class of a diluted product for skin and eyes.
///
/// # Method, in order
/// 1. The supplier's class for the product as used: taken, and nothing more is asked.
/// 2. pH at most 2 or at least 11.5: skin 1 and eye 1, unless data show too little acid or alkali reserve.
/// 3. Ingredients that do not go by sums: extreme pH, or corrosive, from 1 %: skin 1 (if skin 1), eye 1;
///    irritant, from 3 %: skin 2 (if skin 2), eye 2 (if eye 2).
/// 4. Sums over the others, from 1 % each.
/// 5. The graver of 3 and 4; what corrodes skin damages eyes.
///
/// # Formula
/// ```text
/// mass:    p' = p c / (c + w)           volume: p' = p c ρc / (c ρc + w ρw)
/// skin 1:  S1 >= 5 (1A when 1A >= 5; else 1B when 1A+1B >= 5; else 1C when 1A+1B+1C >= 5; else plain 1)
/// skin 2:  S1 >= 1, or S2 >= 10, or 10 S1 + S2 >= 10
/// eye 1:   S1 + E1 >= 3 (an ingredient that is both counts once)
/// eye 2:   S1 + E1 >= 1, or E2 >= 10, or 10 (S1 + E1) + E2 >= 10
/// p percent by mass in the concentrate, p' in the product   c, w parts of concentrate and water
/// ρ densities (g/ml)   S1, S2, E1, E2 sums of p' by skin and eye category
/// ```
/// The bounds are compared without dividing, so that a share of exactly 1 % counts as 1 %.
///
/// # Source
/// UN GHS tables 3.2.3, 3.2.4, 3.3.3, 3.3.4; 29 CFR 1910.1200 Appendix A.2, A.3; EU CLP Annex I 3.2, 3.3.
/// The 3 % for irritants outside the sums and parts of the eye table are from memory.
///
/// # Caution
/// The supplier's label and sheet for the product as used govern; this only warns, and never lowers a
/// class the supplier gives. Hidden ingredients make the answer a minimum. Not covered: flammability of
/// diluted solvents, acute toxicity, sensitisation, aspiration, aquatic hazards, limits set for single
/// substances. A diluted fluoride acid is never shown as unclassified: see [`Flag::FluorideAcid`].
///
/// # Errors
/// [`CoreError::Invalid`] when a percentage is outside 0 to 100, a part negative, nothing is mixed, a
/// density not above zero or a pH outside -2 to 16; [`CoreError::OutOfRange`] when a step does not fit.
///
/// # Example
/// ```
/// use dropwise_core::safety::dilution_class::*;
/// use rust_decimal::dec;
///
/// // 30 % of a surfactant that damages eyes, one part to nine of water: exactly 3 %.
/// let surfactant = Ingredient {
///     pct_w_w: dec!(30), class: SkinEye { skin: None, eye: Some(EyeClass::One) },
///     additive: true, extreme_ph: false, fluoride: false,
/// };
/// let one_to_nine = Dilution::Mass { concentrate: dec!(1), water: dec!(9) };
/// let answer = diluted_class(&[surfactant], one_to_nine, KnownOfProduct::default())?;
/// assert_eq!(answer.rtu_pct, [dec!(3)]);
/// assert_eq!(answer.class.eye, Some(EyeClass::One));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn diluted_class(
    ingredients: &[Ingredient],
    dilution: Dilution,
    known: KnownOfProduct,
) -> Result<DilutedClass, CoreError> {
    let mixture = Mixture::new(ingredients, dilution)?;
    let ph_is_extreme = extreme_ph(known.ph)?;
    let non_additive = mixture.non_additive_class()?;
    let additive = mixture.additive_class()?;
    let (class, path) = if let Some(supplier) = known.supplier_class {
        (supplier, Path::Supplier)
    } else if ph_is_extreme && !known.reserve_evidence_noncorrosive {
        (SkinEye::CORROSIVE, Path::Ph)
    } else {
        let path = match (non_additive.is_unclassified(), additive.is_unclassified()) {
            (true, true) => Path::None,
            (false, true) => Path::NonAdditive,
            (true, false) => Path::Additive,
            (false, false) => Path::NonAdditiveAndAdditive,
        };
        (non_additive.graver_of(additive), path)
    };
    let class = class.with_eye_following_skin();
    let statements = statements(class)?;
    let flags = [
        // Whoever made the product has already answered for it.
        (path != Path::Supplier && mixture.has_corrosive_below_cut_off()?)
            .then_some(Flag::CorrosiveBelowCutOff),
        ingredients.iter().any(|i| i.fluoride && i.pct_w_w > Decimal::ZERO).then_some(Flag::FluorideAcid),
        (path != Path::Supplier && ph_is_extreme && known.reserve_evidence_noncorrosive)
            .then_some(Flag::PhExtremeButReserveEvidence),
        (path == Path::Supplier).then_some(Flag::SupplierGoverns),
    ];
    Ok(DilutedClass {
        class,
        path,
        rtu_pct: mixture.rtu_pct()?,
        // Both jurisdictions agree on skin and eyes.
        label: label_elements(&statements, Jurisdiction::UnClp),
        statements,
        flags: flags.into_iter().flatten().collect(),
    })
}

fn extreme_ph(ph: Option<Decimal>) -> Result<bool, CoreError> {
    match ph {
        Some(ph) if ph < dec!(-2) || ph > dec!(16) => {
            Err(CoreError::Invalid { what: "pH", rule: "must lie between -2 and 16" })
        }
        Some(ph) => Ok(ph <= dec!(2) || ph >= dec!(11.5)),
        None => Ok(false),
    }
}

fn statements(class: SkinEye) -> Result<Vec<&'static HazardStatement>, CoreError> {
    let corrosive = class.skin.is_some_and(SkinClass::is_corrosive);
    let skin = class.skin.map(|skin| if skin.is_corrosive() { "H314" } else { "H315" });
    let eye = match class.eye {
        // Burnt skin and damaged eyes are one statement.
        Some(EyeClass::One) if corrosive => None,
        Some(EyeClass::One) => Some("H318"),
        Some(EyeClass::Two) => Some("H319"),
        None => None,
    };
    [skin, eye].into_iter().flatten().map(hazard_statements::find).collect()
}

const OUT: CoreError = CoreError::OutOfRange { what: "diluted share" };

/// The ingredients with their shares still undivided: a share p' is `pct * part / whole`, and
/// `p' >= bound` is asked as `pct * part >= bound * whole`.
struct Mixture<'a> {
    scaled: Vec<(&'a Ingredient, Decimal)>,
    whole: Decimal,
}

impl<'a> Mixture<'a> {
    fn new(ingredients: &'a [Ingredient], dilution: Dilution) -> Result<Self, CoreError> {
        let (part, water) = masses(dilution)?;
        let whole = part.checked_add(water).ok_or(OUT)?;
        if whole <= Decimal::ZERO {
            return Err(CoreError::Invalid { what: "parts mixed", rule: "must add up to more than zero" });
        }
        let mut scaled = Vec::with_capacity(ingredients.len());
        for ingredient in ingredients {
            if ingredient.pct_w_w < Decimal::ZERO || ingredient.pct_w_w > Decimal::ONE_HUNDRED {
                return Err(CoreError::Invalid {
                    what: "percent by mass",
                    rule: "must lie between 0 and 100",
                });
            }
            scaled.push((ingredient, ingredient.pct_w_w.checked_mul(part).ok_or(OUT)?));
        }
        Ok(Self { scaled, whole })
    }

    fn rtu_pct(&self) -> Result<Vec<Decimal>, CoreError> {
        let share = |scaled: Decimal| {
            let pct = scaled.checked_div(self.whole).ok_or(OUT)?;
            Ok(pct.round_dp_with_strategy(4, RoundingStrategy::MidpointNearestEven).normalize())
        };
        self.scaled.iter().map(|(_, scaled)| share(*scaled)).collect()
    }

    fn reaches(&self, scaled: Decimal, bound_pct: Decimal) -> Result<bool, CoreError> {
        Ok(scaled >= bound_pct.checked_mul(self.whole).ok_or(OUT)?)
    }

    fn has_corrosive_below_cut_off(&self) -> Result<bool, CoreError> {
        for (ingredient, scaled) in &self.scaled {
            let present = *scaled > Decimal::ZERO;
            if present && ingredient.class.is_corrosive() && !self.reaches(*scaled, CUT_OFF_PCT)? {
                return Ok(true);
            }
        }
        Ok(false)
    }

    fn non_additive_class(&self) -> Result<SkinEye, CoreError> {
        let mut class = SkinEye::default();
        for (ingredient, scaled) in &self.scaled {
            if ingredient.extreme_ph || !ingredient.additive {
                class = class.graver_of(self.class_of_one(ingredient, *scaled)?);
            }
        }
        Ok(class)
    }

    /// What one ingredient outside the sums does by itself.
    fn class_of_one(&self, ingredient: &Ingredient, scaled: Decimal) -> Result<SkinEye, CoreError> {
        let SkinEye { skin, eye } = ingredient.class;
        let mut class = SkinEye::default();
        if self.reaches(scaled, dec!(3))? {
            class.skin = skin.filter(|skin| !skin.is_corrosive());
            class.eye = eye.filter(|eye| *eye == EyeClass::Two);
        }
        if self.reaches(scaled, CUT_OFF_PCT)? {
            if ingredient.extreme_ph {
                class = SkinEye::CORROSIVE;
            } else if ingredient.class.is_corrosive() {
                // The sub-category of one ingredient is not that of the mixture.
                class.skin = skin.filter(|s| s.is_corrosive()).map(|_| SkinClass::One).or(class.skin);
                class.eye = Some(EyeClass::One);
            }
        }
        Ok(class)
    }

    fn additive_class(&self) -> Result<SkinEye, CoreError> {
        let sums = self.sums()?;
        let ten_times = |sum: Decimal, more: Decimal| {
            sum.checked_mul(Decimal::TEN).and_then(|ten| ten.checked_add(more)).ok_or(OUT)
        };
        let skin = if self.reaches(sums.skin_1, dec!(5))? {
            Some(self.sub_category(&sums)?)
        } else {
            let irritates = self.reaches(sums.skin_1, dec!(1))?
                || self.reaches(ten_times(sums.skin_1, sums.skin_2)?, dec!(10))?;
            irritates.then_some(SkinClass::Two)
        };
        let eye = if self.reaches(sums.skin_or_eye_1, dec!(3))? {
            Some(EyeClass::One)
        } else {
            let irritates = self.reaches(sums.skin_or_eye_1, dec!(1))?
                || self.reaches(ten_times(sums.skin_or_eye_1, sums.eye_2)?, dec!(10))?;
            irritates.then_some(EyeClass::Two)
        };
        Ok(SkinEye { skin, eye })
    }

    fn sub_category(&self, sums: &Sums) -> Result<SkinClass, CoreError> {
        let five = dec!(5);
        let up_to_b = sums.skin_1a.checked_add(sums.skin_1b).ok_or(OUT)?;
        let up_to_c = up_to_b.checked_add(sums.skin_1c).ok_or(OUT)?;
        Ok(if self.reaches(sums.skin_1a, five)? {
            SkinClass::OneA
        } else if self.reaches(up_to_b, five)? {
            SkinClass::OneB
        } else if self.reaches(up_to_c, five)? {
            SkinClass::OneC
        } else {
            SkinClass::One
        })
    }

    fn sums(&self) -> Result<Sums, CoreError> {
        let mut sums = Sums::default();
        for (ingredient, scaled) in &self.scaled {
            if ingredient.extreme_ph || !ingredient.additive || !self.reaches(*scaled, CUT_OFF_PCT)? {
                continue;
            }
            let SkinEye { skin, eye } = ingredient.class;
            let corrosive = skin.is_some_and(SkinClass::is_corrosive);
            for (sum, counts) in [
                (&mut sums.skin_1, corrosive),
                (&mut sums.skin_1a, skin == Some(SkinClass::OneA)),
                (&mut sums.skin_1b, skin == Some(SkinClass::OneB)),
                (&mut sums.skin_1c, skin == Some(SkinClass::OneC)),
                (&mut sums.skin_2, skin == Some(SkinClass::Two)),
                (&mut sums.skin_or_eye_1, corrosive || eye == Some(EyeClass::One)),
                (&mut sums.eye_2, eye == Some(EyeClass::Two)),
            ] {
                if counts {
                    *sum = sum.checked_add(*scaled).ok_or(OUT)?;
                }
            }
        }
        Ok(sums)
    }
}

/// Sums of undivided shares by category.
#[derive(Default)]
struct Sums {
    skin_1: Decimal,
    skin_1a: Decimal,
    skin_1b: Decimal,
    skin_1c: Decimal,
    skin_2: Decimal,
    skin_or_eye_1: Decimal,
    eye_2: Decimal,
}

/// Masses of concentrate and water in the mix, in one unit.
fn masses(dilution: Dilution) -> Result<(Decimal, Decimal), CoreError> {
    let (concentrate, water, densities) = match dilution {
        Dilution::Mass { concentrate, water } => (concentrate, water, None),
        Dilution::Volume { concentrate, water, density_concentrate, density_water } => {
            (concentrate, water, Some((density_concentrate, density_water)))
        }
    };
    if concentrate < Decimal::ZERO || water < Decimal::ZERO {
        return Err(CoreError::Invalid { what: "parts mixed", rule: "must not be negative" });
    }
    let Some((of_concentrate, of_water)) = densities else {
        return Ok((concentrate, water));
    };
    if of_concentrate <= Decimal::ZERO || of_water <= Decimal::ZERO {
        return Err(CoreError::Invalid { what: "density", rule: "must be above zero" });
    }
    let mass = |parts: Decimal, density: Decimal| parts.checked_mul(density).ok_or(OUT);
    Ok((mass(concentrate, of_concentrate)?, mass(water, of_water)?))
}

#[cfg(test)]
mod tests;
