//! One section worked in one stage: product out of the containers, wear and load into the pad, machine
//! time and supplies, all of it on the job.

use super::books::{At, Books, CostFor, StockFor};
use super::bottle;
use super::cards::{Author, Cards};
use super::facts::DoseGiven;
use super::facts::SectionWork;
use super::pads::{self, PadBasis};
use super::receipt::positive;
use super::refusal::EntryRefusal;
use super::weigh_in::not_open;
use crate::flows::cards::kinds::ItemKind;
use crate::values::{Amount, Quantity};
use chrono::{DateTime, Utc};
use dropwise_core::CoreError;
use dropwise_core::exact::stock_lot::Shortfall;
use dropwise_core::stats::crossing::booked_quantity;
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How well a measured dose is known, as a share of it: common practice, no source.
const MEASURED_SD_SHARE: f64 = 0.05;

/// What the cards said, and how often each container had been weighed by then.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Basis {
    area_m2: Quantity,
    place_id: Uuid,
    pad: Option<PadBasis>,
    machine_hourly_amount: Option<Amount>,
    /// Per dose: where the container is, and its weigh-ins so far, which a later reversal needs to know.
    pub(super) containers: Vec<Drawn>,
}

impl Basis {
    /// The van that did it.
    pub(super) const fn place(&self) -> Uuid {
        self.place_id
    }
}

/// What was known of a container when a dose was taken from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Drawn {
    place_id: Uuid,
    pub(super) weigh_ins: i32,
}

/// Whether it can be booked.
pub(super) fn judge(
    fact: &SectionWork,
    cards: &Cards,
    books: &Books,
    author: Author,
) -> Result<Basis, EntryRefusal> {
    let job = cards.open_job(fact.job_id, author)?;
    let section = cards.section(job, &fact.section)?;
    let pad = fact.pad_id.map(|pad| pads::judge(pad, cards, books, author)).transpose()?;
    let machine_hourly_amount = match fact.machine_id {
        Some(id) => cards.machine(id, "machine_id")?.hourly_cost_amount,
        None if fact.machine_min.is_some() => {
            return Err(EntryRefusal::at("no_machine", "machine_id", "Say which machine ran for that long."));
        }
        None => None,
    };
    if fact.doses.len() > 20 || fact.supplies.len() > 20 {
        return Err(EntryRefusal::at(
            "too_many_lines",
            "doses",
            "At most 20 doses and 20 supplies per section.",
        ));
    }
    let mut containers = Vec::with_capacity(fact.doses.len());
    for dose in &fact.doses {
        let place_id = cards.container(dose.container_id, "doses")?.place_id;
        let level = books.containers.get(&dose.container_id).ok_or_else(not_open)?;
        containers.push(Drawn { place_id, weigh_ins: level.weigh_ins });
        match (dose.count, dose.measured_ml) {
            (Some(count), None) if (1..=10_000).contains(&count) => {}
            (None, Some(ml)) => positive(ml.get(), "doses")?,
            _ => {
                return Err(EntryRefusal::at(
                    "bad_dose",
                    "doses",
                    "Give either a count from 1 to 10,000 or measured millilitres.",
                ));
            }
        }
    }
    for used in &fact.supplies {
        cards.item_of(used.item_id, "supplies", ItemKind::Supply)?;
        positive(used.quantity.get(), "supplies")?;
    }
    Ok(Basis { area_m2: section.area_m2, place_id: job.place_id, pad, machine_hourly_amount, containers })
}

/// Product, supplies, pad and machine, each with its line on the job.
pub(super) fn book(
    books: &mut Books,
    fact: &SectionWork,
    basis: &Basis,
    at: At,
    happened_at: DateTime<Utc>,
) -> Result<(), CoreError> {
    let job_id = Some(fact.job_id);
    let mut put_down_ml = Decimal::ZERO;
    for (dose, from) in fact.doses.iter().zip(&basis.containers) {
        let ml = draw(books, dose, *from, fact.job_id)?;
        put_down_ml = put_down_ml.checked_add(ml).ok_or(CoreError::OutOfRange { what: "a dose" })?;
        if ml.is_zero() {
            continue;
        }
        let (item_id, place_id) = whose(books, dose.container_id)?;
        let moved = books.account(item_id).issue(ml, Shortfall::Allow)?;
        let value = books.stock(at, StockFor { what: "use", item_id, place_id, job_id }, moved)?;
        // The line names the container: which product was in it is on the stock line.
        let cost = CostFor { what: "product", job_id, subject_id: Some(dose.container_id), unit: "ml" };
        books.cost(at, cost, ml, -value)?;
    }
    for used in &fact.supplies {
        let moved = books.account(used.item_id).issue(used.quantity.get(), Shortfall::Allow)?;
        let of = StockFor { what: "use", item_id: used.item_id, place_id: basis.place_id, job_id };
        let value = books.stock(at, of, moved)?;
        let cost = CostFor { what: "supply", job_id, subject_id: Some(used.item_id), unit: "piece" };
        books.cost(at, cost, used.quantity.get(), -value)?;
    }
    if let (Some(pad_id), Some(pad)) = (fact.pad_id, &basis.pad) {
        let state = pads::state(books, pad_id, pad, happened_at)?;
        let mut line = pads::blank_line(pad_id, job_id);
        line.cycles = 1;
        line.cycles_since_wash = 1;
        line.load_ml = put_down_ml;
        line.worked_m2 = basis.area_m2.get();
        line.amount = pads::cycle_charge(&state, pad)?;
        let cost = CostFor { what: "pad", job_id, subject_id: Some(pad_id), unit: "cycle" };
        books.cost(at, cost, Decimal::ONE, line.amount)?;
        books.pads.set(pad_id, pads::after(state, &line)?);
        books.pad_line(at, line)?;
    }
    if let (Some(machine_id), Some(minutes)) = (fact.machine_id, fact.machine_min) {
        const OUT: CoreError = CoreError::OutOfRange { what: "machine time" };
        let hourly = basis.machine_hourly_amount.map(Amount::get).unwrap_or_default();
        let amount =
            hourly.checked_mul(minutes.get()).and_then(|x| x.checked_div(Decimal::from(60))).ok_or(OUT)?;
        let cost = CostFor { what: "machine", job_id, subject_id: Some(machine_id), unit: "min" };
        books.cost(at, cost, minutes.get(), amount)?;
    }
    Ok(())
}

fn whose(books: &Books, container: Uuid) -> Result<(Uuid, Uuid), CoreError> {
    let level = books.containers.get(&container);
    level.map(|l| (l.item_id, l.place_id)).ok_or(CoreError::Insufficient { what: "open containers" })
}

/// Takes a dose out of a container's estimate and answers what is booked for it (ml).
fn draw(books: &mut Books, dose: &DoseGiven, from: Drawn, job: Uuid) -> Result<Decimal, CoreError> {
    let gone = CoreError::Insufficient { what: "open containers" };
    let mut level = books.containers.get(&dose.container_id).cloned().ok_or(gone)?;
    level.place_id = from.place_id;
    let state = bottle::state(&level)?;
    let ml = match (dose.count, dose.measured_ml) {
        (Some(count), _) => {
            let noise = bottle::noise(&level);
            bottle::keep(&mut level, &state.after_drops(count, &noise)?);
            level.doses_since = level.doses_since.saturating_add(i64::from(count));
            booked_quantity((f64::from(count) * state.mean()[1]).max(0.0))?
        }
        (None, Some(ml)) => {
            let drawn = bottle::measured(ml.get().to_f64().unwrap_or_default(), MEASURED_SD_SHARE)?;
            bottle::keep(&mut level, &state.after_draw(drawn)?);
            ml.get()
        }
        (None, None) => Decimal::ZERO,
    };
    bottle::add_draw(&mut level, job, ml)?;
    books.containers.set(dose.container_id, level);
    Ok(ml)
}
