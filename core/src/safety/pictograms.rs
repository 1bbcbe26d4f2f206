//! Pictograms and the signal word of a set of hazards, after precedence.

use super::hazard_statements::{HazardGroup, HazardStatement};
use std::collections::BTreeSet;

/// A pictogram of the globally harmonised system.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Pictogram {
    /// Exploding bomb.
    Ghs01,
    /// Flame.
    Ghs02,
    /// Flame over circle.
    Ghs03,
    /// Gas cylinder.
    Ghs04,
    /// Corrosion.
    Ghs05,
    /// Skull and crossbones.
    Ghs06,
    /// Exclamation mark.
    Ghs07,
    /// Health hazard.
    Ghs08,
    /// Environment.
    Ghs09,
}

impl Pictogram {
    /// The code, e.g. `GHS05`.
    #[must_use]
    pub const fn code(self) -> &'static str {
        match self {
            Self::Ghs01 => "GHS01",
            Self::Ghs02 => "GHS02",
            Self::Ghs03 => "GHS03",
            Self::Ghs04 => "GHS04",
            Self::Ghs05 => "GHS05",
            Self::Ghs06 => "GHS06",
            Self::Ghs07 => "GHS07",
            Self::Ghs08 => "GHS08",
            Self::Ghs09 => "GHS09",
        }
    }

    /// The name in English.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Ghs01 => "Exploding bomb",
            Self::Ghs02 => "Flame",
            Self::Ghs03 => "Flame over circle",
            Self::Ghs04 => "Gas cylinder",
            Self::Ghs05 => "Corrosion",
            Self::Ghs06 => "Skull and crossbones",
            Self::Ghs07 => "Exclamation mark",
            Self::Ghs08 => "Health hazard",
            Self::Ghs09 => "Environment",
        }
    }
}

/// The one word on the label, the graver last.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum SignalWord {
    /// No signal word.
    Nothing,
    /// Warning.
    Warning,
    /// Danger.
    Danger,
}

impl SignalWord {
    /// The word as printed; `none` when there is none.
    #[must_use]
    pub const fn text(self) -> &'static str {
        match self {
            Self::Nothing => "none",
            Self::Warning => "Warning",
            Self::Danger => "Danger",
        }
    }
}

/// Whose precedence rules apply.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Jurisdiction {
    /// 29 CFR 1910.1200; environmental hazards are outside its scope and left out.
    Osha,
    /// UN GHS and EU CLP.
    UnClp,
}

/// A precedence rule that took the exclamation mark from one hazard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Precedence {
    /// The skull stands for the acute toxicity (OSHA).
    SkullForToxicity,
    /// The skull is shown (UN, EU).
    Skull,
    /// Corrosion stands for the irritation of skin or eyes.
    Corrosion,
    /// The health hazard sign for respiratory sensitisation stands for sensitisation and irritation of the skin, and irritation of the eyes.
    RespiratorySensitiser,
}

/// What goes on the label.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LabelElements {
    /// Pictograms in code order; empty when none is due.
    pub pictograms: BTreeSet<Pictogram>,
    /// The signal word.
    pub signal_word: SignalWord,
    /// Hazards whose exclamation mark gave way, and to what.
    pub gave_way: Vec<(&'static str, Precedence)>,
}

/// Pictograms and signal word for a set of hazards. Order and repeats do not matter; the set may be empty.
///
/// # Rules
/// - Danger before Warning.
/// - The exclamation mark (GHS07) gives way: OSHA, for acute toxicity beside the skull (GHS06); UN and
///   EU, altogether beside the skull; for skin and eye irritation beside corrosion (GHS05); for skin
///   sensitisation and irritation of skin and eyes where H334 is present.
/// - Under OSHA environmental hazards are left out (they may be shown voluntarily). Statements the
///   OSHA standard does not list otherwise are kept: leaving out a stated hazard is no service.
///
/// # Source
/// 29 CFR 1910.1200 Appendix C.2.1; UN GHS 1.4.10.5.3; EU CLP article 26(1) (from memory).
///
/// # Caution
/// The supplier's label governs. Symbols that merely become optional (GHS04 beside flame or skull) stay.
///
/// # Example
/// ```
/// use dropwise_core::safety::hazard_statements::find;
/// use dropwise_core::safety::pictograms::{Jurisdiction, Pictogram, SignalWord, label_elements};
///
/// // Corrosion speaks for the irritated skin, so no exclamation mark.
/// let label = label_elements(&[find("H318")?, find("H315")?], Jurisdiction::Osha);
/// assert_eq!(label.pictograms.into_iter().collect::<Vec<_>>(), [Pictogram::Ghs05]);
/// assert_eq!(label.signal_word, SignalWord::Danger);
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
#[must_use]
pub fn label_elements(hazards: &[&'static HazardStatement], jurisdiction: Jurisdiction) -> LabelElements {
    let in_scope = |hazard: &HazardStatement| {
        jurisdiction == Jurisdiction::UnClp || hazard.group != HazardGroup::Environmental
    };
    let hazards: Vec<&'static HazardStatement> = hazards.iter().copied().filter(|h| in_scope(h)).collect();
    let mut pictograms: BTreeSet<Pictogram> = hazards
        .iter()
        .flat_map(|hazard| hazard.pictograms)
        .copied()
        .filter(|p| *p != Pictogram::Ghs07)
        .collect();
    let shown = Shown {
        skull: pictograms.contains(&Pictogram::Ghs06),
        corrosion: pictograms.contains(&Pictogram::Ghs05),
        respiratory: hazards.iter().any(|hazard| stands_for(hazard, &["H334"])),
    };
    let mut gave_way = Vec::new();
    for hazard in hazards.iter().filter(|hazard| hazard.pictograms.contains(&Pictogram::Ghs07)) {
        match shown.outranks(hazard, jurisdiction) {
            Some(rule) if gave_way.contains(&(hazard.code, rule)) => {}
            Some(rule) => gave_way.push((hazard.code, rule)),
            None => {
                pictograms.insert(Pictogram::Ghs07);
            }
        }
    }
    let signal_word = hazards.iter().map(|hazard| hazard.signal_word).max().unwrap_or(SignalWord::Nothing);
    LabelElements { pictograms, signal_word, gave_way }
}

/// What else is on the label, as far as the exclamation mark minds.
struct Shown {
    skull: bool,
    corrosion: bool,
    respiratory: bool,
}

impl Shown {
    fn outranks(&self, hazard: &HazardStatement, jurisdiction: Jurisdiction) -> Option<Precedence> {
        let irritation = stands_for(hazard, &["H315", "H319"]);
        if self.skull && jurisdiction == Jurisdiction::UnClp {
            Some(Precedence::Skull)
        } else if self.skull && stands_for(hazard, &["H302", "H312", "H332"]) {
            Some(Precedence::SkullForToxicity)
        } else if self.corrosion && irritation {
            Some(Precedence::Corrosion)
        } else if self.respiratory && (irritation || stands_for(hazard, &["H317"])) {
            Some(Precedence::RespiratorySensitiser)
        } else {
            None
        }
    }
}

fn stands_for(hazard: &HazardStatement, codes: &[&str]) -> bool {
    hazard.components().any(|part| codes.contains(&part))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::safety::hazard_statements::find;

    fn label(codes: &[&str], jurisdiction: Jurisdiction) -> LabelElements {
        let hazards: Vec<_> = codes.iter().map(|code| find(code).expect("a known hazard")).collect();
        label_elements(&hazards, jurisdiction)
    }

    #[test]
    fn a_combined_statement_gives_way_like_its_parts() {
        let with_skull = label(&["H302+H312", "H331"], Jurisdiction::Osha);
        assert_eq!(with_skull.pictograms, [Pictogram::Ghs06].into());
        assert_eq!(with_skull.gave_way, [("H302+H312", Precedence::SkullForToxicity)]);
    }

    #[test]
    fn each_hazard_gives_way_to_the_sign_that_stands_for_it() {
        for (sign, mild) in [
            ("H301", ["H302", "H312", "H332"].as_slice()),
            ("H318", &["H315", "H319", "H315+H320"]),
            ("H334", &["H315", "H317", "H319"]),
        ] {
            for code in mild {
                let label = label(&[sign, code], Jurisdiction::Osha);
                assert!(!label.pictograms.contains(&Pictogram::Ghs07), "{code} beside {sign}");
            }
        }
    }

    #[test]
    fn the_exclamation_mark_stays_for_what_nothing_else_stands_for() {
        // Narcotic effects are neither irritation nor acute toxicity.
        let osha = label(&["H314:1B", "H301", "H336"], Jurisdiction::Osha);
        assert!(osha.pictograms.contains(&Pictogram::Ghs07));
        assert!(
            !label(&["H314:1B", "H301", "H336"], Jurisdiction::UnClp).pictograms.contains(&Pictogram::Ghs07)
        );
    }

    #[test]
    fn a_hazard_the_osha_standard_does_not_list_is_still_shown() {
        assert_eq!(label(&["H350i"], Jurisdiction::Osha).pictograms, [Pictogram::Ghs08].into());
    }

    #[test]
    fn no_hazard_no_label() {
        let empty = label(&[], Jurisdiction::UnClp);
        assert!(empty.pictograms.is_empty());
        assert_eq!(empty.signal_word, SignalWord::Nothing);
    }
}
