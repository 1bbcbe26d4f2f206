//! The first answers the filled books give: what runs out in each van, which pads need
//! something, and what the last month left.

use super::calendar::at;
use super::people::VANS;
use super::plan::Fleet;
use crate::error::Error;
use crate::flows::answers::levels::{self, PadCondition};
use crate::flows::answers::{month, run_out};
use crate::store::Db;
use chrono::{Datelike, NaiveDate};

/// How many items per van are named.
const NAMED: usize = 3;

/// The most pads looked at per van.
const PADS: i64 = 1_000;

/// Lines to print, as the owner would read them on the evening of `day`.
pub(super) async fn lines(db: &Db, fleet: &Fleet, day: NaiveDate) -> Result<Vec<String>, Error> {
    let (id, now) = (fleet.office.fleet, at(day, 22 * 60));
    let mut lines = Vec::new();
    for ((place, _), name) in fleet.crews.iter().zip(VANS) {
        let found = db.read(id, async |tx| run_out::at_place(tx, *place, now).await).await?;
        for answer in found.iter().take(NAMED) {
            let unit = if answer.in_ml { "ml" } else { "pieces" };
            let day = |on: Option<NaiveDate>| on.map_or("not within the horizon".into(), |on| on.to_string());
            lines.push(format!(
                "{name}: {}: {} {unit} left; at risk {}; out {}",
                answer.item_name,
                answer.quantity.normalize(),
                day(answer.at_risk_on),
                day(answer.out_on)
            ));
        }
    }
    for ((place, _), name) in fleet.crews.iter().zip(VANS) {
        let pads = db.read(id, async |tx| levels::pads(tx, Some(*place), None, PADS).await).await?;
        let with = |condition| pads.iter().filter(move |pad| pad.condition == condition);
        let most =
            with(PadCondition::Worn).chain(with(PadCondition::Good)).max_by_key(|pad| pad.state.cycles);
        lines.push(format!(
            "{name}: pads in use: {} worn, {} to be washed, {} in order{}",
            with(PadCondition::Worn).count(),
            with(PadCondition::WashNow).count(),
            with(PadCondition::Good).count(),
            most.map_or_else(String::new, |pad| format!(
                "; the most used is {} ({}) after {} sections",
                pad.label, pad.item_name, pad.state.cycles
            ))
        ));
    }
    let first = day.with_day(1).unwrap_or(day);
    let month = db.read(id, async |tx| month::read(tx, first).await).await?;
    lines.push(format!(
        "Month of {first}: revenue {} {}, margin {} after all that no job explains, {} jobs",
        month.revenue,
        month.currency,
        month.margin,
        month.jobs.len()
    ));
    Ok(lines)
}
