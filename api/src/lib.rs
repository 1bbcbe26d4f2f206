//! Dropwise: the books of mobile detailing fleets, drop by drop.
//!
//! A request walks down the house once and the answer walks up once:
//! [`http`] (JSON, status codes) → [`flows`] (what can happen) → [`store`] (SQL), with the pure
//! counting room `dropwise_core` beside them and [`auth`] at the door.
//!
//! Never: a clock outside [`clock`], SQL outside [`store`], a status code outside [`http`].
#![forbid(unsafe_code)]

pub mod auth;
pub mod clock;
pub mod config;
pub mod demo;
pub mod error;
pub mod flows;
pub mod http;
pub mod ids;
pub mod openapi;
pub mod server;
pub mod store;
pub mod sync;
pub mod values;
