//! What is true of every input, room by room.

#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a test may stop at the first surprise"
)]

mod exact;
mod safety;
mod stats;
mod stock;
#[cfg(feature = "worksheets")]
mod worksheets;
