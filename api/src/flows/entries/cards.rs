//! The cards a batch of entries looks at, and the questions asked of them.

use super::refusal::EntryRefusal;
use crate::auth::{Role, Who};
use crate::flows::cards::kinds::{
    Card, Container, Fleet, Item, ItemKind, Job, Kind, Machine, Pad, Place, Section, Vehicle, VehicleClass,
};
use crate::ids::MemberId;
use crate::store::accounts::PayRate;
use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use rust_decimal::Decimal;
use std::collections::HashMap;
use uuid::Uuid;

/// Cards by id, with the state of each job and each member's pay.
#[derive(Debug, Default)]
pub(super) struct Cards {
    pub(super) by_id: HashMap<Uuid, (Card, bool)>,
    pub(super) fleet_id: Uuid,
    pub(super) rates: HashMap<Uuid, Vec<PayRate>>,
    pub(super) members: HashMap<Uuid, bool>,
}

/// Who wrote an entry down.
#[derive(Debug, Clone, Copy)]
pub struct Author {
    /// Their id.
    pub member: MemberId,
    /// What they may do.
    pub role: Role,
    /// The van or depot they work from.
    pub home_place: Option<Uuid>,
    /// When they were removed from the fleet, if they were.
    pub removed_at: Option<DateTime<Utc>>,
}

impl From<Who> for Author {
    fn from(who: Who) -> Self {
        Self { member: who.member, role: who.role, home_place: who.home_place, removed_at: None }
    }
}

macro_rules! card_of {
    ($name:ident, $variant:ident, $ty:ty) => {
        pub(super) fn $name(&self, id: Uuid, field: &str) -> Result<&$ty, EntryRefusal> {
            match self.by_id.get(&id) {
                Some((Card::$variant(card), _)) => Ok(card),
                _ => Err(missing(field, Kind::$variant)),
            }
        }
    };
}

impl Cards {
    card_of!(item, Item, Item);
    card_of!(container, Container, Container);
    card_of!(pad, Pad, Pad);
    card_of!(machine, Machine, Machine);
    card_of!(job, Job, Job);
    card_of!(place, Place, Place);
    card_of!(vehicle, Vehicle, Vehicle);
    card_of!(vehicle_class, VehicleClass, VehicleClass);

    /// The fleet's settings.
    pub(super) fn fleet(&self) -> Result<&Fleet, EntryRefusal> {
        match self.by_id.get(&self.fleet_id) {
            Some((Card::Fleet(fleet), _)) => Ok(fleet),
            _ => Err(EntryRefusal::new("no_fleet_card", "The fleet has no settings yet.")),
        }
    }

    /// Whether a card has been retired.
    pub(super) fn is_retired(&self, id: Uuid) -> bool {
        self.by_id.get(&id).is_some_and(|(_, retired)| *retired)
    }

    /// The fleet's zone.
    pub(super) fn zone(&self) -> Result<Tz, EntryRefusal> {
        self.fleet()?
            .zone
            .parse()
            .map_err(|_| EntryRefusal::new("bad_zone", "The fleet's time zone is not known."))
    }

    /// The day of an instant, in the fleet's zone.
    pub(super) fn day(&self, at: DateTime<Utc>) -> Result<NaiveDate, EntryRefusal> {
        Ok(at.with_timezone(&self.zone()?).date_naive())
    }

    /// A job of the author's own van or crew, unless the office writes.
    pub(super) fn own_job(&self, id: Uuid, author: Author) -> Result<&Job, EntryRefusal> {
        let job = self.job(id, "job_id")?;
        if author.role == Role::Technician
            && author.home_place != Some(job.place_id)
            && !job.crew.contains(&author.member)
        {
            return Err(missing("job_id", Kind::Job));
        }
        Ok(job)
    }

    /// Such a job that takes work.
    pub(super) fn open_job(&self, id: Uuid, author: Author) -> Result<&Job, EntryRefusal> {
        use crate::flows::cards::kinds::JobState;
        let job = self.own_job(id, author)?;
        match job.state {
            JobState::Booked | JobState::UnderWay | JobState::Finished => Ok(job),
            JobState::Settled => Err(EntryRefusal::at(
                "job_settled",
                "job_id",
                "This job is settled and takes no more work. Ask the office to reverse or rebook.",
            )),
            JobState::Cancelled => Err(EntryRefusal::at(
                "job_cancelled",
                "job_id",
                "This job was cancelled and takes no work. Ask the office to book it again.",
            )),
        }
    }

    /// The section of a job's vehicle.
    pub(super) fn section(&self, job: &Job, name: &str) -> Result<&Section, EntryRefusal> {
        let vehicle = self.vehicle(job.vehicle_id, "job_id")?;
        let class = self.vehicle_class(vehicle.vehicle_class_id, "job_id")?;
        class.sections.iter().find(|section| section.name == name).ok_or_else(|| {
            let known: Vec<&str> = class.sections.iter().map(|section| section.name.as_str()).collect();
            EntryRefusal::at(
                "no_such_section",
                "section",
                format!(
                    "The class {} has no section of that name. It has: {}.",
                    class.name,
                    known.join(", ")
                ),
            )
        })
    }

    /// An item that must be of some kind.
    pub(super) fn item_of(&self, id: Uuid, field: &str, what: ItemKind) -> Result<&Item, EntryRefusal> {
        let item = self.item(id, field)?;
        if item.what == what {
            Ok(item)
        } else {
            Err(EntryRefusal::at("wrong_kind_of_item", field, "That item is of another kind."))
        }
    }

    /// A place the author may write for.
    pub(super) fn own_place(&self, id: Uuid, field: &str, author: Author) -> Result<&Place, EntryRefusal> {
        let place = self.place(id, field)?;
        if author.role == Role::Technician && author.home_place != Some(id) {
            return Err(missing(field, Kind::Place));
        }
        Ok(place)
    }

    /// A member's rate of pay and burden on a day.
    pub(super) fn rate_on(&self, member: Uuid, day: NaiveDate) -> Option<(Decimal, Decimal)> {
        let rates = self.rates.get(&member)?;
        let rate = rates.iter().rev().find(|rate| rate.from_on <= day)?;
        Some((rate.hourly_amount, rate.burden_share))
    }
}

/// What an unknown and a foreign id are answered with.
pub(super) fn missing(field: &str, kind: Kind) -> EntryRefusal {
    EntryRefusal::at(
        "no_such_record",
        field,
        format!(
            "There is no {} of that id here. Check the id, or wait until it has been handed over.",
            kind.word()
        ),
    )
}
