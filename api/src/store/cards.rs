//! Cards as rows: kept, held, edited by version, listed by kind, and linked to one another.

use super::Tx;
use super::schema::{card_links, cards, deleted_cards};
use crate::error::Error;
use crate::flows::cards::kinds::Kind;
use crate::ids::MemberId;
use chrono::{DateTime, Utc};
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use serde_json::Value;
use std::collections::HashMap;
use uuid::Uuid;

/// One card as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct CardRecord {
    /// Its id.
    pub id: Uuid,
    /// What it is about.
    pub kind: Kind,
    /// Goes up by one with every edit; the first is 1.
    pub version: i64,
    /// Its fields, with money.
    pub body: Value,
    /// Since when it is out of use.
    pub retired_at: Option<DateTime<Utc>>,
    /// When and by which lane each field was last written, as a document; nothing before the first edit.
    pub field_stamps: Option<Value>,
}

/// How strongly many cards are held until the transaction ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hold {
    /// Nobody may edit or retire them; others may hold them so as well.
    Share,
    /// They are about to be edited.
    Edit,
}

#[derive(Queryable, Selectable)]
#[diesel(table_name = cards)]
pub(super) struct CardRow {
    card_id: Uuid,
    kind: String,
    version: i64,
    body: Value,
    retired_at: Option<DateTime<Utc>>,
    field_stamps: Option<Value>,
}

impl CardRow {
    pub(super) fn into_record(self) -> Result<CardRecord, Error> {
        Ok(CardRecord {
            id: self.card_id,
            kind: Kind::from_word(&self.kind)
                .ok_or_else(|| Error::internal("unknown kind in the cards table"))?,
            version: self.version,
            body: self.body,
            retired_at: self.retired_at,
            field_stamps: self.field_stamps,
        })
    }
}

/// Keeps a new card, and says whether it was new: an id that is taken changes nothing.
///
/// # Errors
/// Those of the database.
pub async fn insert(
    tx: &mut Tx,
    id: Uuid,
    kind: Kind,
    body: &Value,
    digest: &[u8],
    now: DateTime<Utc>,
) -> Result<bool, Error> {
    let row = (
        cards::fleet_id.eq(tx.fleet().0),
        cards::card_id.eq(id),
        cards::kind.eq(kind.word()),
        cards::version.eq(1_i64),
        cards::body.eq(body),
        cards::created_digest.eq(digest),
        cards::created_at.eq(now),
        cards::edited_at.eq(now),
    );
    let kept =
        diesel::insert_into(cards::table).values(row).on_conflict_do_nothing().execute(tx.conn()).await?;
    Ok(kept == 1)
}

/// The card of that id.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn find(tx: &mut Tx, id: Uuid) -> Result<CardRecord, Error> {
    let row: CardRow =
        cards::table.find((tx.fleet().0, id)).select(CardRow::as_select()).first(tx.conn()).await?;
    row.into_record()
}

/// The card of that id, with the digest of the body it was created with; nothing is `None`.
///
/// # Errors
/// Those of the database.
pub async fn find_created(tx: &mut Tx, id: Uuid) -> Result<Option<(CardRecord, Vec<u8>)>, Error> {
    let found: Option<(CardRow, Vec<u8>)> = cards::table
        .find((tx.fleet().0, id))
        .select((CardRow::as_select(), cards::created_digest))
        .first(tx.conn())
        .await
        .optional()?;
    found.map(|(row, digest)| Ok((row.into_record()?, digest))).transpose()
}

/// The card of that id, held for an edit until the transaction ends.
///
/// # Errors
/// [`Error::NotFound`].
pub async fn lock(tx: &mut Tx, id: Uuid) -> Result<CardRecord, Error> {
    // The key never changes, so rows that merely refer to the card need not wait.
    let row: CardRow = cards::table
        .find((tx.fleet().0, id))
        .select(CardRow::as_select())
        .for_no_key_update()
        .first(tx.conn())
        .await?;
    row.into_record()
}

/// The cards of these ids in one question; ids that are not there are left out.
///
/// # Errors
/// Those of the database.
pub async fn find_many(tx: &mut Tx, ids: &[Uuid]) -> Result<HashMap<Uuid, CardRecord>, Error> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let rows: Vec<CardRow> = cards::table
        .filter(cards::fleet_id.eq(tx.fleet().0))
        .filter(cards::card_id.eq_any(ids))
        .select(CardRow::as_select())
        .load(tx.conn())
        .await?;
    by_id(rows)
}

/// The cards of these ids, held until the transaction ends, taken in id order so that two
/// transactions cannot wait for each other; ids that are not there are left out.
///
/// # Errors
/// Those of the database.
pub async fn lock_many(tx: &mut Tx, ids: &[Uuid], hold: Hold) -> Result<HashMap<Uuid, CardRecord>, Error> {
    if ids.is_empty() {
        return Ok(HashMap::new());
    }
    let question = cards::table
        .filter(cards::fleet_id.eq(tx.fleet().0))
        .filter(cards::card_id.eq_any(ids))
        .order(cards::card_id)
        .select(CardRow::as_select());
    let rows: Vec<CardRow> = match hold {
        Hold::Share => question.for_share().load(tx.conn()).await?,
        Hold::Edit => question.for_no_key_update().load(tx.conn()).await?,
    };
    by_id(rows)
}

fn by_id(rows: Vec<CardRow>) -> Result<HashMap<Uuid, CardRecord>, Error> {
    rows.into_iter().map(|row| row.into_record().map(|record| (record.id, record))).collect()
}

/// Cards of one kind in id order, after an id; retired ones only when asked for.
///
/// # Errors
/// Those of the database.
pub async fn list(
    tx: &mut Tx,
    kind: Kind,
    after: Option<Uuid>,
    limit: i64,
    with_retired: bool,
) -> Result<Vec<CardRecord>, Error> {
    let question = cards::table
        .filter(cards::fleet_id.eq(tx.fleet().0))
        .filter(cards::kind.eq(kind.word()))
        .filter(cards::card_id.gt(after.unwrap_or(Uuid::nil())))
        .order(cards::card_id)
        .limit(limit)
        .select(CardRow::as_select());
    let rows: Vec<CardRow> = if with_retired {
        question.load(tx.conn()).await?
    } else {
        question.filter(cards::retired_at.is_null()).load(tx.conn()).await?
    };
    rows.into_iter().map(CardRow::into_record).collect()
}

/// Writes a held card's body, its stamps and whether it is retired; the version goes up by one.
///
/// # Errors
/// [`Error::NotFound`] when the card is not at `version`.
pub async fn save(
    tx: &mut Tx,
    card: &CardRecord,
    version: i64,
    now: DateTime<Utc>,
) -> Result<CardRecord, Error> {
    let row: CardRow = diesel::update(cards::table.find((tx.fleet().0, card.id)))
        .filter(cards::version.eq(version))
        .set((
            cards::body.eq(&card.body),
            cards::retired_at.eq(card.retired_at),
            cards::field_stamps.eq(&card.field_stamps),
            cards::edited_at.eq(now),
            cards::version.eq(version + 1),
        ))
        .returning(CardRow::as_returning())
        .get_result(tx.conn())
        .await?;
    row.into_record()
}

/// Notes which cards a card names, in place of what was noted before.
///
/// # Errors
/// Those of the database.
pub async fn save_links(tx: &mut Tx, id: Uuid, targets: &[Uuid]) -> Result<(), Error> {
    let fleet = tx.fleet().0;
    let mut targets = targets.to_vec();
    targets.sort_unstable();
    targets.dedup();
    diesel::delete(card_links::table)
        .filter(card_links::fleet_id.eq(fleet))
        .filter(card_links::card_id.eq(id))
        .filter(card_links::target_id.ne_all(&targets))
        .execute(tx.conn())
        .await?;
    if targets.is_empty() {
        return Ok(());
    }
    NoteLinks { fleet, card: id, targets }.execute(tx.conn()).await?;
    Ok(())
}

statement! {
    /// Adds the links that are not there yet.
    struct NoteLinks { fleet: Uuid, card: Uuid, targets: Vec<Uuid> }
    = "insert into card_links (fleet_id, card_id, target_id) select " [fleet: diesel::sql_types::Uuid]
      ", " [card: diesel::sql_types::Uuid]
      ", t from unnest(" [targets: diesel::sql_types::Array<diesel::sql_types::Uuid>]
      ") t on conflict do nothing"
}

/// A card in use that names the given one, if any does: retired cards and jobs that are done or
/// cancelled do not count.
///
/// # Errors
/// Those of the database.
pub async fn find_user(tx: &mut Tx, target: Uuid) -> Result<Option<CardRecord>, Error> {
    use super::schema::jobs;
    let row: Option<CardRow> = card_links::table
        .inner_join(
            cards::table
                .on(cards::fleet_id.eq(card_links::fleet_id).and(cards::card_id.eq(card_links::card_id))),
        )
        .left_join(
            jobs::table.on(jobs::fleet_id.eq(card_links::fleet_id).and(jobs::job_id.eq(card_links::card_id))),
        )
        .filter(card_links::fleet_id.eq(tx.fleet().0))
        .filter(card_links::target_id.eq(target))
        .filter(cards::retired_at.is_null())
        .filter(jobs::state.is_null().or(super::jobs::is_open()))
        .select(CardRow::as_select())
        .first(tx.conn())
        .await
        .optional()?;
    row.map(CardRow::into_record).transpose()
}

/// Whether any card at all names the given one, in use or not.
///
/// # Errors
/// Those of the database.
pub async fn is_named(tx: &mut Tx, target: Uuid) -> Result<bool, Error> {
    let links = card_links::table
        .filter(card_links::fleet_id.eq(tx.fleet().0))
        .filter(card_links::target_id.eq(target));
    Ok(diesel::select(diesel::dsl::exists(links)).get_result(tx.conn()).await?)
}

/// Takes a held card away for good; only its id is kept, for ever.
///
/// # Errors
/// Those of the database.
pub async fn delete(tx: &mut Tx, card: &CardRecord, by: MemberId, now: DateTime<Utc>) -> Result<(), Error> {
    use super::schema::jobs;
    let fleet = tx.fleet().0;
    diesel::delete(card_links::table)
        .filter(card_links::fleet_id.eq(fleet))
        .filter(card_links::card_id.eq(card.id))
        .execute(tx.conn())
        .await?;
    diesel::delete(jobs::table.find((fleet, card.id))).execute(tx.conn()).await?;
    diesel::delete(cards::table.find((fleet, card.id))).execute(tx.conn()).await?;
    let gone = (
        deleted_cards::fleet_id.eq(fleet),
        deleted_cards::card_id.eq(card.id),
        deleted_cards::kind.eq(card.kind.word()),
        deleted_cards::member_id.eq(by.0),
        deleted_cards::deleted_at.eq(now),
    );
    diesel::insert_into(deleted_cards::table).values(gone).execute(tx.conn()).await?;
    Ok(())
}

/// Which of these ids belonged to cards that were deleted.
///
/// # Errors
/// Those of the database.
pub async fn find_deleted(tx: &mut Tx, ids: &[Uuid]) -> Result<Vec<Uuid>, Error> {
    if ids.is_empty() {
        return Ok(Vec::new());
    }
    Ok(deleted_cards::table
        .filter(deleted_cards::fleet_id.eq(tx.fleet().0))
        .filter(deleted_cards::card_id.eq_any(ids))
        .select(deleted_cards::card_id)
        .load(tx.conn())
        .await?)
}
