//! The whole protocol in one process, driven from one seed: phones ([`crate::phone`]), a network that
//! loses, doubles, delays and reorders, a server that dies and is restored from backups, an office at
//! work, and clocks that are wrong.
//!
//! [`script`] makes the steps, [`world`] carries them out, [`watch`] and [`checker`] say what must hold,
//! [`runner`] makes a failing run small, [`orders`] tries every order of arrival, [`faults`] are mistakes planted to see that the checker sees.
//!
//! Never: a real clock, a thread, a socket, a map whose order is not its keys'.

pub mod checker;
pub mod faults;
pub mod intents;
pub mod orders;
pub mod runner;
pub mod script;
pub mod server;
pub mod watch;
pub mod world;
