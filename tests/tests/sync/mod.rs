//! Phones that were apart: what comes of their entries and edits when they meet.

mod clocks;
mod commands;
mod crew;
mod deletes;
mod edits;
mod lost_values;
