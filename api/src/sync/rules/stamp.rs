//! When a field was written, in an order every phone and the server agree on: hybrid logical clocks.
//!
//! # Source
//! S. S. Kulkarni, M. Demirbas, D. Madappa, B. Avva, M. Leone, "Logical Physical Clocks", OPODIS 2014
//! (figure 5 for sending and receiving, section 4 for clocks that run ahead).

use uuid::Uuid;

/// A phone may run ahead of the server by this much (ms) before the server puts its own time instead.
pub const AHEAD_MS: i64 = 60_000;
/// The latest instant the text can hold: thirteen digits, the year 2286.
pub const LATEST_MS: i64 = 9_999_999_999_999;

/// A place in the order of writing: time, then counter, then lane.
///
/// The desk has no lane; its stamps carry the nil id.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Stamp {
    /// Milliseconds since 1970-01-01T00:00:00Z, from 0 to [`LATEST_MS`].
    pub ms: i64,
    /// Counts what was written within one millisecond, or while the clock stood still.
    pub counter: u16,
    /// Who wrote; decides between equal times.
    pub lane: Uuid,
}

impl Stamp {
    /// A stamp at this time, which is brought within what the text can hold.
    #[must_use]
    pub fn at(ms: i64, lane: Uuid) -> Self {
        Self { ms: ms.clamp(0, LATEST_MS), counter: 0, lane }
    }

    /// From `"<milliseconds, 13 digits>-<counter, 5 digits>"`; `None` when it is not written so.
    #[must_use]
    pub fn parse(text: &str, lane: Uuid) -> Option<Self> {
        let (ms, counter) = text.split_once('-')?;
        let digits = |part: &str, count| part.len() == count && part.bytes().all(|b| b.is_ascii_digit());
        if !digits(ms, 13) || !digits(counter, 5) {
            return None;
        }
        Some(Self { ms: ms.parse().ok()?, counter: counter.parse().ok()?, lane })
    }

    /// The text, without the lane. Texts sort as the stamps do.
    #[must_use]
    pub fn text(&self) -> String {
        format!("{:013}-{:05}", self.ms, self.counter)
    }

    /// The next stamp of this lane after this one.
    #[must_use]
    pub fn next(self) -> Self {
        match self.counter.checked_add(1) {
            Some(counter) => Self { counter, ..self },
            // The counter is used up: the millisecond after, early by as little as can be.
            None => Self { ms: self.ms.saturating_add(1).min(LATEST_MS), counter: 0, ..self },
        }
    }
}

/// One writer's hybrid clock: never goes back, whatever the device's clock does.
///
/// # Formula
/// ```text
/// write:       l' = max(l, t),      c' = c + 1 if l' = l, else 0
/// hear (m, k): l' = max(l, m, t),   c' = the counter that belongs to l', + 1; 0 when t alone is l'
/// ```
/// t: the device's time less its drift (ms); l, c: last stamp; m, k: the stamp heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Hlc {
    last: Option<Stamp>,
    lane: Uuid,
}

impl Hlc {
    /// A clock that has written nothing yet.
    #[must_use]
    pub const fn new(lane: Uuid) -> Self {
        Self { last: None, lane }
    }

    /// The stamp of something written now.
    pub fn tick(&mut self, now_ms: i64) -> Stamp {
        let now = Stamp::at(now_ms, self.lane);
        let stamp = match self.last {
            Some(last) if last.ms >= now.ms => last.next(),
            _ => now,
        };
        self.last = Some(stamp);
        stamp
    }

    /// Takes note of a stamp that was seen: whatever is written after it is later.
    ///
    /// Believes what it hears. A phone hears the server only; the server hears phones through
    /// [`arrival`], so that no phone's clock can carry it into the future.
    pub fn hear(&mut self, heard: Stamp, now_ms: i64) {
        let now = Stamp::at(now_ms, self.lane);
        let heard = Stamp { lane: self.lane, ..heard };
        let seen = self.last.map_or(heard, |last| last.max(heard));
        self.last = Some(if seen.ms >= now.ms { seen.next() } else { now });
    }

    /// The last stamp written or made by hearing.
    #[must_use]
    pub const fn last(&self) -> Option<Stamp> {
        self.last
    }
}

/// A phone's stamp as the server keeps it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Arrival {
    /// The phone's stamp, or arrival time in its place.
    pub stamp: Stamp,
    /// Whether it was replaced.
    pub adjusted: bool,
}

/// What becomes of a stamp at the server: any past is taken as it is; more than [`AHEAD_MS`] ahead is
/// replaced by arrival time. The counter stays, so that what was written in a row keeps its order.
#[must_use]
pub fn arrival(stamp: Stamp, server_now_ms: i64) -> Arrival {
    if stamp.ms.saturating_sub(server_now_ms) > AHEAD_MS {
        let now = Stamp::at(server_now_ms, stamp.lane);
        Arrival { stamp: Stamp { counter: stamp.counter, ..now }, adjusted: true }
    } else {
        Arrival { stamp, adjusted: false }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const DAY_MS: i64 = 86_400_000;
    const NOW: i64 = 1_795_600_000_000;

    fn stamps() -> impl Strategy<Value = Stamp> {
        // Few values, so that ties are common.
        (0..4_i64, 0..3_u16, 0..3_u128).prop_map(|(ms, counter, lane)| Stamp {
            ms: NOW + ms,
            counter,
            lane: Uuid::from_u128(lane),
        })
    }

    #[test]
    fn a_text_is_thirteen_and_five_digits() {
        let lane = Uuid::from_u128(7);
        let stamp = Stamp { ms: 1_795_600_000_123, counter: 42, lane };
        assert_eq!(stamp.text(), "1795600000123-00042");
        assert_eq!(Stamp::parse("1795600000123-00042", lane), Some(stamp));
        let wrong = [
            "",
            "1-1",
            "1795600000123-00042 ",
            "1795600000123-70000",
            "+795600000123-00042",
            "1795600000123",
        ];
        for text in wrong {
            assert_eq!(Stamp::parse(text, lane), None, "{text}");
        }
        assert_eq!(Stamp::at(-5, lane).text(), "0000000000000-00000", "before 1970 is 1970");
        assert_eq!(Stamp::at(i64::MAX, lane).ms, LATEST_MS);
    }

    #[test]
    fn equal_times_are_decided_by_the_lane() {
        let stamp = |ms, counter, lane| Stamp { ms, counter, lane: Uuid::from_u128(lane) };
        assert!(stamp(5, 0, 2) > stamp(5, 0, 1));
        assert!(stamp(5, 1, 1) > stamp(5, 0, 2), "the counter comes first");
        assert!(stamp(6, 0, 1) > stamp(5, 9, 2), "the time before everything");
    }

    /// Clocks found in the field: three days behind, three days ahead, twenty years ahead.
    #[test]
    fn any_past_is_taken_and_a_future_is_arrival() {
        let lane = Uuid::from_u128(1);
        let arrive = |ms| arrival(Stamp { ms, counter: 3, lane }, NOW);
        for ms in [0, NOW - 3 * DAY_MS, NOW, NOW + AHEAD_MS] {
            assert_eq!(arrive(ms), Arrival { stamp: Stamp { ms, counter: 3, lane }, adjusted: false });
        }
        for ms in [NOW + AHEAD_MS + 1, NOW + 3 * DAY_MS, NOW + 7305 * DAY_MS, i64::MAX] {
            assert_eq!(arrive(ms), Arrival { stamp: Stamp { ms: NOW, counter: 3, lane }, adjusted: true });
        }
    }

    #[test]
    fn a_clock_that_jumps_back_still_writes_later() {
        let mut clock = Hlc::new(Uuid::from_u128(1));
        let before = clock.tick(NOW);
        let after = clock.tick(NOW - 3 * DAY_MS);
        assert!(after > before);
        assert_eq!(after.ms, NOW, "and not a millisecond further than it must");
    }

    #[test]
    fn a_used_up_counter_goes_on_in_the_next_millisecond() {
        let full = Stamp { ms: NOW, counter: u16::MAX, lane: Uuid::nil() };
        assert_eq!(full.next(), Stamp { ms: NOW + 1, counter: 0, lane: Uuid::nil() });
    }

    proptest! {
        #[test]
        fn the_order_is_total_and_the_text_keeps_it(a in stamps(), b in stamps(), c in stamps()) {
            let ways = [a < b, a == b, a > b];
            prop_assert_eq!(ways.into_iter().filter(|way| *way).count(), 1);
            prop_assert!(!(a < b && b < c) || a < c);
            prop_assert_eq!(a.text() < b.text(), (a.ms, a.counter) < (b.ms, b.counter));
            prop_assert_eq!(Stamp::parse(&a.text(), a.lane), Some(a));
        }

        /// Whatever phones say and however often, the server's own stamps stay within the leeway of
        /// its clock, and each is later than everything heard before it.
        #[test]
        fn a_server_stamp_never_passes_through_a_phones_future(
            heard in prop::collection::vec((any::<i64>(), any::<u16>(), 0..5_000_i64), 1..60),
        ) {
            let mut server = Hlc::new(Uuid::nil());
            let mut now = NOW;
            for (ms, counter, step) in heard {
                now += step;
                let Arrival { stamp, .. } = arrival(Stamp { ms, counter, lane: Uuid::from_u128(9) }, now);
                server.hear(stamp, now);
                let written = server.tick(now);
                prop_assert!(written > stamp);
                // A used-up counter may take a millisecond more, once per event.
                prop_assert!(written.ms <= now + AHEAD_MS + 2 * 60, "{} ahead", written.ms - now);
                prop_assert!(written.ms >= now);
            }
        }

        #[test]
        fn a_clock_never_goes_back(events in prop::collection::vec((any::<bool>(), stamps(), -5..5_i64), 1..40)) {
            let mut clock = Hlc::new(Uuid::from_u128(1));
            let mut last = None;
            for (writes, heard, step) in events {
                let stamp = if writes {
                    clock.tick(NOW + step)
                } else {
                    clock.hear(heard, NOW + step);
                    let heard = Stamp { lane: Uuid::from_u128(1), ..heard };
                    prop_assert!(clock.last() > Some(heard));
                    clock.tick(NOW + step)
                };
                prop_assert!(Some(stamp) > last);
                last = Some(stamp);
            }
        }

        /// Written after it was read, so later, even by a phone whose clock is days behind.
        #[test]
        fn what_was_written_after_seeing_is_later(behind in 0..10 * DAY_MS, seen in stamps()) {
            let mut phone = Hlc::new(Uuid::nil());
            phone.hear(seen, NOW - behind);
            let written = phone.tick(NOW - behind);
            prop_assert!((written.ms, written.counter) > (seen.ms, seen.counter));
        }
    }
}
