//! How long to wait after a failure: exponential with full jitter, bounded, never shorter than the
//! server asked for.
//!
//! # Source
//! M. Brooker, "Exponential Backoff And Jitter", AWS Architecture Blog, 2015 ("full jitter").

use rand::{Rng, RngExt};

/// The first wait is at most this long (ms).
const BASE_MS: i64 = 1_000;
/// No wait of the phone's own choosing is longer (ms).
pub const CAP_MS: i64 = 300_000;

/// How long to wait (ms) after `failures` failures in a row, the last of which may have said how long.
///
/// ```text
/// wait = asked + U(0, min(cap, base 2^(failures−1)))
/// ```
pub fn wait_ms(failures: u32, asked_s: Option<u32>, rng: &mut impl Rng) -> i64 {
    let doublings = failures.saturating_sub(1).min(20);
    let most = CAP_MS.min(BASE_MS << doublings);
    i64::from(asked_s.unwrap_or(0)) * 1_000 + rng.random_range(0..=most)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand::rngs::Xoshiro256PlusPlus;

    #[test]
    fn waits_grow_scatter_and_stay_bounded() {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(1);
        for failures in 1..64 {
            let waits: Vec<i64> = (0..200).map(|_| wait_ms(failures, None, &mut rng)).collect();
            assert!(waits.iter().all(|wait| (0..=CAP_MS).contains(wait)));
            let (low, high) = (waits.iter().min().unwrap(), waits.iter().max().unwrap());
            assert!(high - low > 500, "a stampede keeps its step: {low}..{high} after {failures}");
        }
    }

    #[test]
    fn what_the_server_asks_for_is_kept() {
        let mut rng = Xoshiro256PlusPlus::seed_from_u64(2);
        assert!((0..100).all(|_| wait_ms(1, Some(30), &mut rng) >= 30_000));
    }
}
