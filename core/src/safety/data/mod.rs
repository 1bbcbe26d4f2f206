//! Published tables as constants, so that a slip in one is a compile error. Each file names its source.

pub(super) mod hazard_statements;
pub(super) mod precautionary_statements;
pub(super) mod storage_rules;
