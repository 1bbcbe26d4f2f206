//! How phones and server stay together, tried through the front door: what comes of entries and edits of
//! phones that were apart, what each reads and hears, and what a bad line or a crowd does to it.

mod catching_up;
mod clocks;
mod clones;
mod commands;
mod crew;
mod decisions;
mod deletes;
mod ear;
mod edits;
mod feed_experiment;
mod fresh_copies;
mod handing_over;
mod lane;
mod limits;
mod lost_values;
mod overload;
mod parents;
mod phones;
mod reader;
mod restored;
mod safe_through;
mod scopes;
mod signal;
mod simulation;
mod tombstones;
