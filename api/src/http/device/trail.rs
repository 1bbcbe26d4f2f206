//! What changed, read on from a bookmark.

use crate::auth::{Keys, Member};
use crate::clock::Clock;
use crate::error::Error;
use crate::http::extract::SignedIn;
use crate::http::limits::LIMITS;
use crate::http::problem::{Problem, Problems};
use crate::store::Db;
use crate::sync::bookmark::Bookmark;
use crate::sync::reading;
use actix_web::get;
use actix_web::web::{Data, Json, Query};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::value::RawValue;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Where to go on reading.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct TrailQuery {
    /// The bookmark of the page before; from the start when not said.
    after: Option<String>,
    /// How many rows, at most 500.
    #[param(minimum = 1, maximum = 500)]
    room: Option<i64>,
}

/// The latest state of one record.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct TrailRowView {
    /// Its place in the trail: unique and rising.
    position: i64,
    /// What kind of record.
    kind: String,
    /// The record.
    id: Uuid,
    /// Its state, without money.
    #[schema(value_type = Object)]
    body: Box<RawValue>,
}

/// A page of the trail.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct TrailView {
    /// Rows in order.
    rows: Vec<TrailRowView>,
    /// Give this as `after` next time.
    bookmark: String,
    /// Whether there is more already.
    more: bool,
    /// The server's time.
    server_time: DateTime<Utc>,
}

/// Reads what changed for this member since a bookmark, in commit order and without gaps.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(TrailQuery),
    responses((status = 200, body = TrailView),
        (status = 410, body = Problem, content_type = "application/problem+json",
         description = "The bookmark cannot be gone on from; `code` says why."), Problems))]
#[get("/v1/device/trail")]
pub(super) async fn read_trail(
    SignedIn(member): SignedIn<Member>,
    query: Query<TrailQuery>,
    db: Data<Db>,
    keys: Data<Keys>,
    clock: Data<Clock>,
) -> Result<Json<TrailView>, Error> {
    let who = member.who();
    let after = match &query.after {
        None => None,
        Some(text) => Some(Bookmark::read(text, &keys).ok_or_else(|| {
            Error::invalid(
                "bad_bookmark",
                "This is no bookmark of this server. Read the trail from the start.",
            )
        })?),
    };
    let room = query.room.unwrap_or(LIMITS.page_rows).clamp(1, LIMITS.page_rows);
    let page = db.read(who.fleet, async |tx| reading::read(tx, who, after, room).await).await?;
    let rows: Result<Vec<TrailRowView>, Error> = page
        .rows
        .into_iter()
        .map(|row| {
            let body = RawValue::from_string(row.body).map_err(Error::internal)?;
            Ok(TrailRowView { position: row.position, kind: row.kind, id: row.record_id, body })
        })
        .collect();
    Ok(Json(TrailView {
        rows: rows?,
        bookmark: page.next.text(&keys),
        more: page.more,
        server_time: clock.now(),
    }))
}
