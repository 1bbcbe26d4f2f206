//! What an updated app newly understands, copied once.

use super::row::{self, TrailRowView};
use crate::auth::{Keys, Member};
use crate::clock::Clock;
use crate::error::Error;
use crate::http::extract::{CurrentApp, SignedIn};
use crate::http::limits::LIMITS;
use crate::http::problem::{Problems, ReadingProblems, Stopped};
use crate::store::Db;
use crate::sync::fresh_copy::{self, Start, Token};
use actix_web::get;
use actix_web::web::{Data, Json, Query};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Most kinds that are asked for at once.
const KINDS: usize = 50;

/// Which kinds, or where to go on.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct CatchUpQuery {
    /// For the first page: the kinds, with commas between them; at most 50.
    kinds: Option<String>,
    /// For the next pages: the token of the page before, which remembers the kinds.
    token: Option<String>,
    /// How many rows, at most 500.
    #[param(minimum = 1, maximum = 500)]
    room: Option<i64>,
}

/// A page of a catch-up.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CatchUpView {
    /// Rows of these kinds, as they stand.
    rows: Vec<TrailRowView>,
    /// Give this as `token` for the next page; null on the last.
    token: Option<String>,
    /// Which history this is.
    era: Uuid,
    /// The server's time.
    server_time: DateTime<Utc>,
}

/// Copies what there is of some kinds, for an app that passed them over until it was updated.
///
/// The phone goes on reading the trail from the bookmark it has: whatever changes meanwhile comes there
/// as well, and of a row that comes twice the higher position counts.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(CatchUpQuery),
    responses((status = 200, body = CatchUpView),
        (status = 410, body = Stopped, content_type = "application/problem+json",
         description = "It cannot be gone on with: `too_old`, `restarted` or `scope_changed`. `next` says what to do."), ReadingProblems, Problems))]
#[get("/v1/device/catch-up")]
pub(super) async fn read_catch_up(
    SignedIn(member): SignedIn<Member>,
    _: CurrentApp,
    query: Query<CatchUpQuery>,
    db: Data<Db>,
    keys: Data<Keys>,
    clock: Data<Clock>,
) -> Result<Json<CatchUpView>, Error> {
    let start = match (&query.kinds, &query.token) {
        (Some(kinds), None) => Start::Kinds(named(kinds)?),
        (None, Some(token)) => {
            let token = Token::read(token, &keys).filter(Token::is_of_kinds).ok_or_else(|| {
                Error::invalid("bad_token", "This is no token of a catch-up of this server. Begin it again.")
            })?;
            Start::At(Box::new(token))
        }
        (None, None) | (Some(_), Some(_)) => {
            return Err(Error::invalid(
                "kinds_or_token",
                "Send `kinds` for the first page and only `token` for the next ones.",
            ));
        }
    };
    let room = query.room.unwrap_or(LIMITS.page_rows).clamp(1, LIMITS.page_rows);
    let page = fresh_copy::read(&db, member.who(), start, room, clock.now()).await?;
    Ok(Json(CatchUpView {
        rows: row::views(page.rows)?,
        token: page.token.map(|token| token.text(&keys)).transpose()?,
        era: page.bookmark.era,
        server_time: clock.now(),
    }))
}

fn named(kinds: &str) -> Result<Vec<String>, Error> {
    let kinds: Vec<String> = kinds.split(',').map(|kind| kind.trim().to_owned()).collect();
    let plain = |kind: &String| {
        (1..=40).contains(&kind.len()) && kind.bytes().all(|c| c.is_ascii_lowercase() || c == b'_')
    };
    if kinds.len() <= KINDS && kinds.iter().all(plain) {
        Ok(kinds)
    } else {
        let sentence = format!("Name 1 to {KINDS} kinds, in lower case, with commas between them.");
        Err(Error::invalid("bad_kinds", sentence))
    }
}
