//! Values that lost to a later one, for the office to look at.

use super::extract::{Body, Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::Office;
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::cards::kinds::Kind;
use crate::flows::cards::lost_values::{self, Decision, Lost};
use crate::store::Db;
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{get, post};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::ToSchema;
use uuid::Uuid;

/// A value that lost, and what stands in its place.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct LostValueView {
    /// Its own id.
    id: Uuid,
    /// The card.
    card_id: Uuid,
    /// What the card is about; null once it has been deleted.
    card_kind: Option<Kind>,
    /// Which field.
    field: String,
    /// What lost; null where the field was to be emptied.
    value: Value,
    /// What stands.
    current: Value,
    /// When it was written, by its writer's hybrid logical clock.
    stamp: String,
    /// Who wrote it.
    member_id: Uuid,
    /// With which entry; nothing when at a desk.
    #[serde(skip_serializing_if = "Option::is_none")]
    entry_id: Option<Uuid>,
    /// When the server got it.
    received_at: DateTime<Utc>,
    /// What was decided.
    #[serde(skip_serializing_if = "Option::is_none")]
    decision: Option<String>,
}

impl From<Lost> for LostValueView {
    fn from(Lost { value, kind, current }: Lost) -> Self {
        Self {
            id: value.value_id,
            card_id: value.card_id,
            card_kind: kind,
            field: value.field,
            value: value.value,
            current,
            stamp: value.stamp,
            member_id: value.member_id,
            entry_id: value.entry_id,
            received_at: value.at,
            decision: value.decision,
        }
    }
}

/// Lists values that lost to a later one and wait for a look, oldest first.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(PageQuery), responses((status = 200, body = Cursor<LostValueView>), Problems))]
#[get("/v1/lost-values")]
pub(super) async fn list_lost_values(
    SignedIn(office): SignedIn<Office>,
    page: Query<PageQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<LostValueView>>, Error> {
    let (after, room) = (page.after, page.room());
    let lost = db
        .read(office.who().fleet, async |tx| {
            lost_values::list(tx, office, after, room.saturating_add(1)).await
        })
        .await?;
    let rows = lost.into_iter().map(LostValueView::from).collect();
    Ok(Json(Cursor::of(rows, room, |row: &LostValueView| row.id)))
}

/// What is to be done with a value that lost.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct LostValueDecision {
    /// Keep what stands, or use what lost.
    decision: Decision,
}

/// Decides on a value that lost: what stands is kept, or what lost is used. The same again changes nothing.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "The lost value.")), request_body = LostValueDecision,
    responses((status = 200, body = LostValueView), Problems))]
#[post("/v1/lost-values/{id}/decision")]
pub(super) async fn decide_lost_value(
    SignedIn(who): SignedIn<Office>,
    id: Path<Uuid>,
    Body(LostValueDecision { decision }): Body<LostValueDecision>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<Json<LostValueView>, Error> {
    let (id, now) = (id.into_inner(), clock.now());
    let lost = db
        .write("decide_lost_value", who.who().fleet, async move |tx| {
            lost_values::decide(tx, who, id, decision, now).await
        })
        .await?;
    Ok(Json(lost.into()))
}
