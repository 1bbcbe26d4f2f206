//! Whether a phone may go on reading from its bookmark, and if not, why.

/// What a bookmark that carries a right seal says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Mark {
    /// The history it was made in.
    pub era: [u8; 16],
    /// The revision of its reader's scope: which audiences were read with it.
    pub scope: i64,
    /// The last position read.
    pub position: i64,
}

/// The fleet as it stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Now {
    /// The history of this database.
    pub era: [u8; 16],
    /// The revision of the reader's scope.
    pub scope: i64,
    /// The last position given out.
    pub head: i64,
    /// The highest position of a tombstone that has been swept; 0 before the first.
    pub floor: i64,
}

/// How a phone goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum GoOn {
    /// From after this position.
    From(i64),
    /// A tombstone it has not read is gone: only a whole fresh copy is sure to lose nothing.
    TooOld,
    /// The bookmark was made in another history.
    Restarted,
    /// The bookmark was made in this history, and beyond its end: the database was restored to an
    /// earlier state without anyone saying so. The era must be rotated, for everyone.
    AboveHead,
    /// The reader's audiences have changed: the new ones are copied, then the trail goes on.
    ScopeChanged,
}

/// Decides on a bookmark.
///
/// The order matters: positions and revisions mean nothing across eras, and a bookmark below the
/// floor needs the whole copy whatever else has changed. A scope from the future proves a restored
/// database as a position does. A bookmark at the floor has read everything that was swept.
#[must_use]
pub fn go_on(mark: Mark, now: Now) -> GoOn {
    if mark.era != now.era {
        GoOn::Restarted
    } else if mark.position > now.head || mark.scope > now.scope {
        GoOn::AboveHead
    } else if mark.position < now.floor {
        GoOn::TooOld
    } else if mark.scope != now.scope {
        GoOn::ScopeChanged
    } else {
        GoOn::From(mark.position)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const NOW: Now = Now { era: [7; 16], scope: 3, head: 100, floor: 40 };

    fn at(position: i64) -> Mark {
        Mark { era: NOW.era, scope: NOW.scope, position }
    }

    #[test]
    fn the_floor_itself_may_be_gone_on_from() {
        assert_eq!(go_on(at(39), NOW), GoOn::TooOld);
        assert_eq!(go_on(at(40), NOW), GoOn::From(40));
        assert_eq!(go_on(at(41), NOW), GoOn::From(41));
    }

    #[test]
    fn the_head_itself_may_be_gone_on_from_and_nothing_beyond() {
        assert_eq!(go_on(at(100), NOW), GoOn::From(100));
        assert_eq!(go_on(at(101), NOW), GoOn::AboveHead);
        assert_eq!(go_on(Mark { scope: 4, ..at(100) }, NOW), GoOn::AboveHead, "a scope not given yet");
    }

    #[test]
    fn before_anything_was_swept_the_start_may_be_gone_on_from() {
        assert_eq!(go_on(at(0), Now { floor: 0, ..NOW }), GoOn::From(0));
        assert_eq!(go_on(at(0), Now { floor: 0, head: 0, ..NOW }), GoOn::From(0));
        assert_eq!(go_on(at(0), Now { floor: 1, ..NOW }), GoOn::TooOld);
    }

    #[test]
    fn another_history_comes_before_everything_else() {
        for mark in [at(101), at(0), Mark { scope: 1, ..at(50) }, Mark { scope: 9, ..at(50) }, at(50)] {
            assert_eq!(go_on(Mark { era: [8; 16], ..mark }, NOW), GoOn::Restarted, "{mark:?}");
        }
    }

    #[test]
    fn another_scope_asks_for_less_than_the_floor_does() {
        assert_eq!(go_on(Mark { scope: 2, ..at(40) }, NOW), GoOn::ScopeChanged);
        assert_eq!(go_on(Mark { scope: 2, ..at(39) }, NOW), GoOn::TooOld);
    }

    #[test]
    fn every_mark_of_a_small_world_is_decided_as_the_words_say() {
        // The rules again, in the words of the protocol, over every case of a world small enough.
        for (head, floor) in (0..4).flat_map(|head| (0..=head).map(move |floor| (head, floor))) {
            for (position, scope, era) in
                (0..6).flat_map(|p| (0..3).flat_map(move |s| (0..2).map(move |e| (p, s, e))))
            {
                let now = Now { era: [0; 16], scope: 1, head, floor };
                let answer = go_on(Mark { era: [era; 16], scope, position }, now);
                assert_eq!(answer == GoOn::Restarted, era != 0);
                let lives_here = (floor..=head).contains(&position);
                assert_eq!(
                    matches!(answer, GoOn::From(_)),
                    era == 0 && scope == 1 && lives_here,
                    "{position} of {floor}..={head}: {answer:?}"
                );
                if let GoOn::From(from) = answer {
                    assert_eq!(from, position);
                }
            }
        }
    }
}
