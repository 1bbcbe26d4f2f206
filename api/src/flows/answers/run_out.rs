//! What runs out when, at one place: booked jobs exploded through their recipes, plus what history says
//! of the rest.

use super::{as_card, settings};
use crate::error::Error;
use crate::flows::cards::kinds::{Card, ItemKind};
use crate::store::cards::{self, CardRecord};
use crate::store::{Tx, answers};
use chrono::{DateTime, Days, NaiveDate, Utc};
use dropwise_core::exact::rounding::{Ties, round};
use dropwise_core::stock::run_out::{BackgroundUse, BookedUse, run_out};
use rust_decimal::Decimal;
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// How far ahead is looked, in days.
pub const HORIZON_DAYS: u32 = 60;
/// How far back use is taken from.
const HISTORY_DAYS: u32 = 56;
/// Fewest days of history from which a daily use is told.
const FEWEST_DAYS: u32 = 14;
/// The chance of being out that counts as a risk.
pub const RISK: f64 = 0.05;

/// When one item runs out at a place.
#[derive(Debug, Clone, PartialEq)]
pub struct RunOutAnswer {
    /// The item.
    pub item_id: Uuid,
    /// Its name.
    pub item_name: String,
    /// Whether it is counted in millilitres; pieces otherwise.
    pub in_ml: bool,
    /// What is there.
    pub quantity: Decimal,
    /// Booked jobs need this much within the horizon.
    pub booked: Decimal,
    /// Daily use beyond the bookings; none without enough history.
    pub rest_per_day: Option<Decimal>,
    /// Days of history it was taken from.
    pub history_days: u32,
    /// How many days the quantity covers at the expected use; none when nothing is expected to be used.
    pub days_of_cover: Option<Decimal>,
    /// The first day on which the chance of being out reaches 5 %; none within the horizon.
    pub at_risk_on: Option<NaiveDate>,
    /// The day on which the expected quantity is used up; none within the horizon.
    pub out_on: Option<NaiveDate>,
}

/// Every item at a place or needed there, soonest at risk first.
///
/// # Errors
/// [`Error::NotFound`] for a place that is not there; those of the database.
pub async fn at_place(tx: &mut Tx, place: Uuid, now: DateTime<Utc>) -> Result<Vec<RunOutAnswer>, Error> {
    if !matches!(as_card(&cards::find(tx, place).await?)?, Card::Place(_)) {
        return Err(Error::NotFound);
    }
    let zone: chrono_tz::Tz = settings(tx).await?.zone.parse().map_err(Error::internal)?;
    let today = now.with_timezone(&zone).date_naive();
    let levels: BTreeMap<Uuid, Decimal> = answers::levels_at(tx, place).await?.into_iter().collect();
    let from = today.checked_sub_days(Days::new(u64::from(HISTORY_DAYS))).unwrap_or(today);
    let past: HashMap<Uuid, answers::PastUse> = answers::use_between(tx, place, from, today)
        .await?
        .into_iter()
        .map(|used| (used.item_id, used))
        .collect();
    let until = now.checked_add_days(Days::new(u64::from(HORIZON_DAYS))).unwrap_or(now);
    let booked =
        needs(tx, place, now, until, |at| day_number(today, at.with_timezone(&zone).date_naive())).await?;

    let mut items: Vec<Uuid> = levels.keys().chain(booked.keys()).chain(past.keys()).copied().collect();
    items.sort_unstable();
    items.dedup();
    let cards = cards::find_many(tx, &items).await?;
    let mut rows = Vec::with_capacity(items.len());
    for id in items {
        let Some(Card::Item(item)) = cards.get(&id).map(as_card).transpose()? else { continue };
        let quantity = levels.get(&id).copied().unwrap_or_default();
        let bookings = booked.get(&id).map_or(&[][..], Vec::as_slice);
        let row = answer(quantity, bookings, past.get(&id), today)?;
        rows.push(RunOutAnswer {
            item_id: id,
            item_name: item.name,
            in_ml: item.what == ItemKind::Product,
            ..row
        });
    }
    rows.sort_by_key(|row| (row.at_risk_on.unwrap_or(NaiveDate::MAX), row.out_on.unwrap_or(NaiveDate::MAX)));
    Ok(rows)
}

fn day_number(today: NaiveDate, day: NaiveDate) -> u32 {
    // Work of today still lies ahead: it counts as the first day.
    u32::try_from((day - today).num_days()).unwrap_or(0).max(1)
}

/// What the booked jobs need, per item.
async fn needs(
    tx: &mut Tx,
    place: Uuid,
    from: DateTime<Utc>,
    to: DateTime<Utc>,
    day: impl Fn(DateTime<Utc>) -> u32,
) -> Result<BTreeMap<Uuid, Vec<BookedUse>>, Error> {
    let booked = answers::booked_at(tx, place, from, to).await?;
    let jobs: Vec<Uuid> = booked.iter().map(|(job, _)| *job).collect();
    let mut known: HashMap<Uuid, CardRecord> = cards::find_many(tx, &jobs).await?;
    // Services and vehicles behind the jobs, then recipes and classes behind those.
    for _ in 0..2 {
        let mut next = Vec::new();
        for record in known.values() {
            let links = as_card(record)?.links();
            next.extend(links.into_iter().map(|link| link.target_id).filter(|id| !known.contains_key(id)));
        }
        next.sort_unstable();
        next.dedup();
        known.extend(cards::find_many(tx, &next).await?);
    }
    let mut read = HashMap::with_capacity(known.len());
    for (id, record) in &known {
        read.insert(*id, as_card(record)?);
    }
    let mut needs: BTreeMap<Uuid, Vec<BookedUse>> = BTreeMap::new();
    for (job, starts_at) in booked {
        let Some(Card::Job(card)) = read.get(&job) else { continue };
        let Some(Card::Vehicle(vehicle)) = read.get(&card.vehicle_id) else { continue };
        let Some(Card::VehicleClass(class)) = read.get(&vehicle.vehicle_class_id) else { continue };
        let area_m2: Decimal = class.sections.iter().map(|section| section.area_m2.get()).sum();
        for service in &card.service_ids {
            let Some(Card::Service(service)) = read.get(service) else { continue };
            let Some(Card::Recipe(recipe)) = service.recipe_id.and_then(|id| read.get(&id)) else { continue };
            for stage in &recipe.stages {
                let (Some(item), Some(each)) = (stage.item_id, stage.ml_per_m2) else { continue };
                let demand = area_m2.checked_mul(each.get()).unwrap_or_default();
                let day = day(starts_at);
                needs.entry(item).or_default().push(BookedUse {
                    from_day: day,
                    to_day: day,
                    demand_per_day: demand,
                });
            }
        }
    }
    Ok(needs)
}

/// The outlook of one item; names are the caller's to fill in.
fn answer(
    quantity: Decimal,
    bookings: &[BookedUse],
    past: Option<&answers::PastUse>,
    today: NaiveDate,
) -> Result<RunOutAnswer, Error> {
    let booked: Decimal = bookings.iter().map(|booking| booking.demand_per_day).sum();
    let history_days = past.map_or(0, |used| u32::try_from((today - used.first_on).num_days()).unwrap_or(0));
    let days = Decimal::from(history_days.max(1));
    let told = past.filter(|_| history_days >= FEWEST_DAYS);
    let (mean, variance) = match told {
        None => (Decimal::ZERO, Decimal::ZERO),
        Some(used) => {
            let mean = (used.quantity / days).max(Decimal::ZERO);
            (mean, (used.squares / days - mean * mean).max(Decimal::ZERO))
        }
    };
    // What the bookings already explain is not expected a second time.
    let rest = (mean - booked / Decimal::from(HORIZON_DAYS)).max(Decimal::ZERO);
    let places = |value: Decimal| round(value, 6, Ties::HalfEven).map_err(Error::internal);
    let background = BackgroundUse { mean_per_day: places(rest)?, variance_per_day: places(variance)? };
    let outlook = run_out(quantity, background, bookings, RISK, HORIZON_DAYS).map_err(Error::internal)?;
    let per_day = rest + booked / Decimal::from(HORIZON_DAYS);
    let date = |day: Option<u32>| day.and_then(|day| today.checked_add_days(Days::new(u64::from(day))));
    Ok(RunOutAnswer {
        item_id: Uuid::nil(),
        item_name: String::new(),
        in_ml: false,
        quantity,
        booked,
        rest_per_day: told.map(|_| background.mean_per_day),
        history_days,
        days_of_cover: if per_day > Decimal::ZERO {
            Some(round((quantity / per_day).max(Decimal::ZERO), 1, Ties::HalfEven).map_err(Error::internal)?)
        } else {
            None
        },
        at_risk_on: date(outlook.first_day_at_risk),
        out_on: date(outlook.expected_run_out_day),
    })
}
