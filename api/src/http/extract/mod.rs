//! Checks finished before a handler starts: who asks, which version, which page, a body that fits.

mod body;
mod current_app;
mod if_match;
mod packed;
mod page;
mod part;
mod room;
mod signed_in;

pub use body::Body;
pub use current_app::{CurrentApp, MinimumApp};
pub use if_match::{IfMatch, etag};
pub use packed::Packed;
pub use page::{Cursor, DaysQuery, PageQuery};
pub use part::{Arrived, Ending, Part};
pub use signed_in::{Sessions, SignedIn, TokenEnd};
