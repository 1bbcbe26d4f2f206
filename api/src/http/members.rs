//! Members: who they are, what they may do, and how they first get in.

use super::extract::{Body, Cursor, IfMatch, PageQuery, SignedIn, etag};
use super::problem::{Problem, Problems};
use super::secret::{Handout, Secret};
use super::throttle::Throttle;
use crate::auth::password::Hasher;
use crate::auth::{Member, Office, Owner, Role};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::accounts::members::{Changes, Edited, NewMember};
use crate::flows::accounts::{entry_codes, members};
use crate::ids::MemberId;
use crate::store::Db;
use crate::store::accounts::{self, MemberRecord};
use actix_web::http::StatusCode;
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpRequest, HttpResponse, Responder, get, patch, post, put};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Deserializer, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// A member.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct MemberView {
    /// Their id.
    pub member_id: MemberId,
    /// What they sign in with.
    pub handle: String,
    /// What they are called.
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// The van or depot they work from.
    pub home_place_id: Option<Uuid>,
    /// Version for `If-Match`.
    pub version: i64,
    /// Since when they are gone.
    pub retired_at: Option<DateTime<Utc>>,
}

/// A member to be. They choose their own password with an entry code.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MemberBody {
    /// What they sign in with.
    #[schema(pattern = "^[a-z0-9][a-z0-9._-]{1,39}$", example = "rosa")]
    pub handle: String,
    /// What they are called.
    #[schema(min_length = 1, max_length = 120, example = "Rosa")]
    pub name: String,
    /// What they may do.
    pub role: Role,
    /// The van or depot they work from.
    #[serde(default)]
    pub home_place_id: Option<Uuid>,
}

/// What shall change; what is left out stays.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct MemberChanges {
    /// What they sign in with.
    #[serde(default, deserialize_with = "given")]
    #[schema(pattern = "^[a-z0-9][a-z0-9._-]{1,39}$", nullable = false)]
    pub handle: Option<String>,
    /// What they are called.
    #[serde(default, deserialize_with = "given")]
    #[schema(min_length = 1, max_length = 120, nullable = false)]
    pub name: Option<String>,
    /// What they may do. Another role ends their sessions.
    #[serde(default, deserialize_with = "given")]
    #[schema(nullable = false)]
    pub role: Option<Role>,
    /// The van or depot they work from; null for none.
    #[serde(default, deserialize_with = "given")]
    #[schema(value_type = Option<Uuid>)]
    pub home_place_id: Option<Option<Uuid>>,
}

/// A code to hand over in person.
#[derive(Debug, Serialize, ToSchema)]
pub struct EntryCodeView {
    /// Shown this once.
    pub code: Handout,
    /// Until when it holds, unless it is used or replaced before.
    pub ends_at: DateTime<Utc>,
}

/// A first or new password, with the code that was handed over.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Claim {
    /// The fleet's handle.
    #[schema(example = "harbour-shine", max_length = 1024)]
    pub fleet: String,
    /// The code.
    pub code: Secret,
    /// The password to be: 15 to 256 characters of any kind, and not what is soon guessed.
    pub password: Secret,
}

/// A field that is there must have a value: null would be neither "stay" nor a change.
fn given<'de, D: Deserializer<'de>, T: Deserialize<'de>>(deserializer: D) -> Result<Option<T>, D::Error> {
    T::deserialize(deserializer).map(Some)
}

impl From<MemberRecord> for MemberView {
    fn from(member: MemberRecord) -> Self {
        Self {
            member_id: member.member_id,
            handle: member.handle,
            name: member.name,
            role: member.role,
            home_place_id: member.home_place_id,
            version: member.version,
            retired_at: member.retired_at,
        }
    }
}

fn answer(member: MemberRecord) -> impl Responder {
    let version = etag(member.version);
    Json(MemberView::from(member)).customize().insert_header(version)
}

/// Who is signed in.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), responses((status = 200, body = MemberView), Problems))]
#[get("/v1/members/self")]
pub(super) async fn read_self(
    SignedIn(who): SignedIn<Member>,
    db: Data<Db>,
) -> Result<impl Responder, Error> {
    let who = who.who();
    db.read(who.fleet, async |tx| accounts::find_member(tx, who.member).await).await.map(answer)
}

/// Chooses a password with an entry code, which is used up. Sign in afterwards.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["nobody"]))), request_body = Claim,
    responses((status = 204), Problems))]
#[post("/v1/members/claim")]
pub(super) async fn claim_member(
    request: HttpRequest,
    throttle: Data<Throttle>,
    Body(claim): Body<Claim>,
    db: Data<Db>,
    hasher: Data<Hasher>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    throttle.count_source(&request)?;
    let (code, password) = (claim.code.0, claim.password.0);
    entry_codes::claim(&db, &hasher, &claim.fleet, &code, password, clock.now()).await?;
    Ok(HttpResponse::NoContent().finish())
}

/// The members of the fleet, also those who are gone.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["office", "owner"]))), params(PageQuery),
    security(("bearer" = [])), responses((status = 200, body = Cursor<MemberView>), Problems))]
#[get("/v1/members")]
pub(super) async fn list_members(
    SignedIn(who): SignedIn<Office>,
    page: Query<PageQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<MemberView>>, Error> {
    let (room, after) = (page.room(), page.after);
    let rows = db
        .read(who.who().fleet, async |tx| accounts::list_members(tx, after, room + 1).await)
        .await?
        .into_iter()
        .map(MemberView::from)
        .collect();
    Ok(Json(Cursor::of(rows, room, |member: &MemberView| member.member_id.0)))
}

/// Adds a member under an id of the caller's. The same again answers as the first time.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))), params(("id" = inline(MemberId), Path)),
    security(("bearer" = [])), request_body = MemberBody, responses((status = 200, body = MemberView), Problems))]
#[put("/v1/members/{id}")]
pub(super) async fn create_member(
    SignedIn(who): SignedIn<Owner>,
    id: Path<MemberId>,
    Body(body): Body<MemberBody>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<impl Responder, Error> {
    let MemberBody { handle, name, role, home_place_id } = body;
    let new = NewMember { handle, name, role, home_place_id }.checked()?;
    let (id, now) = (id.into_inner(), clock.now());
    let create = async move |tx: &mut _| members::create(tx, who, id, &new, now).await;
    db.write("create_member", who.who().fleet, create).await.map(answer)
}

/// One member.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["office", "owner"]))),
    params(("id" = inline(MemberId), Path)), security(("bearer" = [])),
    responses((status = 200, body = MemberView), Problems))]
#[get("/v1/members/{id}")]
pub(super) async fn read_member(
    SignedIn(who): SignedIn<Office>,
    id: Path<MemberId>,
    db: Data<Db>,
) -> Result<impl Responder, Error> {
    db.read(who.who().fleet, async |tx| accounts::find_member(tx, *id).await).await.map(answer)
}

/// Edits a member from the version they were read at.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))),
    params(("id" = inline(MemberId), Path), ("If-Match" = String, Header, description = "The ETag of the version that was edited.")),
    security(("bearer" = [])), request_body = MemberChanges,
    responses((status = 200, body = MemberView),
        (status = 412, body = Problem, content_type = "application/problem+json", description = "Edited since; `current` is the member now."),
        (status = 428, body = Problem, content_type = "application/problem+json", description = "If-Match is missing."),
        Problems))]
#[patch("/v1/members/{id}")]
pub(super) async fn edit_member(
    SignedIn(who): SignedIn<Owner>,
    id: Path<MemberId>,
    IfMatch(version): IfMatch,
    Body(body): Body<MemberChanges>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<impl Responder, Error> {
    let MemberChanges { handle, name, role, home_place_id } = body;
    let changes = Changes { handle, name, role, home_place_id };
    let (id, now) = (id.into_inner(), clock.now());
    let edit = async move |tx: &mut _| members::edit(tx, who, id, version, &changes, now).await;
    match db.write("edit_member", who.who().fleet, edit).await? {
        Edited::Saved(member) => Ok(answer(member)),
        Edited::Stale(member) => {
            let current = serde_json::to_value(MemberView::from(member)).map_err(Error::internal)?;
            Err(Error::Stale { current })
        }
    }
}

/// Retires a member: they can no longer enter; what they recorded stays.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))), params(("id" = inline(MemberId), Path)),
    security(("bearer" = [])), responses((status = 200, body = MemberView), Problems))]
#[post("/v1/members/{id}/retire")]
pub(super) async fn retire_member(
    SignedIn(who): SignedIn<Owner>,
    id: Path<MemberId>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<impl Responder, Error> {
    let (id, now) = (id.into_inner(), clock.now());
    let retire = async move |tx: &mut _| members::retire(tx, who, id, now).await;
    db.write("retire_member", who.who().fleet, retire).await.map(answer)
}

/// Makes a code with which a member chooses a first password or a new one. An earlier code no longer holds.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))), params(("id" = inline(MemberId), Path)),
    security(("bearer" = [])), responses((status = 201, body = EntryCodeView), Problems))]
#[post("/v1/members/{id}/entry-code")]
pub(super) async fn make_entry_code(
    SignedIn(who): SignedIn<Owner>,
    id: Path<MemberId>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<impl Responder, Error> {
    let (code, ends_at) = entry_codes::make(&db, who, id.into_inner(), clock.now()).await?;
    let view = EntryCodeView { code: Handout(code.text()), ends_at };
    Ok(Json(view).customize().with_status(StatusCode::CREATED))
}
