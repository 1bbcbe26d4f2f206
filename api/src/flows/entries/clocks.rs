//! Phones' clocks: any past is believed, a future is not, and no entry is refused for either.

use super::Incoming;
use super::refusal::EntryRefusal;
use crate::ids::LaneId;
use crate::sync::rules::stamp::{AHEAD_MS, Arrival, Stamp, arrival};
use chrono::{DateTime, TimeDelta, Utc};

/// When an entry happened, as it is booked.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct When {
    /// In the server's time.
    pub(super) at: DateTime<Utc>,
    /// What the device's clock said, when that is something else.
    pub(super) device_at: Option<DateTime<Utc>>,
    /// Why arrival time stands in for it, if it does.
    pub(super) adjusted: Option<EntryRefusal>,
}

/// When an entry happened: the device's time less its drift. What would lie in the future, and what
/// no clock shows since there are phones, happened when it came in; a flat battery starts at 1970.
pub(super) fn when(entry: &Incoming, now: DateTime<Utc>) -> When {
    let device = entry.happened_at;
    let at = less_drift(device, entry);
    let (at, adjusted) = match at {
        Some(at) if at > now + TimeDelta::milliseconds(AHEAD_MS) => (now, Some(ahead())),
        Some(at) if at >= DateTime::UNIX_EPOCH => (at, None),
        _ => (now, Some(unreadable())),
    };
    When { at, device_at: (at != device).then_some(device), adjusted }
}

fn less_drift(device: DateTime<Utc>, entry: &Incoming) -> Option<DateTime<Utc>> {
    let drift = TimeDelta::try_milliseconds(entry.drift_ms)?;
    device.checked_sub_signed(drift)
}

/// What is said of a clock that runs ahead.
pub(super) fn ahead() -> EntryRefusal {
    EntryRefusal::new(
        "clock_ahead",
        "The phone's clock runs ahead of the server's, so this counts from when it came in. Set the phone's clock.",
    )
}

fn unreadable() -> EntryRefusal {
    EntryRefusal::new(
        "clock_unreadable",
        "The phone's clock shows a time before 1970, so this counts from when it came in. Set the phone's clock.",
    )
}

/// When an entry was written, by its lane's own clock. The second says whether arrival time stands in.
///
/// `replaced` is the last stamp that arrival stood in for: what a phone wrote in a row, however wrong
/// its clock, stays in that order.
pub(super) fn stamp(
    entry: &Incoming,
    lane: LaneId,
    now: DateTime<Utc>,
    replaced: &mut Option<Stamp>,
) -> Arrival {
    let made_at = entry.made_at.unwrap_or(entry.happened_at);
    let said = entry.stamp.as_deref().and_then(|text| Stamp::parse(text, lane.0));
    // A drift that leads out of the calendar is none.
    let written = || less_drift(made_at, entry).unwrap_or(made_at).timestamp_millis();
    let stamp = said.unwrap_or_else(|| Stamp::at(written(), lane.0));
    let mut arrived = arrival(stamp, now.timestamp_millis());
    if arrived.adjusted {
        if let Some(last) = *replaced {
            arrived.stamp = arrived.stamp.max(last.next());
        }
        *replaced = Some(arrived.stamp);
    }
    arrived
}

#[cfg(test)]
mod tests {
    use super::super::envelope::{self, Envelope};
    use super::*;
    use serde_json::json;
    use uuid::Uuid;

    const DAYS_3_MS: i64 = 3 * 86_400_000;

    fn entry(happened_at: &str) -> Incoming {
        let happened_at = happened_at.parse().expect("an instant");
        Incoming::new(Uuid::nil(), Some(1), "trip".into(), 1, happened_at, json!({}))
    }

    fn now() -> DateTime<Utc> {
        "2026-03-05T12:00:00Z".parse().expect("an instant")
    }

    #[test]
    fn any_past_is_booked_as_it_is_and_a_future_when_it_comes_in() {
        let booked = |at: &str| when(&entry(at), now());
        for past in ["2026-03-02T12:00:00Z", "1970-01-01T00:00:00Z", "2026-03-05T12:01:00Z"] {
            let when = booked(past);
            assert_eq!((when.at, when.adjusted, when.device_at), (past.parse().unwrap(), None, None));
        }
        for future in ["2026-03-05T12:01:00.001Z", "2026-03-08T12:00:00Z", "2046-03-05T12:00:00Z"] {
            let when = booked(future);
            assert_eq!((when.at, when.device_at), (now(), Some(future.parse().unwrap())));
            assert_eq!(when.adjusted.expect("a reason").code, "clock_ahead");
        }
        assert_eq!(booked("1969-12-31T23:59:59Z").adjusted.expect("a reason").code, "clock_unreadable");
    }

    #[test]
    fn a_measured_drift_is_taken_off_and_the_devices_time_kept() {
        let entry = Incoming { drift_ms: DAYS_3_MS, ..entry("2026-03-08T11:00:00Z") };
        let when = when(&entry, now());
        assert_eq!(when.at.to_rfc3339(), "2026-03-05T11:00:00+00:00");
        assert_eq!(when.adjusted, None);
        let kept = envelope::of(&entry, when.device_at).expect("JSON").expect("something");
        let expected =
            Envelope { drift_ms: DAYS_3_MS, device_at: Some(entry.happened_at), ..Envelope::default() };
        assert_eq!(Envelope::stored(&kept), expected);
        let wild = Incoming { drift_ms: i64::MIN, ..self::entry("2026-03-08T11:00:00Z") };
        assert!(super::when(&wild, now()).adjusted.is_some());
        let plain = self::entry("2026-03-05T11:00:00Z");
        assert_eq!(envelope::of(&plain, None).expect("JSON"), None);
    }

    #[test]
    fn what_a_wrong_clock_wrote_in_a_row_stays_in_a_row() {
        let lane = LaneId(Uuid::from_u128(1));
        let mut replaced = None;
        // Twenty years ahead, then the battery flat and back.
        let mut last = None;
        for at in ["2046-03-05T12:00:02Z", "2046-03-05T12:00:01Z", "2046-03-05T12:00:00Z"] {
            let arrived = stamp(&entry(at), lane, now(), &mut replaced);
            assert!(arrived.adjusted && arrived.stamp.ms == now().timestamp_millis());
            assert!(Some(arrived.stamp) > last);
            last = Some(arrived.stamp);
        }
        let said = Incoming { stamp: Some("1772700000000-00003".into()), ..entry("2046-03-05T12:00:00Z") };
        let arrived = stamp(&said, lane, now(), &mut replaced);
        assert_eq!((arrived.stamp.text().as_str(), arrived.adjusted), ("1772700000000-00003", false));
    }
}
