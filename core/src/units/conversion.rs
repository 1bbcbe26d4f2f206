//! Units of volume, mass, length and area, and the exact factors between them.

use crate::CoreError;
use crate::ratio::Ratio;
use rust_decimal::Decimal;

/// What a unit measures. Only units of one dimension convert into each other.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Dimension {
    /// Volume.
    Volume,
    /// Mass.
    Mass,
    /// Length.
    Length,
    /// Area.
    Area,
}

macro_rules! units {
    ($($dimension:ident { $($unit:ident $code:literal $doc:literal $steps:literal),* $(,)? })*) => {
        /// A unit that quantities may arrive or be shown in.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Unit {
            $($(#[doc = $doc] $unit,)*)*
        }

        impl Unit {
            /// Every unit.
            pub const ALL: &'static [Self] = &[$($(Self::$unit,)*)*];

            /// The word for this unit in JSON.
            #[must_use]
            pub const fn code(self) -> &'static str {
                match self { $($(Self::$unit => $code,)*)* }
            }

            /// What this unit measures.
            #[must_use]
            pub const fn dimension(self) -> Dimension {
                match self { $($(Self::$unit => Dimension::$dimension,)*)* }
            }

            /// This unit as a whole number of the dimension's smallest step.
            const fn steps(self) -> u64 {
                match self { $($(Self::$unit => $steps,)*)* }
            }
        }
    };
}

units! {
    Volume { // in steps of 1e-10 ml
        Millilitre "ml" "Millilitre." 10_000_000_000,
        Litre "l" "Litre." 10_000_000_000_000,
        UsGallon "us_gal" "US gallon: 231 cubic inches." 37_854_117_840_000,
        UsQuart "us_qt" "US liquid quart: a quarter of a US gallon." 9_463_529_460_000,
        UsPint "us_pt" "US liquid pint: an eighth of a US gallon." 4_731_764_730_000,
        UsFluidOunce "us_fl_oz" "US fluid ounce: 1/128 of a US gallon." 295_735_295_625,
        ImperialGallon "imp_gal" "Imperial gallon: 4.54609 l." 45_460_900_000_000,
        ImperialFluidOunce "imp_fl_oz" "Imperial fluid ounce: 1/160 of an imperial gallon." 284_130_625_000,
    }
    Mass { // in steps of 1e-9 g
        Gram "g" "Gram." 1_000_000_000,
        Kilogram "kg" "Kilogram." 1_000_000_000_000,
        Pound "lb_av" "Avoirdupois pound: 453.59237 g." 453_592_370_000,
        Ounce "oz_av" "Avoirdupois ounce: 1/16 of a pound." 28_349_523_125,
    }
    Length { // in steps of 0.1 µm
        Metre "m" "Metre." 10_000_000,
        Kilometre "km" "Kilometre." 10_000_000_000,
        Mile "mile" "International mile: 1.609344 km." 16_093_440_000,
        Foot "ft" "International foot: 12 inches." 3_048_000,
        Inch "inch" "International inch: 25.4 mm." 254_000,
        Mil "mil" "A thousandth of an inch, the usual unit of paint thickness in the US." 254,
        Millimetre "mm" "Millimetre." 10_000,
        Micrometre "um" "Micrometre." 10,
    }
    Area { // in steps of 1e-8 m²
        SquareMetre "m2" "Square metre." 100_000_000,
        SquareFoot "ft2" "Square foot: 0.09290304 m²." 9_290_304,
        SquareInch "in2" "Square inch: 645.16 mm²." 64_516,
    }
}

impl Unit {
    /// The unit of that code.
    ///
    /// # Errors
    /// [`CoreError::Invalid`] when no unit has that code.
    pub fn from_code(code: &str) -> Result<Self, CoreError> {
        let known = Self::ALL.iter().copied().find(|unit| unit.code() == code);
        known
            .ok_or(CoreError::Invalid { what: "unit", rule: "must be one of the codes this worksheet lists" })
    }
}

/// The same quantity in another unit of its dimension.
///
/// # Formula
/// ```text
/// y = x f(from) / f(to)      x, y the numbers of units, f the exact size of a unit
/// ```
/// Worked as one fraction and rounded once, to the nearest decimal of 28 digits.
///
/// # Source
/// Exact definitions of the inch, pound and gallon: NIST Handbook 44, appendix C (check values: `units`).
///
/// # Errors
/// [`CoreError::Invalid`] when the units measure different things; [`CoreError::OutOfRange`] when the
/// number does not fit a decimal.
///
/// # Example
/// ```
/// use dropwise_core::{Decimal, units::conversion::{Unit, convert}};
/// let ounces = convert(Decimal::ONE, Unit::UsGallon, Unit::UsFluidOunce)?;
/// assert_eq!(ounces, Decimal::from(128));
/// # Ok::<(), dropwise_core::CoreError>(())
/// ```
pub fn convert(value: Decimal, from: Unit, to: Unit) -> Result<Decimal, CoreError> {
    if from.dimension() != to.dimension() {
        return Err(CoreError::Invalid { what: "to_unit", rule: "must measure the same thing as from_unit" });
    }
    let in_steps = &Ratio::from(value) * &Ratio::from(from.steps());
    in_steps.over(&Ratio::from(to.steps()), "to_unit")?.decimal("the converted value")
}
