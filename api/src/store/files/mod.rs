//! Files: on their way in, kept, referred to, and how much room they take.
//!
//! Lock order: uploads → files → room.

mod kept;
mod room;
mod uploads;
mod uses;

pub use kept::{
    FileRecord, delete_unused, find, insert, is_seen_from, list_after, list_unused, mark_damaged, which_kept,
};
pub use room::{Room, find_room, give_back, is_right, save_swept_on, take};
pub use uploads::{
    PartRecord, UploadRecord, delete_upload, find_upload, finish_upload, insert_part, insert_upload,
    list_parts, list_stale, lock_upload, which_parts,
};
pub use uses::{FileUse, JobFile, insert_uses, list_of_job, unlike_entries};
