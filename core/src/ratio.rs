//! Fractions between decimals: a formula is worked exactly and rounded once, when it leaves as a decimal.
//!
//! Products and quotients of decimals seldom fit 28 digits, and rounding between the steps is how
//! shares stop adding up. Nothing here is public: the rooms take and return [`Decimal`].

use crate::CoreError;
use num_bigint::BigInt;
use num_rational::BigRational;
use num_traits::{One as _, Pow as _, Signed as _, ToPrimitive as _, Zero as _};
use rust_decimal::Decimal;
use std::iter::Sum;
use std::ops::{Add, Mul, Neg, Sub};

/// The most decimal places a [`Decimal`] carries.
const MAX_PLACES: i32 = 28;

/// What happens to a value that lies exactly between two neighbours, or between them at all.
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

/// An exact fraction. Division is [`Ratio::over`], so that nothing here can divide by zero.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Ratio(BigRational);

impl Ratio {
    pub(crate) fn zero() -> Self {
        Self(BigRational::zero())
    }

    pub(crate) fn one() -> Self {
        Self(BigRational::one())
    }

    pub(crate) fn is_zero(&self) -> bool {
        self.0.is_zero()
    }

    pub(crate) fn is_positive(&self) -> bool {
        self.0.is_positive()
    }

    /// A count of steps of `10^-places`.
    pub(crate) fn from_steps(steps: &BigInt, places: i32) -> Self {
        Self(BigRational::from_integer(steps.clone()) * power_of_ten(places.saturating_neg()))
    }

    /// `self / divisor`; a zero divisor is refused under the divisor's name.
    pub(crate) fn over(&self, divisor: &Self, divisor_name: &'static str) -> Result<Self, CoreError> {
        if divisor.is_zero() {
            return Err(CoreError::Invalid { what: divisor_name, rule: "must not be zero" });
        }
        Ok(Self(&self.0 / &divisor.0))
    }

    /// How many steps of `10^-places`, counted in the direction given.
    pub(crate) fn steps(&self, places: i32, toward: Toward) -> BigInt {
        let scaled = &self.0 * power_of_ten(places);
        match toward {
            Toward::Floor => scaled.floor().to_integer(),
            Toward::Ceiling => scaled.ceil().to_integer(),
            Toward::HalfUp => scaled.round().to_integer(),
            Toward::HalfEven => {
                let (floor, half) = (scaled.floor().to_integer(), BigRational::new(1.into(), 2.into()));
                let tie = scaled.fract().abs() == half;
                match (tie, floor.bit(0)) {
                    (true, true) => floor + 1,
                    (true, false) => floor,
                    (false, _) => scaled.round().to_integer(),
                }
            }
        }
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
        // A terminating fraction ends soon; only the others need every digit there is.
        let whole = self.0.to_integer().abs().to_string().len();
        let first =
            MAX_PLACES.saturating_sub(i32::try_from(whole).unwrap_or(i32::MAX).saturating_sub(1)).max(0);
        [first, first.saturating_sub(1).max(0)]
            .into_iter()
            .find_map(|places| self.rounded(places, Toward::HalfEven, what).ok())
            .map(|value| value.normalize())
            .ok_or(CoreError::OutOfRange { what })
    }
}

/// A count of steps of `10^-places` as a decimal.
pub(crate) fn from_steps(steps: &BigInt, places: i32, what: &'static str) -> Result<Decimal, CoreError> {
    let too_large = CoreError::OutOfRange { what };
    let (mantissa, scale) = match u32::try_from(places) {
        Ok(scale) => (steps.clone(), scale),
        Err(_) => (steps * power_of_ten(places.saturating_neg()).to_integer(), 0),
    };
    let mantissa = mantissa.to_i128().ok_or(too_large.clone())?;
    Decimal::try_from_i128_with_scale(mantissa, scale).map_err(|_| too_large)
}

fn power_of_ten(places: i32) -> BigRational {
    BigRational::from_integer(BigInt::from(10)).pow(places)
}

impl From<Decimal> for Ratio {
    fn from(value: Decimal) -> Self {
        let denominator = BigInt::from(10).pow(value.scale());
        Self(BigRational::new(value.mantissa().into(), denominator))
    }
}

impl From<u64> for Ratio {
    fn from(value: u64) -> Self {
        Self(BigRational::from_integer(value.into()))
    }
}

impl Neg for Ratio {
    type Output = Self;

    fn neg(self) -> Self {
        Self(-self.0)
    }
}

impl Sum for Ratio {
    fn sum<I: Iterator<Item = Self>>(terms: I) -> Self {
        terms.fold(Self::zero(), |total, term| total + term)
    }
}

macro_rules! operators {
    ($($name:ident $method:ident),*) => {$(
        impl $name for Ratio {
            type Output = Ratio;
            fn $method(self, other: Ratio) -> Ratio {
                Ratio($name::$method(self.0, other.0))
            }
        }
        impl $name<&Ratio> for &Ratio {
            type Output = Ratio;
            fn $method(self, other: &Ratio) -> Ratio {
                Ratio($name::$method(&self.0, &other.0))
            }
        }
    )*};
}
operators!(Add add, Sub sub, Mul mul);
