//! The head of each fleet's trail: its counter, its history, how far back it reaches.

use super::schema::{fleets, heads};
use super::{Db, Tx};
use crate::error::Error;
use crate::ids::{FleetId, LaneId, MemberId};
use diesel::prelude::*;
use diesel::sql_types as sql;
use diesel_async::RunQueryDsl;
use uuid::Uuid;

/// Starts the counter of a new fleet; its history begins where the database lives.
///
/// # Errors
/// Those of the database.
pub async fn start(tx: &mut Tx) -> Result<(), Error> {
    let row = (heads::fleet_id.eq(tx.fleet().0), heads::head.eq(0_i64));
    diesel::insert_into(heads::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// The fleet's head now.
///
/// # Errors
/// Those of the database.
pub async fn head(tx: &mut Tx) -> Result<i64, Error> {
    Ok(heads::table.find(tx.fleet().0).select(heads::head).first(tx.conn()).await?)
}

/// Which history this is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct History {
    /// The fleet's era.
    pub era: Uuid,
    /// Whether the database lives where the era was given; otherwise it was restored, and the era is to
    /// be rotated.
    pub at_home: bool,
}

/// Everything that a reader's bookmark is held against, in one look.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    /// Which history this is.
    pub history: History,
    /// The last position given out.
    pub head: i64,
    /// The highest position of a tombstone that has been swept.
    pub floor: i64,
    /// The van or depot the reader works from; nil for none.
    pub place: Uuid,
    /// The revision of the reader's scope.
    pub scope: i64,
    /// The last number judged in the reader's lane; nothing when they have no such lane.
    pub last_n: Option<i64>,
}

statement! {
    /// The fleet's head and one member's scope, with the lane they named.
    struct Look { fleet: Uuid, member: Uuid, lane: Option<Uuid> }
    -> (sql::Uuid, sql::Bool, sql::BigInt, sql::BigInt, sql::Nullable<sql::Uuid>, sql::BigInt, sql::Nullable<sql::BigInt>)
    = "select h.era, h.dwelling = dwelling(), h.head, h.floor, m.home_place_id, m.scope_revision, \
       (select l.last_n from lanes l where l.fleet_id = h.fleet_id and l.lane_id = " [lane: sql::Nullable<sql::Uuid>]
      " and l.member_id = m.member_id) from heads h join members m on m.fleet_id = h.fleet_id and m.member_id = "
      [member: sql::Uuid] " where h.fleet_id = " [fleet: sql::Uuid]
}

/// How the fleet stands for one of its members.
///
/// # Errors
/// [`Error::NotFound`] for a member who is not of this fleet.
pub async fn standing(tx: &mut Tx, member: MemberId, lane: Option<LaneId>) -> Result<Standing, Error> {
    let look = Look { fleet: tx.fleet().0, member: member.0, lane: lane.map(|lane| lane.0) };
    let row: (Uuid, bool, i64, i64, Option<Uuid>, i64, Option<i64>) = look.get_result(tx.conn()).await?;
    let (era, at_home, head, floor, place, scope, last_n) = row;
    let place = place.unwrap_or(Uuid::nil());
    Ok(Standing { history: History { era, at_home }, head, floor, place, scope, last_n })
}

/// Which history this is.
///
/// # Errors
/// Those of the database.
pub async fn history(tx: &mut Tx) -> Result<History, Error> {
    let found = heads::table.find(tx.fleet().0).select((heads::era, heads::dwelling.eq(dwelling())));
    let (era, at_home) = found.first(tx.conn()).await?;
    Ok(History { era, at_home })
}

/// Begins another history unless somebody else has since `seen` was read. Answers whether it was begun.
///
/// # Errors
/// Those of the database.
pub async fn rotate(tx: &mut Tx, seen: Uuid, next: Uuid) -> Result<bool, Error> {
    let seen = heads::table.find(tx.fleet().0).filter(heads::era.eq(seen));
    let set = (heads::era.eq(next), heads::dwelling.eq(dwelling()));
    Ok(diesel::update(seen).set(set).execute(tx.conn()).await? == 1)
}

/// Lets the era stay although the database lives elsewhere now.
///
/// # Errors
/// Those of the database.
pub async fn keep(tx: &mut Tx) -> Result<(), Error> {
    let fleet = heads::table.find(tx.fleet().0);
    diesel::update(fleet).set(heads::dwelling.eq(dwelling())).execute(tx.conn()).await?;
    Ok(())
}

/// Every fleet with its handle, by handle; seen by the tables' owner only.
///
/// # Errors
/// Those of the database.
pub async fn list_fleets(db: &Db) -> Result<Vec<(FleetId, String)>, Error> {
    let mut conn = db.loan().await?;
    let all = fleets::table.order(fleets::handle).select((fleets::fleet_id, fleets::handle));
    let found: Vec<(Uuid, String)> = all.load(&mut *conn).await?;
    Ok(found.into_iter().map(|(fleet, handle)| (FleetId(fleet), handle)).collect())
}

#[diesel::declare_sql_function]
extern "SQL" {
    /// Where this database lives: see the migration.
    fn dwelling() -> sql::Text;
}
