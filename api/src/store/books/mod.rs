//! The books: append-only lines, and the figures that are kept as the lines are written.
//!
//! Never decides anything: it hands out what stands and writes down what the desk worked out.

mod containers;
mod lines;
mod pads;
mod stock;

pub use containers::*;
pub use lines::*;
pub use pads::*;
pub use stock::*;
