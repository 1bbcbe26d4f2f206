//! What operators do at the command line, beside serving.

pub(crate) mod audit;
pub(crate) mod backup;
pub(crate) mod demo;
pub(crate) mod era;
pub(crate) mod files;
pub(crate) mod fleet;
mod owner;
pub(crate) mod sweep;
pub(crate) mod worksheet;
