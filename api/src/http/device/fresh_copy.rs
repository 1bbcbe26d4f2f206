//! Everything a new or too-old phone needs, page by page.

use super::row::{self, TrailRowView};
use super::trail::bad_bookmark;
use crate::auth::{Keys, Member};
use crate::clock::Clock;
use crate::error::Error;
use crate::http::extract::{CurrentApp, SignedIn};
use crate::http::limits::LIMITS;
use crate::http::problem::{Problems, ReadingProblems, Stopped};
use crate::store::Db;
use crate::sync::bookmark::Bookmark;
use crate::sync::fresh_copy::{self, Start, Token};
use actix_web::get;
use actix_web::web::{Data, Json, Query};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Where to go on copying.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct CopyQuery {
    /// The token of the page before; the first page when not said.
    token: Option<String>,
    /// For the first page: the bookmark of an older scope. Only what its reader did not read is copied.
    from: Option<String>,
    /// How many rows, at most 500.
    #[param(minimum = 1, maximum = 500)]
    room: Option<i64>,
}

/// A page of a fresh copy.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CopyView {
    /// Rows: the van's jobs of today, its stock, every other card, then entries. Some may come twice.
    rows: Vec<TrailRowView>,
    /// Give this as `token` for the next page; null on the last.
    token: Option<String>,
    /// On the last page: go on in the trail from here.
    bookmark: Option<String>,
    /// Which history this is.
    era: Uuid,
    /// The server's time.
    server_time: DateTime<Utc>,
}

/// Copies everything this member may see, as it stands, without what is deleted.
///
/// Pages may be asked for again and the copy interrupted for as long as one likes. After the last page
/// the trail is read on from its bookmark; of a row that comes twice the higher position counts.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(CopyQuery),
    responses((status = 200, body = CopyView),
        (status = 410, body = Stopped, content_type = "application/problem+json",
         description = "The copy cannot be gone on with: `too_old`, `restarted` or `scope_changed`. `next` says what to do, `drop` which audiences to forget."), ReadingProblems, Problems))]
#[get("/v1/device/fresh-copy")]
pub(super) async fn read_fresh_copy(
    SignedIn(member): SignedIn<Member>,
    _: CurrentApp,
    query: Query<CopyQuery>,
    db: Data<Db>,
    keys: Data<Keys>,
    clock: Data<Clock>,
) -> Result<Json<CopyView>, Error> {
    let start = match (&query.token, &query.from) {
        (None, None) => Start::Whole,
        (None, Some(from)) => Start::From(Bookmark::read(from, &keys).ok_or_else(bad_bookmark)?),
        (Some(token), None) => Start::At(Box::new(
            Token::read(token, &keys).filter(|token| !token.is_of_kinds()).ok_or_else(|| {
                Error::invalid("bad_token", "This is no token of this server. Begin the fresh copy again.")
            })?,
        )),
        (Some(_), Some(_)) => {
            return Err(Error::invalid(
                "token_and_from",
                "`from` belongs to the first page; the token remembers it. Send only the token.",
            ));
        }
    };
    let room = query.room.unwrap_or(LIMITS.page_rows).clamp(1, LIMITS.page_rows);
    let page = fresh_copy::read(&db, member.who(), start, room, clock.now()).await?;
    let last = page.token.is_none();
    Ok(Json(CopyView {
        rows: row::views(page.rows)?,
        token: page.token.map(|token| token.text(&keys)).transpose()?,
        bookmark: last.then(|| page.bookmark.text(&keys)),
        era: page.bookmark.era,
        server_time: clock.now(),
    }))
}
