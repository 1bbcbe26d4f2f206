//! The one place that reads the time. Everything below a handler is given `now`.

use chrono::{DateTime, Duration, SubsecRound, Utc};
use std::sync::{Arc, Mutex, PoisonError};

/// Where "now" comes from: the machine, or a hand-set time in tests and in the demo.
#[derive(Debug, Clone, Default)]
pub struct Clock(Option<Arc<Mutex<DateTime<Utc>>>>);

impl Clock {
    /// The machine's clock.
    #[must_use]
    pub const fn system() -> Self {
        Self(None)
    }

    /// A clock that stands still until it is moved.
    #[must_use]
    pub fn set_to(at: DateTime<Utc>) -> Self {
        Self(Some(Arc::new(Mutex::new(at))))
    }

    /// Moves a hand-set clock; the machine's clock stays as it is.
    pub fn advance(&self, by: Duration) {
        if let Some(held) = &self.0 {
            let mut at = held.lock().unwrap_or_else(PoisonError::into_inner);
            *at += by;
        }
    }

    /// The present instant, in whole microseconds, as the database keeps it.
    #[must_use]
    #[expect(clippy::disallowed_methods, reason = "this is the one place that may ask")]
    pub fn now(&self) -> DateTime<Utc> {
        let at = match &self.0 {
            Some(held) => *held.lock().unwrap_or_else(PoisonError::into_inner),
            None => Utc::now(),
        };
        at.trunc_subsecs(6)
    }
}
