//! How often signing in may be tried, per member and per network address.
//!
//! Kept in this process: with several processes each grants the allowance on its own, and a restart
//! forgets what was used. Memory is bounded by a fixed number of cells, addressed by a hash with a
//! secret seed, so that nobody can choose whom they share a cell with.

use crate::config::ThrottleConfig;
use crate::error::Error;
use actix_web::HttpRequest;
use governor::clock::{Clock, DefaultClock};
use governor::{DefaultKeyedRateLimiter, Quota, RateLimiter};
use std::hash::{BuildHasher, Hash, RandomState};
use std::net::{IpAddr, Ipv6Addr};

/// Cells per limiter.
const CELLS: u64 = 65_536;

/// The allowances.
pub struct Throttle {
    sources: DefaultKeyedRateLimiter<u64>,
    members: DefaultKeyedRateLimiter<u64>,
    seed: RandomState,
    trusted_proxies: u8,
    clock: DefaultClock,
}

impl std::fmt::Debug for Throttle {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Throttle")
    }
}

impl Throttle {
    /// Full allowances.
    #[must_use]
    pub fn new(config: ThrottleConfig) -> Self {
        Self {
            sources: RateLimiter::keyed(Quota::per_minute(config.per_source_per_min)),
            members: RateLimiter::keyed(Quota::per_hour(config.per_member_per_hour)),
            seed: RandomState::new(),
            trusted_proxies: config.trusted_proxies,
            clock: DefaultClock::default(),
        }
    }

    /// Counts a try from where the request comes from.
    ///
    /// # Errors
    /// [`Error::TooMany`] when the address has used its allowance up.
    pub fn count_source(&self, request: &HttpRequest) -> Result<(), Error> {
        let forwarded = request.headers().get_all("x-forwarded-for").filter_map(|v| v.to_str().ok());
        let peer = request.peer_addr().map(|address| address.ip());
        let source = source(peer, forwarded, self.trusted_proxies);
        self.count(&self.sources, source)
    }

    /// Counts a try for a member, known or not.
    ///
    /// # Errors
    /// [`Error::TooMany`] when the member's allowance is used up.
    pub fn count_member(&self, member: impl Hash) -> Result<(), Error> {
        self.count(&self.members, member)
    }

    fn count(&self, limiter: &DefaultKeyedRateLimiter<u64>, key: impl Hash) -> Result<(), Error> {
        limiter.check_key(&(self.seed.hash_one(key) % CELLS)).map_err(|until| {
            let wait = until.wait_time_from(self.clock.now());
            Error::TooMany { retry_after_s: wait.as_secs().saturating_add(1) }
        })
    }
}

/// The address that counts: the peer, or what the outermost trusted proxy saw. Of an IPv6 address
/// the first 64 bits, which is what one household or phone is given.
fn source<'a>(
    peer: Option<IpAddr>,
    forwarded: impl Iterator<Item = &'a str>,
    trusted_proxies: u8,
) -> Option<IpAddr> {
    let seen: Vec<&str> = forwarded.flat_map(|line| line.split(',')).map(str::trim).collect();
    let named = match usize::from(trusted_proxies) {
        0 => None,
        hops => seen.len().checked_sub(hops).and_then(|at| seen.get(at)).and_then(|text| text.parse().ok()),
    };
    named.or(peer).map(|address| match address.to_canonical() {
        IpAddr::V4(v4) => IpAddr::V4(v4),
        IpAddr::V6(v6) => IpAddr::V6(Ipv6Addr::from_bits(v6.to_bits() & !u128::from(u64::MAX))),
    })
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail by panicking")]

    use super::*;
    use std::num::NonZeroU32;

    fn throttle(per_member_per_hour: u32) -> Throttle {
        let per_member_per_hour = NonZeroU32::new(per_member_per_hour).unwrap();
        Throttle::new(ThrottleConfig { per_member_per_hour, ..ThrottleConfig::default() })
    }

    #[test]
    fn the_try_beyond_the_allowance_is_told_when_to_come_back() {
        let throttle = throttle(3);
        for _ in 0..3 {
            throttle.count_member(("fleet", "rosa")).unwrap();
        }
        let Err(Error::TooMany { retry_after_s }) = throttle.count_member(("fleet", "rosa")) else {
            panic!("the fourth try was allowed");
        };
        assert!((1..=1201).contains(&retry_after_s), "{retry_after_s}");
        throttle.count_member(("fleet", "ines")).unwrap();
    }

    #[test]
    fn a_million_names_take_a_bounded_number_of_cells() {
        let throttle = throttle(1000);
        for name in 0..200_000_u32 {
            let _ = throttle.count_member(name);
        }
        assert!(throttle.members.len() <= 65_536);
    }

    #[test]
    fn a_forwarded_address_counts_only_behind_trusted_proxies() {
        let peer = "192.0.2.7".parse().ok();
        let header = || ["203.0.113.1, 198.51.100.9", "192.0.2.1"].into_iter();
        assert_eq!(source(peer, header(), 0), peer);
        assert_eq!(source(peer, header(), 1), "192.0.2.1".parse().ok());
        assert_eq!(source(peer, header(), 2), "198.51.100.9".parse().ok());
        assert_eq!(source(peer, header(), 9), peer, "fewer hops than proxies: someone went round them");
        assert_eq!(source(peer, ["nonsense"].into_iter(), 1), peer);
    }

    #[test]
    fn one_network_of_version_6_is_one_source() {
        let one = source("2001:db8:1:2:3::4".parse().ok(), std::iter::empty(), 0);
        let other = source("2001:db8:1:2:ffff::".parse().ok(), std::iter::empty(), 0);
        let elsewhere = source("2001:db8:1:3::4".parse().ok(), std::iter::empty(), 0);
        assert_eq!(one, other);
        assert_ne!(one, elsewhere);
        assert_eq!(source("::ffff:192.0.2.7".parse().ok(), std::iter::empty(), 0), "192.0.2.7".parse().ok());
    }
}
