//! Writes a worked batch down: entries, lines, figures, levels, and what the phones should hear.

use super::books::Books;
use super::parked::Waiting;
use super::{Author, Desk, photo};
use crate::error::Error;
use crate::flows::answers::levels::CONFIDENCE;
use crate::ids::LaneId;
use crate::store::books::{self, ContainerLevel, FigureKey, PadState};
use crate::store::{TrailRow, Tx, entries, files};
use chrono::{DateTime, Utc};
use dropwise_core::stats::Estimate;
use serde_json::{Value, json};

/// Writes everything the batch made, whole columns at a time.
pub(super) async fn record(
    tx: &mut Tx,
    desk: Desk,
    waiting: Waiting<'_>,
    author: Author,
    lane: Option<LaneId>,
    now: DateTime<Utc>,
) -> Result<(), Error> {
    let shown = photo::uses(&desk);
    let turn = if desk.booked == 0 { 0 } else { entries::next_turn(tx).await? };
    entries::append(tx, desk.new, author.member, lane, turn, now).await?;
    waiting.record(tx, &desk.known, &desk.waits, &desk.books, now).await?;
    entries::decide(tx, desk.decided, turn).await?;
    entries::mark_reversed(tx, &desk.reversed).await?;
    files::insert_uses(tx, shown).await?;
    let made = &desk.books;
    books::append(tx, &made.lines).await?;
    books::insert_marks(tx, &made.marks).await?;
    let figures = Books::figures(&made.lines);
    let figures = figures.iter().map(|((month, job_id, what), (quantity, amount))| {
        (FigureKey { month: *month, job_id: *job_id, what }, *quantity, *amount)
    });
    books::add_figures(tx, figures).await?;
    let used = Books::use_days(&made.lines).into_iter().map(|((item, place, day), q)| (item, place, day, q));
    books::add_use(tx, used).await?;
    let values: Vec<_> = made.values.changes().into_iter().filter_map(|(id, v)| Some((id, v?))).collect();
    books::save_values(tx, &values).await?;
    let levels: Vec<_> = made.levels.changes().into_iter().filter_map(|(id, v)| Some((id, v?))).collect();
    books::save_levels(tx, &levels).await?;
    let containers = made.containers.changes();
    books::save_containers(tx, &containers).await?;
    let pads: Vec<_> = made.pads.changes().into_iter().filter_map(|(id, v)| Some((id, v?))).collect();
    books::save_pads(tx, &pads).await?;

    let mut writings: Vec<_> = desk.writings.into_iter().collect();
    writings.sort_unstable_by_key(|(id, _)| *id);
    for (_, writing) in writings {
        writing.save(tx, now).await?;
    }
    for (audience_id, record_id, body) in desk.told {
        tx.tell(TrailRow::here(audience_id, "entry", record_id, body));
    }
    for ((item, place), quantity) in levels {
        let body =
            json!({ "item_id": item, "place_id": place, "quantity": quantity.normalize().to_string() });
        tx.tell(TrailRow::here(place, "stock_level", item, body));
    }
    for (id, level) in containers {
        if let Some(level) = level {
            tx.tell(TrailRow::here(level.place_id, "container_level", id, told_level(&level)?));
        }
    }
    for (id, pad) in pads {
        tx.tell(TrailRow::here(pad.place_id, "pad_state", id, told_pad(&pad)));
    }
    Ok(())
}

/// What phones are told of a container's level.
pub(in crate::flows) fn told_level(level: &ContainerLevel) -> Result<Value, Error> {
    let whole = Estimate::try_new(level.mean[0], level.covariance[0].max(0.0).sqrt());
    let [low, high] = whole.and_then(|whole| whole.interval(CONFIDENCE)).map_err(Error::internal)?;
    Ok(json!({
        "remaining_ml": level.mean[0].max(0.0),
        "interval_ml": [low.max(0.0), high.max(0.0)],
        "ml_per_dose": level.mean[1],
        "dose": level.dose,
        "weigh_ins": level.weigh_ins,
        "flagged": level.flagged,
    }))
}

/// What phones are told of a pad's wear.
pub(in crate::flows) fn told_pad(pad: &PadState) -> Value {
    json!({
        "cycles": pad.cycles,
        "cycles_since_wash": pad.cycles_since_wash,
        "washes": pad.washes,
        "load_ml": pad.load_ml.normalize().to_string(),
        "retired_at": pad.retired_at,
        "first_used_at": pad.first_used_at,
        "item_id": pad.item_id,
        "place_id": pad.place_id,
    })
}
