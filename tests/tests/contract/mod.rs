//! What must hold of the whole: the document, the walls, the schema, the sources.
//!
//! Never: what one operation answers; that is `routes/`.

mod dependencies;
mod fleet_binding;
mod matrix;
mod migrations;
mod openapi;
mod schema;
mod second_wall;
mod statement_references;
mod tidy;
mod walls;
