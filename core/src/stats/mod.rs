//! What is likely: estimators in `f64`. Never knows money.
//!
//! | file | answers |
//! |---|---|
//! | [`bottle`] | how much is left in a bottle, and how large its drops are |
//! | [`drop_size`] | what drop size to expect of a bottle nobody has weighed yet |
//! | [`drop_weight`] | how heavy a drop can be, by the tip it falls from |
//!
//! Every function checks what it is given: a number that is not finite, or lies outside what the
//! formula is defined for, is refused by name. None panics.

pub mod bottle;
pub mod drop_size;
pub mod drop_weight;
pub mod estimate;
mod guard;
mod quantile;

pub use estimate::Estimate;
