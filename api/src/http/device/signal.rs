//! The signal: tells an open app that the trail has grown, and nothing else.
//!
//! Server-sent events (WHATWG HTML, section 9.2). The id is the head's number and the data is empty; a
//! phone then reads the trail. Whatever is missed is made good by the next one, because each says where
//! the head stands.

use crate::auth::token::Bearer;
use crate::auth::{Member, Who};
use crate::clock::Clock;
use crate::error::Error;
use crate::http::extract::{CurrentApp, Sessions, SignedIn, TokenEnd};
use crate::http::problem::{Problems, ReadingProblems};
use crate::store::{Bell, Db, Listening, heads};
use actix_web::http::header::ContentEncoding;
use actix_web::web::{Bytes, Data};
use actix_web::{HttpResponse, get};
use chrono::{DateTime, TimeDelta, Utc};
use std::convert::Infallible;
use std::time::Duration;
use tokio::time::{Instant, Interval, MissedTickBehavior, interval_at, sleep_until};

/// No more than four a second: what comes between is one.
const BETWEEN: Duration = Duration::from_millis(250);
/// So often something is sent, so that what stands between does not take the line for dead.
const STILL_HERE: Duration = Duration::from_secs(25);
/// So often it is looked whether the member is still welcome. With what [`Sessions`] remembers for three
/// seconds, a removed one is gone within five.
const LOOK: Duration = Duration::from_secs(2);
/// Before the token ends the stream does; at least this long.
const BEFORE_END: TimeDelta = TimeDelta::seconds(5);
/// Phones whose stream ended come back after one of these, so that they do not come all at once.
const RETRY_MS: std::ops::RangeInclusive<u64> = 2_000..=12_000;

/// Listens for the trail to grow.
///
/// Server-sent events: `id` is the number of the fleet's head, the data is empty. At most four a second,
/// a comment every 25 s. Ends before the access token does; come back with a new one after `retry`.
#[utoipa::path(tag = "device", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])),
    responses((status = 200, body = String, content_type = "text/event-stream",
        description = "Events without data, until the stream ends."), ReadingProblems, Problems))]
#[get("/v1/device/signal")]
pub(super) async fn read_signal(
    SignedIn(member): SignedIn<Member>,
    TokenEnd(token_ends_at): TokenEnd,
    _: CurrentApp,
    db: Data<Db>,
    bell: Data<Bell>,
    sessions: Data<Sessions>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let who = member.who();
    let listening = bell.listen(who.fleet).ok_or_else(|| Error::Unavailable {
        why: "every seat at the signal is taken".into(),
        retry_after_s: rand::random_range(20..=60),
    })?;
    // After the seat was taken, so that nothing moves unheard between the two.
    let head = db.read(who.fleet, async |tx| heads::head(tx).await).await?;
    // Not all at once: phones that came together leave one by one.
    let ends_at = token_ends_at - BEFORE_END - TimeDelta::seconds(rand::random_range(0..=25));
    let line = Line::new(listening, head, who, ends_at, Doorkeeper { db, sessions, clock });
    let events = futures_util::stream::unfold(line, async |mut line| {
        let said = line.next().await?;
        Some((Ok::<_, Infallible>(said), line))
    });
    Ok(HttpResponse::Ok()
        .content_type("text/event-stream")
        // Nothing may wait to be compressed, here or on the way.
        .insert_header(ContentEncoding::Identity)
        .insert_header(("X-Accel-Buffering", "no"))
        .streaming(events))
}

/// Knows who is still welcome.
struct Doorkeeper {
    db: Data<Db>,
    sessions: Data<Sessions>,
    clock: Data<Clock>,
}

/// One phone's open line.
struct Line {
    listening: Listening,
    who: Who,
    ends_at: DateTime<Utc>,
    door: Doorkeeper,
    /// What is said first of all.
    greeting: Option<String>,
    last_head: i64,
    next_at: Instant,
    still_here: Interval,
    look: Interval,
    /// Whether the last look could not be had.
    unsure: bool,
}

impl Line {
    fn new(listening: Listening, head: i64, who: Who, ends_at: DateTime<Utc>, door: Doorkeeper) -> Self {
        let every = |period| {
            let mut interval = interval_at(Instant::now() + period, period);
            interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
            interval
        };
        let retry_ms = rand::random_range(RETRY_MS);
        Self {
            listening,
            who,
            ends_at,
            door,
            greeting: Some(format!("retry: {retry_ms}\n{}", event(head))),
            last_head: head,
            next_at: Instant::now() + BETWEEN,
            still_here: every(STILL_HERE),
            look: every(LOOK),
            unsure: false,
        }
    }

    /// What is said next; `None` ends the line.
    async fn next(&mut self) -> Option<Bytes> {
        if let Some(greeting) = self.greeting.take() {
            return Some(greeting.into());
        }
        loop {
            let (next_at, listening) = (self.next_at, &mut self.listening);
            let mut ending = listening.ending();
            let moved = async {
                sleep_until(next_at).await;
                listening.moved().await
            };
            tokio::select! {
                biased;
                () = ending.wait() => return None,
                _ = self.look.tick() => {
                    if !self.is_welcome().await {
                        return None;
                    }
                }
                _ = self.still_here.tick() => return Some(Bytes::from_static(b": still here\n\n")),
                head = moved => {
                    if head != self.last_head {
                        self.last_head = head;
                        self.next_at = Instant::now() + BETWEEN;
                        return Some(event(head).into());
                    }
                }
            }
        }
    }

    /// Whether the token still holds and the member is who they were. What cannot be asked once may be
    /// asked again; a second time it is no.
    async fn is_welcome(&mut self) -> bool {
        if self.door.clock.now() >= self.ends_at {
            return false;
        }
        let Who { fleet, member, session, .. } = self.who;
        let bearer = Bearer { fleet, member, session };
        match self.door.sessions.find(&self.door.db, bearer, &self.door.clock).await {
            Ok(now) => {
                self.unsure = false;
                now == Some(self.who)
            }
            Err(_) => !std::mem::replace(&mut self.unsure, true),
        }
    }
}

/// An event that says where the head is. Without the empty data line it would not be handed to the app.
fn event(head: i64) -> String {
    format!("id: {head}\ndata:\n\n")
}
