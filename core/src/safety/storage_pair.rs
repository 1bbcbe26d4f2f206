//! Whether two products may stand together, by their storage groups.

use super::Provenance;
use super::data::storage_rules::{CONTAINER_RULES, PAIR_RULES};
use crate::CoreError;
use std::str::FromStr;

/// Products that behave alike in storage. Grouping trade products by chemistry is common practice, no
/// source; section 7 and 10 of the sheet decide where a product belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum StorageGroup {
    /// Mineral acid, non-oxidising: hydrochloric, phosphoric, sulfamic, dilute sulfuric.
    A1,
    /// Organic acid: oxalic, citric, acetic, glycolic.
    A2,
    /// Fluoride acid: hydrofluoric acid, ammonium bifluoride brighteners.
    A3,
    /// Oxidising acid: nitric, concentrated sulfuric.
    A4,
    /// Strong alkali: sodium or potassium hydroxide, metasilicate degreasers (pH 11.5 and up).
    B1,
    /// Ammonia and amines: ammonia solution, ethanolamine, amine-based glass cleaners.
    B2,
    /// Hypochlorite: bleach, mould remover.
    O1,
    /// Peroxide oxidiser: hydrogen peroxide, percarbonate, perborate.
    O2,
    /// Flammable oxygenated solvent: isopropyl alcohol, ethanol, acetone, acetates; panel wipe.
    F1,
    /// Hydrocarbon solvent: naphtha, mineral spirits, xylene, d-limonene; tar remover.
    F2,
    /// Combustible oil, wax or compound: mineral oil, wax, solvent-borne polish, used oily towels.
    C1,
    /// Reducing sulfur cleaner: thioglycolate iron-fallout remover.
    R1,
    /// Moisture-reactive coating: silazane or isocyanate-cured.
    W1,
    /// Aerosol or gas cylinder.
    P1,
    /// Neutral water-based product: shampoo, water-based polish (pH 6 to 8).
    N1,
}

impl StorageGroup {
    /// Every group, in the order of the chart.
    pub const ALL: [Self; 15] = [
        Self::A1,
        Self::A2,
        Self::A3,
        Self::A4,
        Self::B1,
        Self::B2,
        Self::O1,
        Self::O2,
        Self::F1,
        Self::F2,
        Self::C1,
        Self::R1,
        Self::W1,
        Self::P1,
        Self::N1,
    ];

    /// The code, e.g. `A1`.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::A1 => "A1",
            Self::A2 => "A2",
            Self::A3 => "A3",
            Self::A4 => "A4",
            Self::B1 => "B1",
            Self::B2 => "B2",
            Self::O1 => "O1",
            Self::O2 => "O2",
            Self::F1 => "F1",
            Self::F2 => "F2",
            Self::C1 => "C1",
            Self::R1 => "R1",
            Self::W1 => "W1",
            Self::P1 => "P1",
            Self::N1 => "N1",
        }
    }
}

impl FromStr for StorageGroup {
    type Err = CoreError;

    /// # Errors
    /// [`CoreError::Invalid`] when no group has that code.
    fn from_str(code: &str) -> Result<Self, CoreError> {
        Self::ALL.into_iter().find(|group| group.code() == code).ok_or(CoreError::Invalid {
            what: "storage group",
            rule: "must be one of A1 A2 A3 A4 B1 B2 O1 O2 F1 F2 C1 R1 W1 P1 N1",
        })
    }
}

/// What may happen when two groups meet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReactionHazard {
    /// Heat.
    Heat,
    /// Fire.
    Fire,
    /// Innocuous gas, or gas pressure.
    Gas,
    /// Toxic gas.
    ToxicGas,
    /// Flammable gas.
    FlammableGas,
    /// Explosion.
    Explosion,
    /// Violent polymerisation.
    Polymerisation,
}

impl ReactionHazard {
    /// The code of the chart, e.g. `GT`.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Heat => "H",
            Self::Fire => "F",
            Self::Gas => "G",
            Self::ToxicGas => "GT",
            Self::FlammableGas => "GF",
            Self::Explosion => "E",
            Self::Polymerisation => "P",
        }
    }
}

/// How two groups get on, the graver last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Verdict {
    /// No reaction listed in the sources used, which is no proof that there is none.
    Compatible,
    /// Keep apart where practicable.
    Caution,
    /// Never together.
    Incompatible,
}

impl Verdict {
    /// What to do, in a sentence's worth of words.
    #[must_use]
    pub const fn storage_action(self) -> &'static str {
        match self {
            Self::Compatible => {
                "no hazardous reaction listed between these groups in the sources used; the two sheets still rule"
            }
            Self::Caution => {
                "keep apart where practicable; separate trays; check section 7 and 10 of both sheets"
            }
            Self::Incompatible => {
                "separate secondary containment, never stacked one above the other, no shared spray bottle or funnel"
            }
        }
    }
}

/// The rule for one pair of groups.
#[derive(Debug, PartialEq, Eq)]
pub struct PairRule {
    /// Name of the rule, e.g. `R-A1-B1`.
    pub id: &'static str,
    /// The two groups, in chart order.
    pub groups: (StorageGroup, StorageGroup),
    /// The verdict.
    pub verdict: Verdict,
    /// What may happen.
    pub hazards: &'static [ReactionHazard],
    /// The same in words.
    pub consequence: &'static str,
    /// Where it is from.
    pub source: &'static str,
    /// How well it is founded.
    pub provenance: Provenance,
}

/// A container or a heap that does not suit a group.
#[derive(Debug, PartialEq, Eq)]
pub struct ContainerRule {
    /// Name of the rule, e.g. `M1`.
    pub id: &'static str,
    /// The group.
    pub group: StorageGroup,
    /// The container.
    pub container: &'static str,
    /// The verdict.
    pub verdict: Verdict,
    /// What may happen.
    pub consequence: &'static str,
    /// Where it is from.
    pub source: &'static str,
    /// How well it is founded.
    pub provenance: Provenance,
}

/// The rule for two groups, in either order.
///
/// # Source
/// EPA-600/2-80-076 (1980), compatibility chart; 40 CFR 264/265 Appendix V; the rest named beside each
/// row, with its footing.
///
/// # Caution
/// Storage and mixing are different questions: compatible on a shelf never means safe in one bottle.
/// Sections 7 and 10 of both sheets and the local fire code govern.
///
/// # Errors
/// [`CoreError::Invalid`] when the chart has no row for the pair, which a test rules out.
///
/// # Example
/// ```
/// use dropwise_core::safety::storage_pair::{StorageGroup, Verdict, storage_pair};
///
/// // Bleach beside an acid: chlorine.
/// assert_eq!(storage_pair(StorageGroup::O1, StorageGroup::A1)?.verdict, Verdict::Incompatible);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn storage_pair(a: StorageGroup, b: StorageGroup) -> Result<&'static PairRule, CoreError> {
    PAIR_RULES
        .iter()
        .find(|rule| rule.groups == (a, b) || rule.groups == (b, a))
        .ok_or(CoreError::Invalid { what: "storage pair", rule: "must be on the chart" })
}

/// Containers and heaps that do not suit a group.
pub fn container_rules(group: StorageGroup) -> impl Iterator<Item = &'static ContainerRule> {
    CONTAINER_RULES.iter().filter(move |rule| rule.group == group)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_chart_has_every_pair_once() {
        assert_eq!((PAIR_RULES.len(), CONTAINER_RULES.len()), (15 * 16 / 2, 8));
        for a in StorageGroup::ALL {
            for b in StorageGroup::ALL {
                let rows = PAIR_RULES.iter().filter(|rule| rule.groups == (a, b) || rule.groups == (b, a));
                assert_eq!(rows.count(), 1, "{a:?} and {b:?}");
            }
        }
    }

    #[test]
    fn a_row_is_named_after_its_groups_and_a_compatible_one_names_no_hazard() {
        for rule in PAIR_RULES {
            let (a, b) = rule.groups;
            assert_eq!(rule.id, format!("R-{}-{}", a.code(), b.code()));
            assert!(rule.verdict != Verdict::Compatible || rule.hazards.is_empty(), "{}", rule.id);
            assert!(rule.verdict != Verdict::Incompatible || !rule.hazards.is_empty(), "{}", rule.id);
        }
    }
}
