//! Time worked: minutes at the member's rate with the employer's burden, split at midnight of the
//! fleet's zone so that each part falls into its own day and month.

use super::books::{At, Books, CostFor};
use super::cards::{Author, Cards, missing};
use super::facts::{TimeKind, WorkTime};
use super::refusal::EntryRefusal;
use crate::auth::Role;
use crate::flows::cards::kinds::Kind;
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, TimeZone, Utc};
use chrono_tz::Tz;
use dropwise_core::CoreError;
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// The longest stretch of work that is believed.
const LONGEST: TimeDelta = TimeDelta::hours(24);

/// One day's part of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Part {
    day: NaiveDate,
    seconds: i64,
    hourly_amount: String,
    burden_share: String,
}

/// What the cards and the calendar said.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct Basis {
    member_id: Uuid,
    parts: Vec<Part>,
}

/// Whether it can be booked, in which parts and at which rates.
pub(super) fn judge(fact: &WorkTime, cards: &Cards, author: Author) -> Result<Basis, EntryRefusal> {
    let member = fact.member_id.unwrap_or(author.member);
    if member != author.member && author.role == Role::Technician {
        return Err(EntryRefusal::at(
            "not_your_time",
            "member_id",
            "Write down only your own time; the office writes down that of others.",
        ));
    }
    if !cards.members.contains_key(&member.0) {
        return Err(EntryRefusal::at("no_such_record", "member_id", "There is no member of that id here."));
    }
    match (fact.what, fact.job_id) {
        (TimeKind::Job, None) => return Err(missing("job_id", Kind::Job)),
        (_, Some(job)) => {
            cards.open_job(job, author)?;
        }
        (TimeKind::Travel | TimeKind::Shop, None) => {}
    }
    for (field, at) in [("starts_at", fact.starts_at), ("ends_at", fact.ends_at)] {
        if !(1970..2200).contains(&at.year()) {
            let sentence = "The date must lie in the years from 1970 to 2199.";
            return Err(EntryRefusal::at("date_out_of_range", field, sentence));
        }
    }
    if fact.ends_at <= fact.starts_at {
        return Err(EntryRefusal::at("ends_before_it_starts", "ends_at", "Work must end after it starts."));
    }
    if fact.ends_at - fact.starts_at > LONGEST {
        return Err(EntryRefusal::at(
            "too_long",
            "ends_at",
            "One stretch of work may last 24 hours at most. Write longer work down as several.",
        ));
    }
    let parts =
        split_at_midnight(fact.starts_at, fact.ends_at, cards.zone()?).into_iter().map(|(day, seconds)| {
            let (hourly, burden) = cards.rate_on(member.0, day).unwrap_or_default();
            Part { day, seconds, hourly_amount: hourly.to_string(), burden_share: burden.to_string() }
        });
    Ok(Basis { member_id: member.0, parts: parts.collect() })
}

/// One line per day: hours × rate × (1 + burden), on the job or on none.
pub(super) fn book(books: &mut Books, fact: &WorkTime, basis: &Basis, at: At) -> Result<(), CoreError> {
    const OUT: CoreError = CoreError::OutOfRange { what: "the cost of an hour" };
    let what = match (fact.what, fact.job_id) {
        (TimeKind::Job | TimeKind::Travel, Some(_)) => "labour",
        (TimeKind::Shop, _) | (TimeKind::Job | TimeKind::Travel, None) => "idle_time",
    };
    let job_id = if what == "labour" { fact.job_id } else { None };
    for part in &basis.parts {
        let decimal = |text: &str| text.parse::<Decimal>().map_err(|_| OUT);
        let minutes = Decimal::from(part.seconds).checked_div(Decimal::from(60)).ok_or(OUT)?;
        let with_burden = Decimal::ONE.checked_add(decimal(&part.burden_share)?).ok_or(OUT)?;
        let hourly = decimal(&part.hourly_amount)?.checked_mul(with_burden).ok_or(OUT)?;
        let amount = hourly
            .checked_mul(Decimal::from(part.seconds))
            .and_then(|x| x.checked_div(Decimal::from(3600)))
            .ok_or(OUT)?;
        let cost = CostFor { what, job_id, subject_id: Some(basis.member_id), unit: "min" };
        let minutes = dropwise_core::exact::rounding::round(
            minutes,
            4,
            dropwise_core::exact::rounding::Ties::HalfEven,
        )?;
        books.cost(At { day: part.day, ..at }, cost, minutes, amount)?;
    }
    Ok(())
}

/// The seconds of a stretch that fall on each local day, whatever the clocks do that night.
fn split_at_midnight(from: DateTime<Utc>, to: DateTime<Utc>, zone: Tz) -> Vec<(NaiveDate, i64)> {
    let mut parts = Vec::new();
    let mut start = from;
    while start < to {
        let day = start.with_timezone(&zone).date_naive();
        let end = day.checked_add_days(Days::new(1)).map_or(to, |next| start_of_day(next, zone)).min(to);
        // A zone that skips a whole day must not stop the walk.
        let end = if end > start { end } else { to };
        parts.push((day, (end - start).num_seconds()));
        start = end;
    }
    parts
}

/// The first instant of a local day: midnight, or the first time after it where midnight is skipped.
fn start_of_day(day: NaiveDate, zone: Tz) -> DateTime<Utc> {
    let midnight = day.and_time(chrono::NaiveTime::MIN);
    (0..=24 * 4)
        .find_map(|quarters| {
            zone.from_local_datetime(&(midnight + TimeDelta::minutes(15 * quarters))).earliest()
        })
        .map_or_else(|| midnight.and_utc(), |at| at.with_timezone(&Utc))
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]

    use super::*;

    fn at(text: &str) -> DateTime<Utc> {
        text.parse().unwrap()
    }

    #[test]
    fn a_shift_over_midnight_falls_on_two_days() {
        let parts = split_at_midnight(
            at("2025-03-01T04:00:00Z"),
            at("2025-03-01T08:30:00Z"),
            chrono_tz::America::Denver,
        );
        let day = |d| NaiveDate::from_ymd_opt(2025, 2, d).unwrap();
        assert_eq!(parts, [(day(28), 3 * 3600), (NaiveDate::from_ymd_opt(2025, 3, 1).unwrap(), 5400)]);
    }

    #[test]
    fn the_night_the_clocks_go_forward_has_one_hour_less() {
        // 9 March 2025, America/Denver (IANA tz database): 02:00 becomes 03:00, the day has 23 hours.
        let parts = split_at_midnight(
            at("2025-03-09T07:00:00Z"),
            at("2025-03-10T06:00:00Z"),
            chrono_tz::America::Denver,
        );
        assert_eq!(parts, [(NaiveDate::from_ymd_opt(2025, 3, 9).unwrap(), 23 * 3600)]);
    }

    #[test]
    fn a_zone_without_midnight_starts_its_day_later() {
        // 30 March 2025, Asia/Beirut (IANA tz database): 00:00 becomes 01:00.
        let day = NaiveDate::from_ymd_opt(2025, 3, 30).unwrap();
        assert_eq!(start_of_day(day, chrono_tz::Asia::Beirut), at("2025-03-29T22:00:00Z"));
    }

    #[test]
    fn every_instant_lies_in_exactly_one_month_of_every_zone() {
        use rand::{RngExt, SeedableRng};
        let mut chance = rand::rngs::StdRng::seed_from_u64(62);
        for _ in 0..20_000 {
            let zone = chrono_tz::TZ_VARIANTS[chance.random_range(0..chrono_tz::TZ_VARIANTS.len())];
            let at = DateTime::from_timestamp(chance.random_range(0..4_102_444_800), 0).unwrap();
            let month = super::super::books::month_of(at.with_timezone(&zone).date_naive());
            let next = month.checked_add_months(chrono::Months::new(1)).unwrap();
            let bounds = (start_of_day(month, zone), start_of_day(next, zone));
            assert!(bounds.0 <= at && at < bounds.1, "{at} in {zone}: {bounds:?}");
        }
    }
}
