//! Entries, one at a time, from a desk; and entries as they are stored.

use super::extract::{Body, Cursor, PageQuery, SignedIn};
use super::problem::Problems;
use crate::auth::{Member, Office};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::entries::envelope::Envelope;
use crate::flows::entries::facts::Fact;
use crate::flows::entries::{self, Author, Incoming, Verdict};
use crate::store::entries::EntryRecord;
use crate::store::{Db, entries as stored};
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{get, put};
use chrono::{DateTime, Utc};
use serde::{Deserialize, Serialize};
use serde_json::Value;
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A fact to be booked. `kind` and `body` belong together: see the schema `Fact`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct NewEntry {
    /// What kind of fact.
    #[schema(max_length = 40)]
    kind: String,
    /// The form of that kind; 1 when not said.
    #[serde(default = "first_form")]
    #[schema(minimum = 1, maximum = 1000)]
    form: i16,
    /// When it happened.
    happened_at: DateTime<Utc>,
    /// What happened: the `body` of the fact of that kind.
    #[schema(value_type = Object)]
    body: Value,
}

pub(super) const fn first_form() -> i16 {
    1
}

/// An entry as it was stored.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct EntryView {
    /// Its id, made by whoever wrote it down.
    id: Uuid,
    /// What kind of fact.
    kind: String,
    /// Who wrote it down.
    member_id: Uuid,
    /// When it happened.
    happened_at: DateTime<Utc>,
    /// What the device's clock said, where that was not believed.
    #[serde(skip_serializing_if = "Option::is_none")]
    device_at: Option<DateTime<Utc>>,
    /// When the server got it.
    received_at: DateTime<Utc>,
    /// What happened.
    #[schema(value_type = Object)]
    body: Value,
    /// `taken`, `adjusted`, `yielded`, `refused` or `parked`.
    verdict: String,
    /// Why it was not taken, or not as it was sent.
    #[serde(skip_serializing_if = "Option::is_none")]
    code: Option<String>,
    /// The sentence to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    sentence: Option<String>,
    /// The entry that reversed it.
    #[serde(skip_serializing_if = "Option::is_none")]
    reversed_by: Option<Uuid>,
}

impl From<EntryRecord> for EntryView {
    fn from(entry: EntryRecord) -> Self {
        Self {
            id: entry.entry_id,
            kind: entry.kind,
            member_id: entry.member_id,
            happened_at: entry.happened_at,
            device_at: entry.envelope.as_ref().and_then(|kept| Envelope::stored(kept).device_at),
            received_at: entry.received_at,
            body: entry.body,
            verdict: entry.verdict,
            code: entry.code,
            sentence: entry.sentence,
            reversed_by: entry.reversed_by,
        }
    }
}

/// The verdict on an entry.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct VerdictView {
    /// The entry's number in its lane, when it came from a phone.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) n: Option<i64>,
    /// The entry.
    pub(super) id: Uuid,
    /// `taken`, `adjusted`, `yielded`, `refused`, `parked` or `reused`.
    pub(super) verdict: &'static str,
    /// Why it was not taken, or not as it was sent.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) code: Option<String>,
    /// The sentence to it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) sentence: Option<String>,
    /// JSON pointer of the field at fault, inside the entry.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub(super) pointer: Option<String>,
    /// Fields that lost to a later value; what was sent is kept for the office.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub(super) lost: Vec<String>,
}

impl VerdictView {
    pub(super) fn of(n: Option<i64>, id: Uuid, verdict: &Verdict) -> Self {
        let why = verdict.refusal();
        Self {
            n,
            id,
            verdict: verdict.word(),
            code: why.map(|why| why.code.clone().into_owned()),
            sentence: why.map(|why| why.sentence.clone()),
            pointer: why.and_then(|why| why.pointer.clone()),
            lost: verdict.lost().to_vec(),
        }
    }
}

/// Books one fact, once, however often it is sent.
///
/// The same id with the same content again answers as the first time. A fact that cannot be booked is
/// refused with its reason, and nothing of it is kept.
#[utoipa::path(tag = "entries", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("id" = Uuid, Path, description = "The entry's id, made by the caller.")),
    request_body(content = NewEntry, content_type = "application/json"),
    responses((status = 200, body = VerdictView), Problems))]
#[put("/v1/entries/{id}")]
pub(super) async fn record_entry(
    SignedIn(member): SignedIn<Member>,
    id: Path<Uuid>,
    Body(new): Body<NewEntry>,
    db: Data<Db>,
    clock: Data<Clock>,
) -> Result<Json<VerdictView>, Error> {
    let (who, now) = (member.who(), clock.now());
    let NewEntry { kind, form, happened_at, body } = new;
    let entry = Incoming::new(id.into_inner(), None, kind, form, happened_at, body);
    if !Fact::KINDS.contains(&entry.kind.as_str()) {
        let known = Fact::KINDS.join(", ");
        return Err(Error::invalid_at("unknown_kind", "/kind", format!("Entries are of the kinds {known}.")));
    }
    let sent = entry.clone();
    let digest = entries::digest(&entry)?;
    let verdict = db
        .write("record_entry", who.fleet, async move |tx| {
            let verdicts =
                entries::take(tx, Author::from(who), None, std::slice::from_ref(&sent), &[digest], now)
                    .await?;
            // An error ends the transaction without a trace of the entry.
            match verdicts.into_iter().next() {
                Some(Verdict::Refused(why)) => Err(Error::Refused {
                    code: why.code.into_owned(),
                    sentence: why.sentence,
                    pointer: why.pointer,
                }),
                Some(Verdict::Reused(_)) | None => Err(Error::conflict(
                    "id_taken",
                    "This id belongs to another entry. Make a new id for a new fact.",
                )),
                Some(verdict) => Ok(verdict),
            }
        })
        .await?;
    Ok(Json(VerdictView::of(None, entry.id, &verdict)))
}

/// What became of an entry.
#[derive(Debug, Clone, Copy, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum Judged {
    /// Booked.
    Taken,
    /// Booked, with something changed by the server.
    Adjusted,
    /// Booked, though some field already held a later value.
    Yielded,
    /// Not booked, with a reason.
    Refused,
    /// Waiting for a decision.
    Parked,
}

impl Judged {
    const fn word(self) -> &'static str {
        match self {
            Self::Taken => "taken",
            Self::Adjusted => "adjusted",
            Self::Yielded => "yielded",
            Self::Refused => "refused",
            Self::Parked => "parked",
        }
    }
}

/// Which entries.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct EntryQuery {
    /// Only those with this verdict.
    #[param(inline)]
    verdict: Option<Judged>,
    /// Go on after this id.
    after: Option<Uuid>,
    /// How many, at most 200.
    #[param(minimum = 1, maximum = 200)]
    room: Option<i64>,
}

/// Lists entries as they were stored, also those that were refused or wait for a decision.
#[utoipa::path(tag = "entries", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(EntryQuery), responses((status = 200, body = Cursor<EntryView>), Problems))]
#[get("/v1/entries")]
pub(super) async fn list_entries(
    SignedIn(office): SignedIn<Office>,
    query: Query<EntryQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<EntryView>>, Error> {
    let room = PageQuery { after: query.after, room: query.room }.room();
    let rows = db
        .read(office.who().fleet, async |tx| {
            stored::list(tx, query.verdict.map(Judged::word), query.after, room.saturating_add(1)).await
        })
        .await?;
    let rows = rows.into_iter().map(EntryView::from).collect();
    Ok(Json(Cursor::of(rows, room, |row: &EntryView| row.id)))
}

/// Reads one entry as it was stored.
#[utoipa::path(tag = "entries", extensions(("x-roles" = json!(["office", "owner"]))), security(("bearer" = [])),
    params(("id" = Uuid, Path, description = "The entry.")),
    responses((status = 200, body = EntryView), Problems))]
#[get("/v1/entries/{id}")]
pub(super) async fn read_entry(
    SignedIn(office): SignedIn<Office>,
    id: Path<Uuid>,
    db: Data<Db>,
) -> Result<Json<EntryView>, Error> {
    let found = db.read(office.who().fleet, async |tx| stored::find_many(tx, &[*id]).await).await?;
    found.into_iter().next().map(EntryView::from).map(Json).ok_or(Error::NotFound)
}
