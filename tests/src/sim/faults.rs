//! Faults that can be planted in the simulated server, to see that the checker finds them. Each is a
//! mistake somebody has made in earnest.

/// Which mistake the server makes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fault {
    /// Repeats are judged and booked again.
    DedupeOff,
    /// A restored database goes on under its old era, whatever phones show.
    EraOff,
    /// Positions are handed out when a transaction begins instead of as its last statement.
    HeadStampedEarly,
    /// A record that moves to another audience tells its old one nothing.
    LeftRowsDropped,
    /// A value that loses to a later stamp is forgotten.
    LoserNotKept,
    /// Bookmarks from before swept tombstones are gone on from.
    FloorIgnored,
    /// Reading gives rows of audiences that are not the reader's.
    ScopeIgnored,
    /// A repeat of a taken entry is answered as refused.
    VerdictChangesOnReplay,
    /// Parked entries are acknowledged and not stored.
    ParkedLost,
    /// The last write wins by arrival, not by stamp.
    ArrivalWins,
    /// A page's bookmark stands at the head and not at its last row.
    BookmarkBeyondPage,
    /// Entries of a closed month are booked into it.
    ClosedMonthBooked,
    /// What arrives late for a parked entry does not free it.
    ParkedNeverFreed,
    /// Goods that move arrive and never leave.
    MoveOnlyArrives,
    /// Entries are called safe before any backup has them.
    SafeTooEarly,
}

impl Fault {
    /// Every one.
    pub const ALL: [Self; 15] = [
        Self::DedupeOff,
        Self::EraOff,
        Self::HeadStampedEarly,
        Self::LeftRowsDropped,
        Self::LoserNotKept,
        Self::FloorIgnored,
        Self::ScopeIgnored,
        Self::VerdictChangesOnReplay,
        Self::ParkedLost,
        Self::ArrivalWins,
        Self::BookmarkBeyondPage,
        Self::ClosedMonthBooked,
        Self::ParkedNeverFreed,
        Self::MoveOnlyArrives,
        Self::SafeTooEarly,
    ];
}

impl Fault {
    /// The properties that may be seen broken first.
    #[must_use]
    pub fn breaks(self) -> &'static [&'static str] {
        match self {
            Self::DedupeOff => &["exactly-once", "one final verdict per id"],
            Self::EraOff => {
                &["no acknowledged entry lost", "convergence", "bounded retry", "one final verdict per id"]
            }
            Self::HeadStampedEarly => &["positions unique and rising in commit order", "convergence"],
            Self::LeftRowsDropped | Self::FloorIgnored | Self::BookmarkBeyondPage => &["convergence"],
            Self::LoserNotKept | Self::ArrivalWins => &["losing values are kept"],
            Self::ScopeIgnored => &["isolation by fleet and audience"],
            Self::VerdictChangesOnReplay => &["one final verdict per id"],
            Self::ParkedLost => &[
                "no acknowledged entry lost",
                "bounded retry",
                "one final verdict per id",
                "read your own writes",
            ],
            Self::ClosedMonthBooked => &["a closed month unchanged"],
            Self::ParkedNeverFreed => &["what waits is freed"],
            Self::MoveOnlyArrives => &["stock conserved", "exactly-once"],
            Self::SafeTooEarly => &["no acknowledged entry lost", "bounded retry", "read your own writes"],
        }
    }
}
