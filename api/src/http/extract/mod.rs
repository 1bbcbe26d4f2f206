//! Checks finished before a handler starts: who asks, which version, which page, a body that fits.

mod body;
mod if_match;
mod page;
mod signed_in;

pub use body::{BODY_LIMIT, Body};
pub use if_match::{IfMatch, etag};
pub use page::{Cursor, DaysQuery, PageQuery};
pub use signed_in::{Sessions, SignedIn};
