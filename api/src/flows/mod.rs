//! The desk: one function per thing that can happen, always in the order gather, compute, record.
//!
//! Never: requests and status codes, SQL, the clock. A flow is given `now` and a proof of who asks.

pub mod accounts;
pub mod answers;
pub mod cards;
pub mod entries;
pub mod files;
mod tagged;
