//! What lists, months and visibility need of the job cards, in columns.

use super::Tx;
use super::cards::{CardRecord, CardRow};
use super::schema::{cards, jobs};
use crate::error::Error;
use crate::flows::cards::kinds::{JobState, Kind};
use chrono::{DateTime, NaiveDate, Utc};
use diesel::expression::SqlLiteral;
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use uuid::Uuid;

/// A job's columns.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobRecord {
    /// Its id, also that of its card.
    pub job_id: Uuid,
    /// The van that does it.
    pub place_id: Uuid,
    /// For whom.
    pub client_id: Uuid,
    /// On which vehicle.
    pub vehicle_id: Uuid,
    /// Where it stands.
    pub state: JobState,
    /// Booked from.
    pub starts_at: DateTime<Utc>,
    /// Booked to.
    pub ends_at: DateTime<Utc>,
    /// First day of the month it counts in, in the fleet's zone.
    pub month: NaiveDate,
    /// What it brings after the discount.
    pub net_revenue_amount: Decimal,
}

#[derive(Queryable, Selectable, Insertable, AsChangeset)]
#[diesel(table_name = jobs)]
struct JobRow {
    fleet_id: Uuid,
    job_id: Uuid,
    place_id: Uuid,
    client_id: Uuid,
    vehicle_id: Uuid,
    state: String,
    starts_at: DateTime<Utc>,
    ends_at: DateTime<Utc>,
    month: NaiveDate,
    net_revenue_amount: Decimal,
}

impl JobRow {
    fn into_record(self) -> Result<JobRecord, Error> {
        Ok(JobRecord {
            state: JobState::from_word(&self.state)
                .ok_or_else(|| Error::internal("unknown state in the jobs table"))?,
            job_id: self.job_id,
            place_id: self.place_id,
            client_id: self.client_id,
            vehicle_id: self.vehicle_id,
            starts_at: self.starts_at,
            ends_at: self.ends_at,
            month: self.month,
            net_revenue_amount: self.net_revenue_amount,
        })
    }
}

/// Which jobs to list.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct JobFilter {
    /// Of this van only.
    pub place: Option<Uuid>,
    /// Starting from this instant to before that one.
    pub window: Option<(DateTime<Utc>, DateTime<Utc>)>,
}

/// A record that a van may see while it has an open job with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Party {
    /// A client.
    Client(Uuid),
    /// A vehicle.
    Vehicle(Uuid),
}

/// Keeps a job's columns, in place of what was kept before.
///
/// # Errors
/// Those of the database.
pub async fn save(tx: &mut Tx, job: &JobRecord) -> Result<(), Error> {
    let row = JobRow {
        fleet_id: tx.fleet().0,
        job_id: job.job_id,
        place_id: job.place_id,
        client_id: job.client_id,
        vehicle_id: job.vehicle_id,
        state: job.state.word().to_owned(),
        starts_at: job.starts_at,
        ends_at: job.ends_at,
        month: job.month,
        net_revenue_amount: job.net_revenue_amount,
    };
    diesel::insert_into(jobs::table)
        .values(&row)
        .on_conflict((jobs::fleet_id, jobs::job_id))
        .do_update()
        .set(&row)
        .execute(tx.conn())
        .await?;
    Ok(())
}

/// Whether a job still takes work, written out so that Postgres sees the index on just those.
/// A test holds it against [`JobState::is_open`].
pub(super) fn is_open() -> SqlLiteral<sql::Bool> {
    diesel::dsl::sql(OPEN)
}

const OPEN: &str = "jobs.state in ('booked', 'under_way', 'finished')";

statement! {
    /// Moves jobs on.
    struct SetStates { fleet: Uuid, ids: Vec<Uuid>, states: Vec<&'static str> }
    = "update jobs j set state = s.s from unnest(" [ids: sql::Array<sql::Uuid>]
      ", " [states: sql::Array<sql::Text>]
      ") as s(i, s) where j.fleet_id = " [fleet: sql::Uuid]
      " and j.job_id = s.i"
}

/// Notes where jobs stand now; their cards are held by the caller.
///
/// # Errors
/// Those of the database.
pub async fn set_states(tx: &mut Tx, moved: &[(Uuid, JobState)]) -> Result<(), Error> {
    if moved.is_empty() {
        return Ok(());
    }
    let set = SetStates {
        fleet: tx.fleet().0,
        ids: moved.iter().map(|(id, _)| *id).collect(),
        states: moved.iter().map(|(_, state)| state.word()).collect(),
    };
    set.execute(tx.conn()).await?;
    Ok(())
}

/// The columns of the job of that id.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &mut Tx, id: Uuid) -> Result<JobRecord, Error> {
    let row: JobRow =
        jobs::table.find((tx.fleet().0, id)).select(JobRow::as_select()).first(tx.conn()).await?;
    row.into_record()
}

/// Job cards in id order, after an id.
///
/// # Errors
/// Those of the database.
pub async fn list_cards(
    tx: &mut Tx,
    filter: JobFilter,
    after: Option<Uuid>,
    limit: i64,
    with_retired: bool,
) -> Result<Vec<CardRecord>, Error> {
    let mut question = jobs::table
        .inner_join(cards::table.on(cards::fleet_id.eq(jobs::fleet_id).and(cards::card_id.eq(jobs::job_id))))
        .filter(jobs::fleet_id.eq(tx.fleet().0))
        .filter(jobs::job_id.gt(after.unwrap_or(Uuid::nil())))
        .order(jobs::job_id)
        .limit(limit)
        .select(CardRow::as_select())
        .into_boxed();
    if let Some(place) = filter.place {
        question = question.filter(jobs::place_id.eq(place));
    }
    if let Some((from, to)) = filter.window {
        question = question.filter(jobs::starts_at.ge(from)).filter(jobs::starts_at.lt(to));
    }
    if !with_retired {
        question = question.filter(cards::retired_at.is_null());
    }
    let rows: Vec<CardRow> = question.load(tx.conn()).await?;
    rows.into_iter().map(CardRow::into_record).collect()
}

/// The vans that have an open job with that client or vehicle.
///
/// # Errors
/// Those of the database.
pub async fn places_with(tx: &mut Tx, party: Party) -> Result<Vec<Uuid>, Error> {
    let open = jobs::table
        .filter(jobs::fleet_id.eq(tx.fleet().0))
        .filter(is_open())
        .select(jobs::place_id)
        .distinct();
    let places = match party {
        Party::Client(id) => open.filter(jobs::client_id.eq(id)).load(tx.conn()).await?,
        Party::Vehicle(id) => open.filter(jobs::vehicle_id.eq(id)).load(tx.conn()).await?,
    };
    Ok(places)
}

/// The clients, or the vehicles, that a van has open jobs with, as cards in id order after an id.
///
/// # Errors
/// Those of the database.
pub async fn list_parties(
    tx: &mut Tx,
    kind: Kind,
    place: Uuid,
    after: Option<Uuid>,
    limit: i64,
) -> Result<Vec<CardRecord>, Error> {
    let fleet = tx.fleet().0;
    let open =
        jobs::table.filter(jobs::fleet_id.eq(fleet)).filter(jobs::place_id.eq(place)).filter(is_open());
    let wanted = cards::table
        .filter(cards::fleet_id.eq(fleet))
        .filter(cards::card_id.gt(after.unwrap_or(Uuid::nil())))
        .filter(cards::retired_at.is_null())
        .order(cards::card_id)
        .limit(limit)
        .select(CardRow::as_select());
    let rows: Vec<CardRow> = match kind {
        Kind::Client => {
            wanted.filter(cards::card_id.eq_any(open.select(jobs::client_id))).load(tx.conn()).await?
        }
        Kind::Vehicle => {
            wanted.filter(cards::card_id.eq_any(open.select(jobs::vehicle_id))).load(tx.conn()).await?
        }
        Kind::Fleet
        | Kind::Place
        | Kind::Item
        | Kind::Container
        | Kind::Pad
        | Kind::Machine
        | Kind::VehicleClass
        | Kind::Recipe
        | Kind::Service
        | Kind::Job => Vec::new(),
    };
    rows.into_iter().map(CardRow::into_record).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_open_states_are_those_that_take_work() {
        let named: Vec<&str> = OPEN.split('\'').skip(1).step_by(2).collect();
        let open: Vec<&str> =
            JobState::ALL.into_iter().filter(|state| state.is_open()).map(JobState::word).collect();
        assert_eq!(named, open);
    }
}
