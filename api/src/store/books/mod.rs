//! The books: append-only lines, and the figures that are kept as the lines are written.
//!
//! Never decides anything: it hands out what stands and writes down what the desk worked out.

mod levels;
mod lines;

pub use levels::*;
pub use lines::*;
