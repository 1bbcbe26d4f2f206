//! A van's working day: jobs section by section, mistakes and all, as its technicians write them down.

use super::booking::Booked;
use super::calendar::at;
use super::chance::Chance;
use super::plan::{Fleet, Product, Recipe, Step, quantity};
use super::truth::{Leaves, TrueBottle};
use super::van::{Van, whole};
use crate::error::Error;
use crate::flows::cards::kinds::StageKind;
use crate::flows::entries::facts::{
    DoseGiven, Fact, PadEnd, PadRetire, PadWash, Reversal, SectionWork, SupplyUsed, TimeKind, Trip, WeighIn,
    WorkTime,
};
use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use rust_decimal::prelude::ToPrimitive;
use uuid::Uuid;

/// How uneven working minutes are, as a share.
const PACE: f64 = 0.08;
/// How often a section is written down wrongly and reversed.
const SLIP: f64 = 0.01;
/// How often a bottle is weighed with something on it.
const MISWEIGHED: f64 = 0.012;
/// Sections smaller than this (m²) are cut with the spot pad.
const SPOT_M2: f64 = 0.45;

/// One day of one van.
pub(super) struct Workday<'a> {
    pub(super) fleet: &'a Fleet,
    pub(super) van: &'a mut Van,
    pub(super) chance: &'a mut Chance,
    pub(super) day: NaiveDate,
}

/// One section being worked: by whose hand, until when, and what has been used for it so far.
struct Section<'a> {
    name: &'a str,
    area_m2: f64,
    first: bool,
    phone: usize,
    hand: f64,
    starts_at: DateTime<Utc>,
    doses: Vec<DoseGiven>,
    emptied: Vec<TrueBottle>,
}

const STAGES: [StageKind; 5] = [
    StageKind::Preparation,
    StageKind::Cutting,
    StageKind::Polishing,
    StageKind::Finishing,
    StageKind::Protection,
];

impl Workday<'_> {
    /// Every open bottle on the scale, before work begins.
    pub(super) fn weigh_all(&mut self) -> Result<(), Error> {
        let now = at(self.day, 7 * 60 + 40);
        let phone = usize::from(self.van.phones.len() > 1 && self.chance.yes(0.5));
        let bottles: Vec<TrueBottle> = self.van.open.values().cloned().collect();
        for (i, bottle) in (0..).zip(bottles) {
            let now = now + TimeDelta::seconds(40 * i);
            let container_id = bottle.id;
            if self.chance.yes(MISWEIGHED) {
                let gross = bottle.gross_g(self.chance) + self.chance.whole(40, 90);
                let fact = Fact::WeighIn(WeighIn { container_id, gross_g: whole(gross)? });
                if f64::from(gross) > bottle.heaviest_g() {
                    self.note_slip(phone, &fact, now, "heavier_than_full")?;
                } else {
                    let wrong = self.van.note(self.chance, phone, &fact, now)?;
                    self.reverse(phone, wrong, "A cloth lay on the scale", now)?;
                }
            }
            let gross_g = whole(bottle.gross_g(self.chance))?;
            self.van.note(self.chance, phone, &Fact::WeighIn(WeighIn { container_id, gross_g }), now)?;
        }
        Ok(())
    }

    /// One job, from the drive there to the last wipe.
    pub(super) fn job(&mut self, job: &Booked) -> Result<(), Error> {
        let (Some(recipe), Some(class)) =
            (self.fleet.recipes.get(job.recipe), self.fleet.classes.get(job.class))
        else {
            return Err(Error::internal("a job that is not in the plan"));
        };
        let starts_at = at(self.day, job.starts_min);
        self.drive(job, starts_at)?;
        let crew = self.van.phones.len();
        let mut busy_until = vec![starts_at; crew];
        for stage in STAGES {
            let steps: Vec<Step> = recipe.steps.iter().filter(|step| step.what == stage).cloned().collect();
            if steps.is_empty() {
                continue;
            }
            for (i, (name, area_m2)) in class.sections.iter().enumerate() {
                let phone = i % crew;
                let Some(clock) = busy_until.get_mut(phone) else { continue };
                let section = Section {
                    name,
                    area_m2: *area_m2,
                    first: i == 0,
                    phone,
                    hand: self.van.phones.get(phone).map_or(1.0, |phone| phone.hand),
                    starts_at: *clock,
                    doses: Vec::new(),
                    emptied: Vec::new(),
                };
                *clock = self.section(job.id, recipe, stage, &steps, section)?;
            }
        }
        for (phone, ends_at) in busy_until.into_iter().enumerate() {
            let fact =
                WorkTime { member_id: None, job_id: Some(job.id), what: TimeKind::Job, starts_at, ends_at };
            self.van.note(self.chance, phone, &Fact::WorkTime(fact), ends_at)?;
        }
        Ok(())
    }

    /// Back at the depot: used pads are washed, and that takes time too.
    pub(super) fn clear_up(&mut self) -> Result<(), Error> {
        let starts_at = at(self.day, 18 * 60 + 30);
        for phone in 0..self.van.phones.len() {
            let mut washed = Vec::new();
            for pad in self.van.pads.get_mut(phone).into_iter().flat_map(|pads| pads.values_mut().flatten()) {
                if pad.since_wash > 0 {
                    pad.since_wash = 0;
                    washed.push(pad.id);
                }
            }
            let mut now = starts_at;
            for pad_id in washed {
                now += TimeDelta::minutes(2);
                self.van.note(self.chance, phone, &Fact::PadWash(PadWash { pad_id }), now)?;
            }
            let ends_at = now + TimeDelta::minutes(i64::from(self.chance.whole(8, 20)));
            let fact = WorkTime { member_id: None, job_id: None, what: TimeKind::Shop, starts_at, ends_at };
            self.van.note(self.chance, phone, &Fact::WorkTime(fact), ends_at)?;
        }
        Ok(())
    }

    fn drive(&mut self, job: &Booked, arrives_at: DateTime<Utc>) -> Result<(), Error> {
        let km = (self.chance.between(4.0, 34.0) * 10.0).round() / 10.0;
        let leaves_at = arrives_at - TimeDelta::minutes((km * 1.6).round().to_i64().unwrap_or(20).min(40));
        let trip = Trip { place_id: self.van.place, job_id: Some(job.id), distance_km: quantity(km)? };
        self.van.note(self.chance, 0, &Fact::Trip(trip), arrives_at)?;
        for phone in 0..self.van.phones.len() {
            let fact = WorkTime {
                member_id: None,
                job_id: Some(job.id),
                what: TimeKind::Travel,
                starts_at: leaves_at,
                ends_at: arrives_at,
            };
            self.van.note(self.chance, phone, &Fact::WorkTime(fact), arrives_at)?;
        }
        Ok(())
    }

    /// One section in one stage; answers when it is done.
    fn section(
        &mut self,
        job_id: Uuid,
        recipe: &Recipe,
        stage: StageKind,
        steps: &[Step],
        mut section: Section<'_>,
    ) -> Result<DateTime<Utc>, Error> {
        let minutes: f64 = steps.iter().map(|step| step.min_per_m2 * section.area_m2).sum();
        let minutes = (minutes * self.chance.normal(1.0, PACE)).max(1.0);
        let ends_at = section.starts_at + TimeDelta::seconds((minutes * 60.0).to_i64().unwrap_or(60));
        for step in steps {
            if let Some(product) = self.fleet.products.get(&step.product).cloned() {
                self.put_down(&product, step.ml_per_m2 * section.area_m2, &mut section)?;
            }
        }
        let pad = match steps.iter().find_map(|step| step.pad_model) {
            Some(model) => self.pad_for(model, stage, &section),
            None => None,
        };
        let with_machine = pad.is_some();
        let work = SectionWork {
            job_id,
            section: section.name.to_owned(),
            stage,
            pad_id: pad.map(|(_, _, id)| id),
            machine_id: with_machine.then_some(self.van.machine),
            machine_min: with_machine.then(|| quantity((minutes * 8.0).round() / 10.0)).transpose()?,
            doses: std::mem::take(&mut section.doses),
            supplies: self.supplies(recipe, stage, section.first)?,
        };
        self.write_down(section.phone, work, ends_at)?;
        for bottle in section.emptied {
            self.van.put_away(self.chance, bottle, ends_at)?;
        }
        if let Some((model, place, pad_id)) = pad {
            let pile = self.van.pads.get_mut(section.phone).and_then(|pads| pads.get_mut(&model));
            if let Some(pile) = pile
                && let Some(pad) = pile.get_mut(place)
            {
                let why = match pad.work() {
                    Leaves::Not => None,
                    Leaves::Failed => Some(PadEnd::Failed),
                    Leaves::Swapped => Some(PadEnd::Swapped),
                };
                if let Some(why) = why {
                    pile.remove(place);
                    let fact = Fact::PadRetire(PadRetire { pad_id, why });
                    self.van.note(self.chance, section.phone, &fact, ends_at)?;
                }
            }
        }
        Ok(ends_at)
    }

    /// The pad for a section: its model, its place in the owner's pile, its id.
    fn pad_for(
        &mut self,
        model: Uuid,
        stage: StageKind,
        section: &Section<'_>,
    ) -> Option<(Uuid, usize, Uuid)> {
        let spot = section.area_m2 < SPOT_M2 && stage == StageKind::Cutting;
        let model = if spot { self.fleet.spot_pad } else { model };
        let ware = self.fleet.pad_models.get(&model)?;
        let place = self.van.pad(self.chance, model, ware, section.phone, section.starts_at);
        let id = place.and_then(|place| {
            let pile = self.van.pads.get(section.phone)?.get(&model)?;
            Some((model, place, pile.get(place)?.id))
        });
        if id.is_none() {
            self.van.ran_dry += 1;
        }
        id
    }

    /// Puts product down, from a second bottle when the first is emptied on the way.
    fn put_down(&mut self, product: &Product, ml: f64, section: &mut Section<'_>) -> Result<(), Error> {
        let measured = product.ware.key == "wash";
        let doses = (ml / product.ware.usual_ml_per_dose * self.chance.normal(1.0, PACE)).round();
        let (mut count, mut left_ml) = (doses.to_u32().unwrap_or(1).max(1), (ml * 10.0).round() / 10.0);
        loop {
            if !self.van.bottle(self.chance, product, section.starts_at)? {
                self.van.ran_dry += 1;
                return Ok(());
            }
            let Some(bottle) = self.van.open.get_mut(&product.id) else { return Ok(()) };
            let container_id = bottle.id;
            if measured {
                let shown = (bottle.pour(self.chance, left_ml) * 10.0).round() / 10.0;
                left_ml -= shown;
                if shown > 0.0 {
                    let measured_ml = Some(quantity(shown)?);
                    section.doses.push(DoseGiven { container_id, count: None, measured_ml });
                }
            } else {
                let came = bottle.give(self.chance, count, section.hand);
                count -= came;
                if came > 0 {
                    section.doses.push(DoseGiven { container_id, count: Some(came), measured_ml: None });
                }
            }
            if !bottle.is_empty() {
                return Ok(());
            }
            section.emptied.extend(self.van.open.remove(&product.id));
            if count == 0 || measured && left_ml < 0.1 {
                return Ok(());
            }
        }
    }

    fn supplies(&mut self, recipe: &Recipe, stage: StageKind, first: bool) -> Result<Vec<SupplyUsed>, Error> {
        let wanted: &[(&str, u32)] = match stage {
            StageKind::Preparation if first && recipe.long => &[("glove", 1), ("clay", 1)],
            StageKind::Preparation if first => &[("glove", 1)],
            StageKind::Cutting if first => &[("tape", 6)],
            StageKind::Polishing if first => &[("swab", 3)],
            StageKind::Protection if first && recipe.long => &[("towel", 2), ("applicator", 1)],
            StageKind::Protection => &[("towel", 1)],
            StageKind::Preparation | StageKind::Cutting | StageKind::Polishing | StageKind::Finishing => &[],
        };
        let mut used = Vec::new();
        for (key, pieces) in wanted {
            let Some(item_id) = self.fleet.supply(key) else { continue };
            if let Some(left) = self.van.supplies.get_mut(&item_id).filter(|left| **left >= *pieces) {
                *left -= pieces;
                used.push(SupplyUsed { item_id, quantity: whole(*pieces)? });
            } else {
                self.van.ran_dry += 1;
            }
        }
        Ok(used)
    }

    /// Writes a section down; now and then wrongly first, which is reversed.
    fn write_down(&mut self, phone: usize, work: SectionWork, now: DateTime<Utc>) -> Result<(), Error> {
        if self.chance.yes(SLIP) {
            let mut wrong = work.clone();
            for dose in &mut wrong.doses {
                dose.count = dose.count.map(|count| count.saturating_mul(2));
            }
            let late = work.pad_id.is_none() && self.chance.yes(0.4);
            let id = self.van.note(self.chance, phone, &Fact::SectionWork(wrong), now)?;
            if late {
                self.van.to_reverse.push((phone, id));
            } else {
                self.reverse(phone, id, "Counted wrongly", now)?;
            }
        }
        self.van.note(self.chance, phone, &Fact::SectionWork(work), now)?;
        Ok(())
    }

    /// Reverses what was found wrong a day late.
    pub(super) fn look_back(&mut self) -> Result<(), Error> {
        let now = at(self.day, 7 * 60 + 55);
        for (phone, id) in std::mem::take(&mut self.van.to_reverse) {
            self.reverse(phone, id, "Written down twice", now)?;
        }
        Ok(())
    }

    fn reverse(&mut self, phone: usize, entry_id: Uuid, why: &str, now: DateTime<Utc>) -> Result<(), Error> {
        let fact = Fact::Reversal(Reversal { entry_id, why: why.to_owned() });
        self.van.note(self.chance, phone, &fact, now)?;
        if self.chance.yes(0.1) {
            self.note_slip(phone, &fact, now, "already_reversed")?;
        }
        Ok(())
    }

    /// Writes down what must be refused.
    pub(super) fn note_slip(
        &mut self,
        phone: usize,
        fact: &Fact,
        now: DateTime<Utc>,
        code: &'static str,
    ) -> Result<(), Error> {
        if let Some(phone) = self.van.phones.get_mut(phone) {
            phone.note(self.chance, fact, now, Some(code))?;
        }
        Ok(())
    }

    /// Time that is remembered only when the job has been settled.
    pub(super) fn remember_too_late(&mut self, job: Uuid) -> Result<(), Error> {
        let starts_at = at(self.day, 7 * 60);
        let ends_at = starts_at + TimeDelta::minutes(25);
        let fact = WorkTime { member_id: None, job_id: Some(job), what: TimeKind::Job, starts_at, ends_at };
        self.note_slip(0, &Fact::WorkTime(fact), ends_at, "job_settled")
    }
}
