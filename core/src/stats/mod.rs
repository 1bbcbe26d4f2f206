//! What is likely: estimators in `f64`. Never knows money.
