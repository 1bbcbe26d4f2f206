//! The letterbox: what phones hand over and what they read back.
//!
//! An entry handed over calls the same flow as one typed at a desk. Never: actix, SQL.

pub mod bookmark;
pub mod era;
pub mod fresh_copy;
pub mod handover;
pub mod reading;
pub mod receipt;
pub mod rules;
pub mod safe;
pub mod sweeping;
