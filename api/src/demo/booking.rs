//! The office books jobs ahead: clients, their vehicles, what they want and when a van comes.

use super::calendar::{after, at, is_working_day};
use super::chance::Chance;
use super::people::{FIRST, LAST, LOOKS};
use super::plan::Fleet;
use super::setup::{amount, keep};
use crate::auth::Proof;
use crate::error::Error;
use crate::flows::cards::edit;
use crate::flows::cards::kinds::{Card, Client, Job, JobState, Vehicle};
use crate::store::Db;
use chrono::{DateTime, NaiveDate, Utc};
use serde_json::json;
use std::collections::BTreeMap;
use uuid::Uuid;

/// A booked job.
#[derive(Debug, Clone)]
pub(super) struct Booked {
    pub(super) id: Uuid,
    /// Which recipe and which class, by their number in the plan.
    pub(super) recipe: usize,
    pub(super) class: usize,
    /// Minutes after midnight.
    pub(super) starts_min: i64,
}

/// A client's vehicle that may come again.
#[derive(Debug, Clone, Copy)]
struct Known {
    client: Uuid,
    vehicle: Uuid,
    class: usize,
}

/// Jobs by day and van; clients who may come again.
#[derive(Debug, Default)]
pub(super) struct Diary {
    jobs: BTreeMap<(NaiveDate, usize), Vec<Booked>>,
    known: Vec<Known>,
    booked_to: Option<NaiveDate>,
    /// Jobs booked in all.
    pub(super) booked: u32,
    /// Jobs called off.
    pub(super) cancelled: u32,
}

impl Diary {
    pub(super) fn take(&mut self, day: NaiveDate, van: usize) -> Vec<Booked> {
        self.jobs.remove(&(day, van)).unwrap_or_default()
    }

    /// Books every working day up to `until` that is not booked yet.
    pub(super) async fn book(
        &mut self,
        db: &Db,
        fleet: &Fleet,
        chance: &mut Chance,
        (from, until): (NaiveDate, NaiveDate),
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let mut day = self.booked_to.map_or(from, |day| after(day, 1));
        let mut cards = Vec::new();
        while day <= until {
            if is_working_day(day) {
                for van in 0..fleet.crews.len() {
                    self.book_day(fleet, chance, (day, van), now, &mut cards)?;
                }
            }
            self.booked_to = Some(day);
            day = after(day, 1);
        }
        keep(db, fleet.office, cards, now).await
    }

    fn book_day(
        &mut self,
        fleet: &Fleet,
        chance: &mut Chance,
        (day, number): (NaiveDate, usize),
        now: DateTime<Utc>,
        cards: &mut Vec<(Uuid, Card)>,
    ) -> Result<(), Error> {
        let Some((place_id, crew)) = fleet.crews.get(number) else { return Ok(()) };
        let alone = crew.len() == 1;
        let mut jobs = Vec::new();
        for starts_min in [8 * 60 + 30, 13 * 60 + 15] {
            // A quiet slot now and then; and one pair of hands does one long job a day.
            let recipe = wanted(fleet, chance);
            let is_long = |i: usize| fleet.recipes.get(i).is_some_and(|recipe| recipe.long);
            if chance.yes(0.06) || alone && jobs.iter().any(|job: &Booked| is_long(job.recipe)) {
                continue;
            }
            if alone && is_long(recipe) && !jobs.is_empty() {
                continue;
            }
            let known = self.somebody(fleet, chance, now, cards);
            let (Some(recipe_plan), Some(class)) =
                (fleet.recipes.get(recipe), fleet.classes.get(known.class))
            else {
                continue;
            };
            let price = (recipe_plan.price_amount * class.price_factor / 5.0).round() * 5.0;
            let length = if recipe_plan.long { 330 } else { 200 };
            let id = chance.id(now);
            let job = Job {
                place_id: *place_id,
                client_id: known.client,
                vehicle_id: known.vehicle,
                crew: crew.clone(),
                starts_at: at(day, starts_min),
                ends_at: at(day, starts_min + length),
                service_ids: vec![recipe_plan.service],
                price_amount: Some(amount(price)?),
                discount_amount: chance.yes(0.12).then(|| amount((price * 0.1).round())).transpose()?,
                state: JobState::Booked,
                sections: BTreeMap::new(),
                note: None,
            };
            cards.push((id, Card::Job(job)));
            self.booked += 1;
            jobs.push(Booked { id, recipe, class: known.class, starts_min });
        }
        self.jobs.insert((day, number), jobs);
        Ok(())
    }

    /// A client of before, or a new one with a vehicle.
    fn somebody(
        &mut self,
        fleet: &Fleet,
        chance: &mut Chance,
        now: DateTime<Utc>,
        cards: &mut Vec<(Uuid, Card)>,
    ) -> Known {
        if self.known.len() > 20
            && chance.yes(0.65)
            && let Some(known) = chance.pick(&self.known)
        {
            return *known;
        }
        let word = |chance: &mut Chance, of: &[&'static str]| chance.pick(of).copied().unwrap_or_default();
        let name = format!("{} {}", word(chance, &FIRST), word(chance, &LAST));
        let (client, vehicle) = (chance.id(now), chance.id(now));
        let class = match chance.whole(0, 9) {
            0..=1 => 0,
            2..=5 => 1,
            6..=7 => 2,
            _ => 3,
        };
        let number = self.known.len() + 1;
        cards.push((
            client,
            Card::Client(Client {
                name,
                contact: None,
                address: Some(format!("{number} Kerbstone Row, Harrowmere")),
            }),
        ));
        let description = format!("{} car no. {number}", word(chance, &LOOKS));
        let class_id = fleet.classes.get(class).map(|class| class.id).unwrap_or_default();
        cards.push((
            vehicle,
            Card::Vehicle(Vehicle {
                client_id: client,
                vehicle_class_id: class_id,
                description,
                plate: None,
            }),
        ));
        let known = Known { client, vehicle, class };
        self.known.push(known);
        known
    }

    /// A client calls a job of a day off, now and then.
    pub(super) async fn call_off(
        &mut self,
        db: &Db,
        fleet: &Fleet,
        chance: &mut Chance,
        day: NaiveDate,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let mut gone = Vec::new();
        for van in 0..fleet.crews.len() {
            if let Some(jobs) = self.jobs.get_mut(&(day, van))
                && chance.yes(0.05)
                && let Some(job) = jobs.pop()
            {
                gone.push(job.id);
            }
        }
        self.cancelled += u32::try_from(gone.len()).unwrap_or(0);
        end(db, fleet, gone, JobState::Cancelled, now).await
    }
}

/// Settles or cancels jobs nobody has edited since they were booked.
pub(super) async fn end(
    db: &Db,
    fleet: &Fleet,
    jobs: Vec<Uuid>,
    state: JobState,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    if jobs.is_empty() {
        return Ok(());
    }
    let office = fleet.office;
    let ending = async move |tx: &mut _| {
        for id in &jobs {
            let office = Proof::of(office).ok_or(Error::NotAllowed)?;
            edit::edit(tx, office, *id, 1, &json!({ "state": state.word() }), now).await?;
        }
        Ok(())
    };
    db.write("end_jobs", office.fleet, ending).await
}

/// What a client asks for, by how often it is asked for.
fn wanted(fleet: &Fleet, chance: &mut Chance) -> usize {
    let mut left = chance.between(0.0, fleet.recipes.iter().map(|recipe| recipe.share).sum());
    for (i, recipe) in fleet.recipes.iter().enumerate() {
        left -= recipe.share;
        if left < 0.0 {
            return i;
        }
    }
    0
}
