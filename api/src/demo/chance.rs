//! Chance from one seed: the same seed and the same days give the same year.

use chrono::{DateTime, Utc};
use rand::rngs::Xoshiro256PlusPlus;
use rand::seq::{IndexedRandom, SliceRandom};
use rand::{RngExt, SeedableRng};
use rand_distr::{Exp1, StandardNormal};
use uuid::{Builder, Uuid};

/// A stream of chance.
#[derive(Debug)]
pub(super) struct Chance(Xoshiro256PlusPlus);

impl Chance {
    pub(super) fn of(seed: u64) -> Self {
        Self(Xoshiro256PlusPlus::seed_from_u64(seed))
    }

    pub(super) fn normal(&mut self, mean: f64, sd: f64) -> f64 {
        let z: f64 = self.0.sample(StandardNormal);
        mean + sd * z
    }

    /// A life of a two-parameter Weibull law: scale × E^(1/shape), E exponential with mean 1 (definition).
    pub(super) fn weibull(&mut self, scale: f64, shape: f64) -> f64 {
        let e: f64 = self.0.sample(Exp1);
        scale * e.powf(1.0 / shape)
    }

    pub(super) fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..high)
    }

    pub(super) fn whole(&mut self, low: u32, high: u32) -> u32 {
        self.0.random_range(low..=high)
    }

    pub(super) fn yes(&mut self, probability: f64) -> bool {
        self.0.random_bool(probability)
    }

    pub(super) fn pick<'a, T>(&mut self, of: &'a [T]) -> Option<&'a T> {
        of.choose(&mut self.0)
    }

    pub(super) fn mix<T>(&mut self, these: &mut [T]) {
        these.shuffle(&mut self.0);
    }

    /// An id as a phone makes it (`UUIDv7`, RFC 9562), from the simulated time and this stream.
    pub(super) fn id(&mut self, at: DateTime<Utc>) -> Uuid {
        let millis = u64::try_from(at.timestamp_millis()).unwrap_or(0);
        Builder::from_unix_timestamp_millis(millis, &self.0.random()).into_uuid()
    }
}
