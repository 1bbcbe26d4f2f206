//! What each operation answers. One file per tag of the document.

mod accounts;
mod cards;
mod health;
mod worksheets;
