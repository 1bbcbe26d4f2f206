//! The estimate of each open container, and how it stood before a weigh-in.

use crate::error::Error;
use crate::store::Tx;
use crate::store::schema::{container_levels, container_marks};
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use dropwise_core::worksheets::DecimalText;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, HashMap};
use uuid::Uuid;

/// What is believed of one open container.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct ContainerLevel {
    /// The product in it.
    pub item_id: Uuid,
    /// Where it is.
    pub place_id: Uuid,
    /// How it gives its product: `drop`, `shot`, `bead_cm`.
    pub dose: String,
    /// What a dose was taken to be at the start (ml).
    pub prior_ml_per_dose: f64,
    /// What was expected of its own doses when it was opened: mean and standard deviation (ml per dose).
    pub began_ml_per_dose: [f64; 2],
    /// Remaining volume (ml) and dose size (ml per dose).
    pub mean: [f64; 2],
    /// Their covariance: `[p00, p01, p11]`.
    pub covariance: [f64; 3],
    /// Weigh-ins that were believed.
    pub weigh_ins: i32,
    /// Weigh-ins that were not.
    pub flagged: i32,
    /// Doses counted since the last believed weigh-in.
    pub doses_since: i64,
    /// Millilitres drawn since then, per job; the nil id stands for no job.
    pub draws_since: BTreeMap<Uuid, DecimalText>,
    /// The last believed weigh-in.
    pub last_weigh_id: Option<Uuid>,
    /// When it was opened.
    pub opened_at: DateTime<Utc>,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = container_levels)]
struct ContainerRow {
    container_id: Uuid,
    item_id: Uuid,
    place_id: Uuid,
    dose: String,
    prior_ml_per_dose: f64,
    began_ml_per_dose: f64,
    began_sd_ml_per_dose: f64,
    remaining_ml: f64,
    ml_per_dose: f64,
    p00: f64,
    p01: f64,
    p11: f64,
    weigh_ins: i32,
    flagged: i32,
    doses_since: i64,
    draws_since: serde_json::Value,
    last_weigh_id: Option<Uuid>,
    opened_at: DateTime<Utc>,
}

impl ContainerRow {
    fn into_level(self) -> Result<(Uuid, ContainerLevel), Error> {
        let level = ContainerLevel {
            item_id: self.item_id,
            place_id: self.place_id,
            dose: self.dose,
            prior_ml_per_dose: self.prior_ml_per_dose,
            began_ml_per_dose: [self.began_ml_per_dose, self.began_sd_ml_per_dose],
            mean: [self.remaining_ml, self.ml_per_dose],
            covariance: [self.p00, self.p01, self.p11],
            weigh_ins: self.weigh_ins,
            flagged: self.flagged,
            doses_since: self.doses_since,
            draws_since: serde_json::from_value(self.draws_since).map_err(Error::internal)?,
            last_weigh_id: self.last_weigh_id,
            opened_at: self.opened_at,
        };
        Ok((self.container_id, level))
    }
}

/// These containers' estimates; closed ones are absent. Their cards are the lock on them.
///
/// # Errors
/// Those of the database.
pub async fn find_containers(tx: &mut Tx, ids: &[Uuid]) -> Result<HashMap<Uuid, ContainerLevel>, Error> {
    let rows: Vec<ContainerRow> = container_levels::table
        .filter(container_levels::fleet_id.eq(tx.fleet().0))
        .filter(container_levels::container_id.eq_any(ids))
        .order(container_levels::container_id)
        .select(ContainerRow::as_select())
        .load(tx.conn())
        .await?;
    rows.into_iter().map(ContainerRow::into_level).collect()
}

/// The newest weighed containers of an item, for what a new one should start from.
///
/// # Errors
/// Those of the database.
pub async fn find_weighed(
    tx: &mut Tx,
    item: Uuid,
    dose: &str,
    limit: i64,
) -> Result<Vec<ContainerLevel>, Error> {
    let rows: Vec<ContainerRow> = container_levels::table
        .filter(container_levels::fleet_id.eq(tx.fleet().0))
        .filter(container_levels::item_id.eq(item))
        .filter(container_levels::dose.eq(dose))
        .filter(container_levels::weigh_ins.gt(0))
        .order(container_levels::container_id.desc())
        .limit(limit)
        .select(ContainerRow::as_select())
        .load(tx.conn())
        .await?;
    rows.into_iter().map(|row| Ok(row.into_level()?.1)).collect()
}

/// Open containers in id order, of all places or one.
///
/// # Errors
/// Those of the database.
pub async fn list_containers(
    tx: &mut Tx,
    place: Option<Uuid>,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<(Uuid, ContainerLevel)>, Error> {
    let mut query = container_levels::table
        .filter(container_levels::fleet_id.eq(tx.fleet().0))
        .filter(container_levels::container_id.gt(after.unwrap_or(Uuid::nil())))
        .into_boxed();
    if let Some(place) = place {
        query = query.filter(container_levels::place_id.eq(place));
    }
    let rows: Vec<ContainerRow> = query
        .order(container_levels::container_id)
        .limit(limit)
        .select(ContainerRow::as_select())
        .load(tx.conn())
        .await?;
    rows.into_iter().map(ContainerRow::into_level).collect()
}

/// The estimates as they stood before these weigh-ins and openings, by entry.
///
/// # Errors
/// Those of the database.
pub async fn find_marks(
    tx: &mut Tx,
    entries: &[Uuid],
) -> Result<HashMap<Uuid, Option<ContainerLevel>>, Error> {
    if entries.is_empty() {
        return Ok(HashMap::new());
    }
    let rows: Vec<(Uuid, Option<serde_json::Value>)> = container_marks::table
        .filter(container_marks::fleet_id.eq(tx.fleet().0))
        .filter(container_marks::entry_id.eq_any(entries))
        .select((container_marks::entry_id, container_marks::before))
        .load(tx.conn())
        .await?;
    rows.into_iter()
        .map(|(entry, before)| {
            Ok((entry, before.map(serde_json::from_value).transpose().map_err(Error::internal)?))
        })
        .collect()
}

/// Keeps an estimate as it stood before an entry.
///
/// # Errors
/// Those of the database.
pub async fn insert_marks(tx: &mut Tx, marks: &[(Uuid, Uuid, Option<ContainerLevel>)]) -> Result<(), Error> {
    for (entry, container, before) in marks {
        let before = before.as_ref().map(serde_json::to_value).transpose().map_err(Error::internal)?;
        let row = (
            container_marks::fleet_id.eq(tx.fleet().0),
            container_marks::entry_id.eq(entry),
            container_marks::container_id.eq(container),
            container_marks::before.eq(before),
        );
        diesel::insert_into(container_marks::table).values(row).execute(tx.conn()).await?;
    }
    Ok(())
}

statement! {
    /// Writes estimates as they now stand.
    struct SaveContainers {
        fleet: Uuid,
        ids: Vec<Uuid>,
        items: Vec<Uuid>,
        places: Vec<Uuid>,
        ways: Vec<String>,
        priors: Vec<f64>,
        began: Vec<f64>,
        began_sd: Vec<f64>,
        remaining: Vec<f64>,
        doses: Vec<f64>,
        p00: Vec<f64>,
        p01: Vec<f64>,
        p11: Vec<f64>,
        weigh_ins: Vec<i32>,
        flagged: Vec<i32>,
        doses_since: Vec<i64>,
        draws_since: Vec<serde_json::Value>,
        last_weigh: Vec<Option<Uuid>>,
        opened: Vec<DateTime<Utc>>,
    }
    = "insert into container_levels (fleet_id, container_id, item_id, place_id, dose, prior_ml_per_dose, began_ml_per_dose, \
       began_sd_ml_per_dose, remaining_ml, ml_per_dose, p00, p01, p11, weigh_ins, flagged, doses_since, draws_since, last_weigh_id, opened_at) \
       select " [fleet: sql::Uuid]
      ", * from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [items: sql::Array<sql::Uuid>]
      ", " [places: sql::Array<sql::Uuid>]
      ", " [ways: sql::Array<sql::Text>]
      ", " [priors: sql::Array<sql::Double>]
      ", " [began: sql::Array<sql::Double>]
      ", " [began_sd: sql::Array<sql::Double>]
      ", " [remaining: sql::Array<sql::Double>]
      ", " [doses: sql::Array<sql::Double>]
      ", " [p00: sql::Array<sql::Double>]
      ", " [p01: sql::Array<sql::Double>]
      ", " [p11: sql::Array<sql::Double>]
      ", " [weigh_ins: sql::Array<sql::Integer>]
      ", " [flagged: sql::Array<sql::Integer>]
      ", " [doses_since: sql::Array<sql::BigInt>]
      ", " [draws_since: sql::Array<sql::Jsonb>]
      ", " [last_weigh: sql::Array<sql::Nullable<sql::Uuid>>]
      ", " [opened: sql::Array<sql::Timestamptz>]
      ") on conflict (fleet_id, container_id) do update set place_id = excluded.place_id, \
       prior_ml_per_dose = excluded.prior_ml_per_dose, began_ml_per_dose = excluded.began_ml_per_dose, \
       began_sd_ml_per_dose = excluded.began_sd_ml_per_dose, remaining_ml = excluded.remaining_ml, \
       ml_per_dose = excluded.ml_per_dose, p00 = excluded.p00, p01 = excluded.p01, p11 = excluded.p11, \
       weigh_ins = excluded.weigh_ins, flagged = excluded.flagged, doses_since = excluded.doses_since, \
       draws_since = excluded.draws_since, last_weigh_id = excluded.last_weigh_id, opened_at = excluded.opened_at"
}

/// Writes estimates as they now stand; `None` takes a container that was opened by mistake out again.
///
/// # Errors
/// Those of the database.
pub async fn save_containers(tx: &mut Tx, levels: &[(Uuid, Option<ContainerLevel>)]) -> Result<(), Error> {
    let closed: Vec<Uuid> = levels.iter().filter(|(_, level)| level.is_none()).map(|(id, _)| *id).collect();
    if !closed.is_empty() {
        diesel::delete(container_levels::table)
            .filter(container_levels::fleet_id.eq(tx.fleet().0))
            .filter(container_levels::container_id.eq_any(closed))
            .execute(tx.conn())
            .await?;
    }
    let open: Vec<(Uuid, &ContainerLevel)> =
        levels.iter().filter_map(|(id, level)| Some((*id, level.as_ref()?))).collect();
    if open.is_empty() {
        return Ok(());
    }
    let draws: Result<Vec<_>, _> = open.iter().map(|(_, l)| serde_json::to_value(&l.draws_since)).collect();
    SaveContainers {
        fleet: tx.fleet().0,
        ids: open.iter().map(|(id, _)| *id).collect(),
        items: open.iter().map(|(_, l)| l.item_id).collect(),
        places: open.iter().map(|(_, l)| l.place_id).collect(),
        ways: open.iter().map(|(_, l)| l.dose.clone()).collect(),
        priors: open.iter().map(|(_, l)| l.prior_ml_per_dose).collect(),
        began: open.iter().map(|(_, l)| l.began_ml_per_dose[0]).collect(),
        began_sd: open.iter().map(|(_, l)| l.began_ml_per_dose[1]).collect(),
        remaining: open.iter().map(|(_, l)| l.mean[0]).collect(),
        doses: open.iter().map(|(_, l)| l.mean[1]).collect(),
        p00: open.iter().map(|(_, l)| l.covariance[0]).collect(),
        p01: open.iter().map(|(_, l)| l.covariance[1]).collect(),
        p11: open.iter().map(|(_, l)| l.covariance[2]).collect(),
        weigh_ins: open.iter().map(|(_, l)| l.weigh_ins).collect(),
        flagged: open.iter().map(|(_, l)| l.flagged).collect(),
        doses_since: open.iter().map(|(_, l)| l.doses_since).collect(),
        draws_since: draws.map_err(Error::internal)?,
        last_weigh: open.iter().map(|(_, l)| l.last_weigh_id).collect(),
        opened: open.iter().map(|(_, l)| l.opened_at).collect(),
    }
    .execute(tx.conn())
    .await?;
    Ok(())
}
