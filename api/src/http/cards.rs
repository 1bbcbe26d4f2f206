//! Cards at the door: create, read, list, edit, retire.

use super::extract::{Body, Cursor, IfMatch, SignedIn, etag};
use super::problem::{EditProblems, Problems};
use crate::auth::{Member, Office, Who};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::cards::kinds::{Card, Kind};
use crate::flows::cards::look::{self, Wanted};
use crate::flows::cards::view::{self, CardView};
use crate::flows::cards::{create, delete, edit, retire};
use crate::store::Db;
use crate::store::cards::CardRecord;
use actix_web::http::StatusCode;
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpResponse, delete, get, patch, post, put};
use chrono::NaiveDate;
use serde::Deserialize;
use serde_json::{Map, Value};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Which cards.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct CardQuery {
    /// Of which kind.
    #[param(inline)]
    pub kind: Kind,
    /// Go on after this id: the `next` of the page before.
    pub after: Option<Uuid>,
    /// How many, at most 200; 50 when not said.
    #[param(minimum = 1, maximum = 200)]
    pub room: Option<i64>,
    /// Whether cards that are out of use are listed as well.
    pub retired: Option<bool>,
    /// Jobs of this van only.
    pub place: Option<Uuid>,
    /// Jobs that start on or after this day of the fleet's calendar; with `to`, at most 62 days.
    pub from: Option<NaiveDate>,
    /// Jobs that start on or before this day.
    pub to: Option<NaiveDate>,
}

/// Fields to change, as a merge patch (RFC 7396) of the card's body: null takes a field out, lists
/// are replaced whole.
#[derive(Debug, Clone, Deserialize, ToSchema)]
#[serde(transparent)]
#[schema(value_type = Object, example = json!({"note": "Gate code with the office"}))]
pub struct CardPatch(Map<String, Value>);

/// Creates a card under an id of the caller's own making. The same again answers 200 with the card.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "A new UUID of version 7.")), request_body = Card,
    responses((status = 201, body = CardView, headers(("ETag" = String, description = "The version, for If-Match."))),
        (status = 200, body = CardView, description = "It had been created before.",
            headers(("ETag" = String, description = "The version, for If-Match."))), Problems))]
#[put("/v1/cards/{id}")]
pub(super) async fn create_card(
    SignedIn(who): SignedIn<Office>,
    id: Path<Uuid>,
    Body(card): Body<Card>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let (id, now) = (id.into_inner(), clock.now());
    let created = db
        .write("create_card", who.who().fleet, async move |tx| create::create(tx, who, id, &card, now).await)
        .await?;
    let status = if created.first { StatusCode::CREATED } else { StatusCode::OK };
    answer(status, created.record, who.who())
}

/// Reads a card. A technician's copy has no money, and jobs, clients and vehicles only of their van.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("id" = Uuid, Path, description = "The card.")),
    responses((status = 200, body = CardView, headers(("ETag" = String, description = "The version, for If-Match."))), Problems))]
#[get("/v1/cards/{id}")]
pub(super) async fn read_card(
    SignedIn(who): SignedIn<Member>,
    id: Path<Uuid>,
    db: Data<Db>,
) -> Result<HttpResponse, Error> {
    let id = id.into_inner();
    let record = db.read(who.who().fleet, async |tx| look::read(tx, who, id).await).await?;
    answer(StatusCode::OK, record, who.who())
}

/// Lists the cards of one kind in id order.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(CardQuery), responses((status = 200, body = Cursor<CardView>), Problems))]
#[get("/v1/cards")]
pub(super) async fn list_cards(
    SignedIn(who): SignedIn<Member>,
    page: Query<CardQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<CardView>>, Error> {
    let query = page.into_inner();
    let room = query.room.unwrap_or(50).clamp(1, 200);
    let wanted = Wanted {
        kind: query.kind,
        after: query.after,
        limit: room + 1,
        with_retired: query.retired.unwrap_or(false),
        place: query.place,
        from: query.from,
        to: query.to,
    };
    let records = db.read(who.who().fleet, async |tx| look::list(tx, who, wanted).await).await?;
    let views = records.into_iter().map(|record| view::of(record, who.who())).collect::<Result<_, _>>()?;
    Ok(Json(Cursor::of(views, room, |view: &CardView| view.id)))
}

/// Changes some fields of a card, from the version named in `If-Match`. Only the owner edits the
/// fleet's own card.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "The card."),
        ("If-Match" = String, Header, description = "The ETag of the version that was edited.")),
    request_body(content((CardPatch = "application/merge-patch+json"), (CardPatch = "application/json"))),
    responses((status = 200, body = CardView, headers(("ETag" = String, description = "The version, for If-Match."))),
        EditProblems, Problems))]
#[patch("/v1/cards/{id}")]
pub(super) async fn edit_card(
    SignedIn(who): SignedIn<Office>,
    id: Path<Uuid>,
    IfMatch(version): IfMatch,
    Body(CardPatch(patch)): Body<CardPatch>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let (id, patch, now) = (id.into_inner(), Value::Object(patch), clock.now());
    let record = db
        .write("edit_card", who.who().fleet, async move |tx| {
            edit::edit(tx, who, id, version, &patch, now).await
        })
        .await?;
    answer(StatusCode::OK, record, who.who())
}

/// Takes a card out of use, from the version named in `If-Match`, when nothing in use depends on it.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "The card."),
        ("If-Match" = String, Header, description = "The ETag of the version that was looked at.")),
    responses((status = 200, body = CardView, headers(("ETag" = String, description = "The version, for If-Match."))),
        EditProblems, Problems))]
#[post("/v1/cards/{id}/retire")]
pub(super) async fn retire_card(
    SignedIn(who): SignedIn<Office>,
    id: Path<Uuid>,
    IfMatch(version): IfMatch,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let (id, now) = (id.into_inner(), clock.now());
    let record = db
        .write("retire_card", who.who().fleet, async move |tx| {
            retire::retire(tx, who, id, version, now).await
        })
        .await?;
    answer(StatusCode::OK, record, who.who())
}

/// Deletes a card for good, from the version named in `If-Match`: only one that nothing names and nothing
/// was recorded with. Edits of it that phones still carry are refused; its id is never used again.
#[utoipa::path(tag = "cards", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "The card."),
        ("If-Match" = String, Header, description = "The ETag of the version that was looked at.")),
    responses((status = 204, description = "It is gone, now or since before."), EditProblems, Problems))]
#[delete("/v1/cards/{id}")]
pub(super) async fn delete_card(
    SignedIn(who): SignedIn<Office>,
    id: Path<Uuid>,
    IfMatch(version): IfMatch,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let (id, now) = (id.into_inner(), clock.now());
    db.write("delete_card", who.who().fleet, async move |tx| delete::delete(tx, who, id, version, now).await)
        .await?;
    Ok(HttpResponse::NoContent().finish())
}

fn answer(status: StatusCode, record: CardRecord, who: Who) -> Result<HttpResponse, Error> {
    let version = record.version;
    Ok(HttpResponse::build(status).insert_header(etag(version)).json(view::of(record, who)?))
}
