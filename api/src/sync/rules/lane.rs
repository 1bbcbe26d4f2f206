//! What to do with a run of entries of one lane: which were judged before, which are to be judged now,
//! where to stop, and whether two phones hand over as one. Pure.
//!
//! A lane numbers its entries 1, 2, 3 … without a gap, and an id stands for one content for ever.
//! Therefore:
//!
//! - what was judged before, under this number or any other, gets its verdict again;
//! - a number beyond the next one stops the run: nothing after it is looked at;
//! - another content under a number or an id that was used before proves that the lane is shared (a
//!   phone restored onto another one). The lane is frozen and nothing new of the run is judged: all of
//!   it is set aside, and each phone enrols under a lane of its own and sends what has no verdict yet.

use std::collections::HashMap;
use uuid::Uuid;

/// SHA-256 of what an entry says; its number and lane are no part of it.
pub type Digest = [u8; 32];

/// A lane before the run.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LaneState {
    /// The last number that has its verdict; 0 before the first.
    pub last_n: i64,
}

/// An entry as it was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sent {
    /// Its number in the lane.
    pub n: i64,
    /// Its id.
    pub id: Uuid,
    /// What it says.
    pub digest: Digest,
}

/// An entry that has its verdict already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Judged {
    /// Its id.
    pub id: Uuid,
    /// What it says.
    pub digest: Digest,
}

/// What was used twice for different things.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reused {
    /// The number: the entry may come again, as it is, in a lane of its own.
    Number,
    /// The id: the entry needs a fresh one.
    Id,
}

/// The entry that proves that two phones share the lane.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Proof {
    /// Its place in the run, from 0.
    pub at: usize,
    /// What it used again.
    pub reused: Reused,
}

/// What to do with a run. Places count from 0 and rise.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// Judged before: each gets the verdict stored under its id again.
    pub repeats: Vec<usize>,
    /// To be judged now, in this order. Empty when the lane is found to be shared.
    pub fresh: Vec<usize>,
    /// Set when the lane is found to be shared.
    pub froze: Option<Proof>,
    /// The number that comes next once the plan is carried out.
    pub expected: i64,
}

impl Plan {
    /// What must be set aside because the lane is shared: all of the run that has no verdict.
    #[must_use]
    pub fn set_aside(&self, sent: usize) -> Vec<usize> {
        match self.froze {
            None => Vec::new(),
            Some(_) => (0..sent).filter(|at| self.repeats.binary_search(at).is_err()).collect(),
        }
    }
}

/// Plans a run. `judged`: what was judged under a number of this lane. `known`: what an id stands for,
/// in the whole fleet.
#[must_use]
pub fn plan(
    lane: LaneState,
    sent: &[Sent],
    judged: &impl Fn(i64) -> Option<Judged>,
    known: &impl Fn(Uuid) -> Option<Digest>,
) -> Plan {
    let start = lane.last_n.saturating_add(1);
    let mut plan = Plan { repeats: Vec::new(), fresh: Vec::new(), froze: None, expected: start };
    // What this run has said so far, by number and by id.
    let mut numbers: HashMap<i64, Judged> = HashMap::with_capacity(sent.len());
    let mut ids: HashMap<Uuid, Digest> = HashMap::with_capacity(sent.len());
    for (at, entry) in sent.iter().enumerate() {
        if entry.n < 1 || entry.n > plan.expected {
            break;
        }
        let stands = known(entry.id).or_else(|| ids.get(&entry.id).copied());
        let here = if entry.n > lane.last_n { numbers.get(&entry.n).copied() } else { judged(entry.n) };
        let this = Judged { id: entry.id, digest: entry.digest };
        let reused = match (stands, here) {
            (Some(digest), _) if digest != entry.digest => Some(Reused::Id),
            (_, Some(was)) if was != this => Some(Reused::Number),
            // The number has its verdict, yet nobody knows this entry.
            (None, None) if entry.n <= lane.last_n => Some(Reused::Number),
            _ => None,
        };
        if let Some(reused) = reused {
            plan.froze = Some(Proof { at, reused });
            plan.fresh.clear();
            plan.expected = start;
            break;
        }
        if stands.is_some() {
            plan.repeats.push(at);
        } else {
            plan.fresh.push(at);
        }
        if entry.n == plan.expected {
            plan.expected = plan.expected.saturating_add(1);
        }
        numbers.insert(entry.n, this);
        ids.insert(entry.id, entry.digest);
    }
    plan
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::indexing_slicing, reason = "a test may stop at the first surprise")]

    use super::*;
    use proptest::prelude::*;

    /// A server of one lane, as simple as can be: what was judged, by number and by id.
    #[derive(Debug, Default, Clone)]
    struct Server {
        last_n: i64,
        by_number: HashMap<i64, Judged>,
        by_id: HashMap<Uuid, Digest>,
        frozen: bool,
        /// In the order they were judged.
        effects: Vec<Uuid>,
    }

    impl Server {
        fn plan(&self, sent: &[Sent]) -> Plan {
            let judged = |n| self.by_number.get(&n).copied();
            plan(LaneState { last_n: self.last_n }, sent, &judged, &|id| self.by_id.get(&id).copied())
        }

        fn hand_over(&mut self, sent: &[Sent]) -> Plan {
            let plan = self.plan(sent);
            for at in &plan.fresh {
                let entry = sent[*at];
                let this = Judged { id: entry.id, digest: entry.digest };
                assert!(self.by_number.insert(entry.n, this).is_none(), "a number is judged once");
                assert!(self.by_id.insert(entry.id, entry.digest).is_none(), "an id is judged once");
                self.effects.push(entry.id);
            }
            self.last_n = plan.expected - 1;
            self.frozen |= plan.froze.is_some();
            plan
        }
    }

    fn entry(n: i64, id: u128, says: u8) -> Sent {
        Sent { n, id: Uuid::from_u128(id), digest: [says; 32] }
    }

    fn run(numbers: std::ops::RangeInclusive<i64>) -> Vec<Sent> {
        numbers.map(|n| entry(n, u128::try_from(n).unwrap(), 0)).collect()
    }

    fn seven_judged() -> Server {
        let mut server = Server::default();
        assert_eq!(server.hand_over(&run(1..=7)).expected, 8);
        server
    }

    #[test]
    fn repeats_get_their_verdict_and_the_rest_is_judged() {
        let plan = seven_judged().plan(&run(6..=9));
        assert_eq!(plan, Plan { repeats: vec![0, 1], fresh: vec![2, 3], froze: None, expected: 10 });
    }

    #[test]
    fn a_gap_stops_and_says_what_is_expected() {
        let mut sent = run(8..=9);
        sent.push(entry(11, 11, 0));
        sent.push(entry(10, 10, 0));
        let plan = seven_judged().plan(&sent);
        assert_eq!(plan, Plan { repeats: vec![], fresh: vec![0, 1], froze: None, expected: 10 });
        assert_eq!(seven_judged().plan(&run(9..=12)).expected, 8);
        for odd in [0, -1, i64::MIN, i64::MAX] {
            let plan = seven_judged().plan(&[entry(odd, 1, 0)]);
            assert_eq!(plan, Plan { repeats: vec![], fresh: vec![], froze: None, expected: 8 }, "{odd}");
        }
    }

    #[test]
    fn other_content_under_a_number_or_an_id_freezes_and_nothing_new_is_judged() {
        for (last, reused) in [
            (entry(3, 99, 0), Reused::Number),
            (entry(3, 3, 1), Reused::Id),
            (entry(9, 3, 1), Reused::Id),
            (entry(8, 99, 0), Reused::Number),
            (entry(9, 8, 1), Reused::Id),
        ] {
            let sent = [entry(7, 7, 0), entry(8, 8, 0), last, entry(9, 9, 0)];
            let plan = seven_judged().plan(&sent);
            let froze = Some(Proof { at: 2, reused });
            assert_eq!(plan, Plan { repeats: vec![0], fresh: vec![], froze, expected: 8 }, "{last:?}");
            assert_eq!(plan.set_aside(sent.len()), [1, 2, 3]);
        }
    }

    #[test]
    fn what_was_judged_in_the_lane_before_moves_a_new_lane_on() {
        let mut server = seven_judged();
        (server.last_n, server.by_number) = (0, HashMap::new());
        let sent = [entry(1, 6, 0), entry(2, 7, 0), entry(3, 20, 0)];
        let plan = server.hand_over(&sent);
        assert_eq!(plan, Plan { repeats: vec![0, 1], fresh: vec![2], froze: None, expected: 4 });
        let again = server.plan(&sent);
        assert_eq!(again, Plan { repeats: vec![0, 1, 2], fresh: vec![], froze: None, expected: 4 });
    }

    #[test]
    fn the_same_entry_twice_in_one_run_is_judged_once() {
        let plan = seven_judged().plan(&[entry(8, 8, 0), entry(8, 8, 0), entry(9, 8, 0), entry(10, 10, 0)]);
        assert_eq!(plan, Plan { repeats: vec![1, 2], fresh: vec![0, 3], froze: None, expected: 11 });
    }

    fn anything() -> impl Strategy<Value = Sent> {
        (-1_i64..12, 1_u128..12, 0_u8..2).prop_map(|(n, id, says)| entry(n, id, says))
    }

    /// A phone's own run: dense numbers, each with an id of its own.
    fn honest() -> impl Strategy<Value = Vec<Sent>> {
        (1_i64..12, 0_i64..12).prop_map(|(first, count)| run(first..=first + count))
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(4096))]

        #[test]
        fn one_phone_alone_is_never_frozen_and_each_entry_has_its_effect_once_in_order(
            runs in proptest::collection::vec(honest(), 0..12)
        ) {
            let mut server = Server::default();
            for sent in &runs {
                let before = server.last_n;
                let plan = server.hand_over(sent);
                prop_assert_eq!(plan.froze, None);
                for at in &plan.repeats {
                    prop_assert!(sent[*at].n <= before);
                }
                let answered = plan.repeats.len() + plan.fresh.len();
                prop_assert!(answered == sent.len() || sent[answered].n > before + 1, "only a gap stops");
            }
            let dense: Vec<Uuid> = run(1..=server.last_n).iter().map(|entry| entry.id).collect();
            prop_assert_eq!(server.effects, dense);
        }

        #[test]
        fn whatever_is_sent_no_id_stands_for_two_things_and_a_frozen_run_changes_nothing(
            runs in proptest::collection::vec(proptest::collection::vec(anything(), 0..8), 0..8)
        ) {
            let mut server = Server::default();
            for sent in &runs {
                let before = server.clone();
                // `hand_over` asserts that neither a number nor an id is judged twice.
                let plan = server.hand_over(sent);
                if let Some(proof) = plan.froze {
                    prop_assert_eq!(&server.by_id, &before.by_id);
                    prop_assert_eq!(server.last_n, before.last_n);
                    let aside = plan.set_aside(sent.len());
                    prop_assert!(aside.contains(&proof.at));
                    prop_assert_eq!(aside.len() + plan.repeats.len(), sent.len(), "nothing is lost");
                } else {
                    for at in plan.repeats.iter().chain(&plan.fresh) {
                        prop_assert_eq!(server.by_id.get(&sent[*at].id), Some(&sent[*at].digest));
                    }
                    prop_assert!(server.last_n >= before.last_n);
                }
            }
        }

        #[test]
        fn a_repeated_run_gives_the_same_again_and_judges_nothing(
            runs in proptest::collection::vec(proptest::collection::vec(anything(), 0..8), 1..6)
        ) {
            let mut server = Server::default();
            for sent in &runs {
                let first = server.hand_over(sent);
                let again = server.plan(sent);
                prop_assert_eq!(first.froze, again.froze);
                prop_assert_eq!(first.expected, again.expected);
                if first.froze.is_none() {
                    prop_assert!(again.fresh.is_empty());
                    let mut answered = [first.repeats, first.fresh].concat();
                    answered.sort_unstable();
                    prop_assert_eq!(again.repeats, answered);
                }
            }
        }
    }
}
