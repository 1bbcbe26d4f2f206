//! Every operation of the document, tried as everybody, on one's own, on another fleet's and on
//! nobody's records. A new operation fails here until `calls.rs` says how it is called.

mod bodies;
mod calls;
mod fields;
mod methods;
mod roles;
mod stage;
mod timing;
mod walls_apart;
