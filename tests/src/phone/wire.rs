//! What a phone says and hears, as it travels. The same values go through the simulated network and, as
//! JSON, over HTTP.

use super::json::Json;
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use uuid::Uuid;

/// What a phone asks for.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Request {
    /// `PUT /v1/devices/{lane}`: take up this lane. Asking twice is asking once.
    Enrol {
        /// The lane, chosen by the phone.
        lane_id: Uuid,
    },
    /// `POST /v1/device/handover`
    Handover(Handover),
    /// `GET /v1/device/trail`
    Trail {
        /// The bookmark to go on from.
        after: Option<String>,
        /// Most rows wanted.
        room: u32,
        /// Whose last number is asked for as well.
        lane_id: Uuid,
    },
    /// `GET /v1/device/fresh-copy`
    FreshCopy {
        /// Where this copy stands.
        token: Option<String>,
        /// The bookmark of the older scope, when only what is new to it is copied.
        from: Option<String>,
        /// Most rows wanted.
        room: u32,
    },
}

/// A run of consecutive entries of one lane.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Handover {
    /// The lane.
    pub lane_id: Uuid,
    /// The sealed text of the last reply.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub receipt: Option<String>,
    /// In order of their numbers.
    pub entries: Vec<Entry>,
}

/// One intent.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Entry {
    /// Its number in the lane.
    pub n: i64,
    /// Its identity; says nothing about order.
    pub id: Uuid,
    /// What kind.
    pub kind: String,
    /// The form of that kind.
    pub form: i16,
    /// When it happened, by the phone's clock.
    pub happened_at: DateTime<Utc>,
    /// What it says.
    pub body: Json,
    /// When it was written, by the phone's raw clock.
    pub made_at: DateTime<Utc>,
    /// Hybrid logical clock.
    pub stamp: String,
    /// Phone's clock less the server's, as last measured (ms).
    pub drift_ms: i64,
    /// Field → stamp known when editing.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub seen: BTreeMap<String, String>,
    /// Entries this one builds on.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub needs: Vec<Uuid>,
}

/// What came back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    /// The lane is the phone's.
    Enrolled,
    /// Verdicts.
    Handover(HandoverReply),
    /// A page of the trail.
    Trail(TrailReply),
    /// A page of the fresh copy.
    FreshCopy(CopyReply),
    /// A problem document for the whole request.
    Problem(Problem),
    /// Silence: no connection, or cut before the whole reply had come. Nobody knows what was done.
    Nothing,
}

/// The server's answer to one entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Word {
    /// Stored and booked.
    Taken,
    /// Taken; the server changed something.
    Adjusted,
    /// Taken; some field lost to a newer stamp.
    Yielded,
    /// Final, and not booked.
    Refused,
    /// Kept until a person decides or what it needs arrives.
    Parked,
    /// Nothing from here on was stored.
    Later,
    /// The number or id stands for something else.
    Reused,
}

impl Word {
    /// Whether it was booked.
    #[must_use]
    pub fn is_booked(self) -> bool {
        matches!(self, Self::Taken | Self::Adjusted | Self::Yielded)
    }
}

/// One verdict.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Verdict {
    /// The entry's number.
    pub n: i64,
    /// The entry.
    pub id: Uuid,
    /// The word.
    pub verdict: Word,
    /// Why.
    #[serde(default)]
    pub code: Option<String>,
    /// Fields that lost.
    #[serde(default)]
    pub lost: Vec<String>,
}

/// The reply to a handover.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct HandoverReply {
    /// One per entry that was judged, in the order sent.
    pub verdicts: Vec<Verdict>,
    /// The next number of this lane.
    pub expected: i64,
    /// Two phones share the lane.
    #[serde(default)]
    pub frozen: bool,
    /// Up to which number entries are covered by a backup or replica.
    #[serde(default)]
    pub safe_through: Option<i64>,
    /// To be shown at the next handover.
    #[serde(default)]
    pub receipt: Option<String>,
    /// The history this server is in.
    #[serde(default)]
    pub era: Option<String>,
    /// Everything read is to be forgotten.
    #[serde(default)]
    pub wipe: bool,
    /// When `later` may be tried again (s).
    #[serde(default)]
    pub retry_after_s: Option<u32>,
    /// The server's clock.
    pub server_time: DateTime<Utc>,
}

/// What became of a record in one audience's eyes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RowState {
    /// It is there.
    #[default]
    Here,
    /// It belongs to another audience now.
    Left,
    /// It is no more.
    Deleted,
}

/// The latest state of one record, as one audience sees it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct Row {
    /// Its place in the trail.
    pub position: i64,
    /// What kind of record.
    pub kind: String,
    /// The record.
    pub id: Uuid,
    /// Who sees it so.
    #[serde(default)]
    pub audience_id: Uuid,
    /// Whether they still do.
    #[serde(default)]
    pub state: RowState,
    /// What it says.
    pub body: Json,
}

/// A page of the trail.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct TrailReply {
    /// Rows by rising position.
    pub rows: Vec<Row>,
    /// Where to go on.
    pub bookmark: String,
    /// Whether there is more already.
    pub more: bool,
    /// The history this server is in.
    #[serde(default)]
    pub era: Option<String>,
    /// The lane's last judged number.
    #[serde(default)]
    pub last_n: Option<i64>,
    /// The server's clock.
    pub server_time: DateTime<Utc>,
}

/// A page of the fresh copy.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct CopyReply {
    /// Rows in no order a phone may rely on.
    pub rows: Vec<Row>,
    /// Where this copy goes on; none after the last page.
    #[serde(default)]
    pub token: Option<String>,
    /// On the last page: where the trail goes on.
    #[serde(default)]
    pub bookmark: Option<String>,
    /// The history this server is in.
    #[serde(default)]
    pub era: Option<String>,
    /// The server's clock.
    pub server_time: DateTime<Utc>,
}

/// A problem document.
#[derive(Debug, Clone, PartialEq, Eq, Default, Deserialize)]
pub struct Problem {
    /// The status.
    #[serde(default)]
    pub status: u16,
    /// What kind of problem.
    #[serde(default)]
    pub code: String,
    /// With 410: what to do.
    #[serde(default)]
    pub next: Option<String>,
    /// With 410: audiences the phone no longer reads.
    #[serde(default)]
    pub drop: Vec<Uuid>,
    /// When to come again (s).
    #[serde(default)]
    pub retry_after_s: Option<u32>,
}
