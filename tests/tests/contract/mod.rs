//! What must hold of the whole: the document, the walls, the schema, the sources.

mod openapi;
