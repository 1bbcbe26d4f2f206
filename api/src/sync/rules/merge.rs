//! Which of two writers of one field wins: the later stamp. The loser's value is kept elsewhere.

use super::stamp::Stamp;

/// What becomes of a value that comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// It is the field's value now; what was there before has lost.
    Won,
    /// The field already has a later value.
    Lost,
}

/// Whether a value with the stamp `incoming` replaces one with the stamp `current`.
///
/// The same stamp again is the same writing again, and changes nothing.
#[must_use]
pub fn decide(current: Option<Stamp>, incoming: Stamp) -> Outcome {
    match current {
        Some(current) if current >= incoming => Outcome::Lost,
        _ => Outcome::Won,
    }
}

/// A value and when it was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Written<V> {
    /// When.
    pub stamp: Stamp,
    /// What; nothing when the field was emptied.
    pub value: Option<V>,
}

/// The winner of two. Commutative, associative and idempotent, so every order of arrival ends alike.
#[must_use]
pub fn later<V>(a: Written<V>, b: Written<V>) -> Written<V> {
    match decide(Some(a.stamp), b.stamp) {
        Outcome::Won => b,
        Outcome::Lost => a,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use uuid::Uuid;

    /// Ties of time are common; one writer never makes one stamp twice, so the value follows from it.
    fn written() -> impl Strategy<Value = Written<String>> {
        (0..4_i64, 0..2_u16, 0..3_u128).prop_map(|(ms, counter, lane)| Written {
            stamp: Stamp { ms, counter, lane: Uuid::from_u128(lane) },
            value: (lane != 2).then(|| format!("{ms} {counter} {lane}")),
        })
    }

    #[test]
    fn the_first_value_wins_and_a_repeat_changes_nothing() {
        let stamp = Stamp { ms: 5, counter: 0, lane: Uuid::from_u128(1) };
        assert_eq!(decide(None, stamp), Outcome::Won);
        assert_eq!(decide(Some(stamp), stamp), Outcome::Lost);
        assert_eq!(decide(Some(stamp), Stamp { lane: Uuid::from_u128(2), ..stamp }), Outcome::Won);
        assert_eq!(decide(Some(stamp), Stamp { ms: 4, counter: 9, ..stamp }), Outcome::Lost);
    }

    proptest! {
        #[test]
        fn merging_is_commutative_associative_and_idempotent(a in written(), b in written(), c in written()) {
            let merge = |a: &Written<String>, b: &Written<String>| later(a.clone(), b.clone());
            prop_assert_eq!(merge(&a, &b), merge(&b, &a));
            prop_assert_eq!(merge(&merge(&a, &b), &c), merge(&a, &merge(&b, &c)));
            prop_assert_eq!(merge(&a, &a), a);
        }

        #[test]
        fn six_writings_end_alike_in_every_order(six in prop::collection::vec(written(), 6)) {
            let fold = |order: &[usize]| {
                order.iter().map(|i| six[*i].clone()).reduce(later).expect("six")
            };
            let first = fold(&[0, 1, 2, 3, 4, 5]);
            for order in permutations(6) {
                prop_assert_eq!(&fold(&order), &first);
            }
        }
    }

    fn permutations(n: usize) -> Vec<Vec<usize>> {
        if n == 0 {
            return vec![vec![]];
        }
        let shorter = permutations(n - 1);
        let insert = |order: &Vec<usize>, at: usize| {
            let mut order = order.clone();
            order.insert(at, n - 1);
            order
        };
        shorter.iter().flat_map(|order| (0..n).map(move |at| insert(order, at))).collect()
    }
}
