//! How much is taken at once.

use crate::auth::Member;
use crate::http::extract::{BODY_LIMIT, SignedIn};
use crate::http::problem::Problems;
use actix_web::get;
use actix_web::web::Json;
use serde::Serialize;
use utoipa::ToSchema;

/// Most entries per handover.
pub(super) const ENTRIES_LIMIT: usize = 500;
/// Most rows per page of the trail.
pub(super) const ROOM_LIMIT: i64 = 500;

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
