//! Simulated chance from a fixed seed: the same draws on every machine.

use proptest::prelude::Rng;
use proptest::test_runner::{RngAlgorithm, TestRng};
use statrs::distribution::{ContinuousCDF, Normal};

/// A source of draws.
pub(super) struct Chance(TestRng);

impl Chance {
    /// The source of that seed.
    pub(super) fn seeded(seed: u8) -> Self {
        Self(TestRng::from_seed(RngAlgorithm::ChaCha, &[seed; 32]))
    }

    /// Uniform, strictly between 0 and 1: the middle of one of 2^32 cells, so that no end is reached.
    pub(super) fn uniform(&mut self) -> f64 {
        (f64::from(self.0.next_u32()) + 0.5) / (f64::from(u32::MAX) + 1.0)
    }

    /// Normal.
    pub(super) fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        mean + sd * Normal::standard().inverse_cdf(self.uniform())
    }

    /// Weibull.
    pub(super) fn weibull(&mut self, shape: f64, scale: f64) -> f64 {
        scale * (-self.uniform().ln()).powf(1.0 / shape)
    }
}
