//! Reading the trail and making a fresh copy, for one member's phone.

use super::tables::{Fleet, Member};
use super::trail::Key;
use super::{Asker, ROOM, Server, instant, problem};
use crate::phone::wire::{CopyReply, Problem, Reply, TrailReply};
use crate::sim::faults::Fault;
use dropwise::sync::rules::going_on::{GoOn, Mark, Now, go_on};
use uuid::Uuid;

/// A place in the trail, and the scope it was read with.
#[derive(Debug, Clone, Copy)]
struct Bookmark {
    mark: Mark,
    place: Uuid,
}

impl Bookmark {
    fn text(&self) -> String {
        let era = u128::from_be_bytes(self.mark.era);
        format!("{era:032x}.{}.{}.{}", self.mark.scope, self.mark.position, self.place)
    }

    fn read(text: &str) -> Option<Self> {
        let mut parts = text.split('.');
        let era = u128::from_str_radix(parts.next()?, 16).ok()?.to_be_bytes();
        let mark = Mark { era, scope: parts.next()?.parse().ok()?, position: parts.next()?.parse().ok()? };
        Some(Self { mark, place: parts.next()?.parse().ok()? })
    }
}

/// How far a fresh copy is; the bookmark's position is where the trail goes on afterwards. `van`: only the
/// van's rows are copied, whichever van was read before: a phone that was sent away and back may have
/// dropped them in between.
struct Token {
    stands: Bookmark,
    van: bool,
    beyond: Option<(Uuid, String, Uuid)>,
}

impl Token {
    fn text(&self) -> String {
        let beyond = self.beyond.as_ref();
        let beyond =
            beyond.map_or_else(String::new, |(audience, kind, id)| format!("{audience}/{kind}/{id}"));
        format!("{}.{}.{beyond}", self.stands.text(), self.van)
    }

    fn read(text: &str) -> Option<Self> {
        let mut parts = text.splitn(6, '.').collect::<Vec<_>>();
        let beyond = parts.pop()?;
        let van = parts.pop()?.parse().ok()?;
        let mut key = beyond.split('/');
        let beyond = if beyond.is_empty() {
            None
        } else {
            Some((key.next()?.parse().ok()?, key.next()?.to_owned(), key.next()?.parse().ok()?))
        };
        Some(Self { stands: Bookmark::read(&parts.join("."))?, van, beyond })
    }
}

impl Server {
    fn reader(&self, who: Asker) -> Result<(&Fleet, &Member), Reply> {
        let fleet = self.fleets.get(&who.fleet).ok_or_else(|| problem(401, "unauthorized"))?;
        let member = fleet.members.get(&who.member).ok_or_else(|| problem(401, "unauthorized"))?;
        if member.removed_ms.is_some() { Err(problem(403, "member_removed")) } else { Ok((fleet, member)) }
    }

    fn now(&self, who: Asker, fleet: &Fleet, member: &Member) -> Now {
        let floor = if self.fault == Some(Fault::FloorIgnored) { 0 } else { fleet.trail.floor };
        Now { era: self.era(who.fleet), scope: member.scope, head: fleet.trail.head, floor }
    }

    /// Where to go on from a bookmark, or why not.
    fn from(&mut self, who: Asker, stands: Bookmark) -> Result<i64, Reply> {
        let (fleet, member) = self.reader(who)?;
        let drop = if stands.place == member.place { vec![] } else { vec![stands.place] };
        match go_on(stands.mark, self.now(who, fleet, member)) {
            GoOn::From(position) => Ok(position),
            GoOn::TooOld => Err(gone("too_old", "fresh_copy", vec![])),
            GoOn::Restarted => Err(gone("restarted", "fresh_copy", vec![])),
            GoOn::ScopeChanged => Err(gone("scope_changed", "fresh_copy_from", drop)),
            GoOn::AboveHead => {
                self.rotate(who.fleet);
                Err(gone("restarted", "fresh_copy", vec![]))
            }
        }
    }

    fn sees(&self, who: Asker, member: &Member) -> impl Fn(&Key) -> bool + use<> {
        let (place, all) = (member.place, self.fault == Some(Fault::ScopeIgnored));
        move |(audience, _, _): &Key| {
            all || *audience == who.fleet || *audience == who.member || *audience == place
        }
    }

    pub(super) fn read_trail(
        &mut self,
        who: Asker,
        after: Option<&str>,
        room: u32,
        lane: Uuid,
        now_ms: i64,
    ) -> Reply {
        let Some(stands) = after.and_then(Bookmark::read) else { return problem(422, "bad_bookmark") };
        let position = match self.from(who, stands) {
            Ok(position) => position,
            Err(why) => return why,
        };
        let (fleet, member) = match self.reader(who) {
            Ok(found) => found,
            Err(why) => return why,
        };
        let room = usize::try_from(room).unwrap_or(ROOM).clamp(1, ROOM);
        let (rows, more) = fleet.trail.after(position, room, self.sees(who, member));
        let mut position = rows.last().map_or(position, |row| row.position);
        if self.fault == Some(Fault::BookmarkBeyondPage) {
            position = fleet.trail.head;
        }
        let mark = Mark { position, ..stands.mark };
        Reply::Trail(TrailReply {
            rows,
            bookmark: Bookmark { mark, place: member.place }.text(),
            more,
            era: Some(self.era_text(who.fleet)),
            last_n: fleet.lanes.get(&lane).filter(|lane| lane.member == who.member).map(|lane| lane.last_n),
            server_time: instant(now_ms),
        })
    }

    pub(super) fn fresh_copy(
        &mut self,
        who: Asker,
        token: Option<&str>,
        from: Option<&str>,
        room: u32,
        now_ms: i64,
    ) -> Reply {
        let begun = match (token, from) {
            (Some(token), _) => match Token::read(token) {
                Some(token) => self.go_on_copying(who, token),
                None => Err(problem(422, "bad_token")),
            },
            (None, from) => self.begin_copying(who, from),
        };
        let token = match begun {
            Ok(token) => token,
            Err(why) => return why,
        };
        let (fleet, member) = match self.reader(who) {
            Ok(found) => found,
            Err(why) => return why,
        };
        let sees = self.sees(who, member);
        let had = |audience: Uuid| token.van && (audience == who.fleet || audience == who.member);
        let beyond = token.beyond.as_ref().and_then(|(audience, kind, id)| {
            let kind =
                ["container", "entry", "job", "notice", "stock", "verdict"].iter().find(|k| *k == kind)?;
            Some((*audience, *kind, *id))
        });
        let room = usize::try_from(room).unwrap_or(ROOM).clamp(1, ROOM);
        let (rows, last) = fleet.trail.here(beyond, room, |key| sees(key) && !had(key.0));
        let (token, bookmark) = match last {
            Some((audience, kind, id)) => {
                let beyond = Some((audience, kind.to_owned(), id));
                (Some(Token { beyond, ..token }.text()), None)
            }
            None => (None, Some(token.stands.text())),
        };
        let era = Some(self.era_text(who.fleet));
        Reply::FreshCopy(CopyReply { rows, token, bookmark, era, server_time: instant(now_ms) })
    }

    fn begin_copying(&mut self, who: Asker, from: Option<&str>) -> Result<Token, Reply> {
        let Some(from) = from else {
            let (fleet, member) = self.reader(who)?;
            let now = self.now(who, fleet, member);
            let mark = Mark { era: now.era, scope: now.scope, position: now.head };
            return Ok(Token { stands: Bookmark { mark, place: member.place }, van: false, beyond: None });
        };
        let old = Bookmark::read(from).ok_or_else(|| problem(422, "bad_bookmark"))?;
        let (_, member) = self.reader(who)?;
        let (scope, place) = (member.scope, member.place);
        // Everything but the scope must still hold.
        let stands = Bookmark { mark: Mark { scope, ..old.mark }, place };
        if old.mark.scope > scope {
            self.rotate(who.fleet);
            return Err(gone("restarted", "fresh_copy", vec![]));
        }
        self.from(who, stands)?;
        Ok(Token { stands, van: true, beyond: None })
    }

    /// A copy stays good as long as its scope and its era do and nothing was swept past its start.
    fn go_on_copying(&mut self, who: Asker, token: Token) -> Result<Token, Reply> {
        match self.from(who, token.stands) {
            Ok(_) => Ok(token),
            // A whole copy of another scope begins again; a copy of what was new goes back to its bookmark.
            Err(Reply::Problem(why)) if why.code == "scope_changed" && !token.van => {
                Err(Reply::Problem(Problem { next: Some("fresh_copy".to_owned()), ..why }))
            }
            Err(why) => Err(why),
        }
    }
}

fn gone(code: &str, next: &str, drop: Vec<Uuid>) -> Reply {
    let (code, next) = (code.to_owned(), Some(next.to_owned()));
    Reply::Problem(Problem { status: 410, code, next, drop, retry_after_s: None })
}
