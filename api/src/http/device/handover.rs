//! A run of entries of one lane, taken in.

use super::gate::Uncrowded;
use super::lanes::Lanes;
use super::written::Handover;
use crate::auth::{Keys, Member};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::entries::Author;
use crate::http::entries::VerdictView;
use crate::http::extract::{Packed, SignedIn};
use crate::http::problem::Problems;
use crate::store::Db;
use crate::sync::receipt::Receipt;
use crate::sync::safe::{self, Standby};
use crate::sync::{era, handover};
use actix_web::post;
use actix_web::web::{Data, Json};
use chrono::{DateTime, Utc};
use serde::Serialize;
use utoipa::ToSchema;
use uuid::Uuid;

/// What became of a handover.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct HandoverView {
    /// One final verdict per entry that was judged.
    verdicts: Vec<VerdictView>,
    /// The next number this lane should hand over.
    expected: i64,
    /// Two phones handed over as this one: enrol again.
    frozen: bool,
    /// Up to which number entries are covered by a backup or replica; null while there is none.
    safe_through: Option<i64>,
    /// Show this with the next handover.
    receipt: String,
    /// Which history this is; in another, whatever is not safe is handed over again.
    era: Uuid,
    /// The server's time, to measure the phone's clock by.
    server_time: DateTime<Utc>,
}

/// Takes a run of entries, each judged once and for all.
///
/// A refused entry never blocks the ones after it. A number that was judged before gets its verdict
/// again; after a gap nothing is judged, and `expected` says where to go on.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), request_body(content = Handover, content_type = "application/json"),
    responses((status = 200, body = HandoverView), Problems))]
#[post("/v1/device/handover")]
#[expect(clippy::too_many_arguments, reason = "what a handover passes on its way in, one after the other")]
pub(super) async fn hand_over(
    Uncrowded(gate): Uncrowded,
    SignedIn(member): SignedIn<Member>,
    Packed(bytes): Packed,
    lanes: Data<Lanes>,
    db: Data<Db>,
    clock: Data<Clock>,
    standby: Data<Standby>,
    keys: Data<Keys>,
) -> Result<Json<HandoverView>, Error> {
    let (who, now) = (member.who(), clock.now());
    let sent = Handover::read(&bytes)?;
    let lane = sent.lane_id;
    let turn = lanes.begin(who.fleet, lane)?;
    let place = gate.enter(who.fleet).await?;
    let entries = sent.entries(now)?;
    let covered_to = standby.covered_to();
    let shown = sent.receipt.as_deref().map(|text| receipt_of(text, &keys)).transpose()?;
    let (outcome, safe_through, era) = db
        .write("hand_over", who.fleet, async move |tx| {
            // Held until the transaction has ended, also when the phone has gone.
            let _held = (&turn, &place);
            let outcome = handover::take(tx, Author::from(who), lane, &entries, now).await?;
            let safe_through = safe::through(tx, lane, covered_to).await?;
            let era = era::after_handover(tx, lane, outcome.last_n_before, shown, now).await?;
            Ok((outcome, safe_through, era))
        })
        .await?;
    if outcome.revoked {
        // Only now: what was sent is set aside.
        return Err(Error::conflict(
            "device_revoked",
            "This phone was revoked. What it sent is kept for the office, and nothing of it is booked.",
        ));
    }
    let verdicts = outcome.verdicts.iter().map(|(n, id, verdict)| VerdictView::of(Some(*n), *id, verdict));
    Ok(Json(HandoverView {
        verdicts: verdicts.collect(),
        expected: outcome.last_n.saturating_add(1),
        frozen: outcome.frozen,
        safe_through,
        receipt: Receipt { era, lane, last_n: outcome.last_n }.text(&keys),
        era,
        server_time: clock.now(),
    }))
}

fn receipt_of(text: &str, keys: &Keys) -> Result<Receipt, Error> {
    Receipt::read(text, keys).ok_or_else(|| {
        Error::invalid("bad_receipt", "This is no receipt of this server. Hand over without one.")
    })
}
