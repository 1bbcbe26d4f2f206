//! What the office decides on: parked entries and those that were set aside.

use super::entries::VerdictView;
use super::extract::{Body, Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::Office;
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::entries::decide::{self, Decision, Kept};
use crate::store::Db;
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{get, post};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

/// An entry that waits for a decision, or for what it rests on.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct KeptView {
    /// What a decision names.
    id: Uuid,
    /// The entry's own id.
    entry_id: Uuid,
    /// It was set aside without being judged, because of the phone it came from.
    set_aside: bool,
    /// Why it is kept: `container_not_open`, `waits_for_entry`, `parent_refused`, `author_removed`,
    /// `unknown_kind`, `lane_shared`, `device_revoked` …
    reason: String,
    /// The same in a sentence.
    sentence: String,
    /// Who wrote it down.
    member_id: Uuid,
    /// The lane it came by.
    #[serde(skip_serializing_if = "Option::is_none")]
    lane_id: Option<Uuid>,
    /// What kind of fact.
    kind: String,
    /// When it happened, by the phone's clock.
    happened_at: DateTime<Utc>,
    /// Since when it is kept.
    since: DateTime<Utc>,
    /// What happened.
    #[schema(value_type = Object)]
    body: Value,
}

impl From<Kept> for KeptView {
    fn from(kept: Kept) -> Self {
        Self {
            id: kept.id,
            entry_id: kept.entry_id,
            set_aside: kept.set_aside,
            reason: kept.reason,
            sentence: kept.sentence,
            member_id: kept.member_id,
            lane_id: kept.lane_id,
            kind: kept.kind,
            happened_at: kept.happened_at,
            since: kept.since,
            body: kept.body,
        }
    }
}

/// Lists what is kept: entries parked until something comes or someone decides, and entries set aside.
#[utoipa::path(tag = "parked", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(PageQuery), responses((status = 200, body = Cursor<KeptView>), Problems))]
#[get("/v1/parked")]
pub(super) async fn list_parked(
    SignedIn(office): SignedIn<Office>,
    page: Query<PageQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<KeptView>>, Error> {
    let (room, after) = (page.room(), page.after);
    let kept = db
        .read(office.who().fleet, async |tx| decide::list(tx, office, after, room.saturating_add(1)).await)
        .await?;
    let rows = kept.into_iter().map(KeptView::from).collect();
    Ok(Json(Cursor::of(rows, room, |row: &KeptView| row.id)))
}

/// What shall become of it.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum DecisionWord {
    /// Book it now, in its author's name.
    Book,
    /// Never book it.
    Drop,
}

/// A decision of the office.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct DecisionBody {
    /// What shall become of it.
    #[schema(inline)]
    decision: DecisionWord,
    /// Its `reason` as it was listed: where that has changed since, nothing happens.
    #[schema(max_length = 60)]
    reason: String,
}

/// Books what was kept, in its author's name, or drops it for good.
///
/// The same decision again is answered as the first time. Of two who decide differently the first
/// counts, and the other gets `already_decided`. What cannot be booked stays kept.
#[utoipa::path(tag = "parked", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "Its `id` on the list.")),
    request_body(content = DecisionBody, content_type = "application/json"),
    responses((status = 200, body = VerdictView), Problems))]
#[post("/v1/parked/{id}/decision")]
pub(super) async fn decide_parked(
    SignedIn(office): SignedIn<Office>,
    id: Path<Uuid>,
    Body(body): Body<DecisionBody>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<Json<VerdictView>, Error> {
    let (id, now) = (id.into_inner(), clock.now());
    let decision = match body.decision {
        DecisionWord::Book => Decision::Book,
        DecisionWord::Drop => Decision::Drop,
    };
    let deciding = async move |tx: &mut _| decide::decide(tx, office, id, decision, &body.reason, now).await;
    let verdict = db.write("decide_parked", office.who().fleet, deciding).await?;
    Ok(Json(VerdictView::of(None, id, &verdict)))
}
