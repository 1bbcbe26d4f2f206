//! Any computation on its own: inputs in, result out, the steps between on request.

use super::extract::{Body, SignedIn};
use super::problem::Problems;
use crate::auth::Member;
use crate::error::Error;
use actix_web::web::{Json, Path, Query};
use actix_web::{get, post};
use dropwise_core::worksheets;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};

/// One computation that can be asked for by name.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct WorksheetView {
    /// Its name.
    method: &'static str,
    /// What it answers, in one sentence.
    sentence: &'static str,
}

/// Lists every computation that can be asked for by name.
#[utoipa::path(tag = "worksheets", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), responses((status = 200, body = Vec<WorksheetView>), Problems))]
#[get("/v1/worksheets")]
pub(super) async fn list_worksheets(_member: SignedIn<Member>) -> Json<Vec<WorksheetView>> {
    let all = worksheets::all().map(|sheet| WorksheetView { method: sheet.method, sentence: sheet.sentence });
    Json(all.collect())
}

/// How much of the working to show.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct StepsQuery {
    /// Whether the result carries its steps; no when not said.
    steps: Option<bool>,
}

/// Works one computation out on the inputs given, and on nothing else.
///
/// What the inputs and the result look like is different for each method; both are JSON objects. Figures
/// inform: where chemicals, machines or pay are concerned, safety sheets, local codes and law govern.
#[utoipa::path(tag = "worksheets", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])),
    params(("method" = String, Path, description = "The computation, e.g. `bottle_filter`.", max_length = 60), StepsQuery),
    request_body(content = Object, content_type = "application/json"),
    responses((status = 200, body = Object, description = "The result."), Problems))]
#[post("/v1/worksheets/{method}")]
pub(super) async fn compute_worksheet(
    _member: SignedIn<Member>,
    method: Path<String>,
    query: Query<StepsQuery>,
    Body(inputs): Body<Value>,
) -> Result<Json<Value>, Error> {
    let sheet = worksheets::find(&method).ok_or(Error::NotFound)?;
    let steps = query.steps.unwrap_or(false);
    // A large basket or forecast may take a second: not on a thread that serves others.
    let worked = actix_web::web::block(move || (sheet.run)(&inputs, steps)).await.map_err(Error::internal)?;
    worked.map(Json).map_err(|refusal| Error::Refused {
        code: refusal.code.to_owned(),
        sentence: refusal.sentence,
        pointer: refusal.pointer,
    })
}
