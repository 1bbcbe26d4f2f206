//! What changed since a bookmark, page by page, for one member's phone.

use super::bookmark::Bookmark;
use crate::auth::Who;
use crate::error::Error;
use crate::store::Tx;
use crate::store::trail::{self, TrailLine};
use uuid::Uuid;

/// Rows of the trail, and where to go on.
#[derive(Debug)]
pub struct Page {
    /// The latest state of each record that changed, in order.
    pub rows: Vec<TrailLine>,
    /// Where the next page begins.
    pub next: Bookmark,
    /// Whether there is more already.
    pub more: bool,
}

/// The next page after a bookmark; from the start without one.
///
/// # Errors
/// [`Error::Gone`] when the bookmark cannot be gone on from, with the reason as its code.
pub async fn read(tx: &mut Tx, who: Who, after: Option<Bookmark>, room: i64) -> Result<Page, Error> {
    let place = who.home_place.unwrap_or(Uuid::nil());
    let position = match after {
        None => 0,
        Some(mark) if mark.fleet != who.fleet || mark.place != place => {
            return Err(Error::Gone {
                code: "scope_changed",
                sentence: "You work from another van now. Read the trail again from the start.",
            });
        }
        Some(mark) => mark.position,
    };
    // The head first: rows are then at least as new, and a bookmark beyond it is from another history.
    if position > trail::head(tx).await? {
        return Err(Error::Gone {
            code: "restarted",
            sentence: "This database has been restored. Read the trail again from the start, then hand over again.",
        });
    }
    let mut rows =
        trail::after(tx, vec![who.fleet.0, place, who.member.0], position, room.saturating_add(1)).await?;
    let room = usize::try_from(room).unwrap_or(0);
    let more = rows.len() > room;
    if more {
        let cut = whole_turns(&rows, room);
        rows.truncate(cut);
    }
    let position = rows.last().map_or(position, |row| row.position);
    Ok(Page { rows, next: Bookmark { fleet: who.fleet, place, position }, more })
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
        TrailLine { record_id: Uuid::nil(), kind: "entry".into(), position, turn, body: "{}".into() }
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
}
