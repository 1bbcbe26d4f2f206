//! What the owner should know of who was let in and who was shut out.

use super::extract::{Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::Owner;
use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Db;
use crate::store::accounts::{self, SecurityNote};
use actix_web::get;
use actix_web::web::{Data, Json, Query};
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// One note.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct SecurityNoteView {
    /// Its id.
    pub note_id: Uuid,
    /// About whom.
    pub member_id: Option<MemberId>,
    /// A stable word.
    #[schema(example = "refresh_token_reused")]
    pub what: String,
    /// When.
    pub noted_at: DateTime<Utc>,
}

impl From<SecurityNote> for SecurityNoteView {
    fn from(note: SecurityNote) -> Self {
        Self {
            note_id: note.note_id,
            member_id: note.member_id.map(MemberId),
            what: note.what,
            noted_at: note.noted_at,
        }
    }
}

/// Notes, oldest first.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))), params(PageQuery),
    security(("bearer" = [])), responses((status = 200, body = Cursor<SecurityNoteView>), Problems))]
#[get("/v1/security-notes")]
pub(super) async fn list_security_notes(
    SignedIn(who): SignedIn<Owner>,
    page: Query<PageQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<SecurityNoteView>>, Error> {
    let (room, after) = (page.room(), page.after);
    let rows = db
        .read(who.who().fleet, async |tx| accounts::list_security_notes(tx, after, room + 1).await)
        .await?
        .into_iter()
        .map(SecurityNoteView::from)
        .collect();
    Ok(Json(Cursor::of(rows, room, |note: &SecurityNoteView| note.note_id)))
}
