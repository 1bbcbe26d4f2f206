//! Files: sent in parts, checked, cleaned, handed out to those who may see them, and swept.

mod corpus;
mod damage;
mod faults;
mod fetching;
mod fleets;
mod order;
mod resume;
mod room;
mod stage;
mod sweeping;
