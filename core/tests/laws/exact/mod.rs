//! Laws of the exact room: parts add up, stock conserves quantity and value, nothing panics.

mod ends_of_range;
mod months;
mod pay_and_price;
mod sharing;
mod stock;

use dropwise_core::Decimal;
use proptest::prelude::*;

/// An amount in whole cents, up to ten million either way.
fn cents() -> impl Strategy<Value = Decimal> {
    (-1_000_000_000_i64..=1_000_000_000).prop_map(|cents| Decimal::new(cents, 2))
}

/// Not negative, with up to `scale` decimals.
fn plain(max: i64, scale: u32) -> impl Strategy<Value = Decimal> {
    (0..=max, 0..=scale).prop_map(|(digits, scale)| Decimal::new(digits, scale))
}

/// Above zero, with up to `scale` decimals.
fn above_zero(max: i64, scale: u32) -> impl Strategy<Value = Decimal> {
    (1..=max, 0..=scale).prop_map(|(digits, scale)| Decimal::new(digits, scale))
}

/// Any decimal there is, with the ends of the range and the values around zero made likely.
fn any_decimal() -> impl Strategy<Value = Decimal> {
    let widest = Decimal::MAX.mantissa();
    let mantissa = prop_oneof![
        3 => -widest..=widest,
        2 => -1_000_000_i128..=1_000_000,
        1 => Just(widest),
        1 => Just(-widest),
        1 => Just(0),
        1 => Just(1),
    ];
    (mantissa, prop_oneof![Just(0_u32), Just(28), 0..=28_u32])
        .prop_map(|(mantissa, scale)| Decimal::from_i128_with_scale(mantissa, scale))
}

/// Whether two figures are the same but for the last of 28 digits.
fn near(a: Decimal, b: Decimal) -> bool {
    (a - b).abs() <= a.abs().max(Decimal::ONE) * Decimal::new(1, 15)
}
