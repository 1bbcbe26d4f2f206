//! Dated rates of pay.

use crate::error::Error;
use crate::ids::MemberId;
use crate::store::Tx;
use crate::store::schema::pay_rates;
use chrono::NaiveDate;
use diesel::prelude::*;
use diesel_async::RunQueryDsl;
use rust_decimal::Decimal;
use uuid::Uuid;

/// A dated rate of pay.
#[derive(Debug, Clone, PartialEq, Eq, Queryable)]
pub struct PayRate {
    /// Whose.
    pub member_id: Uuid,
    /// From which day.
    pub from_on: NaiveDate,
    /// Per hour worked.
    pub hourly_amount: Decimal,
    /// The employer's cost on top, as a share of the wage.
    pub burden_share: Decimal,
}

/// Adds a rate; the same day again is [`Error::Duplicate`].
///
/// # Errors
/// Those of the database.
pub async fn insert_pay_rate(tx: &mut Tx, rate: &PayRate) -> Result<(), Error> {
    let row = (
        pay_rates::fleet_id.eq(tx.fleet().0),
        pay_rates::member_id.eq(rate.member_id),
        pay_rates::from_on.eq(rate.from_on),
        pay_rates::hourly_amount.eq(rate.hourly_amount),
        pay_rates::burden_share.eq(rate.burden_share),
    );
    diesel::insert_into(pay_rates::table).values(row).execute(tx.conn()).await?;
    Ok(())
}

/// The rates of these members, oldest first.
///
/// # Errors
/// Those of the database.
pub async fn list_pay_rates(tx: &mut Tx, of: &[Uuid]) -> Result<Vec<PayRate>, Error> {
    let rates = pay_rates::table
        .filter(pay_rates::fleet_id.eq(tx.fleet().0))
        .filter(pay_rates::member_id.eq_any(of))
        .order((pay_rates::member_id, pay_rates::from_on))
        .select((pay_rates::member_id, pay_rates::from_on, pay_rates::hourly_amount, pay_rates::burden_share))
        .load(tx.conn())
        .await?;
    Ok(rates)
}

/// One member's rates from a day on, oldest first.
///
/// # Errors
/// Those of the database.
pub async fn list_pay_rates_of(
    tx: &mut Tx,
    member: MemberId,
    after: Option<NaiveDate>,
    limit: i64,
) -> Result<Vec<PayRate>, Error> {
    let mut asked = pay_rates::table
        .filter(pay_rates::fleet_id.eq(tx.fleet().0))
        .filter(pay_rates::member_id.eq(member.0))
        .order(pay_rates::from_on)
        .limit(limit)
        .select((pay_rates::member_id, pay_rates::from_on, pay_rates::hourly_amount, pay_rates::burden_share))
        .into_boxed();
    if let Some(day) = after {
        asked = asked.filter(pay_rates::from_on.gt(day));
    }
    Ok(asked.load(tx.conn()).await?)
}

/// The rate that starts on a day.
///
/// # Errors
/// Those of the database.
pub async fn find_pay_rate(
    tx: &mut Tx,
    member: MemberId,
    from_on: NaiveDate,
) -> Result<Option<PayRate>, Error> {
    Ok(pay_rates::table
        .find((tx.fleet().0, member.0, from_on))
        .select((pay_rates::member_id, pay_rates::from_on, pay_rates::hourly_amount, pay_rates::burden_share))
        .first(tx.conn())
        .await
        .optional()?)
}
