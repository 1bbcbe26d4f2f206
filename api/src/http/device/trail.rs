//! What changed, read on from a bookmark.

use super::row::{self, TrailRowView};
use crate::auth::{Keys, Member};
use crate::clock::Clock;
use crate::config::SyncConfig;
use crate::error::Error;
use crate::http::extract::{CurrentApp, SignedIn};
use crate::http::limits::LIMITS;
use crate::http::problem::{Problems, ReadingProblems, Stopped};
use crate::ids::LaneId;
use crate::store::Db;
use crate::sync::bookmark::Bookmark;
use crate::sync::reading;
use crate::sync::sweeping::Sweeps;
use actix_web::get;
use actix_web::web::{Data, Json, Query};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Where to go on reading.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct TrailQuery {
    /// The bookmark of the page before; from the start when not said, as long as nothing that was
    /// deleted has been forgotten. A phone with nothing takes a fresh copy.
    after: Option<String>,
    /// How many rows, at most 500.
    #[param(minimum = 1, maximum = 500)]
    room: Option<i64>,
    /// The phone's own lane, to be told its last number.
    lane_id: Option<Uuid>,
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
    /// Which history this is; another one means that the database was restored.
    era: Uuid,
    /// The last number judged in the lane that was named; null when the reader has no such lane.
    last_n: Option<i64>,
    /// The server's time.
    server_time: DateTime<Utc>,
}

/// Reads what changed for this member since a bookmark, in commit order and without gaps.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(TrailQuery),
    responses((status = 200, body = TrailView),
        (status = 410, body = Stopped, content_type = "application/problem+json",
         description = "The bookmark cannot be gone on from: `too_old`, `restarted` or `scope_changed`. `next` says what to do, `drop` which audiences to forget."), ReadingProblems, Problems))]
#[get("/v1/device/trail")]
pub(super) async fn read_trail(
    SignedIn(member): SignedIn<Member>,
    _: CurrentApp,
    query: Query<TrailQuery>,
    db: Data<Db>,
    keys: Data<Keys>,
    clock: Data<Clock>,
    (sync, sweeps): (Data<SyncConfig>, Data<Sweeps>),
) -> Result<Json<TrailView>, Error> {
    let who = member.who();
    let after = match &query.after {
        None => None,
        Some(text) => Some(Bookmark::read(text, &keys).ok_or_else(bad_bookmark)?),
    };
    let room = query.room.unwrap_or(LIMITS.page_rows).clamp(1, LIMITS.page_rows);
    let now = clock.now();
    sweeps.start_if_due(&db, who.fleet, &sync, now);
    let page = reading::read(&db, who, after, query.lane_id.map(LaneId), room, now).await?;
    Ok(Json(TrailView {
        rows: row::views(page.rows)?,
        bookmark: page.next.text(&keys),
        more: page.more,
        era: page.next.era,
        last_n: page.last_n,
        server_time: clock.now(),
    }))
}

/// What is no bookmark of this server; also what an earlier set of keys has sealed.
pub(super) fn bad_bookmark() -> Error {
    Error::invalid("bad_bookmark", "This is no bookmark of this server. Take a fresh copy.")
}
