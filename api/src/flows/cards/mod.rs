//! Cards: created once however often they are sent, edited field by field, retired when they have been
//! used and deleted when they never were, and told to the phones that may see them.
//!
//! Never: money in anything a technician's phone receives.

mod booking;
mod checks;
mod crew;
mod document;
pub(super) mod fields;
mod links;
mod moved;
mod sections;
pub(super) mod stamps;
mod trail;
pub(super) mod writing;

pub mod create;
pub mod delete;
pub mod edit;
pub mod kinds;
pub mod look;
pub mod lost_values;
pub mod retire;
pub mod view;
