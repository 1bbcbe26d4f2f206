//! The cellar: the only room that knows SQL. Rows stay here; domain values come out.
//!
//! Never: HTTP, arithmetic on prices, the clock. Every question names the fleet first.
//!
//! Lock order everywhere: cards and levels (by id, table by table) → entries and lines → head → trail.

mod json_text;
mod schema;
#[macro_use]
mod statement;
mod bell;
mod db;
pub mod trail;

pub mod accounts;
pub mod answers;
pub mod audit;
pub mod blobs;
pub mod books;
pub mod card_uses;
pub mod cards;
pub mod copies;
pub mod crew;
pub mod entries;
pub mod fields;
pub mod files;
pub mod heads;
pub mod health;
pub mod jobs;
pub mod migrate;
pub mod parked;
pub mod safe;
pub mod set_aside;
pub mod tombstones;

pub use bell::{Bell, Listening, Seats};
pub use db::{CONNECTIONS_PER_WORKER, Db, Tx};
pub use json_text::JsonText;
pub use trail::TrailRow;
