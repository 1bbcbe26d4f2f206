//! What it cost and earned: decimals only. Never uses a float.
#![deny(clippy::float_arithmetic, clippy::arithmetic_side_effects)]
