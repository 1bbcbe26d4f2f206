//! A made-up year of a made-up fleet, for looking around and for holding the estimates against a truth
//! that only the simulation knows.
//!
//! Everything goes in through the flows that serve real fleets, with a time that is given by hand.
//!
//! Never: SQL, the clock, anything about real people, places or products.

mod answers;
mod booking;
mod calendar;
mod chance;
mod checks;
mod office;
pub mod people;
mod phone;
mod plan;
mod report;
mod setup;
mod tally;
mod truth;
mod van;
mod wares;
mod work;
mod workday;

pub use checks::{Score, Scores};
pub use plan::SignIn;
pub use tally::Tally;

use crate::auth::password::Hasher;
use crate::error::Error;
use crate::flows::cards::kinds::JobState;
use crate::ids::FleetId;
use crate::store::Db;
use booking::{Diary, end};
use calendar::{after, at, is_working_day};
use chance::Chance;
use chrono::{Datelike, Days, NaiveDate};
use office::Depot;
use plan::Fleet;
use uuid::Uuid;
use van::Van;
use workday::Workday;

/// How far ahead the office books (days).
const BOOKED_AHEAD: u32 = 14;

/// What year to make up.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// How many days.
    pub days: u32,
    /// Which of the possible years.
    pub seed: u64,
    /// The last day.
    pub ends_on: NaiveDate,
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// The fleet.
    pub fleet: FleetId,
    /// How to sign in.
    pub sign_ins: Vec<SignIn>,
    /// How the entries fared.
    pub tally: Tally,
    /// How good the estimates were.
    pub scores: Scores,
    /// Jobs booked, called off, settled.
    pub jobs: (u32, u32, u32),
    /// What the books answer on the last evening, line by line.
    pub answers: Vec<String>,
    /// How often a van had none of what was wanted.
    pub ran_dry: u32,
}

/// Makes the year up and books it; nothing when the demo's fleet is there already.
///
/// # Errors
/// Those of the flows: the simulation itself makes only mistakes that are refused as entries.
pub async fn fill(
    db: &Db,
    hasher: &Hasher,
    options: Options,
    mut progress: impl FnMut(&str),
) -> Result<Option<Outcome>, Error> {
    let mut chance = Chance::of(options.seed);
    let starts_on = options.ends_on.checked_sub_days(Days::new(options.days.saturating_sub(1).into()));
    let starts_on =
        starts_on.ok_or_else(|| Error::invalid("bad_days", "That many days reach beyond the calendar."))?;
    let Some((fleet, vans, sign_ins)) = setup::found(db, hasher, &mut chance, at(starts_on, 5 * 60)).await?
    else {
        return Ok(None);
    };
    let mut year = Year {
        db,
        fleet,
        vans,
        chance,
        diary: Diary::default(),
        depot: Depot::default(),
        tally: Tally::default(),
        scores: Scores::default(),
        unsettled: Vec::new(),
        settled: 0,
        too_late: Vec::new(),
        starts_on,
    };
    for number in 0..options.days {
        let day = after(starts_on, number);
        if number == 0 {
            year.begin(day).await?;
        }
        if is_working_day(day) {
            year.work(day).await?;
        }
        if day.day() == 1 || number + 1 == options.days {
            progress(&format!("{day}: {} entries booked", year.tally.all_taken()));
        }
    }
    year.finish(options.ends_on).await?;
    Ok(Some(Outcome {
        fleet: year.fleet.office.fleet,
        answers: answers::lines(db, &year.fleet, options.ends_on).await?,
        sign_ins,
        jobs: (year.diary.booked, year.diary.cancelled, year.settled),
        ran_dry: year.vans.iter().map(|van| van.ran_dry).sum(),
        tally: year.tally,
        scores: year.scores,
    }))
}

struct Year<'a> {
    db: &'a Db,
    fleet: Fleet,
    vans: Vec<Van>,
    chance: Chance,
    diary: Diary,
    depot: Depot,
    tally: Tally,
    scores: Scores,
    /// Jobs done, with their van, not settled yet.
    unsettled: Vec<(Uuid, usize)>,
    settled: u32,
    /// Settled jobs somebody will remember time for.
    too_late: Vec<(Uuid, usize)>,
    starts_on: NaiveDate,
}

impl Year<'_> {
    /// The depot is filled, the vans are loaded.
    async fn begin(&mut self, day: NaiveDate) -> Result<(), Error> {
        let now = at(day, 6 * 60);
        self.depot.receive(&self.fleet, &mut self.chance, (day, now), 0.0)?;
        self.depot.begin(day);
        self.depot.receive(&self.fleet, &mut self.chance, (day, now), 0.0)?;
        for van in &mut self.vans {
            self.depot.load(&self.fleet, van, &mut self.chance, now)?;
        }
        self.depot.book(self.db, &self.fleet, &mut self.tally, now).await
    }

    /// One working day from the office's first coffee to the last handover.
    async fn work(&mut self, day: NaiveDate) -> Result<(), Error> {
        self.open_office(day).await?;
        for number in 0..self.vans.len() {
            self.send_out(day, number).await?;
        }
        self.hand_over(day).await?;
        self.settle(day).await?;
        if self.chance.yes(0.15) {
            self.look(day).await?;
        }
        Ok(())
    }

    async fn open_office(&mut self, day: NaiveDate) -> Result<(), Error> {
        let now = at(day, 6 * 60 + 30);
        let (db, fleet, chance) = (self.db, &self.fleet, &mut self.chance);
        self.diary.book(db, fleet, chance, (day, after(day, BOOKED_AHEAD)), now).await?;
        self.diary.call_off(db, fleet, chance, day, now).await?;
        let days = (day - self.starts_on).num_days();
        let years = f64::from(i32::try_from(days).unwrap_or(0)) / 365.0;
        self.depot.receive(fleet, chance, (day, now), years)?;
        for van in &mut self.vans {
            if chance.yes(0.8) {
                self.depot.load(fleet, van, chance, now)?;
            }
        }
        if chance.yes(0.04)
            && let Some(van) = self.vans.first_mut()
        {
            self.depot.count(fleet, van, chance, now)?;
        }
        self.depot.book(db, fleet, &mut self.tally, now).await
    }

    /// A van's day; before bottles go on the scale, the books are asked what they think.
    async fn send_out(&mut self, day: NaiveDate, number: usize) -> Result<(), Error> {
        let jobs = self.diary.take(day, number);
        let Some(van) = self.vans.get_mut(number) else { return Ok(()) };
        lose_signal(van, &mut self.chance);
        let weigh = self.chance.yes(0.12);
        if weigh {
            if van.is_known() {
                checks::look(self.db, self.fleet.office.fleet, van, &mut self.scores.before_weigh_in).await?;
            } else {
                self.scores.waiting += 1;
            }
        }
        let mut today = Workday { fleet: &self.fleet, van, chance: &mut self.chance, day };
        if weigh {
            today.weigh_all()?;
        }
        today.look_back()?;
        for (job, _) in self.too_late.extract_if(.., |(_, van)| *van == number) {
            today.remember_too_late(job)?;
        }
        for job in &jobs {
            today.job(job)?;
            self.unsettled.push((job.id, number));
        }
        if !jobs.is_empty() {
            today.clear_up()?;
        }
        Ok(())
    }

    /// Phones with a signal hand over: each van's first, then the others, in no order otherwise. A phone
    /// that comes before the one that opened a bottle would have its work with it refused.
    async fn hand_over(&mut self, day: NaiveDate) -> Result<(), Error> {
        let now = at(day, 21 * 60);
        let (mut first, mut others) = (Vec::new(), Vec::new());
        for (i, van) in self.vans.iter_mut().enumerate() {
            office::keep_tags(self.db, &self.fleet, van, now).await?;
            first.push((i, 0));
            others.extend((1..van.phones.len()).map(|phone| (i, phone)));
        }
        self.chance.mix(&mut first);
        self.chance.mix(&mut others);
        for (van, phone) in first.into_iter().chain(others) {
            if let Some(phone) = self.vans.get_mut(van).and_then(|van| van.phones.get_mut(phone)) {
                phone.hand_over(self.db, &mut self.tally, now).await?;
            }
        }
        Ok(())
    }

    /// Jobs whose vans have handed everything over are settled.
    async fn settle(&mut self, day: NaiveDate) -> Result<(), Error> {
        let now = at(day, 21 * 60 + 30);
        let known: Vec<bool> = self.vans.iter().map(Van::is_known).collect();
        let is_known = |van: usize| known.get(van).copied().unwrap_or(false);
        let done: Vec<(Uuid, usize)> = self.unsettled.extract_if(.., |(_, van)| is_known(*van)).collect();
        self.settled += u32::try_from(done.len()).unwrap_or(0);
        for job in &done {
            if self.chance.yes(0.02) {
                self.too_late.push(*job);
            }
        }
        let done = done.into_iter().map(|(job, _)| job).collect();
        end(self.db, &self.fleet, done, JobState::Settled, now).await?;
        for (i, van) in self.vans.iter_mut().enumerate() {
            if is_known(i) {
                office::retire_bottles(self.db, &self.fleet, van, now).await?;
            }
        }
        Ok(())
    }

    async fn look(&mut self, _: NaiveDate) -> Result<(), Error> {
        for van in &self.vans {
            if van.is_known() {
                checks::look(self.db, self.fleet.office.fleet, van, &mut self.scores.random_days).await?;
            } else {
                self.scores.waiting += 1;
            }
        }
        Ok(())
    }

    /// The last evening: whoever was without a signal has one now.
    async fn finish(&mut self, day: NaiveDate) -> Result<(), Error> {
        for phone in self.vans.iter_mut().flat_map(|van| &mut van.phones) {
            phone.offline_days = 0;
        }
        self.hand_over(day).await?;
        self.settle(day).await?;
        self.look(day).await?;
        for van in &self.vans {
            checks::look_at_doses(self.db, self.fleet.office.fleet, van, &mut self.scores.dose).await?;
        }
        Ok(())
    }
}

/// Now and then a van's last phone stays without a signal for days.
fn lose_signal(van: &mut Van, chance: &mut Chance) {
    if chance.yes(0.06)
        && let Some(phone) = van.phones.last_mut()
    {
        phone.offline_days = chance.whole(1, 3);
    }
}
