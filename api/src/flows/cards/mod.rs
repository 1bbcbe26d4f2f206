//! Cards: created once however often they are sent, edited field by field from a known version, retired
//! and never deleted, and told to the phones that may see them.
//!
//! Never: money in anything a technician's phone receives.

mod booking;
mod checks;
mod crew;
mod document;
mod links;
mod moved;
mod trail;

pub mod create;
pub mod edit;
pub mod kinds;
pub mod look;
pub mod retire;
pub mod view;
