//! A run of entries of one lane, taken in.

use super::limits::ENTRIES_LIMIT;
use crate::auth::Member;
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::entries::Incoming;
use crate::http::entries::{VerdictView, first_form};
use crate::http::extract::{Body, SignedIn};
use crate::http::problem::Problems;
use crate::ids::LaneId;
use crate::store::Db;
use crate::sync::handover;
use actix_web::post;
use actix_web::web::{Data, Json};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

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
