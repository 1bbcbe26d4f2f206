//! What must always hold, tried through the front door.

mod a_day;
mod desk;
mod lanes;
