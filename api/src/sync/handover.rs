//! A run of entries of one lane, judged once each, in order, in one transaction.

use super::rules::lane::{Digest, Judged, LaneState, Reused, Sent, plan};
use crate::error::Error;
use crate::flows::entries::{self, Author, Incoming, Verdict};
use crate::ids::{LaneId, fresh};
use crate::store::entries::Known;
use crate::store::set_aside::{self, NewSetAside, Origin};
use crate::store::{Tx, accounts, entries as stored};
use chrono::{DateTime, Utc};
use std::collections::HashMap;
use uuid::Uuid;

/// Most entries of one lane that are set aside. A phone keeps what has no verdict, so that those beyond
/// are not lost: they arrive by its next lane.
const SET_ASIDE_LIMIT: i64 = 2_000;

/// What a handover came to.
#[derive(Debug)]
pub struct Outcome {
    /// One verdict per entry that was judged, in the order sent; entries after a gap have none.
    pub verdicts: Vec<(i64, Uuid, Verdict)>,
    /// The last number judged in this lane before.
    pub last_n_before: i64,
    /// The last number judged in this lane.
    pub last_n: i64,
    /// Whether the lane was found to be shared by two phones and takes nothing any more.
    pub frozen: bool,
    /// Whether the phone was revoked and what it sent was set aside.
    pub revoked: bool,
}

/// What was sent, with what is known of it.
struct Run<'a> {
    sent: &'a [Incoming],
    entries: Vec<Sent>,
    known: HashMap<Uuid, Known>,
}

impl<'a> Run<'a> {
    async fn of(tx: &mut Tx, sent: &'a [Incoming]) -> Result<Self, Error> {
        let read = |entry: &Incoming| {
            Ok(Sent { n: entry.n.unwrap_or(0), id: entry.id, digest: entries::digest(entry)? })
        };
        let entries = sent.iter().map(read).collect::<Result<Vec<Sent>, Error>>()?;
        let ids: Vec<Uuid> = entries.iter().map(|entry| entry.id).collect();
        Ok(Self { sent, entries, known: stored::find_known(tx, &ids).await? })
    }

    /// The verdict that was given before on this content under this id.
    fn stands(&self, entry: &Sent) -> Option<Verdict> {
        self.known.get(&entry.id).filter(|known| says(known) == entry.digest).map(Verdict::of)
    }

    /// What has its verdict gets it again, also where nothing new is taken any more.
    fn repeats(&self) -> Vec<(i64, Uuid, Verdict)> {
        let verdict = |entry: &Sent| Some((entry.n, entry.id, self.stands(entry)?));
        self.entries.iter().filter_map(verdict).collect()
    }

    /// Keeps everything without a verdict for the office.
    async fn set_aside(
        &self,
        tx: &mut Tx,
        author: Author,
        lane: LaneId,
        why: &'static str,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        let mut new = Vec::new();
        for (entry, sent) in self.entries.iter().zip(self.sent) {
            if self.stands(entry).is_none() {
                let (digest, entry) = (entry.digest.to_vec(), entries::document(sent)?);
                new.push(NewSetAside { id: fresh(), entry_id: sent.id, digest, entry });
            }
        }
        let from = Origin { lane, member: author.member, place: author.home_place, why };
        set_aside::insert(tx, from, new, SET_ASIDE_LIMIT, now).await
    }
}

fn says(known: &Known) -> Digest {
    Digest::try_from(known.digest.as_slice()).unwrap_or_default()
}

/// Takes what a lane hands over, as [`plan`] says. What comes by a lane that takes nothing any more is
/// set aside for the office.
///
/// # Errors
/// [`Error::NotFound`] for a lane that is not this member's.
pub async fn take(
    tx: &mut Tx,
    author: Author,
    lane: LaneId,
    sent: &[Incoming],
    now: DateTime<Utc>,
) -> Result<Outcome, Error> {
    let held = accounts::lock_lane(tx, lane).await?;
    if held.member_id != author.member.0 {
        return Err(Error::NotFound);
    }
    let run = Run::of(tx, sent).await?;
    let (frozen, revoked) = (held.frozen_at.is_some(), held.revoked_at.is_some());
    if frozen || revoked {
        let why = if revoked { "device_revoked" } else { "lane_shared" };
        run.set_aside(tx, author, lane, why, now).await?;
        return Ok(Outcome {
            verdicts: run.repeats(),
            last_n_before: held.last_n,
            last_n: held.last_n,
            frozen,
            revoked,
        });
    }
    let numbers = || run.entries.iter().map(|entry| entry.n);
    let (first, last) = (numbers().min().unwrap_or(1), numbers().max().unwrap_or(0));
    let judged = stored::find_by_lane(tx, lane, first, last.min(held.last_n)).await?;
    let plan = plan(
        LaneState { last_n: held.last_n },
        &run.entries,
        &|n| judged.get(&n).map(|was| Judged { id: was.entry_id, digest: says(was) }),
        &|id| run.known.get(&id).map(says),
    );
    if let Some(proof) = plan.froze {
        let mut verdicts = run.repeats();
        if let Some(entry) = run.entries.get(proof.at) {
            let verdict = match proof.reused {
                Reused::Number => Verdict::number_reused(),
                Reused::Id => Verdict::id_reused(),
            };
            verdicts.retain(|(_, id, _)| *id != entry.id);
            verdicts.push((entry.n, entry.id, verdict));
        }
        run.set_aside(tx, author, lane, "lane_shared", now).await?;
        accounts::save_lane(tx, lane, held.last_n, Some(now)).await?;
        return Ok(Outcome {
            verdicts,
            last_n_before: held.last_n,
            last_n: held.last_n,
            frozen: true,
            revoked: false,
        });
    }
    let fresh: Vec<&Incoming> = plan.fresh.iter().filter_map(|at| sent.get(*at)).collect();
    let digests: Vec<Digest> =
        plan.fresh.iter().filter_map(|at| run.entries.get(*at)).map(|entry| entry.digest).collect();
    let judged_now = entries::take(tx, author, Some(lane), &fresh, &digests, now).await?;
    let judged_now: HashMap<Uuid, Verdict> = fresh.iter().map(|entry| entry.id).zip(judged_now).collect();
    let mut answered = [plan.repeats, plan.fresh].concat();
    answered.sort_unstable();
    let verdict = |at: &usize| {
        let entry = run.entries.get(*at)?;
        let verdict = judged_now.get(&entry.id).cloned().or_else(|| run.stands(entry))?;
        Some((entry.n, entry.id, verdict))
    };
    let verdicts: Vec<(i64, Uuid, Verdict)> = answered.iter().filter_map(verdict).collect();
    let last_n = plan.expected.saturating_sub(1);
    if last_n != held.last_n {
        accounts::save_lane(tx, lane, last_n, None).await?;
        let arrived: Vec<Uuid> = verdicts.iter().map(|(_, id, _)| *id).collect();
        set_aside::note_arrived(tx, &arrived, now).await?;
    }
    Ok(Outcome { verdicts, last_n_before: held.last_n, last_n, frozen: false, revoked: false })
}
