//! Who hears that a fleet's head has moved: listeners of this process as soon as it is committed, other
//! processes by a message from a connection of its own.
//!
//! Never inside the transaction that moved the head: a message sent there makes commits wait for each
//! other. What is said may be lost or repeated; it only says "look", and where.

use super::db::with_limits;
use crate::ids::FleetId;
use std::collections::HashMap;
use std::future::poll_fn;
use std::pin::pin;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use tokio::sync::{Notify, watch};
use tokio_postgres::{AsyncMessage, NoTls};

/// What the message is called; `listen` takes no parameters and names it again.
const CHANNEL: &str = "dropwise_heads";
/// At most this often other processes are told: 20 times a second.
const BETWEEN_MESSAGES: Duration = Duration::from_millis(50);
/// A connection on which nothing was said for so long is asked whether it still stands.
const QUIET: Duration = Duration::from_secs(15);
/// And must answer within this.
const ANSWER: Duration = Duration::from_secs(5);

/// How many may listen at once.
#[derive(Debug, Clone, Copy)]
pub struct Seats {
    /// In this process.
    pub all: usize,
    /// Of one fleet.
    pub per_fleet: usize,
}

/// Tells listeners that a head has moved. Cheap to clone; one per process.
#[derive(Clone)]
pub struct Bell(Arc<Inside>);

struct Inside {
    seats: Seats,
    lines: Mutex<Lines>,
    /// Heads moved by this process, of which others have not been told.
    untold: Mutex<HashMap<FleetId, i64>>,
    told: Notify,
    closed: watch::Sender<bool>,
}

#[derive(Default)]
struct Lines {
    taken: usize,
    by_fleet: HashMap<FleetId, Line>,
}

struct Line {
    head: watch::Sender<i64>,
    taken: usize,
}

impl std::fmt::Debug for Bell {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Bell")
    }
}

/// A seat at a fleet's line; given back when dropped.
#[derive(Debug)]
pub struct Listening {
    bell: Bell,
    fleet: FleetId,
    head: watch::Receiver<i64>,
    closed: watch::Receiver<bool>,
}

impl Bell {
    /// A bell nobody listens to yet.
    #[must_use]
    pub fn new(seats: Seats) -> Self {
        Self(Arc::new(Inside {
            seats,
            lines: Mutex::default(),
            untold: Mutex::default(),
            told: Notify::new(),
            closed: watch::Sender::new(false),
        }))
    }

    /// Takes a seat at a fleet's line; `None` when all are taken or the process is about to end.
    #[must_use]
    pub fn listen(&self, fleet: FleetId) -> Option<Listening> {
        if *self.0.closed.borrow() {
            return None;
        }
        let mut lines = self.lines();
        let of_fleet = lines.by_fleet.get(&fleet).map_or(0, |line| line.taken);
        if lines.taken >= self.0.seats.all || of_fleet >= self.0.seats.per_fleet {
            return None;
        }
        lines.taken += 1;
        let line =
            lines.by_fleet.entry(fleet).or_insert_with(|| Line { head: watch::Sender::new(0), taken: 0 });
        line.taken += 1;
        let head = line.head.subscribe();
        drop(lines);
        Some(Listening { bell: self.clone(), fleet, head, closed: self.0.closed.subscribe() })
    }

    /// Ends all listening, for good.
    pub fn close(&self) {
        self.0.closed.send_replace(true);
    }

    /// This process has committed up to `head`.
    pub(super) fn moved(&self, fleet: FleetId, head: i64) {
        self.heard(fleet, head);
        let mut untold = self.untold();
        let last = untold.entry(fleet).or_insert(head);
        *last = head.max(*last);
        drop(untold);
        self.0.told.notify_one();
    }

    fn heard(&self, fleet: FleetId, head: i64) {
        if let Some(line) = self.lines().by_fleet.get(&fleet) {
            line.head.send_if_modified(|last| {
                let higher = head > *last;
                *last = head.max(*last);
                higher
            });
        }
    }

    fn lines(&self) -> MutexGuard<'_, Lines> {
        self.0.lines.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn untold(&self) -> MutexGuard<'_, HashMap<FleetId, i64>> {
        self.0.untold.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Carries messages between this process and others for as long as it is awaited, on one
    /// connection, again and again made anew when it breaks.
    pub async fn carry(self, url: String) {
        loop {
            let why = self.carry_once(&url).await;
            tracing::warn!(why, "other processes are not heard for a moment");
            tokio::time::sleep(Duration::from_millis(rand::random_range(300..=1_500))).await;
        }
    }

    /// Why the connection ended.
    async fn carry_once(&self, url: &str) -> String {
        let url = with_limits(url);
        let opened = tokio_postgres::connect(&url, NoTls);
        let (client, mut connection) = match tokio::time::timeout(ANSWER, opened).await {
            Ok(Ok(both)) => both,
            Ok(Err(error)) => return error.to_string(),
            Err(_) => return "no answer".to_owned(),
        };
        let hearing = pin!(async {
            loop {
                match poll_fn(|cx| connection.poll_message(cx)).await {
                    Some(Ok(AsyncMessage::Notification(said))) => self.read(said.payload()),
                    Some(Ok(_)) => {}
                    Some(Err(error)) => return error.to_string(),
                    None => return "the connection was closed".to_owned(),
                }
            }
        });
        let telling = pin!(async {
            let Err(why) = self.tell_on(&client).await;
            why
        });
        match futures_util::future::select(hearing, telling).await {
            futures_util::future::Either::Left((why, _)) | futures_util::future::Either::Right((why, _)) => {
                why
            }
        }
    }

    fn read(&self, said: &str) {
        let parts = said.split_once(' ');
        if let Some((Ok(fleet), Ok(head))) = parts.map(|(fleet, head)| (fleet.parse(), head.parse())) {
            self.heard(FleetId(fleet), head);
        }
    }

    async fn tell_on(&self, client: &tokio_postgres::Client) -> Result<std::convert::Infallible, String> {
        // A lost message is no loss, and waiting for the disk would make a commit of it.
        within(client.batch_execute("set synchronous_commit = off; listen dropwise_heads")).await?;
        // What was said while nobody heard: every line gets the head as it stands.
        self.look_at_heads(client).await?;
        let tell =
            within(client.prepare("select pg_notify($1, said) from unnest($2::text[]) as untold (said)"))
                .await?;
        loop {
            if tokio::time::timeout(QUIET, self.0.told.notified()).await.is_err() {
                within(client.batch_execute("")).await?;
                continue;
            }
            let untold: HashMap<FleetId, i64> = std::mem::take(&mut *self.untold());
            let said: Vec<String> = untold.iter().map(|(fleet, head)| format!("{fleet} {head}")).collect();
            if let Err(why) = within(client.execute(&tell, &[&CHANNEL, &said])).await {
                let mut again = self.untold();
                for (fleet, head) in untold {
                    let last = again.entry(fleet).or_insert(head);
                    *last = head.max(*last);
                }
                drop(again);
                self.0.told.notify_one();
                return Err(why);
            }
            tokio::time::sleep(BETWEEN_MESSAGES).await;
        }
    }

    async fn look_at_heads(&self, client: &tokio_postgres::Client) -> Result<(), String> {
        let fleets: Vec<FleetId> = self.lines().by_fleet.keys().copied().collect();
        for fleet in fleets {
            let named = fleet.to_string();
            within(client.batch_execute("begin read only")).await?;
            // The setting ends with the transaction.
            within(client.execute("select set_config('app.fleet', $1, true)", &[&named])).await?;
            let ask = "select head from heads where fleet_id = $1::text::uuid";
            let found = within(client.query_opt(ask, &[&named])).await?;
            within(client.batch_execute("commit")).await?;
            let head: Option<i64> = found.and_then(|row| row.try_get(0).ok());
            if let (Some(head), Some(line)) = (head, self.lines().by_fleet.get(&fleet)) {
                // Also when it is lower: the database may be another than before.
                line.head.send_replace(head);
            }
        }
        Ok(())
    }
}

async fn within<T>(asked: impl Future<Output = Result<T, tokio_postgres::Error>>) -> Result<T, String> {
    match tokio::time::timeout(ANSWER, asked).await {
        Ok(answer) => answer.map_err(|error| error.to_string()),
        Err(_) => Err("no answer".to_owned()),
    }
}

impl Listening {
    /// The head, when it has moved since it was last asked for; several moves are one. May be dropped
    /// while it waits.
    pub async fn moved(&mut self) -> i64 {
        if self.head.changed().await.is_err() {
            // The line stands as long as this seat is taken.
            std::future::pending::<()>().await;
        }
        *self.head.borrow_and_update()
    }

    /// The end of all listening, to be waited for beside the next move.
    #[must_use]
    pub fn ending(&self) -> Ending {
        Ending(self.closed.clone())
    }
}

/// The end of all listening.
#[derive(Debug)]
pub struct Ending(watch::Receiver<bool>);

impl Ending {
    /// Waits for it.
    pub async fn wait(&mut self) {
        let _ = self.0.wait_for(|closed| *closed).await;
    }
}

impl Drop for Listening {
    fn drop(&mut self) {
        let mut lines = self.bell.lines();
        lines.taken = lines.taken.saturating_sub(1);
        if let Some(line) = lines.by_fleet.get_mut(&self.fleet) {
            line.taken = line.taken.saturating_sub(1);
            if line.taken == 0 {
                lines.by_fleet.remove(&self.fleet);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::fresh;
    use futures_util::FutureExt;

    fn fleet() -> FleetId {
        FleetId(fresh())
    }

    #[test]
    fn many_moves_are_heard_as_one_and_a_late_message_as_none() {
        let (bell, fleet) = (Bell::new(Seats { all: 9, per_fleet: 9 }), fleet());
        let mut seat = bell.listen(fleet).unwrap();
        for head in [3, 9, 7] {
            bell.moved(fleet, head);
        }
        assert_eq!(seat.moved().now_or_never(), Some(9));
        bell.read(&format!("{fleet} 8"));
        assert_eq!(seat.moved().now_or_never(), None);
        bell.read(&format!("{fleet} 10"));
        assert_eq!(seat.moved().now_or_never(), Some(10));
        bell.moved(self::fleet(), 99);
        assert_eq!(seat.moved().now_or_never(), None, "another fleet's");
        assert_eq!(bell.untold().get(&fleet), Some(&9), "what others said is not said on");
    }

    #[test]
    fn seats_are_counted_and_given_back() {
        let (bell, one, other) = (Bell::new(Seats { all: 3, per_fleet: 2 }), fleet(), fleet());
        let first = bell.listen(one).unwrap();
        let _second = bell.listen(one).unwrap();
        assert!(bell.listen(one).is_none(), "of one fleet");
        let _third = bell.listen(other).unwrap();
        assert!(bell.listen(other).is_none(), "of all");
        drop(first);
        let _again = bell.listen(one).unwrap();
        assert!(bell.listen(fleet()).is_none());
    }

    #[test]
    fn no_line_outlives_its_listeners() {
        let (bell, fleet) = (Bell::new(Seats { all: 3, per_fleet: 2 }), fleet());
        drop(bell.listen(fleet));
        assert!(bell.lines().by_fleet.is_empty());
        assert_eq!(bell.lines().taken, 0);
    }

    #[test]
    fn closing_ends_what_is_open_and_lets_nobody_in() {
        let (bell, fleet) = (Bell::new(Seats { all: 3, per_fleet: 2 }), fleet());
        let mut ending = bell.listen(fleet).unwrap().ending();
        assert_eq!(ending.wait().now_or_never(), None);
        bell.close();
        assert_eq!(ending.wait().now_or_never(), Some(()));
        assert!(bell.listen(fleet).is_none());
    }
}
