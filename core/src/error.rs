//! What a formula may refuse. Never says anything about requests, rows or people.

use thiserror::Error;

/// Why a formula has no answer for these inputs.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum CoreError {
    /// The result, or a step on the way, does not fit the number type.
    #[error("{what} is out of range")]
    OutOfRange {
        /// The quantity that did not fit.
        what: &'static str,
    },
    /// An input lies outside what the formula is defined for.
    #[error("{what} {rule}")]
    Invalid {
        /// The quantity at fault, by the name the caller knows it.
        what: &'static str,
        /// The rule it breaks, as the end of a sentence: "must be above zero".
        rule: &'static str,
    },
    /// There are too few observations for an honest answer.
    #[error("{what}: {have} given, at least {need} needed")]
    NotEnough {
        /// What was counted.
        what: &'static str,
        /// How many were given.
        have: usize,
        /// How many the method needs.
        need: usize,
    },
    /// More was asked for than there is.
    #[error("more {what} asked for than there is")]
    Insufficient {
        /// What ran short.
        what: &'static str,
    },
    /// An iterative method did not settle within its bound of steps.
    #[error("{what} did not settle")]
    NoConvergence {
        /// The method.
        what: &'static str,
    },
}

impl CoreError {
    /// A stable word for machines, e.g. in a problem document.
    #[must_use]
    pub const fn code(&self) -> &'static str {
        match self {
            Self::OutOfRange { .. } => "out_of_range",
            Self::Invalid { .. } => "invalid_input",
            Self::NotEnough { .. } => "not_enough_data",
            Self::Insufficient { .. } => "insufficient_stock",
            Self::NoConvergence { .. } => "no_convergence",
        }
    }
}
