//! The rules of keeping phones and server together, as pure functions: the server and the simulation
//! run the same ones.
//!
//! Never: a database, a clock, a request, anything drawn by lot.

pub mod going_on;
pub mod job_state;
pub mod lane;
pub mod merge;
pub mod stamp;
