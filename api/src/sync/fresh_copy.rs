//! Everything there is for one member's phone, page by page, and where to go on in the trail after it.
//!
//! The head is noted first. Pages then walk the trail's own key, so that a record that changes meanwhile
//! keeps its place in the walk; whatever is passed over or comes twice has a position above the noted
//! head, and the trail from there tells of it. The phone keeps the higher position. No transaction
//! outlives a page, and what a page needs is in its token.

use super::bookmark::{Bookmark, seal, unseal};
use super::era::Why;
use super::reading::{Looked, PAGE_BYTES, bookmark, decide, fitting, looking, stopped};
use super::rules::going_on::GoOn;
use crate::auth::{Keys, Who};
use crate::error::Error;
use crate::flows::cards::look::today;
use crate::ids::{FleetId, MemberId};
use crate::store::copies::{self, Room};
use crate::store::heads::{self, Standing};
use crate::store::trail::TrailLine;
use crate::store::{Db, Tx};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

const VERSION: u8 = 3;
/// What a technician needs to start work: the stock of the own van, after the jobs of today.
const STOCK: [&str; 5] = ["stock_level", "container", "container_level", "pad", "pad_state"];
/// What is needed last: the history.
const HISTORY: &str = "entry";

/// Where a copy is to go on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Token {
    era: Uuid,
    fleet: FleetId,
    member: MemberId,
    place: Uuid,
    scope: i64,
    /// Where the trail is gone on from after the copy: the noted head, or the bookmark it was asked with.
    position: i64,
    /// The van that was read before, when only what is new since is copied.
    instead_of: Option<Uuid>,
    /// The instants between which a job is one of today.
    today: (DateTime<Utc>, DateTime<Utc>),
    /// Only these kinds are copied; all when empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    kinds: Vec<String>,
    spot: Spot,
}

/// A place in the walk: which stretch, and after which record of it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Spot {
    part: Part,
    audience: Uuid,
    kind: String,
    after: Uuid,
}

/// The parts of a copy, in order.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
enum Part {
    /// The own place's jobs of today. They come again with the other jobs.
    Today,
    /// The own place's stock, kind by kind.
    Stock,
    /// Every other kind, audience by audience.
    Cards,
    /// Entries, audience by audience.
    History,
}

impl Token {
    /// The text a phone sends back.
    ///
    /// # Errors
    /// Ours.
    pub fn text(&self, keys: &Keys) -> Result<String, Error> {
        Ok(seal(VERSION, &serde_json::to_vec(self).map_err(Error::internal)?, keys))
    }

    /// From the text, if this server wrote it.
    #[must_use]
    pub fn read(text: &str, keys: &Keys) -> Option<Self> {
        serde_json::from_slice(&unseal(VERSION, text, keys)?).ok()
    }

    /// Whether only some kinds are copied: the trail cannot be gone on from after that.
    #[must_use]
    pub const fn is_of_kinds(&self) -> bool {
        !self.kinds.is_empty()
    }

    /// The same, of some kinds only, in the order of the trail's key.
    fn of_kinds(self, kinds: Vec<String>) -> Self {
        let audience = self.audiences().first().copied().unwrap_or_default();
        let spot = Spot { part: Part::Cards, audience, kind: String::new(), after: Uuid::nil() };
        Self { kinds, spot, ..self }
    }

    /// Whether a kind has no stretch of its own among the cards.
    fn passes_over(&self, audience: Uuid, kind: &str) -> bool {
        if self.kinds.is_empty() {
            kind == HISTORY || (audience == self.place && STOCK.contains(&kind))
        } else {
            !self.kinds.iter().any(|wanted| wanted == kind)
        }
    }

    const fn bookmark(&self) -> Bookmark {
        Bookmark {
            era: self.era,
            fleet: self.fleet,
            member: self.member,
            place: self.place,
            scope: self.scope,
            position: self.position,
        }
    }

    /// Whose rows are copied.
    fn audiences(&self) -> Vec<Uuid> {
        let all = [self.fleet.0, self.place, self.member.0];
        let copied = |audience: &Uuid| match self.instead_of {
            None => !audience.is_nil(),
            // The fleet's and the member's own rows were read before. This van's may have been too; but whoever
            // was sent elsewhere and back while copying has forgotten them on the way.
            Some(_) => *audience == self.place && !audience.is_nil(),
        };
        all.into_iter().filter(copied).collect()
    }
}

/// Where to begin.
#[derive(Debug, Clone)]
pub enum Start {
    /// At the beginning: everything.
    Whole,
    /// At the beginning: what the reader of this bookmark did not read.
    From(Bookmark),
    /// At the beginning: only what is of these kinds, for an app that newly understands them. There is
    /// at least one.
    Kinds(Vec<String>),
    /// Where a page before stopped.
    At(Box<Token>),
}

/// Rows, and where to go on.
#[derive(Debug)]
pub struct Page {
    /// In the order of the walk.
    pub rows: Vec<TrailLine>,
    /// The next page; nothing after the last.
    pub token: Option<Token>,
    /// Where the trail is gone on from once the last page has come.
    pub bookmark: Bookmark,
}

/// The next page of a copy.
///
/// # Errors
/// [`Error::Gone`] when the copy or the bookmark cannot be gone on from, with the reason as its code.
pub async fn read(db: &Db, who: Who, start: Start, room: i64, now: DateTime<Utc>) -> Result<Page, Error> {
    looking(db, who, now, async |tx| look(tx, who, &start, room, now).await).await
}

async fn look(
    tx: &mut Tx,
    who: Who,
    start: &Start,
    room: i64,
    now: DateTime<Utc>,
) -> Result<Looked<Page>, Error> {
    let standing = heads::standing(tx, who.member, None).await?;
    let seen = standing.history.era;
    if !standing.history.at_home {
        return Ok(Looked::Restored { seen, why: Why::LivesElsewhere });
    }
    let token = match start {
        Start::Whole => begin(tx, bookmark(who, &standing, standing.head), None, now).await?,
        Start::Kinds(kinds) => {
            let whole = begin(tx, bookmark(who, &standing, standing.head), None, now).await?;
            whole.of_kinds(kinds.clone())
        }
        Start::From(mark) => match decide(who, mark, &standing) {
            GoOn::AboveHead => return Ok(Looked::Restored { seen, why: Why::BookmarkAboveHead }),
            GoOn::ScopeChanged if mark.member == who.member && mark.fleet == who.fleet => {
                begin(tx, bookmark(who, &standing, mark.position), Some(mark.place), now).await?
            }
            GoOn::From(position) => {
                begin(tx, bookmark(who, &standing, position), Some(mark.place), now).await?
            }
            stop @ (GoOn::TooOld | GoOn::Restarted | GoOn::ScopeChanged) => {
                return Err(stopped(stop, who, mark, &[mark.place], standing.place));
            }
        },
        Start::At(token) => match decide(who, &token.bookmark(), &standing) {
            GoOn::From(_) => (**token).clone(),
            GoOn::AboveHead => return Ok(Looked::Restored { seen, why: Why::BookmarkAboveHead }),
            stop @ (GoOn::TooOld | GoOn::Restarted | GoOn::ScopeChanged) => {
                return Err(stopped_half_way(stop, who, token, &standing));
            }
        },
    };
    let (rows, token, bookmark) = (walk(tx, token, room).await?).parts();
    Ok(Looked::Answer(Page { rows, token, bookmark }))
}

/// A copy that was begun for another scope: what it was begun from can still be gone on from, and the
/// phone may hold rows of both vans. A whole copy begins anew.
fn stopped_half_way(stop: GoOn, who: Who, token: &Token, standing: &Standing) -> Error {
    let held: Vec<Uuid> = [token.place].into_iter().chain(token.instead_of).collect();
    let mut error = stopped(stop, who, &token.bookmark(), &held, standing.place);
    if let Error::Gone { next, .. } = &mut error
        && token.instead_of.is_none()
    {
        *next = "fresh_copy";
    }
    error
}

async fn begin(
    tx: &mut Tx,
    mark: Bookmark,
    instead_of: Option<Uuid>,
    now: DateTime<Utc>,
) -> Result<Token, Error> {
    let today = today(tx, now).await?;
    let Bookmark { era, fleet, member, place, scope, position } = mark;
    let spot = Spot { part: Part::Today, audience: place, kind: "job".to_owned(), after: Uuid::nil() };
    Ok(Token { era, fleet, member, place, scope, position, instead_of, today, kinds: Vec::new(), spot })
}

/// A page under way.
struct Walk {
    rows: Vec<TrailLine>,
    token: Token,
    done: bool,
}

impl Walk {
    fn parts(self) -> (Vec<TrailLine>, Option<Token>, Bookmark) {
        let bookmark = self.token.bookmark();
        (self.rows, (!self.done).then_some(self.token), bookmark)
    }
}

/// Fills a page, stretch by stretch.
async fn walk(tx: &mut Tx, token: Token, room: i64) -> Result<Walk, Error> {
    let audiences = token.audiences();
    let mut walk = Walk { rows: Vec::new(), token, done: audiences.is_empty() };
    let mut left = Room { rows: room, bytes: PAGE_BYTES };
    while !walk.done {
        let spot = walk.token.spot.clone();
        // One more than there is room for says whether the stretch goes on.
        let asked = Room { rows: left.rows.saturating_add(1), ..left };
        let mut rows = if audiences.contains(&spot.audience) {
            stretch(tx, &walk.token, asked).await?
        } else {
            Vec::new()
        };
        let fit = fitting(&rows, left.rows, left.bytes);
        let fit = if walk.rows.is_empty() || rows.first().is_none_or(|row| row.bytes <= left.bytes) {
            fit
        } else {
            0
        };
        let goes_on = rows.len() > fit;
        rows.truncate(fit);
        if let Some(last) = rows.last() {
            left.bytes = left.bytes.saturating_sub(last.bytes);
            left.rows = left.rows.saturating_sub(i64::try_from(fit).map_err(Error::internal)?);
            walk.token.spot.after = last.record_id;
        }
        walk.rows.append(&mut rows);
        if !goes_on {
            match after(tx, &spot, &walk.token, &audiences).await? {
                Some(next) => walk.token.spot = next,
                None => walk.done = true,
            }
        }
        if goes_on || left.rows == 0 {
            break;
        }
    }
    Ok(walk)
}

async fn stretch(tx: &mut Tx, token: &Token, room: Room) -> Result<Vec<TrailLine>, Error> {
    let Spot { part, audience, kind, after } = &token.spot;
    match part {
        Part::Today => copies::jobs_within(tx, *audience, token.today, *after, room).await,
        Part::Stock | Part::Cards | Part::History => copies::of_kind(tx, *audience, kind, *after, room).await,
    }
}

/// Where the next stretch begins.
async fn after(tx: &mut Tx, spot: &Spot, token: &Token, audiences: &[Uuid]) -> Result<Option<Spot>, Error> {
    let begin =
        |part, audience, kind: &str| Spot { part, audience, kind: kind.to_owned(), after: Uuid::nil() };
    let following = |audience| {
        let at = audiences.iter().position(|a| *a == audience);
        audiences.get(at.map_or(0, |at| at + 1)).copied()
    };
    let (mut audience, mut kind) = match spot.part {
        Part::Today | Part::Stock => {
            let done = STOCK.iter().position(|kind| *kind == spot.kind);
            if let Some(kind) = STOCK.get(done.map_or(0, |done| done + 1)) {
                return Ok(Some(begin(Part::Stock, token.place, kind)));
            }
            (audiences.first().copied(), String::new())
        }
        Part::Cards => (Some(spot.audience), spot.kind.clone()),
        Part::History => {
            return Ok(following(spot.audience).map(|audience| begin(Part::History, audience, HISTORY)));
        }
    };
    while let Some(of) = audience {
        match copies::next_kind(tx, of, &kind).await? {
            Some(next) if token.passes_over(of, &next) => kind = next,
            Some(next) => return Ok(Some(begin(Part::Cards, of, &next))),
            None => {
                audience = following(of);
                kind = String::new();
            }
        }
    }
    let history = audiences.first().filter(|_| token.kinds.is_empty());
    Ok(history.map(|audience| begin(Part::History, *audience, HISTORY)))
}
