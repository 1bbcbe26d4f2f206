//! What each operation answers. One file per tag of the document.

mod accounts;
mod bad_inputs;
mod cards;
mod command_line;
mod health;
mod worksheets;
