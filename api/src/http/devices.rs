//! Phones enrolled in the fleet.

use super::extract::{Body, Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::Member;
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::accounts::devices;
use crate::ids::{LaneId, MemberId};
use crate::store::Db;
use crate::store::accounts::LaneRecord;
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{get, put};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A phone to enrol.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct DeviceBody {
    /// What its member calls it.
    #[schema(min_length = 1, max_length = 120, example = "Phone of van 2")]
    pub name: String,
}

/// An enrolled phone: one lane of entries.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct DeviceView {
    /// The lane its entries come in.
    pub lane_id: LaneId,
    /// Whose it is.
    pub member_id: MemberId,
    /// What its member calls it.
    pub name: String,
    /// The number of the last entry judged; 0 before the first.
    pub last_n: i64,
    /// Since when nothing is taken from it, because two phones shared its lane.
    pub frozen_at: Option<DateTime<Utc>>,
    /// Since when.
    pub enrolled_at: DateTime<Utc>,
}

impl From<LaneRecord> for DeviceView {
    fn from(lane: LaneRecord) -> Self {
        Self {
            lane_id: LaneId(lane.lane_id),
            member_id: MemberId(lane.member_id),
            name: lane.name,
            last_n: lane.last_n,
            frozen_at: lane.frozen_at,
            enrolled_at: lane.enrolled_at,
        }
    }
}

/// Enrols the phone of whoever is signed in, under an id the phone made. The same again answers as the first time.
#[utoipa::path(tag = "devices", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    params(("lane_id" = inline(LaneId), Path)), security(("bearer" = [])), request_body = DeviceBody,
    responses((status = 200, body = DeviceView), Problems))]
#[put("/v1/devices/{lane_id}")]
pub(super) async fn enrol_device(
    SignedIn(who): SignedIn<Member>,
    lane: Path<LaneId>,
    Body(body): Body<DeviceBody>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<Json<DeviceView>, Error> {
    let (lane, now) = (lane.into_inner(), clock.now());
    let enrol = async move |tx: &mut _| devices::enrol(tx, who, lane, &body.name, now).await;
    Ok(Json(db.write("enrol_device", who.who().fleet, enrol).await?.into()))
}

/// Enrolled phones: a technician's own, or all of the fleet's.
#[utoipa::path(tag = "devices", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    params(PageQuery), security(("bearer" = [])),
    responses((status = 200, body = Cursor<DeviceView>), Problems))]
#[get("/v1/devices")]
pub(super) async fn list_devices(
    SignedIn(who): SignedIn<Member>,
    page: Query<PageQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<DeviceView>>, Error> {
    let (room, after) = (page.room(), page.after);
    let rows = db
        .read(who.who().fleet, async |tx| devices::list(tx, who, after, room + 1).await)
        .await?
        .into_iter()
        .map(DeviceView::from)
        .collect();
    Ok(Json(Cursor::of(rows, room, |device: &DeviceView| device.lane_id.0)))
}
