//! The answers of the main job: levels, pads, run-outs, job costs, months.

use super::extract::{Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::{Member, Office, Role, Who};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::answers::{job_costs, levels, month, run_out};
use crate::store::Db;
use crate::values::Figure;
use actix_web::get;
use actix_web::web::{Data, Json, Path, Query};
use chrono::{DateTime, Datelike, NaiveDate, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Of which place, and which part of the list.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct PlaceQuery {
    /// Only this van or depot. A technician always gets their own.
    place: Option<Uuid>,
    /// Go on after this id.
    after: Option<Uuid>,
    /// How many, at most 200.
    #[param(minimum = 1, maximum = 200)]
    room: Option<i64>,
}

/// A technician sees the van they work from; without one, nothing.
fn place_for(who: Who, asked: Option<Uuid>) -> Option<Uuid> {
    if who.role == Role::Technician { Some(who.home_place.unwrap_or(Uuid::nil())) } else { asked }
}

/// How full a container is.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct ContainerLevelView {
    /// The container.
    container_id: Uuid,
    /// Its tag.
    label: String,
    /// The product in it.
    item_id: Uuid,
    /// The product's name.
    item_name: String,
    /// Where it is.
    place_id: Uuid,
    /// How it gives its product: `drop`, `shot` or `bead_cm`.
    dose: String,
    /// Estimated remaining volume (ml).
    remaining_ml: f64,
    /// Where it lies with 90 % confidence (ml).
    interval_ml: [f64; 2],
    /// Estimated volume of one dose (ml).
    ml_per_dose: f64,
    /// Where that lies with 90 % confidence (ml).
    ml_per_dose_interval: [f64; 2],
    /// Whole doses left, when the dose size is known.
    doses_left: Option<u64>,
    /// Weigh-ins that were believed.
    weigh_ins: i32,
    /// Weigh-ins that were too far off to be believed.
    flagged_weigh_ins: i32,
    /// When it was opened.
    opened_at: DateTime<Utc>,
}

/// Lists how full each open container is, with the interval it lies in.
#[utoipa::path(tag = "answers", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(PlaceQuery),
    responses((status = 200, body = Cursor<ContainerLevelView>), Problems))]
#[get("/v1/levels/containers")]
pub(super) async fn list_container_levels(
    SignedIn(member): SignedIn<Member>,
    query: Query<PlaceQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<ContainerLevelView>>, Error> {
    let who = member.who();
    let room = PageQuery { after: query.after, room: query.room }.room();
    let place = place_for(who, query.place);
    let found = db
        .read(who.fleet, async |tx| levels::containers(tx, place, query.after, room.saturating_add(1)).await)
        .await?;
    let rows = found.into_iter().map(|answer| ContainerLevelView {
        container_id: answer.id,
        label: answer.label,
        item_id: answer.level.item_id,
        item_name: answer.item_name,
        place_id: answer.level.place_id,
        remaining_ml: answer.remaining_ml,
        interval_ml: answer.interval_ml,
        ml_per_dose: answer.level.mean[1],
        ml_per_dose_interval: answer.ml_per_dose_interval,
        doses_left: answer.doses_left,
        weigh_ins: answer.level.weigh_ins,
        flagged_weigh_ins: answer.level.flagged,
        opened_at: answer.level.opened_at,
        dose: answer.level.dose,
    });
    Ok(Json(Cursor::of(rows.collect(), room, |row: &ContainerLevelView| row.container_id)))
}

/// How worn and how loaded a pad is.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct PadStateView {
    /// The pad.
    pad_id: Uuid,
    /// Its tag.
    label: String,
    /// Its model.
    item_id: Uuid,
    /// Its model's name.
    item_name: String,
    /// Where it is.
    place_id: Uuid,
    /// Sections worked.
    cycles: i32,
    /// Sections until its model's expectation.
    cycles_left: Option<i64>,
    /// Sections since it was last washed.
    cycles_since_wash: i32,
    /// Washes.
    washes: i32,
    /// Product in it since it was last washed (ml).
    load_ml: Figure,
    /// The same over the area of its face (ml per cm²).
    load_ml_per_cm2: Option<f64>,
    /// Area worked (m²).
    worked_m2: Figure,
    /// `good`, `wash_now`, `worn` or `retired`.
    condition: &'static str,
    /// Why it left service: `failed`, `swapped` or `lost`.
    #[serde(skip_serializing_if = "Option::is_none")]
    retired_why: Option<String>,
}

/// Lists how worn and how loaded each pad is that has been used.
#[utoipa::path(tag = "answers", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(PlaceQuery),
    responses((status = 200, body = Cursor<PadStateView>), Problems))]
#[get("/v1/levels/pads")]
pub(super) async fn list_pad_states(
    SignedIn(member): SignedIn<Member>,
    query: Query<PlaceQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<PadStateView>>, Error> {
    let who = member.who();
    let room = PageQuery { after: query.after, room: query.room }.room();
    let place = place_for(who, query.place);
    let found = db
        .read(who.fleet, async |tx| levels::pads(tx, place, query.after, room.saturating_add(1)).await)
        .await?;
    let rows = found.into_iter().map(|answer| PadStateView {
        pad_id: answer.id,
        label: answer.label,
        item_id: answer.state.item_id,
        item_name: answer.item_name,
        place_id: answer.state.place_id,
        cycles: answer.state.cycles,
        cycles_left: answer.cycles_left,
        cycles_since_wash: answer.state.cycles_since_wash,
        washes: answer.state.washes,
        load_ml: Figure(answer.state.load_ml),
        load_ml_per_cm2: answer.load_ml_per_cm2,
        worked_m2: Figure(answer.state.worked_m2),
        condition: answer.condition.word(),
        retired_why: answer.state.retired_why,
    });
    Ok(Json(Cursor::of(rows.collect(), room, |row: &PadStateView| row.pad_id)))
}

/// When an item runs out at a place.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct RunOutView {
    /// The item.
    item_id: Uuid,
    /// Its name.
    item_name: String,
    /// The unit of the quantities: `ml` or `piece`.
    unit: &'static str,
    /// What is there.
    quantity: Figure,
    /// What booked jobs need within the horizon.
    booked_quantity: Figure,
    /// Daily use beyond the bookings; null when there is not enough history to tell.
    rest_per_day: Option<Figure>,
    /// Days of history it was taken from.
    history_days: u32,
    /// Days the quantity covers at the expected use; null when no use is expected.
    days_of_cover: Option<Figure>,
    /// First day on which the chance of being out reaches 5 %; null within the horizon.
    at_risk_on: Option<NaiveDate>,
    /// Day on which the expected quantity is used up; null within the horizon.
    out_on: Option<NaiveDate>,
}

/// What runs out at a place.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct RunOutsView {
    /// The place.
    place_id: Uuid,
    /// How far ahead was looked.
    horizon_days: u32,
    /// The chance of being out that counts as a risk.
    risk: f64,
    /// Every item there or needed there, soonest at risk first.
    rows: Vec<RunOutView>,
}

/// Lists what runs out when at a place: booked jobs through their recipes, and the use of the last weeks.
///
/// No delivery is assumed. A technician may ask for the van they work from.
#[utoipa::path(tag = "answers", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("id" = Uuid, Path, description = "The van or depot.")),
    responses((status = 200, body = RunOutsView), Problems))]
#[get("/v1/places/{id}/run-outs")]
pub(super) async fn list_run_outs(
    SignedIn(member): SignedIn<Member>,
    id: Path<Uuid>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<Json<RunOutsView>, Error> {
    let (who, now, place_id) = (member.who(), clock.now(), id.into_inner());
    if place_for(who, Some(place_id)) != Some(place_id) {
        return Err(Error::NotFound);
    }
    let found = db.read(who.fleet, async |tx| run_out::at_place(tx, place_id, now).await).await?;
    let rows = found.into_iter().map(|row| RunOutView {
        item_id: row.item_id,
        item_name: row.item_name,
        unit: if row.in_ml { "ml" } else { "piece" },
        quantity: Figure(row.quantity),
        booked_quantity: Figure(row.booked),
        rest_per_day: row.rest_per_day.map(Figure),
        history_days: row.history_days,
        days_of_cover: row.days_of_cover.map(Figure),
        at_risk_on: row.at_risk_on,
        out_on: row.out_on,
    });
    Ok(Json(RunOutsView {
        place_id,
        horizon_days: run_out::HORIZON_DAYS,
        risk: run_out::RISK,
        rows: rows.collect(),
    }))
}

/// One line of a job's cost sheet.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CostLineView {
    /// The entry behind it.
    entry_id: Uuid,
    /// Its number within the entry.
    line: i32,
    /// What it is: `labour`, `product`, `supply`, `pad`, `machine`, `travel` or `true_up`.
    what: String,
    /// The container, item, pad, machine, member or van it is about.
    subject_id: Option<Uuid>,
    /// How much.
    quantity: Figure,
    /// In which unit.
    unit: String,
    /// What it cost; negative where something was reversed.
    amount: Figure,
    /// The day it belongs to.
    booked_on: NaiveDate,
}

/// One kind of cost.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct CostSumView {
    /// Which kind.
    what: String,
    /// How much of it.
    quantity: Figure,
    /// What it cost.
    amount: Figure,
}

/// What a job brought in and cost.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct JobCostsView {
    /// The job.
    job_id: Uuid,
    /// The currency of all amounts.
    currency: String,
    /// The month its revenue belongs to, by its first day.
    month: NaiveDate,
    /// Prices less discount.
    net_revenue_amount: Figure,
    /// All costs, in whole minor units.
    cost_amount: Figure,
    /// Revenue less costs.
    margin_amount: Figure,
    /// By kind of cost; exact.
    sums: Vec<CostSumView>,
    /// Line by line. The lines of labour, which tell what was paid to whom, are for the owner.
    lines: Vec<CostLineView>,
}

/// Reads a job's cost sheet, line by line, each with the entry behind it.
#[utoipa::path(tag = "answers", extensions(("x-roles" = json!(["office", "owner"]))),
    security(("bearer" = [])), params(("id" = Uuid, Path, description = "The job.")),
    responses((status = 200, body = JobCostsView), Problems))]
#[get("/v1/jobs/{id}/costs")]
pub(super) async fn read_job_costs(
    SignedIn(office): SignedIn<Office>,
    id: Path<Uuid>,
    db: Data<Db>,
) -> Result<Json<JobCostsView>, Error> {
    let job_id = id.into_inner();
    let found = db.read(office.who().fleet, async |tx| job_costs::read(tx, office, job_id).await).await?;
    let sums = found.sums.into_iter().map(|(what, quantity, amount)| CostSumView {
        what,
        quantity: Figure(quantity),
        amount: Figure(amount),
    });
    let lines = found.lines.into_iter().map(|line| CostLineView {
        entry_id: line.entry_id,
        line: line.line,
        what: line.what,
        subject_id: line.subject_id,
        quantity: Figure(line.quantity),
        unit: line.unit,
        amount: Figure(line.amount),
        booked_on: line.booked_on,
    });
    Ok(Json(JobCostsView {
        job_id,
        currency: found.currency,
        month: found.month,
        net_revenue_amount: Figure(found.net_revenue),
        cost_amount: Figure(found.cost),
        margin_amount: Figure(found.margin),
        sums: sums.collect(),
        lines: lines.collect(),
    }))
}

/// One job's part of a month.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct JobMonthView {
    /// The job.
    job_id: Uuid,
    /// What it brought in this month.
    revenue_amount: Figure,
    /// What it cost this month.
    cost_amount: Figure,
    /// The difference.
    margin_amount: Figure,
}

/// A month.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct MonthView {
    /// Its first day.
    month: NaiveDate,
    /// The currency of all amounts.
    currency: String,
    /// Revenue of all jobs.
    revenue_amount: Figure,
    /// Jobs' costs by kind; exact.
    cost_amounts: BTreeMap<String, Figure>,
    /// What no job explains, by kind. `rounding` holds what the other lines lost or won in being rounded.
    unexplained_amounts: BTreeMap<String, Figure>,
    /// The sum of all jobs' margins less everything unexplained.
    margin_amount: Figure,
    /// Jobs with revenue or cost in the month, by id.
    jobs: Cursor<JobMonthView>,
}

/// Reads what a month earned, per job and in total, with what no job explains on lines of its own.
#[utoipa::path(tag = "answers", extensions(("x-roles" = json!(["office", "owner"]))),
    security(("bearer" = [])),
    params(("month" = String, Path, description = "Year and month.", example = "2026-03", pattern = r"^\d{4}-\d{2}$"),
        PageQuery),
    responses((status = 200, body = MonthView), Problems))]
#[get("/v1/months/{month}")]
pub(super) async fn read_month(
    SignedIn(office): SignedIn<Office>,
    path: Path<String>,
    query: Query<PageQuery>,
    db: Data<Db>,
) -> Result<Json<MonthView>, Error> {
    let first = NaiveDate::parse_from_str(&format!("{path}-01"), "%Y-%m-%d")
        .ok()
        .filter(|day| path.len() == 7 && (1900..=9999).contains(&day.year()))
        .ok_or_else(|| Error::invalid("bad_month", "Write the month as year and month, e.g. 2026-03."))?;
    let found = db.read(office.who().fleet, async |tx| month::read(tx, first).await).await?;
    let room = query.room();
    let shown = found
        .jobs
        .into_iter()
        .filter(|job| query.after.is_none_or(|after| job.job_id > after))
        .take(usize::try_from(room.saturating_add(1)).unwrap_or(0))
        .map(|job| JobMonthView {
            job_id: job.job_id,
            revenue_amount: Figure(job.revenue),
            cost_amount: Figure(job.cost),
            margin_amount: Figure(job.margin),
        });
    let figures = |sums: BTreeMap<String, rust_decimal::Decimal>| {
        sums.into_iter().map(|(what, amount)| (what, Figure(amount))).collect()
    };
    Ok(Json(MonthView {
        month: first,
        currency: found.currency,
        revenue_amount: Figure(found.revenue),
        cost_amounts: figures(found.costs),
        unexplained_amounts: figures(found.unexplained),
        margin_amount: Figure(found.margin),
        jobs: Cursor::of(shown.collect(), room, |row: &JobMonthView| row.job_id),
    }))
}
