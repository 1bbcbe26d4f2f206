//! What operators do at the command line, beside serving.

pub(crate) mod audit;
pub(crate) mod demo;
pub(crate) mod fleet;
pub(crate) mod worksheet;
