//! What operators do at the command line, beside serving.

pub(crate) mod fleet;
