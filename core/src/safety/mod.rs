//! What the sheet, the standard and the carriage rules say. It informs: the supplier's sheet and
//! label, local codes and licensed practice govern. Never decides for a person.
//!
//! | file | answers |
//! |---|---|
//! | [`cas_number`] | is this a well-formed CAS number |
//! | [`hazard_statements`], [`precautionary_statements`] | what an H or P code says |
//! | [`pictograms`] | which pictograms and which signal word a set of hazards shows |
//! | [`dilution_class`] | what a diluted product may do to skin and eyes |
//! | [`flash_category`] | how flammable a liquid counts as |
//! | [`heat_level`] | whether a parked van may get too warm for it |
//! | [`storage_pair`] | whether two products may stand together |
//! | [`van_load`] | whether a van's load stays within materials of trade |

pub mod cas_number;
mod data;
pub mod dilution_class;
pub mod flash_category;
pub mod hazard_statements;
pub mod heat_level;
pub mod pictograms;
pub mod precautionary_statements;
pub mod skin_eye;
pub mod storage_pair;
pub mod van_load;

/// The sentence every answer of this room carries.
pub const CAUTION: &str = "This informs and never clears: the supplier's label and safety data sheet and \
                           local codes govern, and in doubt a trained or licensed person decides.";

/// How well a figure or text of a table is founded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Provenance {
    /// Seen in the published source named with the table or row.
    Published,
    /// The entry was seen; a detail of it (category split, wording, use made of it) was not.
    PartlyFromMemory,
    /// From memory: not seen in print.
    FromMemory,
    /// Common practice, no source.
    CommonPractice,
}
