//! Precautionary statements (P codes): what they say.

use super::Provenance;
use super::data::precautionary_statements::PRECAUTIONARY_STATEMENTS;

/// When a precaution is taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PrecautionKind {
    /// Always.
    General,
    /// Before and during use.
    Prevention,
    /// After a spill, a splash or a fire.
    Response,
    /// While it stands.
    Storage,
    /// When it is thrown away.
    Disposal,
}

/// One statement. An ellipsis or a slash in the text is the supplier's to fill in.
#[derive(Debug, PartialEq, Eq)]
pub struct PrecautionaryStatement {
    /// The code, e.g. `P280` or `P305+P351+P338`.
    pub code: &'static str,
    /// The statement in English.
    pub text: &'static str,
    /// When it applies.
    pub kind: PrecautionKind,
    /// Gone from the newest list, yet met on labels and sheets of earlier editions: accept it when read.
    pub withdrawn: bool,
    /// How well the row is founded.
    pub provenance: Provenance,
}

/// Every statement, in the order of the published table.
#[must_use]
pub fn all() -> &'static [PrecautionaryStatement] {
    PRECAUTIONARY_STATEMENTS
}

/// The statement of that code, exactly as written.
///
/// # Example
/// ```
/// use dropwise_core::safety::precautionary_statements::find;
///
/// assert_eq!(find("P102").map(|p| p.text), Some("Keep out of reach of children."));
/// assert_eq!(find("P999"), None);
/// ```
#[must_use]
pub fn find(code: &str) -> Option<&'static PrecautionaryStatement> {
    PRECAUTIONARY_STATEMENTS.iter().find(|statement| statement.code == code)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn the_table_is_whole() {
        assert_eq!(PRECAUTIONARY_STATEMENTS.len(), 168);
        let codes: BTreeSet<_> = PRECAUTIONARY_STATEMENTS.iter().map(|p| p.code).collect();
        assert_eq!(codes.len(), PRECAUTIONARY_STATEMENTS.len(), "a code stands twice");
        for statement in PRECAUTIONARY_STATEMENTS {
            assert!(statement.code.starts_with('P') && !statement.text.is_empty(), "{}", statement.code);
        }
    }
}
