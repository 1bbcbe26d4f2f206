//! The trail: the latest state of each record as each audience sees it, ordered by position.

use crate::phone::json::Json;
use crate::phone::wire::{Row, RowState};
use std::collections::{BTreeMap, BTreeSet};
use uuid::Uuid;

/// A record.
pub type Record = (&'static str, Uuid);
/// A record in one audience's eyes.
pub type Key = (Uuid, &'static str, Uuid);

/// One row.
#[derive(Debug, Clone)]
pub struct Line {
    /// Its place.
    pub position: i64,
    /// The position of the last row of its transaction.
    pub turn: i64,
    /// Whether the audience sees the record.
    pub state: RowState,
    /// The record.
    pub body: Json,
}

/// What one transaction writes: the record's new audience and body, or nothing when it is no more.
pub type News = (Record, Option<(Uuid, Json)>);

/// The table and its head.
#[derive(Debug, Clone, Default)]
pub struct Trail {
    /// Rows.
    pub lines: BTreeMap<Key, Line>,
    order: BTreeMap<i64, Key>,
    homes: BTreeMap<Record, Uuid>,
    /// The last position given out.
    pub head: i64,
    /// The highest position swept.
    pub floor: i64,
}

impl Trail {
    /// Writes what a transaction changed. `first` is where positions begin when they were given out
    /// early; `tell_left` whether old audiences hear of it.
    pub fn write(&mut self, news: Vec<News>, first: Option<i64>, tell_left: bool) -> Vec<i64> {
        let mut rows: Vec<(Key, RowState, Json)> = Vec::with_capacity(news.len() + 2);
        for (record, now) in news {
            let before = self.homes.get(&record).copied();
            let nothing = || Json::new("{}");
            match now {
                Some((audience, body)) => {
                    if let Some(old) = before.filter(|old| *old != audience && tell_left) {
                        rows.push(((old, record.0, record.1), RowState::Left, nothing()));
                    }
                    self.homes.insert(record, audience);
                    rows.push(((audience, record.0, record.1), RowState::Here, body));
                }
                None => {
                    if let Some(old) = self.homes.remove(&record) {
                        rows.push(((old, record.0, record.1), RowState::Deleted, nothing()));
                    }
                }
            }
        }
        let first = first.unwrap_or(self.head);
        let turn = first + i64::try_from(rows.len()).unwrap_or(0);
        self.head = self.head.max(turn);
        let mut positions = Vec::with_capacity(rows.len());
        for (position, (key, state, body)) in (first + 1..).zip(rows) {
            if let Some(old) = self.lines.insert(key, Line { position, turn, state, body }) {
                self.order.remove(&old.position);
            }
            self.order.insert(position, key);
            positions.push(position);
        }
        positions
    }

    /// Rows after a position that the reader may see, in order: at most `room`, ending on a whole
    /// transaction where one fits; and whether there is more.
    pub fn after(&self, position: i64, room: usize, sees: impl Fn(&Key) -> bool) -> (Vec<Row>, bool) {
        let mut rows: Vec<(Row, i64)> = Vec::with_capacity(room.min(64));
        let mut more = None;
        for (at, key) in self.order.range(position + 1..).filter(|(_, key)| sees(key)) {
            let line = &self.lines[key];
            if rows.len() == room {
                more = Some(line.turn);
                break;
            }
            rows.push((row(*at, key, line), line.turn));
        }
        if more.is_some() {
            let whole = rows.iter().rposition(|(_, turn)| Some(*turn) != more).map_or(0, |last| last + 1);
            if whole > 0 {
                rows.truncate(whole);
            }
        }
        (rows.into_iter().map(|(row, _)| row).collect(), more.is_some())
    }

    /// Rows that are there, by key, for a fresh copy.
    pub fn here(
        &self,
        beyond: Option<Key>,
        room: usize,
        sees: impl Fn(&Key) -> bool,
    ) -> (Vec<Row>, Option<Key>) {
        use std::ops::Bound::{Excluded, Unbounded};
        let start = beyond.map_or(Unbounded, Excluded);
        let mut rows = Vec::new();
        let mut last = None;
        let seen = self.lines.range((start, Unbounded)).filter(|(key, _)| sees(key));
        for (key, line) in seen.filter(|(_, line)| line.state == RowState::Here) {
            if rows.len() == room {
                return (rows, last);
            }
            rows.push(row(line.position, key, line));
            last = Some(*key);
        }
        (rows, None)
    }

    /// Forgets tombstones up to a position.
    pub fn sweep(&mut self, through: i64) {
        let gone: Vec<(i64, Key)> = self
            .order
            .range(..=through)
            .filter(|(_, key)| self.lines[*key].state != RowState::Here)
            .map(|(position, key)| (*position, *key))
            .collect();
        for (position, key) in gone {
            self.order.remove(&position);
            self.lines.remove(&key);
            self.floor = self.floor.max(position);
        }
    }

    /// The audiences a record was ever told to and not swept from.
    #[must_use]
    pub fn audiences(&self) -> BTreeSet<Uuid> {
        self.lines.keys().map(|(audience, _, _)| *audience).collect()
    }
}

fn row(position: i64, key: &Key, line: &Line) -> Row {
    Row {
        position,
        kind: key.1.to_owned(),
        id: key.2,
        audience_id: key.0,
        state: line.state,
        body: line.body.clone(),
    }
}
