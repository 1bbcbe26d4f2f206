//! What phones do: hand over, read the trail, ask for the limits.

use super::entries::{VerdictView, first_form};
use super::extract::{BODY_LIMIT, Body, SignedIn};
use super::problem::Problems;
use crate::auth::{Keys, Member};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::entries::Incoming;
use crate::ids::LaneId;
use crate::store::Db;
use crate::sync::bookmark::Bookmark;
use crate::sync::{handover, reading};
use actix_web::web::{Data, Json, Query};
use actix_web::{get, post};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use serde_json::value::RawValue;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Most entries per handover.
const ENTRIES_LIMIT: usize = 500;
/// Most rows per page of the trail.
const ROOM_LIMIT: i64 = 500;

/// One entry of a lane. `kind` and `body` belong together: see the schema `Fact`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LaneEntry {
    /// Its number in the lane: 1, 2, 3 … without a gap.
    #[schema(minimum = 1)]
    n: i64,
    /// Its id, made by the phone.
    id: Uuid,
    /// What kind of fact.
    #[schema(max_length = 40)]
    kind: String,
    /// The form of that kind; 1 when not said.
    #[serde(default = "first_form")]
    #[schema(minimum = 1, maximum = 1000)]
    form: i16,
    /// When it happened, by the phone's clock.
    happened_at: DateTime<Utc>,
    /// What happened.
    #[schema(value_type = Object)]
    body: Value,
}

/// A run of consecutive entries of one lane.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct Handover {
    /// The lane, as enrolled.
    lane_id: LaneId,
    /// In order of their numbers; at most 500.
    #[schema(max_items = 500)]
    entries: Vec<LaneEntry>,
}

/// What became of a handover.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct HandoverView {
    /// One final verdict per entry that was judged.
    verdicts: Vec<VerdictView>,
    /// The next number this lane should hand over.
    expected: i64,
    /// Two phones handed over as this one: enrol again.
    frozen: bool,
    /// Up to which number entries are covered by a backup or replica; null while there is none.
    safe_through: Option<i64>,
    /// The server's time, to measure the phone's clock by.
    server_time: DateTime<Utc>,
}

/// Takes a run of entries, each judged once and for all.
///
/// A refused entry never blocks the ones after it. A number that was judged before gets its verdict
/// again; after a gap nothing is judged, and `expected` says where to go on.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), request_body(content = Handover, content_type = "application/json"),
    responses((status = 200, body = HandoverView), Problems))]
#[post("/v1/device/handover")]
pub(super) async fn hand_over(
    SignedIn(member): SignedIn<Member>,
    Body(sent): Body<Handover>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<Json<HandoverView>, Error> {
    let (who, now) = (member.who(), clock.now());
    if sent.entries.len() > ENTRIES_LIMIT {
        return Err(Error::TooLarge {
            code: "too_many_entries",
            sentence: format!(
                "A handover takes at most {ENTRIES_LIMIT} entries. Send the rest in the next one."
            ),
        });
    }
    let lane = sent.lane_id;
    let entries: Vec<Incoming> = sent
        .entries
        .into_iter()
        .map(|e| Incoming {
            id: e.id,
            n: Some(e.n),
            kind: e.kind,
            form: e.form,
            happened_at: e.happened_at,
            body: e.body,
        })
        .collect();
    let outcome = db
        .write("hand_over", who.fleet, async move |tx| handover::take(tx, who, lane, &entries, now).await)
        .await?;
    let verdicts = outcome.verdicts.iter().map(|(n, id, verdict)| VerdictView::of(Some(*n), *id, verdict));
    Ok(Json(HandoverView {
        verdicts: verdicts.collect(),
        expected: outcome.last_n.saturating_add(1),
        frozen: outcome.frozen,
        safe_through: None,
        server_time: clock.now(),
    }))
}

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
        (status = 410, body = super::problem::Problem, content_type = "application/problem+json",
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
    let room = query.room.unwrap_or(ROOM_LIMIT).clamp(1, ROOM_LIMIT);
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

/// The limits of what is taken at once.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Limits {
    /// Entries per handover.
    handover_entries: usize,
    /// Bytes per body.
    body_bytes: usize,
    /// Rows per page of the trail.
    trail_rows: i64,
}

/// Reads the limits, so that a phone can keep within them.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), responses((status = 200, body = Limits), Problems))]
#[get("/v1/device/limits")]
pub(super) async fn read_limits(_member: SignedIn<Member>) -> Json<Limits> {
    Json(Limits { handover_entries: ENTRIES_LIMIT, body_bytes: BODY_LIMIT, trail_rows: ROOM_LIMIT })
}
