//! Quantities as types: one file per dimension. A quantity never says where it came from.

pub mod conversion;
pub mod currency;
pub mod drops;
pub mod film_thickness;
