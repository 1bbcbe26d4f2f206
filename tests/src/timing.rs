//! Whether two things last alike: a rank test on times taken in turns, so that whatever else the machine
//! does falls on both.
//!
//! Mann and Whitney (1947), two-sided, from `statrs`. No absolute time is judged.

use statrs::stats_tests::Alternative;
use statrs::stats_tests::mannwhitneyu::{MannWhitneyUMethod, mannwhitneyu};
use std::time::Duration;

/// Below this the difference is held to be no accident.
const CHANCE: f64 = 0.001;

/// How two samples of times compare.
#[derive(Debug, Clone, Copy)]
pub struct Compared {
    /// Two-sided probability of ranks at least this uneven when nothing differs.
    pub p: f64,
    /// Middle of the first.
    pub one: Duration,
    /// Middle of the other.
    pub other: Duration,
}

impl Compared {
    /// Compares two samples.
    #[must_use]
    pub fn of(one: &[Duration], other: &[Duration]) -> Self {
        let method = MannWhitneyUMethod::AsymptoticInclContinuityCorrection;
        let (_, p) = mannwhitneyu(one, other, method, Alternative::TwoSided).expect("two samples");
        Self { p, one: median(one), other: median(other) }
    }

    /// Whether the difference is more than chance.
    #[must_use]
    pub fn differs(&self) -> bool {
        self.p < CHANCE
    }
}

/// Takes the times of two things in turns, each first as often as the other.
pub fn in_turns(
    pairs: usize,
    mut one: impl FnMut(usize) -> Duration,
    mut other: impl FnMut(usize) -> Duration,
) -> Compared {
    let (mut ones, mut others) = (Vec::with_capacity(pairs), Vec::with_capacity(pairs));
    for n in 0..pairs {
        if n % 2 == 0 {
            ones.push(one(n));
            others.push(other(n));
        } else {
            others.push(other(n));
            ones.push(one(n));
        }
    }
    Compared::of(&ones, &others)
}

fn median(times: &[Duration]) -> Duration {
    let mut sorted = times.to_vec();
    sorted.sort_unstable();
    sorted.get(sorted.len() / 2).copied().unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_ranks_of_shifted_samples_differ_and_those_of_mixed_ones_do_not() {
        let at = |ms: u64| Duration::from_millis(ms);
        let low: Vec<_> = (0..100).map(|n| at(2 * n)).collect();
        let mixed: Vec<_> = (0..100).map(|n| at(2 * n + 1)).collect();
        let high: Vec<_> = (0..100).map(|n| at(2 * n + 60)).collect();
        assert!(!Compared::of(&low, &mixed).differs());
        assert!(Compared::of(&low, &high).differs() && Compared::of(&high, &low).differs());
    }
}
