//! Every end-to-end test, in one binary: one link, one cluster.

mod contract;
mod files;
mod invariants;
mod routes;
mod sync;
mod trust;
