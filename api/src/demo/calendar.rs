//! The simulated year's days: working days, and instants in the fleet's zone.

use super::people::ZONE;
use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, TimeZone, Utc, Weekday};

/// An instant of a day, in minutes after local midnight. Never near the hour the clocks change.
pub(super) fn at(day: NaiveDate, minutes: i64) -> DateTime<Utc> {
    let noon = day.and_time(chrono::NaiveTime::MIN) + TimeDelta::hours(12);
    let noon = ZONE.from_local_datetime(&noon).earliest().map_or_else(|| noon.and_utc(), |t| t.to_utc());
    noon + TimeDelta::minutes(minutes - 12 * 60)
}

pub(super) fn is_working_day(day: NaiveDate) -> bool {
    !matches!(day.weekday(), Weekday::Sat | Weekday::Sun)
}

/// So many days after.
pub(super) fn after(day: NaiveDate, days: u32) -> NaiveDate {
    day.checked_add_days(Days::new(u64::from(days))).unwrap_or(day)
}
