//! A technician's phone: facts wait in it until there is a signal, then go over in their order.

use super::chance::Chance;
use super::tally::Tally;
use crate::auth::Who;
use crate::error::Error;
use crate::flows::entries::facts::Fact;
use crate::flows::entries::{Author, Incoming};
use crate::ids::LaneId;
use crate::store::Db;
use crate::sync::handover;
use chrono::{DateTime, Utc};
use uuid::Uuid;

/// Entries per handover, as phones send them.
const BATCH: usize = 500;

/// A fact as a phone or the office sends it.
pub(super) fn incoming(
    id: Uuid,
    n: Option<i64>,
    fact: &Fact,
    happened_at: DateTime<Utc>,
) -> Result<Incoming, Error> {
    let tagged = serde_json::to_value(fact).map_err(Error::internal)?;
    let part = |key: &str| tagged.get(key).cloned().ok_or_else(|| Error::internal("a fact without its kind"));
    let kind = part("kind")?.as_str().unwrap_or_default().to_owned();
    Ok(Incoming::new(id, n, kind, 1, happened_at, part("body")?))
}

/// What is to become of an entry: taken, unless it is a mistake made on purpose.
pub(super) type Expected = Option<&'static str>;

/// A phone and the hand that holds it.
#[derive(Debug)]
pub(super) struct Phone {
    pub(super) who: Who,
    pub(super) lane: LaneId,
    /// How large the owner's doses are beside others'.
    pub(super) hand: f64,
    /// Evenings without a signal still to come.
    pub(super) offline_days: u32,
    last_n: i64,
    outbox: Vec<(Incoming, Expected)>,
}

impl Phone {
    pub(super) fn new(who: Who, lane: LaneId, hand: f64) -> Self {
        Self { who, lane, hand, offline_days: 0, last_n: 0, outbox: Vec::new() }
    }

    /// Writes a fact down; it waits. Answers its id.
    pub(super) fn note(
        &mut self,
        chance: &mut Chance,
        fact: &Fact,
        at: DateTime<Utc>,
        expected: Expected,
    ) -> Result<Uuid, Error> {
        self.last_n += 1;
        let id = chance.id(at);
        self.outbox.push((incoming(id, Some(self.last_n), fact, at)?, expected));
        Ok(id)
    }

    pub(super) fn has_sent_all(&self) -> bool {
        self.outbox.is_empty()
    }

    /// Hands everything over, if there is a signal this evening.
    pub(super) async fn hand_over(
        &mut self,
        db: &Db,
        tally: &mut Tally,
        now: DateTime<Utc>,
    ) -> Result<(), Error> {
        if self.offline_days > 0 {
            self.offline_days -= 1;
            return Ok(());
        }
        let waiting = std::mem::take(&mut self.outbox);
        for batch in waiting.chunks(BATCH) {
            let sent: Vec<Incoming> = batch.iter().map(|(entry, _)| entry.clone()).collect();
            let (author, lane) = (Author::from(self.who), self.lane);
            let taking = async move |tx: &mut _| handover::take(tx, author, lane, &sent, now).await;
            let outcome = db.write("hand_over", self.who.fleet, taking).await?;
            if outcome.frozen || outcome.verdicts.len() != batch.len() {
                return Err(Error::internal("a lane of the demo stood still"));
            }
            for ((entry, expected), (_, _, verdict)) in batch.iter().zip(&outcome.verdicts) {
                tally.count(entry, *expected, verdict);
            }
        }
        Ok(())
    }
}
