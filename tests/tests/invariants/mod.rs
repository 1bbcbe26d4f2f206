//! What must always hold, tried through the front door and on a fleet at work.

mod a_day;
mod demo;
pub(crate) mod desk;
mod lanes;
