//! What changed since a bookmark, page by page, for one member's phone.

use super::bookmark::Bookmark;
use super::era::{self, Why};
use super::rules::going_on::{GoOn, Now, go_on};
use crate::auth::Who;
use crate::error::Error;
use crate::ids::LaneId;
use crate::store::heads::{self, Standing};
use crate::store::trail::{self, TrailLine};
use crate::store::{Db, Tx};
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Most bytes of a page on the wire, all but its frame; a row larger than that still comes, alone.
pub const PAGE_BYTES: i64 = (1 << 20) - 2048;
/// How often a restored database may turn up within one request.
const ROTATIONS: usize = 3;

/// Rows of the trail, and where to go on.
#[derive(Debug)]
pub struct Page {
    /// The latest state of each record that changed, in order.
    pub rows: Vec<TrailLine>,
    /// Where the next page begins.
    pub next: Bookmark,
    /// Whether there is more already.
    pub more: bool,
    /// The last number judged in the reader's lane.
    pub last_n: Option<i64>,
}

/// What a look at the fleet came to.
pub(super) enum Looked<T> {
    /// An answer.
    Answer(T),
    /// The database was restored: rotate the era that was seen, then look again.
    Restored { seen: Uuid, why: Why },
}

/// The next page after a bookmark; without one, from the start, which nobody may go on from once a
/// tombstone has been swept: a phone with nothing takes a fresh copy.
///
/// # Errors
/// [`Error::Gone`] when the bookmark cannot be gone on from, with the reason as its code.
pub async fn read(
    db: &Db,
    who: Who,
    after: Option<Bookmark>,
    lane: Option<LaneId>,
    room: i64,
    now: DateTime<Utc>,
) -> Result<Page, Error> {
    looking(db, who, now, async |tx| look(tx, who, after, lane, room).await).await
}

/// Looks in one snapshot, so that the floor and the rows belong together; when the database turns out to
/// be restored, rotates the era in a transaction of its own and looks again.
pub(super) async fn looking<T>(
    db: &Db,
    who: Who,
    now: DateTime<Utc>,
    look: impl AsyncFn(&mut Tx) -> Result<Looked<T>, Error>,
) -> Result<T, Error> {
    for _ in 0..ROTATIONS {
        match db.read_snapshot(who.fleet, &look).await? {
            Looked::Answer(answer) => return Ok(answer),
            Looked::Restored { seen, why } => era::rotate(db, who.fleet, seen, why, now).await?,
        }
    }
    Err(Error::Unavailable { why: "the database is being restored".into(), retry_after_s: 5 })
}

async fn look(
    tx: &mut Tx,
    who: Who,
    after: Option<Bookmark>,
    lane: Option<LaneId>,
    room: i64,
) -> Result<Looked<Page>, Error> {
    let standing = heads::standing(tx, who.member, lane).await?;
    let seen = standing.history.era;
    if !standing.history.at_home {
        return Ok(Looked::Restored { seen, why: Why::LivesElsewhere });
    }
    let mark = after.unwrap_or(bookmark(who, &standing, 0));
    let position = match decide(who, &mark, &standing) {
        GoOn::From(position) => position,
        GoOn::AboveHead => return Ok(Looked::Restored { seen, why: Why::BookmarkAboveHead }),
        stop @ (GoOn::TooOld | GoOn::Restarted | GoOn::ScopeChanged) => {
            return Err(stopped(stop, who, &mark, &[mark.place], standing.place));
        }
    };
    let audiences = vec![who.fleet.0, standing.place, who.member.0];
    let mut rows = trail::after(tx, audiences, position, room.saturating_add(1), PAGE_BYTES).await?;
    let fit = fitting(&rows, room, PAGE_BYTES);
    let more = rows.len() > fit;
    if more {
        rows.truncate(whole_turns(&rows, fit));
    }
    let position = rows.last().map_or(position, |row| row.position);
    let next = bookmark(who, &standing, position);
    Ok(Looked::Answer(Page { rows, next, more, last_n: standing.last_n }))
}

pub(super) const fn bookmark(who: Who, standing: &Standing, position: i64) -> Bookmark {
    Bookmark {
        era: standing.history.era,
        fleet: who.fleet,
        member: who.member,
        place: standing.place,
        scope: standing.scope,
        position,
    }
}

/// Another's bookmark is one of another scope, whatever its numbers say.
pub(super) fn decide(who: Who, mark: &Bookmark, standing: &Standing) -> GoOn {
    if mark.fleet != who.fleet || mark.member != who.member {
        return GoOn::ScopeChanged;
    }
    let Standing { history, scope, head, floor, .. } = *standing;
    go_on(mark.mark(), Now { era: *history.era.as_bytes(), scope, head, floor })
}

/// What a phone that cannot go on is told. `held` are the vans whose rows it may hold.
pub(super) fn stopped(stop: GoOn, who: Who, mark: &Bookmark, held: &[Uuid], place: Uuid) -> Error {
    let gone = |code, sentence, next| Error::Gone { code, sentence, next, drop: Vec::new() };
    match stop {
        GoOn::TooOld => gone(
            "too_old",
            "What was deleted since is no longer listed. Take a fresh copy; keep what has not been handed over.",
            "fresh_copy",
        ),
        GoOn::ScopeChanged if mark.member != who.member || mark.fleet != who.fleet => {
            gone("scope_changed", "This bookmark is another member's. Take a fresh copy.", "fresh_copy")
        }
        GoOn::ScopeChanged => {
            let mut drop: Vec<Uuid> = held.iter().copied().filter(|v| *v != place && !v.is_nil()).collect();
            drop.dedup();
            Error::Gone {
                code: "scope_changed",
                sentence: "You work from another van now. Forget the rows of those in `drop`, and take a fresh copy from this bookmark.",
                next: "fresh_copy_from",
                drop,
            }
        }
        GoOn::Restarted | GoOn::AboveHead | GoOn::From(_) => gone(
            "restarted",
            "This database has been restored. Take a fresh copy, then hand over again what is not known to be safe.",
            "fresh_copy",
        ),
    }
}

/// How many of the rows fit in a page; one always does.
pub(super) fn fitting(rows: &[TrailLine], room: i64, bytes: i64) -> usize {
    let room = usize::try_from(room).unwrap_or(0);
    rows.iter().take(room).take_while(|row| row.bytes <= bytes).count().max(1).min(rows.len())
}

/// How many of the first `room` rows end on a whole transaction; all of them when one fills the page.
fn whole_turns(rows: &[TrailLine], room: usize) -> usize {
    let next = rows.get(room).map(|row| row.turn);
    let page = rows.get(..room).unwrap_or(rows);
    let whole = page.iter().rposition(|row| Some(row.turn) != next).map_or(0, |last| last + 1);
    if whole == 0 { page.len() } else { whole }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn row(position: i64, turn: i64) -> TrailLine {
        TrailLine {
            audience_id: Uuid::nil(),
            record_id: Uuid::nil(),
            kind: "entry".into(),
            position,
            turn,
            state: "here".into(),
            body: "{}".into(),
            bytes: 100 * position,
        }
    }

    #[test]
    fn a_page_ends_on_a_whole_transaction() {
        let rows = [row(1, 2), row(2, 2), row(3, 5), row(4, 5), row(5, 5)];
        assert_eq!(whole_turns(&rows, 4), 2);
        assert_eq!(whole_turns(&rows, 2), 2);
    }

    #[test]
    fn a_transaction_larger_than_a_page_is_cut() {
        let rows = [row(1, 9), row(2, 9), row(3, 9)];
        assert_eq!(whole_turns(&rows, 2), 2);
    }

    #[test]
    fn a_page_is_full_by_rows_or_by_bytes_and_never_empty() {
        let rows = [row(1, 1), row(2, 2), row(3, 3)];
        assert_eq!(fitting(&rows, 2, 1_000), 2);
        assert_eq!(fitting(&rows, 9, 200), 2);
        assert_eq!(fitting(&rows, 9, 50), 1, "one too large a row still comes");
        assert_eq!(fitting(&[], 9, 50), 0);
    }
}
