//! What is likely: estimators in `f64`. Never knows money.
//!
//! | file | answers |
//! |---|---|
//! | [`bottle`] | how much is left in a bottle, and how large its drops are |
//! | [`recorded_tare`] | the same, when one error of the tare is met at every weigh-in |
//! | [`drop_size`] | what drop size to expect of a bottle nobody has weighed yet |
//! | [`drop_weight`] | how heavy a drop can be, by the tip it falls from |
//! | [`weibull`] | how many pads survive an age |
//! | [`weibull_fit`] | what distribution of lives pads failed and pads in service speak for |
//! | [`few_failures`] | what to count on while too few pads have failed to tell |
//! | [`kaplan_meier`] | how many pads survive an age, assuming nothing |
//! | [`remaining_life`] | what is left of a pad of a known age |
//! | [`age_replacement`] | at what age a pad is cheapest to swap |
//! | [`crossing`] | how an estimate becomes a booked quantity |
//! | [`test_spot`] | what the whole car takes, from a few test sections |
//!
//! Every function checks what it is given: a number that is not finite, or lies outside what the
//! formula is defined for, is refused by name. None panics.

pub mod age_replacement;
pub mod bottle;
pub mod crossing;
pub mod drop_size;
pub mod drop_weight;
pub mod estimate;
pub mod few_failures;
mod guard;
mod incomplete_gamma;
pub mod kaplan_meier;
mod quantile;
pub mod recorded_tare;
pub mod remaining_life;
mod root;
pub mod test_spot;
pub mod weibull;
pub mod weibull_fit;

pub use estimate::Estimate;
