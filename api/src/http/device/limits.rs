//! How much is taken at once, told to phones.

use crate::auth::Member;
use crate::http::extract::SignedIn;
use crate::http::limits::{LIMITS, Limits};
use crate::http::problem::Problems;
use actix_web::get;
use actix_web::web::Json;

/// Reads the limits, so that a phone can keep within them. Every 413 repeats them.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), responses((status = 200, body = Limits), Problems))]
#[get("/v1/device/limits")]
pub(super) async fn read_limits(_member: SignedIn<Member>) -> Json<Limits> {
    Json(LIMITS)
}
