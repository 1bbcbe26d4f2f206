//! A bounded page and where it goes on.

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Which part of a list.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct PageQuery {
    /// Go on after this id: the `next` of the page before.
    pub after: Option<Uuid>,
    /// How many, at most 200; 50 when not said.
    #[param(minimum = 1, maximum = 200)]
    pub room: Option<i64>,
}

/// Which part of a list that is in order of days.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct DaysQuery {
    /// Go on after this day: the `next` of the page before.
    pub after: Option<NaiveDate>,
}

impl PageQuery {
    /// How many rows to answer with.
    #[must_use]
    pub fn room(&self) -> i64 {
        self.room.unwrap_or(50).clamp(1, 200)
    }
}

/// One page of a list.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Cursor<T> {
    /// The rows, in id order.
    pub rows: Vec<T>,
    /// Give this as `after` for the next page; absent on the last one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub next: Option<Uuid>,
}

impl<T> Cursor<T> {
    /// A page made from one row more than was asked for.
    #[must_use]
    pub fn of(mut rows: Vec<T>, room: i64, id: impl Fn(&T) -> Uuid) -> Self {
        let room = usize::try_from(room).unwrap_or(0);
        let next = if rows.len() > room {
            rows.truncate(room);
            rows.last().map(id)
        } else {
            None
        };
        Self { rows, next }
    }
}
