//! What an end-to-end test stands on: a private Postgres, a database per test, the real server on a
//! real socket, a client that writes everything down, and two fleets to set against each other.
//!
//! Never: a claim about Dropwise. Claims live in `tests/`.

pub mod binary;
pub mod cards;
pub mod client;
pub mod cluster;
pub mod db;
pub mod failing_store;
pub mod files;
pub mod fleet;
pub mod phone;
pub mod process;
pub mod raw;
pub mod server;
pub mod sign_in;
pub mod sim;
pub mod timing;
pub mod unfiltered;
pub mod world;

pub use client::{Answer, Client};
pub use db::TestDb;
pub use fleet::Fleet;
pub use server::TestServer;
pub use world::{ProcessWorld, World};
