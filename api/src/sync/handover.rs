//! A run of entries of one lane, judged once each, in order, in one transaction.

use crate::auth::Who;
use crate::error::Error;
use crate::flows::entries::{self, Author, Incoming, Verdict};
use crate::ids::LaneId;
use crate::store::{Tx, accounts, entries as stored};
use chrono::{DateTime, Utc};

/// What a handover came to.
#[derive(Debug)]
pub struct Outcome {
    /// One verdict per entry that was judged, in the order sent; entries after a gap have none.
    pub verdicts: Vec<(i64, uuid::Uuid, Verdict)>,
    /// The last number judged in this lane.
    pub last_n: i64,
    /// Whether the lane was found to be shared by two phones and takes nothing any more.
    pub frozen: bool,
}

/// Takes what a lane hands over: repeats get their old verdict, a gap stops, a number or id used twice
/// for different things freezes the lane.
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
    let numbers: Vec<i64> = sent.iter().filter_map(|entry| entry.n).collect();
    let (first, last) =
        (numbers.iter().min().copied().unwrap_or(1), numbers.iter().max().copied().unwrap_or(0));
    let repeated = stored::find_by_lane(tx, lane, first, last.min(held.last_n)).await?;
    let ids: Vec<uuid::Uuid> = sent.iter().map(|entry| entry.id).collect();
    let known = stored::find_known(tx, &ids).await?;

    let mut outcome =
        Outcome { verdicts: Vec::with_capacity(sent.len()), last_n: held.last_n, frozen: false };
    let mut fresh: Vec<Incoming> = Vec::with_capacity(sent.len());
    for entry in sent {
        let n = entry.n.unwrap_or(0);
        if n <= held.last_n {
            let same = repeated.get(&n).filter(|was| was.entry_id == entry.id);
            let same = match same {
                Some(was) if was.digest == entries::digest(entry)? => was,
                _ => {
                    outcome.frozen = true;
                    break;
                }
            };
            outcome.verdicts.push((n, entry.id, Verdict::of(same)));
        } else if known.contains_key(&entry.id) || fresh.iter().any(|other| other.id == entry.id) {
            outcome.frozen = true;
            break;
        } else if fresh.last().and_then(|other| other.n).unwrap_or(held.last_n) + 1 == n {
            fresh.push(entry.clone());
        } else {
            // A gap: nothing after it is looked at; the reply says which number is expected.
            break;
        }
    }
    let verdicts = entries::take(tx, Author::from(who), Some(lane), &fresh, now).await?;
    for (entry, verdict) in fresh.iter().zip(verdicts) {
        let n = entry.n.unwrap_or(0);
        outcome.last_n = n;
        outcome.verdicts.push((n, entry.id, verdict));
    }
    if outcome.frozen || outcome.last_n != held.last_n {
        accounts::save_lane(tx, lane, outcome.last_n, outcome.frozen.then_some(now)).await?;
    }
    Ok(outcome)
}
