//! Hazard statements (H codes): what they say, and the label line that goes with each category.

use super::Provenance;
use super::data::hazard_statements::HAZARD_STATEMENTS;
use super::pictograms::{Pictogram, SignalWord};
use crate::CoreError;

/// What kind of harm a statement speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HazardGroup {
    /// Fire, pressure, explosion.
    Physical,
    /// People.
    Health,
    /// Water and air. Outside OSHA's scope.
    Environmental,
    /// Supplemental information of the EU; no statement of the globally harmonised system.
    EuSupplementary,
}

/// One label line: a statement as one class and category carry it.
#[derive(Debug, PartialEq, Eq)]
pub struct HazardStatement {
    /// The code, e.g. `H225` or `H302+H312`.
    pub code: &'static str,
    /// The statement in English.
    pub text: &'static str,
    /// Kind of harm.
    pub group: HazardGroup,
    /// Hazard class.
    pub class: &'static str,
    /// Category or categories, parted by ` / `.
    pub category: &'static str,
    /// Signal word.
    pub signal_word: SignalWord,
    /// Pictograms before precedence.
    pub pictograms: &'static [Pictogram],
    /// Whether the OSHA standard of 2024 knows it.
    pub in_osha_standard: bool,
    /// A remark, or empty.
    pub note: &'static str,
    /// How well the row is founded.
    pub provenance: Provenance,
}

impl HazardStatement {
    /// Whether the row speaks for this category: `1A` of `1 / 1A / 1B`, `2` of `Type 2`.
    fn is_of_category(&self, category: &str) -> bool {
        self.category.split(" / ").any(|one| {
            let bare = one.strip_prefix("Type ").or(one.strip_prefix("Division ")).unwrap_or(one);
            let short = bare.split(" (").next().unwrap_or(bare);
            [one, bare, short].contains(&category)
        })
    }

    /// The codes a combined statement is made of; of a simple one, the code itself.
    pub fn components(&self) -> impl Iterator<Item = &'static str> {
        self.code.split('+')
    }

    fn same_label(&self, other: &Self) -> bool {
        self.signal_word == other.signal_word && self.pictograms == other.pictograms
    }
}

/// Every statement, in the order of the published table.
#[must_use]
pub fn all() -> &'static [HazardStatement] {
    HAZARD_STATEMENTS
}

/// The label line a sheet means by `H225` or `H272:2` (code, colon, category).
///
/// The category is needed only where one code stands on different labels, as H272 does.
///
/// # Errors
/// [`CoreError::Invalid`] when the code is not known, the category does not belong to it, or it is
/// needed and missing.
///
/// # Example
/// ```
/// use dropwise_core::safety::hazard_statements::find;
///
/// assert_eq!(find("H225")?.text, "Highly flammable liquid and vapour");
/// assert!(find("H272").is_err());
/// assert_eq!(find("H272:2")?.category, "2");
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn find(written: &str) -> Result<&'static HazardStatement, CoreError> {
    let (code, category) = match written.split_once(':') {
        Some((code, category)) => (code, Some(category)),
        None => (written, None),
    };
    let mut lines = HAZARD_STATEMENTS.iter().filter(|line| line.code == code).peekable();
    if lines.peek().is_none() {
        return Err(CoreError::Invalid { what: "hazard code", rule: "must be one of the published H codes" });
    }
    let mut lines = lines.filter(|line| category.is_none_or(|category| line.is_of_category(category)));
    let first = lines.next().ok_or(CoreError::Invalid {
        what: "hazard category",
        rule: "must be a category this statement is used for",
    })?;
    if lines.all(|other| other.same_label(first)) {
        Ok(first)
    } else {
        Err(CoreError::Invalid {
            what: "hazard category",
            rule: "must be given where a statement stands on different labels, e.g. H272:2",
        })
    }
}

/// Statements without those another one already covers: H318 beside H314; H400, H401, H402 beside
/// H410, H411, H412.
///
/// # Source
/// UN GHS 1.4.10.5.3.3; 29 CFR 1910.1200 Appendix C.2.2; from memory. They *may* be left off; printing
/// them is never wrong.
#[must_use]
pub fn without_covered<'a>(codes: &[&'a str]) -> Vec<&'a str> {
    const COVERED: [(&str, &str); 4] =
        [("H318", "H314"), ("H400", "H410"), ("H401", "H411"), ("H402", "H412")];
    let bare = |written: &'a str| written.split(':').next().unwrap_or(written);
    let covered = |code: &str| {
        COVERED.iter().any(|(less, more)| *less == code && codes.iter().any(|other| bare(other) == *more))
    };
    codes.iter().copied().filter(|written| !covered(bare(written))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_whole() {
        assert_eq!(HAZARD_STATEMENTS.len(), 159);
        for line in HAZARD_STATEMENTS {
            assert!(line.code.starts_with('H') || line.code.starts_with("EUH"), "{}", line.code);
            assert!(
                !line.text.is_empty() && !line.class.is_empty() && !line.category.is_empty(),
                "{}",
                line.code
            );
            for part in line.components() {
                assert!(HAZARD_STATEMENTS.iter().any(|other| other.code == part), "{part} of {}", line.code);
            }
            for category in line.category.split(" / ") {
                assert!(find(&format!("{}:{category}", line.code)).is_ok(), "{}:{category}", line.code);
            }
        }
    }

    #[test]
    fn a_code_on_different_labels_asks_for_its_category() {
        for code in ["H207", "H221", "H228", "H229", "H242", "H261", "H272"] {
            assert!(find(code).is_err(), "{code}");
        }
        for code in ["H240", "H250", "H271", "H300", "H314"] {
            assert!(find(code).is_ok(), "{code}");
        }
    }

    #[test]
    fn a_covered_statement_may_be_left_off() {
        assert_eq!(without_covered(&["H314:1A", "H318", "H400"]), ["H314:1A", "H400"]);
    }
}
