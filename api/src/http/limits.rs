//! How much is taken at once: the one table that checks, document and refusals read.

use crate::flows::files;
use serde::Serialize;
use utoipa::ToSchema;

/// The limits of what is taken and answered at once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, ToSchema)]
pub struct Limits {
    /// Entries per handover.
    #[schema(example = 500)]
    pub handover_entries: usize,
    /// Bytes of a handover, after decompression.
    #[schema(example = 1_048_576)]
    pub handover_bytes: usize,
    /// Handovers a minute of one lane.
    #[schema(example = 60)]
    pub handovers_per_lane_per_min: u32,
    /// Bytes of one entry; a larger one is refused by itself and blocks nothing.
    #[schema(example = 65_536)]
    pub entry_bytes: usize,
    /// How deep the body of an entry may nest; a deeper one is refused by itself and blocks nothing.
    #[schema(example = 16)]
    pub entry_depth: usize,
    /// Bytes of any other JSON body.
    #[schema(example = 1_048_576)]
    pub body_bytes: usize,
    /// How deep any other JSON body may nest.
    #[schema(example = 32)]
    pub body_depth: usize,
    /// Rows per page of the trail.
    #[schema(example = 500)]
    pub page_rows: i64,
    /// Bytes per page of the trail.
    #[schema(example = 1_048_576)]
    pub page_bytes: usize,
    /// Bytes per part of a file, at most; at least 65,536, unless the part ends the file.
    #[schema(example = 8_388_608)]
    pub file_part_bytes: usize,
    /// Bytes per file.
    #[schema(example = 26_214_400)]
    pub file_bytes: usize,
}

const MIB: usize = 1024 * 1024;

/// The table.
pub const LIMITS: Limits = Limits {
    handover_entries: 500,
    handover_bytes: MIB,
    handovers_per_lane_per_min: 60,
    entry_bytes: 64 * 1024,
    entry_depth: 16,
    body_bytes: MIB,
    body_depth: 32,
    page_rows: 500,
    page_bytes: MIB,
    file_part_bytes: files::PART_BYTES_MAX,
    file_bytes: files::FILE_BYTES_MAX,
};
