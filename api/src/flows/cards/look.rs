//! Looking at cards: one, or a page of a kind, as far as the member may.

use super::kinds::{Fleet, Kind};
use super::{booking, checks, create, trail};
use crate::auth::{Member, Role, Who};
use crate::error::Error;
use crate::store::Tx;
use crate::store::cards::{self, CardRecord};
use crate::store::jobs::{self, JobFilter};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use uuid::Uuid;

/// The longest stretch of days jobs are listed for.
const LONGEST_WINDOW: TimeDelta = TimeDelta::days(62);

/// Which cards to list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wanted {
    /// Of which kind.
    pub kind: Kind,
    /// After this id.
    pub after: Option<Uuid>,
    /// How many.
    pub limit: i64,
    /// Whether those out of use are wanted as well.
    pub with_retired: bool,
    /// Jobs of this van only.
    pub place: Option<Uuid>,
    /// Jobs from this day of the fleet's calendar …
    pub from: Option<NaiveDate>,
    /// … to this one, both included.
    pub to: Option<NaiveDate>,
}

/// One card. A technician finds a job only of their own van, and a client or a vehicle only while
/// that van has a booked job with it; any other is answered as if it were not there.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn read(tx: &mut Tx, who: Member, id: Uuid) -> Result<CardRecord, Error> {
    let who = who.who();
    let record = cards::find(tx, id).await?;
    if who.role != Role::Technician {
        return Ok(record);
    }
    let seen = match (record.kind, trail::party(record.kind, id)) {
        (Kind::Job, _) => Some(jobs::find(tx, id).await?.place_id) == who.home_place,
        (_, Some(party)) => match who.home_place {
            Some(home) => jobs::places_with(tx, party).await?.contains(&home),
            None => false,
        },
        (_, None) => true,
    };
    if seen { Ok(record) } else { Err(Error::NotFound) }
}

/// Cards of one kind in id order, as far as the member may see them.
///
/// # Errors
/// [`Error::Invalid`] when days or a place are asked for where there are none.
pub async fn list(tx: &mut Tx, who: Member, wanted: Wanted) -> Result<Vec<CardRecord>, Error> {
    let who = who.who();
    let Wanted { kind, after, limit, with_retired, .. } = wanted;
    if kind != Kind::Job && (wanted.place.is_some() || wanted.from.is_some() || wanted.to.is_some()) {
        return Err(Error::invalid("jobs_only", "place, from and to are for jobs. Leave them out."));
    }
    if kind == Kind::Job {
        let Some(filter) = job_filter(tx, who, wanted).await? else { return Ok(Vec::new()) };
        return jobs::list_cards(tx, filter, after, limit, with_retired).await;
    }
    match (who.role, trail::party(kind, Uuid::nil()), who.home_place) {
        (Role::Technician, Some(_), Some(home)) => jobs::list_parties(tx, kind, home, after, limit).await,
        (Role::Technician, Some(_), None) => Ok(Vec::new()),
        _ => cards::list(tx, kind, after, limit, with_retired).await,
    }
}

/// The instants between which a job that starts is one of today, on the fleet's calendar.
///
/// # Errors
/// Those of the database; ours for a fleet without settings.
pub async fn today(tx: &mut Tx, now: DateTime<Utc>) -> Result<(DateTime<Utc>, DateTime<Utc>), Error> {
    let zone = checks::zone(&create::settings(tx).await?)?;
    let day = now.with_timezone(&zone).date_naive();
    booking::window(zone, day, day)
}

/// Which jobs this member means and may see; `None` when that can be none.
async fn job_filter(tx: &mut Tx, who: Who, wanted: Wanted) -> Result<Option<JobFilter>, Error> {
    let place = match (who.role, who.home_place) {
        (Role::Office | Role::Owner, _) => wanted.place,
        (Role::Technician, Some(home)) if wanted.place.is_none_or(|place| place == home) => Some(home),
        (Role::Technician, _) => return Ok(None),
    };
    let window = match (wanted.from, wanted.to) {
        (None, None) => None,
        (Some(from), Some(to)) if from <= to && to.signed_duration_since(from) < LONGEST_WINDOW => {
            let fleet: Fleet = create::settings(tx).await?;
            Some(booking::window(checks::zone(&fleet)?, from, to)?)
        }
        _ => {
            let sentence = "Give both from and to, in order, and at most 62 days.";
            return Err(Error::invalid("bad_window", sentence));
        }
    };
    Ok(Some(JobFilter { place, window }))
}
