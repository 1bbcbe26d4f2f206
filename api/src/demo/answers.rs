//! The first answers the filled books give: what runs out in each van, and what the last month left.

use super::calendar::at;
use super::people::VANS;
use super::plan::Fleet;
use crate::error::Error;
use crate::flows::answers::{month, run_out};
use crate::store::Db;
use chrono::{Datelike, NaiveDate};

/// How many items per van are named.
const NAMED: usize = 3;

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
