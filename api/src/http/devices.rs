//! Phones enrolled in the fleet.

use super::extract::{Body, Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::Member;
use crate::auth::device_key::DeviceKey;
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
    /// An Ed25519 public key (RFC 8032) made on the phone, in base64url without padding. The session that
    /// sends it can then only be renewed with a `proof` of that key.
    #[schema(min_length = 43, max_length = 43, example = "PUAXw-hDiVqStwqnTRt-vJyYLM8uxJaMwM1V8Sr0Zgw")]
    pub device_key: Option<String>,
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
    /// Whether it has a key of its own.
    pub has_key: bool,
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
            has_key: lane.device_key.is_some(),
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
    let key = body.device_key.as_deref().map(|text| DeviceKey::read(text).ok_or(no_key())).transpose()?;
    let enrol = async move |tx: &mut _| devices::enrol(tx, who, lane, &body.name, key.as_ref(), now).await;
    Ok(Json(db.write("enrol_device", who.who().fleet, enrol).await?.into()))
}

fn no_key() -> Error {
    Error::invalid_at(
        "bad_device_key",
        "/device_key",
        "A device key is an Ed25519 public key: 32 bytes in base64url without padding.",
    )
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
