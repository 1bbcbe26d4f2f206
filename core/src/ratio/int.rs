//! Whole numbers of any size: a machine word while it lasts, a big integer beyond.
//!
//! Nearly every figure of a fleet fits 128 bits; the few that do not are still exact.

use num_bigint::BigInt;
use num_traits::{Signed as _, ToPrimitive as _};
use std::cmp::Ordering;
use std::ops::{Add, Mul, Neg, Sub};

/// `Big` holds only what `Small` cannot, so that equal numbers are equal values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Int {
    Small(i128),
    Big(BigInt),
}

impl Int {
    pub(crate) const ZERO: Self = Self::Small(0);
    pub(crate) const ONE: Self = Self::Small(1);

    /// Ten to that power.
    pub(crate) fn power_of_ten(exponent: u32) -> Self {
        10_i128
            .checked_pow(exponent)
            .map_or_else(|| Self::from_big(BigInt::from(10).pow(exponent)), Self::Small)
    }

    pub(crate) fn is_zero(&self) -> bool {
        *self == Self::ZERO
    }

    pub(crate) fn is_positive(&self) -> bool {
        match self {
            Self::Small(value) => *value > 0,
            Self::Big(value) => value.is_positive(),
        }
    }

    pub(crate) fn is_negative(&self) -> bool {
        !self.is_zero() && !self.is_positive()
    }

    pub(crate) fn is_odd(&self) -> bool {
        match self {
            Self::Small(value) => value & 1 == 1,
            Self::Big(value) => value.bit(0),
        }
    }

    /// The number as a machine word, if it is one.
    pub(crate) const fn small(&self) -> Option<i128> {
        match self {
            Self::Small(value) => Some(*value),
            Self::Big(_) => None,
        }
    }

    /// Quotient toward minus infinity and the remainder above it; a divisor that is not above zero gives
    /// zero and the number itself.
    pub(crate) fn div_rem_floor(&self, divisor: &Self) -> (Self, Self) {
        if let (Self::Small(a), Self::Small(b)) = (self, divisor)
            && let (Some(quotient), Some(remainder)) = (a.checked_div_euclid(*b), a.checked_rem_euclid(*b))
        {
            // For a divisor above zero the Euclidean quotient is the floor.
            return (Self::Small(quotient), Self::Small(remainder));
        }
        let (a, b) = (self.to_big(), divisor.to_big());
        let toward_zero = Self::from_big(a.checked_div(&b).unwrap_or_default());
        let remainder = self - &(&toward_zero * divisor);
        if remainder.is_negative() {
            (&toward_zero - &Self::ONE, &remainder + divisor)
        } else {
            (toward_zero, remainder)
        }
    }

    fn to_big(&self) -> BigInt {
        match self {
            Self::Small(value) => BigInt::from(*value),
            Self::Big(value) => value.clone(),
        }
    }

    fn from_big(value: BigInt) -> Self {
        value.to_i128().map_or(Self::Big(value), Self::Small)
    }
}

impl Ord for Int {
    fn cmp(&self, other: &Self) -> Ordering {
        match (self, other) {
            (Self::Small(a), Self::Small(b)) => a.cmp(b),
            (Self::Small(_) | Self::Big(_), _) => self.to_big().cmp(&other.to_big()),
        }
    }
}

impl PartialOrd for Int {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Neg for Int {
    type Output = Self;

    fn neg(self) -> Self {
        &Self::ZERO - &self
    }
}

macro_rules! operators {
    ($($name:ident $method:ident $checked:ident),*) => {$(
        impl $name<&Int> for &Int {
            type Output = Int;
            fn $method(self, other: &Int) -> Int {
                if let (Int::Small(a), Int::Small(b)) = (self, other)
                    && let Some(result) = a.$checked(*b)
                {
                    return Int::Small(result);
                }
                Int::from_big($name::$method(self.to_big(), other.to_big()))
            }
        }
    )*};
}
operators!(Add add checked_add, Sub sub checked_sub, Mul mul checked_mul);

#[cfg(test)]
mod tests {
    use super::Int;
    use num_bigint::BigInt;
    use proptest::prelude::*;

    fn int() -> impl Strategy<Value = Int> {
        let word = prop_oneof![any::<i128>(), -1_000_i128..1_000, Just(i128::MAX), Just(i128::MIN)];
        (word.clone(), word, any::<bool>()).prop_map(|(a, b, wide)| {
            let product = BigInt::from(a) * if wide { BigInt::from(b) } else { BigInt::from(1) };
            Int::from_big(product)
        })
    }

    proptest! {
        #[test]
        fn words_and_big_integers_agree(a in int(), b in int()) {
            let (x, y) = (a.to_big(), b.to_big());
            prop_assert_eq!(&a + &b, Int::from_big(&x + &y));
            prop_assert_eq!(&a - &b, Int::from_big(&x - &y));
            prop_assert_eq!(&a * &b, Int::from_big(&x * &y));
            prop_assert_eq!(a.cmp(&b), x.cmp(&y));
            prop_assert_eq!(a.is_negative(), x < BigInt::from(0));
            prop_assert_eq!(a.is_odd(), x.bit(0));
        }

        #[test]
        fn a_floored_quotient_leaves_a_remainder_below_the_divisor(a in int(), b in int()) {
            let b = if b.is_positive() { b } else { &Int::ONE - &b };
            let (quotient, remainder) = a.div_rem_floor(&b);
            prop_assert!(!remainder.is_negative() && remainder < b);
            prop_assert_eq!(&(&quotient * &b) + &remainder, a);
        }
    }
}
