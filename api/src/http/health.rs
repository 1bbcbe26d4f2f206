//! Whether the process lives, and whether it can do its work. Says nothing about versions.

use crate::error::Error;
use crate::store::{Db, health};
use actix_web::get;
use actix_web::web::{Data, Json};
use serde::Serialize;
use utoipa::ToSchema;

/// A short word that all is well.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct Health {
    /// Always `ok`; anything else is a problem document.
    state: &'static str,
}

/// Answers as long as the process lives, whatever the database does.
#[utoipa::path(tag = "health", extensions(("x-roles" = json!(["nobody"]))), responses((status = 200, body = Health)))]
#[get("/health/live")]
pub(super) async fn read_liveness() -> Json<Health> {
    Json(Health { state: "ok" })
}

/// Answers when the database can be reached and has its tables.
#[utoipa::path(tag = "health", extensions(("x-roles" = json!(["nobody"]))),
    responses((status = 200, body = Health), super::problem::Problems))]
#[get("/health/ready")]
pub(super) async fn read_readiness(db: Data<Db>) -> Result<Json<Health>, Error> {
    health::check(&db).await?;
    Ok(Json(Health { state: "ok" }))
}
