//! What the books need of a job: the month it counts in and what it brings. Pure.

use super::checks;
use super::document;
use super::kinds::{Card, Fleet, Job};
use super::links::Named;
use crate::error::Error;
use crate::store::jobs::JobRecord;
use crate::values::Amount;
use chrono::{DateTime, Datelike, Days, NaiveDate, NaiveTime, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use dropwise_core::Decimal;
use dropwise_core::exact::rounding::round_money;
use uuid::Uuid;

/// A job's columns.
///
/// What was agreed stays agreed: list prices are looked up when the services, the price or the
/// discount change, and not again because the list changed; the month moves only with the start.
pub(super) fn columns(
    id: Uuid,
    job: &Job,
    before: Option<(&Job, &JobRecord)>,
    fleet: &Fleet,
    named: &Named,
) -> Result<JobRecord, Error> {
    let same_price = |old: &Job| {
        (&old.service_ids, old.price_amount, old.discount_amount)
            == (&job.service_ids, job.price_amount, job.discount_amount)
    };
    let net_revenue_amount = match before {
        Some((old, kept)) if same_price(old) => kept.net_revenue_amount,
        _ => net_revenue(job, fleet, named)?,
    };
    let month = match before {
        Some((old, kept)) if old.starts_at == job.starts_at => kept.month,
        _ => month_of(checks::zone(fleet)?, job.starts_at)?,
    };
    Ok(JobRecord {
        job_id: id,
        place_id: job.place_id,
        client_id: job.client_id,
        vehicle_id: job.vehicle_id,
        state: job.state,
        starts_at: job.starts_at,
        ends_at: job.ends_at,
        month,
        net_revenue_amount,
    })
}

/// What a job brings.
///
/// # Formula
/// ```text
/// R = max(0, P − D)      P agreed price, or the sum of the services' list prices; D discount
/// ```
/// in whole minor units, halves away from zero. A service without a price counts as 0.
fn net_revenue(job: &Job, fleet: &Fleet, named: &Named) -> Result<Decimal, Error> {
    let too_large = || Error::invalid_at("price_too_large", "/service_ids", "The prices add up to too much.");
    let gross = match job.price_amount {
        Some(price) => price.get(),
        None => job.service_ids.iter().try_fold(Decimal::ZERO, |sum, id| {
            sum.checked_add(list_price(*id, named)?).ok_or_else(too_large)
        })?,
    };
    let discount = job.discount_amount.map_or(Decimal::ZERO, Amount::get);
    let net = gross.checked_sub(discount).ok_or_else(too_large)?.max(Decimal::ZERO);
    round_money(net, checks::currency(fleet)?.minor_unit_digits()).map_err(|_| too_large())
}

fn list_price(service: Uuid, named: &Named) -> Result<Decimal, Error> {
    let record = named.get(&service).ok_or_else(|| Error::internal("a service that was not gathered"))?;
    if let Card::Service(service) = document::stored(record.kind, &record.body)? {
        Ok(service.price_amount.map_or(Decimal::ZERO, Amount::get))
    } else {
        Err(Error::internal("a service that is none"))
    }
}

/// The first day of the month an instant lies in, on the fleet's calendar.
fn month_of(zone: Tz, at: DateTime<Utc>) -> Result<NaiveDate, Error> {
    let day = at.with_timezone(&zone).date_naive();
    day.with_day(1).ok_or_else(|| Error::internal("a month without a first day"))
}

/// The instants from the start of one day to the end of another, on the fleet's calendar.
pub(super) fn window(
    zone: Tz,
    from: NaiveDate,
    to: NaiveDate,
) -> Result<(DateTime<Utc>, DateTime<Utc>), Error> {
    let refuse = || Error::invalid("bad_window", "These dates are beyond the calendar. Name nearer ones.");
    let after = to.checked_add_days(Days::new(1)).ok_or_else(refuse)?;
    Ok((start_of(zone, from).ok_or_else(refuse)?, start_of(zone, after).ok_or_else(refuse)?))
}

/// When a day begins. Where clocks skip midnight, it begins with the first hour that exists.
fn start_of(zone: Tz, day: NaiveDate) -> Option<DateTime<Utc>> {
    let midnight = day.and_time(NaiveTime::MIN);
    (0..=24)
        .filter_map(|quarter| midnight.checked_add_signed(TimeDelta::minutes(15 * quarter)))
        .find_map(|local| zone.from_local_datetime(&local).earliest())
        .map(|at| at.with_timezone(&Utc))
}

#[cfg(test)]
mod tests {
    use super::super::kinds::Kind;
    use super::*;
    use crate::store::cards::CardRecord;
    use serde_json::{Value, json};

    fn fleet(currency: &str) -> Fleet {
        let body = json!({"name": "Kerbside", "currency": currency, "zone": "America/Denver"});
        serde_json::from_value(body).expect("a fleet")
    }

    fn job(changes: &Value) -> Job {
        let id = Uuid::from_u128;
        let mut body = json!({"place_id": id(1), "client_id": id(2), "vehicle_id": id(3), "crew": [],
            "service_ids": [id(7), id(8), id(7)], "starts_at": "2026-04-01T05:30:00Z",
            "ends_at": "2026-04-01T09:00:00Z", "state": "booked"});
        document::merge(&mut body, changes);
        serde_json::from_value(body).expect("a job")
    }

    fn services() -> Named {
        [(7, json!({"name": "Wash", "price_amount": "39.995"})), (8, json!({"name": "Look"}))]
            .into_iter()
            .map(|(n, body)| {
                let id = Uuid::from_u128(n);
                (
                    id,
                    CardRecord {
                        id,
                        kind: Kind::Service,
                        version: 1,
                        body,
                        retired_at: None,
                        field_stamps: None,
                    },
                )
            })
            .collect()
    }

    fn revenue(changes: &Value, currency: &str) -> String {
        let columns = columns(Uuid::from_u128(9), &job(changes), None, &fleet(currency), &services());
        columns.expect("columns").net_revenue_amount.to_string()
    }

    #[test]
    fn a_price_agreed_counts_before_the_list_and_the_discount_comes_off_once() {
        assert_eq!(revenue(&json!({}), "USD"), "79.99", "twice 39.995, one service without a price");
        assert_eq!(revenue(&json!({"discount_amount": "10"}), "USD"), "69.99");
        assert_eq!(revenue(&json!({"price_amount": "60", "discount_amount": "0.005"}), "USD"), "60.00");
        assert_eq!(revenue(&json!({"price_amount": "60", "discount_amount": "60.01"}), "USD"), "0.00");
        assert_eq!(
            revenue(&json!({"price_amount": "60.5"}), "JPY"),
            "61",
            "no smaller coin, half away from 0"
        );
    }

    #[test]
    fn a_month_is_the_fleets_month() {
        // 05:30 UTC on 1 April is still 31 March, 23:30, in Denver (UTC−6 in summer).
        let columns = columns(Uuid::from_u128(9), &job(&json!({})), None, &fleet("USD"), &services());
        assert_eq!(columns.expect("columns").month.to_string(), "2026-03-01");
    }

    #[test]
    fn what_was_agreed_stays_when_lists_and_zones_change() {
        let before = job(&json!({}));
        let kept = columns(Uuid::from_u128(9), &before, None, &fleet("USD"), &services()).expect("columns");
        let mut dearer = services();
        dearer
            .entry(Uuid::from_u128(7))
            .and_modify(|s| s.body = json!({"name": "Wash", "price_amount": "99"}));
        let mut moved = fleet("USD");
        moved.zone = "Asia/Tokyo".into();
        let noted = job(&json!({"note": "Gate code with the office"}));
        let after = columns(Uuid::from_u128(9), &noted, Some((&before, &kept)), &moved, &dearer);
        assert_eq!(after.expect("columns"), kept);
        let fewer = job(&json!({"service_ids": [Uuid::from_u128(7)]}));
        let after = columns(Uuid::from_u128(9), &fewer, Some((&before, &kept)), &moved, &dearer);
        assert_eq!(after.expect("columns").net_revenue_amount.to_string(), "99.00");
    }

    #[test]
    fn a_day_begins_when_its_first_hour_exists() {
        let day = |text: &str| text.parse::<NaiveDate>().expect("a date");
        // Chile's clocks went from 00:00 to 01:00 on 6 September 2026 (IANA tz database).
        let (from, to) = window(chrono_tz::America::Santiago, day("2026-09-06"), day("2026-09-06")).unwrap();
        assert_eq!(from.to_rfc3339(), "2026-09-06T04:00:00+00:00");
        assert_eq!(to.to_rfc3339(), "2026-09-07T03:00:00+00:00");
        let (from, to) = window(chrono_tz::America::Denver, day("2026-11-01"), day("2026-11-01")).unwrap();
        assert_eq!((to - from).num_hours(), 25, "the night the clocks go back");
    }
}
