//! How phones and server stay together, tried through the front door: what comes of entries and edits of
//! phones that were apart, and what each reads.

mod clocks;
mod commands;
mod crew;
mod deletes;
mod edits;
mod feed_experiment;
mod fresh_copies;
mod lost_values;
mod reader;
mod restored;
mod safe_through;
mod scopes;
mod tombstones;
