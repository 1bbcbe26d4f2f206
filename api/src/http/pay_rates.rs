//! Rates of pay. For the owner's eyes only.

use super::extract::{Body, DaysQuery, SignedIn};
use super::problem::Problems;
use crate::auth::Owner;
use crate::error::Error;
use crate::flows::accounts::pay_rates;
use crate::ids::MemberId;
use crate::store::Db;
use crate::store::accounts::PayRate;
use crate::values::{Amount, Share};
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{get, put};
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A rate of pay in the fleet's currency.
#[derive(Debug, Clone, Copy, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PayRateBody {
    /// Per hour worked.
    pub hourly_amount: Amount,
    /// The employer's cost on top of the wage, as a share of it.
    pub burden_share: Share,
}

/// A rate of pay from a day on.
#[derive(Debug, Clone, Copy, Serialize, ToSchema)]
pub struct PayRateView {
    /// The first day it holds.
    pub from_on: NaiveDate,
    /// Per hour worked.
    pub hourly_amount: Amount,
    /// The employer's cost on top of the wage, as a share of it.
    pub burden_share: Share,
}

/// Rates, oldest first.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct PayRateList {
    /// At most 200.
    pub rows: Vec<PayRateView>,
    /// Give this as `after` for the next page; absent on the last one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<NaiveDate>,
}

const ROOM: usize = 200;

fn view(rate: &PayRate) -> Result<PayRateView, Error> {
    Ok(PayRateView {
        from_on: rate.from_on,
        hourly_amount: Amount::try_new(rate.hourly_amount).map_err(Error::internal)?,
        burden_share: Share::try_new(rate.burden_share).map_err(Error::internal)?,
    })
}

/// Adds a rate from a day on. The same again answers as the first time; a rate never changes.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))),
    params(("id" = inline(MemberId), Path), ("from_on" = NaiveDate, Path, description = "The first day it holds.")),
    security(("bearer" = [])), request_body = PayRateBody, responses((status = 200, body = PayRateView), Problems))]
#[put("/v1/members/{id}/pay-rates/{from_on}")]
pub(super) async fn add_pay_rate(
    SignedIn(who): SignedIn<Owner>,
    path: Path<(MemberId, NaiveDate)>,
    Body(body): Body<PayRateBody>,
    db: Data<Db>,
) -> Result<Json<PayRateView>, Error> {
    let (member, from_on) = path.into_inner();
    let (hourly_amount, burden_share) = (body.hourly_amount.get(), body.burden_share.get());
    let rate = PayRate { member_id: member.0, from_on, hourly_amount, burden_share };
    let answer = view(&rate)?;
    let add = async move |tx: &mut _| pay_rates::add(tx, who, &rate).await;
    db.write("add_pay_rate", who.who().fleet, add).await?;
    Ok(Json(answer))
}

/// A member's rates, oldest first.
#[utoipa::path(tag = "members", extensions(("x-roles" = json!(["owner"]))),
    params(("id" = inline(MemberId), Path), DaysQuery), security(("bearer" = [])),
    responses((status = 200, body = PayRateList), Problems))]
#[get("/v1/members/{id}/pay-rates")]
pub(super) async fn list_pay_rates(
    SignedIn(who): SignedIn<Owner>,
    id: Path<MemberId>,
    page: Query<DaysQuery>,
    db: Data<Db>,
) -> Result<Json<PayRateList>, Error> {
    let limit = i64::try_from(ROOM + 1).map_err(Error::internal)?;
    let mut rates =
        db.read(who.who().fleet, async |tx| pay_rates::list(tx, who, *id, page.after, limit).await).await?;
    let more = rates.len() > ROOM;
    rates.truncate(ROOM);
    let rows: Vec<_> = rates.iter().map(view).collect::<Result<_, _>>()?;
    let next = rows.last().filter(|_| more).map(|rate| rate.from_on);
    Ok(Json(PayRateList { rows, next }))
}
