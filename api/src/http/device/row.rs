//! One row of the trail on the wire, the same in every answer that has rows.

use crate::error::Error;
use crate::store::trail::TrailLine;
use serde::Serialize;
use serde_json::value::RawValue;
use utoipa::ToSchema;
use uuid::Uuid;

/// The latest state of one record, as one audience may see it.
///
/// A phone keeps rows by `audience_id`, `kind` and `id`, and of two the one with the higher position.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct TrailRowView {
    /// Its place in the trail: unique and rising.
    position: i64,
    /// What kind of record.
    kind: String,
    /// The record.
    id: Uuid,
    /// Whose row it is: the fleet's, a van's or a member's.
    audience_id: Uuid,
    /// `here`; `left`: this audience has lost it to another; `deleted`: nobody has it any more.
    #[schema(example = "here")]
    state: String,
    /// Its state, without money; empty unless it is here.
    #[schema(value_type = Object)]
    body: Box<RawValue>,
}

/// Rows as they are sent.
pub(super) fn views(rows: Vec<TrailLine>) -> Result<Vec<TrailRowView>, Error> {
    let view = |row: TrailLine| {
        let body = RawValue::from_string(row.body).map_err(Error::internal)?;
        Ok(TrailRowView {
            position: row.position,
            kind: row.kind,
            id: row.record_id,
            audience_id: row.audience_id,
            state: row.state,
            body,
        })
    };
    rows.into_iter().map(view).collect()
}
