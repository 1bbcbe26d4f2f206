//! Fractions between decimals: a formula is worked exactly and rounded once, when it leaves as a decimal.
//!
//! Products and quotients of decimals seldom fit 28 digits, and rounding between the steps is how
//! shares stop adding up. Nothing here is public: the rooms take and return [`Decimal`].

mod int;

pub(crate) use int::Int;

use crate::CoreError;
use rust_decimal::Decimal;
use std::cmp::Ordering;
use std::iter::Sum;
use std::ops::{Add, Mul, Neg, Sub};

/// The most decimal places a [`Decimal`] carries.
const MAX_PLACES: u32 = 28;

/// Where a value goes that lies between two neighbours.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Toward {
    /// The nearer neighbour; halves away from zero.
    HalfUp,
    /// The nearer neighbour; halves to the even one.
    HalfEven,
    /// The neighbour below, toward minus infinity.
    Floor,
    /// The neighbour above, toward plus infinity.
    Ceiling,
}

/// An exact fraction `numerator / (divisor 10^places)`. Division is [`Ratio::over`], so that nothing here
/// can divide by zero.
///
/// Decimals keep a divisor of one, and terms divided by the same number keep that: sums then need no
/// common denominator to be found, and no fraction is ever reduced.
#[derive(Debug, Clone)]
pub(crate) struct Ratio {
    numerator: Int,
    places: u32,
    /// Above zero.
    divisor: Int,
}

impl Ratio {
    pub(crate) fn zero() -> Self {
        Self::whole(Int::ZERO)
    }

    pub(crate) fn one() -> Self {
        Self::whole(Int::ONE)
    }

    /// A count of steps of `10^-places`.
    pub(crate) fn from_steps(steps: &Int, places: i32) -> Self {
        match u32::try_from(places) {
            Ok(places) => Self { numerator: steps.clone(), places, divisor: Int::ONE },
            Err(_) => Self::whole(steps * &Int::power_of_ten(places.unsigned_abs())),
        }
    }

    const fn whole(numerator: Int) -> Self {
        Self { numerator, places: 0, divisor: Int::ONE }
    }

    pub(crate) fn is_zero(&self) -> bool {
        self.numerator.is_zero()
    }

    pub(crate) fn is_positive(&self) -> bool {
        self.numerator.is_positive()
    }

    /// `self / divisor`; a zero divisor is refused under the divisor's name.
    pub(crate) fn over(&self, divisor: &Self, divisor_name: &'static str) -> Result<Self, CoreError> {
        if divisor.is_zero() {
            return Err(CoreError::Invalid { what: divisor_name, rule: "must not be zero" });
        }
        let (numerator, by) = (&self.numerator * &divisor.divisor, &self.divisor * &divisor.numerator);
        let (numerator, by) = if by.is_negative() { (-numerator, -by) } else { (numerator, by) };
        let lifted = divisor.places.saturating_sub(self.places);
        Ok(Self {
            numerator: &numerator * &Int::power_of_ten(lifted),
            places: self.places.saturating_sub(divisor.places),
            divisor: by,
        })
    }

    /// How many steps of `10^-places`, counted in the direction given.
    pub(crate) fn steps(&self, places: i32, toward: Toward) -> Int {
        let shift = i64::from(places).saturating_sub(i64::from(self.places));
        let power = Int::power_of_ten(u32::try_from(shift.unsigned_abs()).unwrap_or(u32::MAX));
        let (below, rest, whole) = if shift >= 0 {
            let (below, rest) = (&self.numerator * &power).div_rem_floor(&self.divisor);
            (below, rest, self.divisor.clone())
        } else {
            let whole = &self.divisor * &power;
            let (below, rest) = self.numerator.div_rem_floor(&whole);
            (below, rest, whole)
        };
        let up = match toward {
            Toward::Floor => false,
            Toward::Ceiling => rest.is_positive(),
            Toward::HalfUp | Toward::HalfEven => match (&rest + &rest).cmp(&whole) {
                Ordering::Less => false,
                Ordering::Greater => true,
                // The step above lies away from zero exactly when the one below is not negative.
                Ordering::Equal if toward == Toward::HalfUp => !below.is_negative(),
                Ordering::Equal => below.is_odd(),
            },
        };
        if up { &below + &Int::ONE } else { below }
    }

    /// Rounded to `places` decimals (negative: tens, hundreds, …) and padded to them.
    pub(crate) fn rounded(
        &self,
        places: i32,
        toward: Toward,
        what: &'static str,
    ) -> Result<Decimal, CoreError> {
        from_steps(&self.steps(places, toward), places, what)
    }

    /// The nearest decimal of at most 28 digits, without trailing zeros.
    pub(crate) fn decimal(&self, what: &'static str) -> Result<Decimal, CoreError> {
        if self.divisor == Int::ONE
            && let Some(mantissa) = self.numerator.small()
            && let Ok(value) = Decimal::try_from_i128_with_scale(mantissa, self.places)
        {
            return Ok(value.normalize());
        }
        let whole = self.steps(0, Toward::Floor).small().ok_or(CoreError::OutOfRange { what })?;
        let digits = whole.unsigned_abs().checked_ilog10().unwrap_or_default();
        let most = MAX_PLACES.saturating_sub(digits);
        // With its leading digits the mantissa may need one place less, or when rounding up one more.
        [most, most.saturating_sub(1), most.saturating_sub(2)]
            .into_iter()
            .filter_map(|places| i32::try_from(places).ok())
            .find_map(|places| self.rounded(places, Toward::HalfEven, what).ok())
            .map(|value| value.normalize())
            .ok_or(CoreError::OutOfRange { what })
    }

    /// Both numerators over a common denominator.
    fn aligned(&self, other: &Self) -> (Int, Int, u32, Int) {
        let places = self.places.max(other.places);
        let lift = |ratio: &Self| {
            let missing = places.saturating_sub(ratio.places);
            if missing == 0 {
                ratio.numerator.clone()
            } else {
                &ratio.numerator * &Int::power_of_ten(missing)
            }
        };
        let (a, b) = (lift(self), lift(other));
        if self.divisor == other.divisor {
            return (a, b, places, self.divisor.clone());
        }
        (&a * &other.divisor, &b * &self.divisor, places, &self.divisor * &other.divisor)
    }
}

/// A count of steps of `10^-places` as a decimal.
pub(crate) fn from_steps(steps: &Int, places: i32, what: &'static str) -> Result<Decimal, CoreError> {
    let (mantissa, scale) = match u32::try_from(places) {
        Ok(scale) => (steps.small(), scale),
        Err(_) => ((steps * &Int::power_of_ten(places.unsigned_abs())).small(), 0),
    };
    let value = mantissa.and_then(|mantissa| Decimal::try_from_i128_with_scale(mantissa, scale).ok());
    value.ok_or(CoreError::OutOfRange { what })
}

impl From<Decimal> for Ratio {
    fn from(value: Decimal) -> Self {
        Self { numerator: Int::Small(value.mantissa()), places: value.scale(), divisor: Int::ONE }
    }
}

impl From<u64> for Ratio {
    fn from(value: u64) -> Self {
        Self::whole(Int::Small(value.into()))
    }
}

impl Ord for Ratio {
    fn cmp(&self, other: &Self) -> Ordering {
        let (a, b, _, _) = self.aligned(other);
        a.cmp(&b)
    }
}

impl PartialOrd for Ratio {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}

impl Eq for Ratio {}

impl PartialEq for Ratio {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}

impl Neg for Ratio {
    type Output = Self;

    fn neg(self) -> Self {
        Self { numerator: -self.numerator, ..self }
    }
}

impl Sum for Ratio {
    fn sum<I: Iterator<Item = Self>>(terms: I) -> Self {
        terms.fold(Self::zero(), |total, term| total + term)
    }
}

impl Add<&Ratio> for &Ratio {
    type Output = Ratio;

    fn add(self, other: &Ratio) -> Ratio {
        let (a, b, places, divisor) = self.aligned(other);
        Ratio { numerator: &a + &b, places, divisor }
    }
}

impl Sub<&Ratio> for &Ratio {
    type Output = Ratio;

    fn sub(self, other: &Ratio) -> Ratio {
        let (a, b, places, divisor) = self.aligned(other);
        Ratio { numerator: &a - &b, places, divisor }
    }
}

impl Mul<&Ratio> for &Ratio {
    type Output = Ratio;

    fn mul(self, other: &Ratio) -> Ratio {
        Ratio {
            numerator: &self.numerator * &other.numerator,
            places: self.places.saturating_add(other.places),
            divisor: &self.divisor * &other.divisor,
        }
    }
}

macro_rules! by_value {
    ($($name:ident $method:ident),*) => {$(
        impl $name for Ratio {
            type Output = Ratio;
            fn $method(self, other: Ratio) -> Ratio {
                $name::$method(&self, &other)
            }
        }
    )*};
}
by_value!(Add add, Sub sub, Mul mul);

#[cfg(test)]
mod tests {
    use super::{Ratio, Toward};
    use proptest::prelude::*;
    use rust_decimal::{Decimal, RoundingStrategy};

    /// Small enough to be padded with ten decimals.
    fn decimal() -> impl Strategy<Value = Decimal> {
        (-100_000_000_000_000_000_i64..=100_000_000_000_000_000, 0..=28_u32)
            .prop_map(|(digits, scale)| Decimal::new(digits, scale))
    }

    proptest! {
        #[test]
        fn rounding_agrees_with_the_decimal_library(value in decimal(), places in 0..=10_u32) {
            let signed = i32::try_from(places).expect("few places");
            for (ours, theirs) in [
                (Toward::HalfUp, RoundingStrategy::MidpointAwayFromZero),
                (Toward::HalfEven, RoundingStrategy::MidpointNearestEven),
                (Toward::Floor, RoundingStrategy::ToNegativeInfinity),
                (Toward::Ceiling, RoundingStrategy::ToPositiveInfinity),
            ] {
                let rounded = Ratio::from(value).rounded(signed, ours, "value").expect("in range");
                prop_assert_eq!(rounded, value.round_dp_with_strategy(places, theirs));
            }
        }

        #[test]
        fn what_is_divided_multiplies_back(a in decimal(), b in decimal(), c in decimal()) {
            prop_assume!(!b.is_zero());
            let (a, b, c) = (Ratio::from(a), Ratio::from(b), Ratio::from(c));
            let quotient = a.over(&b, "b").expect("not zero");
            prop_assert_eq!(&quotient * &b, a.clone());
            prop_assert_eq!(&(&quotient + &c) * &b, &a + &(&c * &b));
            prop_assert_eq!(&(&quotient - &c) - &quotient, -c);
        }

        #[test]
        fn a_decimal_comes_back_as_it_went_in(value in decimal()) {
            prop_assert_eq!(Ratio::from(value).decimal("value").expect("in range"), value);
            let third = Ratio::from(value).over(&Ratio::from(3_u64), "three").expect("not zero");
            let nearest = third.decimal("a third").expect("in range");
            prop_assert!((nearest * Decimal::from(3) - value).abs() <= value.abs() * Decimal::new(1, 20) + Decimal::new(2, 28));
        }
    }
}
