//! A run of entries of one lane, judged once each, in order, in one transaction.

use super::rules::lane::{Digest, Judged, LaneState, Reused, Sent, plan};
use crate::auth::Who;
use crate::error::Error;
use crate::flows::entries::{self, Author, Incoming, Verdict};
use crate::ids::LaneId;
use crate::store::entries::Known;
use crate::store::{Tx, accounts, entries as stored};
use chrono::{DateTime, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// What a handover came to.
#[derive(Debug)]
pub struct Outcome {
    /// One verdict per entry that was judged, in the order sent; entries after a gap have none.
    pub verdicts: Vec<(i64, Uuid, Verdict)>,
    /// The last number judged in this lane.
    pub last_n: i64,
    /// Whether the lane was found to be shared by two phones and takes nothing any more.
    pub frozen: bool,
}

/// Takes what a lane hands over, as [`plan`] says.
///
/// # Errors
/// [`Error::NotFound`] for a lane that is not this member's; [`Error::Conflict`] for a frozen one.
pub async fn take(
    tx: &mut Tx,
    who: Who,
    lane: LaneId,
    sent: &[Incoming],
    now: DateTime<Utc>,
) -> Result<Outcome, Error> {
    let held = accounts::lock_lane(tx, lane).await?;
    if held.member_id != who.member.0 {
        return Err(Error::NotFound);
    }
    if held.frozen_at.is_some() {
        return Err(Error::conflict(
            "lane_frozen",
            "Two phones handed over as this one. Enrol again; the office decides on what was sent.",
        ));
    }
    let run = run(sent)?;
    let numbers = || run.iter().map(|entry| entry.n);
    let (first, last) = (numbers().min().unwrap_or(1), numbers().max().unwrap_or(0));
    let judged = stored::find_by_lane(tx, lane, first, last.min(held.last_n)).await?;
    let ids: Vec<Uuid> = run.iter().map(|entry| entry.id).collect();
    let known = stored::find_known(tx, &ids).await?;
    let says = |was: &Known| Digest::try_from(was.digest.as_slice()).unwrap_or_default();
    let plan = plan(
        LaneState { last_n: held.last_n },
        &run,
        &|n| judged.get(&n).map(|was| Judged { id: was.entry_id, digest: says(was) }),
        &|id| known.get(&id).map(says),
    );

    let fresh: Vec<&Incoming> = plan.fresh.iter().filter_map(|at| sent.get(*at)).collect();
    let digests: Vec<Digest> = plan.fresh.iter().filter_map(|at| run.get(*at)).map(|e| e.digest).collect();
    let now_judged = entries::take(tx, Author::from(who), Some(lane), &fresh, &digests, now).await?;
    let mut by_id: HashMap<Uuid, Verdict> =
        known.iter().map(|(id, known)| (*id, Verdict::of(known))).collect();
    by_id.extend(fresh.iter().map(|entry| entry.id).zip(now_judged));

    let mut answered = [plan.repeats, plan.fresh].concat();
    answered.sort_unstable();
    let verdict = |at: &usize| {
        let entry = run.get(*at)?;
        Some((entry.n, entry.id, by_id.get(&entry.id)?.clone()))
    };
    let mut verdicts: Vec<(i64, Uuid, Verdict)> = answered.iter().filter_map(verdict).collect();
    if let Some(proof) = plan.froze
        && proof.reused == Reused::Id
        && let Some(entry) = run.get(proof.at)
    {
        verdicts.push((entry.n, entry.id, Verdict::Reused));
    }
    let outcome = Outcome { verdicts, last_n: plan.expected.saturating_sub(1), frozen: plan.froze.is_some() };
    if outcome.frozen || outcome.last_n != held.last_n {
        accounts::save_lane(tx, lane, outcome.last_n, outcome.frozen.then_some(now)).await?;
    }
    Ok(outcome)
}

/// What the rules need to know of what was sent.
fn run(sent: &[Incoming]) -> Result<Vec<Sent>, Error> {
    let known = |entry: &Incoming| {
        Ok(Sent { n: entry.n.unwrap_or(0), id: entry.id, digest: entries::digest(entry)? })
    };
    sent.iter().map(known).collect()
}
