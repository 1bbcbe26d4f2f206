//! Rounding, sharing and converting.

use super::{any_decimal, cents, plain};
use dropwise_core::Decimal;
use dropwise_core::exact::dilution::Dilution;
use dropwise_core::exact::rounding::{Ties, round};
use dropwise_core::exact::shares::{round_parts, share_out};
use dropwise_core::units::conversion::{Unit, convert};
use dropwise_core::units::currency::Currency;
use proptest::collection::vec;
use proptest::prelude::*;
use proptest::sample::select;

fn weights() -> impl Strategy<Value = Vec<Decimal>> {
    vec(plain(1_000_000, 6), 1..12)
        .prop_filter("something to share by", |weights| weights.iter().any(|weight| !weight.is_zero()))
}

proptest! {
    #[test]
    fn shares_add_up_and_lie_within_a_cent_of_their_quota(total in cents(), weights in weights()) {
        let shares = share_out(total, &weights, 2).unwrap();
        prop_assert_eq!(shares.iter().sum::<Decimal>(), total);
        let all: Decimal = weights.iter().sum();
        for (share, weight) in shares.iter().zip(&weights) {
            // |share − T w / W| < 0.01, without dividing.
            prop_assert!((share * all - total * weight).abs() < Decimal::new(1, 2) * all);
            prop_assert!(!weight.is_zero() || share.is_zero());
        }
    }

    #[test]
    fn a_refund_undoes_a_charge(total in cents(), weights in weights()) {
        let there = share_out(total, &weights, 2).unwrap();
        let back = share_out(-total, &weights, 2).unwrap();
        prop_assert!(there.iter().zip(&back).all(|(a, b)| (a + b).is_zero()));
    }

    #[test]
    fn parts_round_to_their_rounded_sum(parts in vec(any_money(), 0..20)) {
        let (rounded, total) = round_parts(&parts, 2).unwrap();
        prop_assert_eq!(rounded.iter().sum::<Decimal>(), total);
        prop_assert_eq!(total, round(parts.iter().sum(), 2, Ties::HalfUp).unwrap());
        for (part, exact) in rounded.iter().zip(&parts) {
            prop_assert!((part - exact).abs() < Decimal::new(2, 2));
        }
    }

    #[test]
    fn shares_of_any_total_add_up_or_are_refused(
        total in any_decimal(), weights in vec(any_decimal(), 0..6), digits in 0..40_u32,
    ) {
        if let Ok(shares) = share_out(total, &weights, digits) {
            let mut left = total;
            for share in &shares {
                left = left.checked_sub(*share).unwrap();
            }
            prop_assert!(left.is_zero());
        }
    }

    #[test]
    fn a_rounded_value_is_within_half_a_step_and_stays(value in any_money(), places in 0..4_i32) {
        for ties in [Ties::HalfUp, Ties::HalfEven] {
            let rounded = round(value, places, ties).unwrap();
            prop_assert!((rounded - value).abs() * Decimal::from(2 * 10_i64.pow(places.unsigned_abs())) <= Decimal::ONE);
            prop_assert_eq!(round(rounded, places, ties).unwrap(), rounded);
        }
    }

    #[test]
    fn units_convert_there_and_back(value in plain(i64::MAX, 9), from in select(Unit::ALL), to in select(Unit::ALL)) {
        let there = convert(value, from, to);
        prop_assert_eq!(there.is_ok(), from.dimension() == to.dimension());
        if let Ok(there) = there {
            let back = convert(there, to, from).unwrap();
            // One step of the last of 28 decimals, as large as it looks in the unit it came from.
            let last_digit = convert(Decimal::new(1, 27), to, from).unwrap().max(Decimal::new(1, 9));
            prop_assert!((back - value).abs() <= last_digit, "{} {:?} {:?} {}", value, from, to, back);
        }
    }

    #[test]
    fn more_of_one_unit_is_more_of_another(a in plain(1_000_000, 3), b in plain(1_000_000, 3), from in select(Unit::ALL), to in select(Unit::ALL)) {
        if let (Ok(x), Ok(y)) = (convert(a, from, to), convert(b, from, to)) {
            prop_assert!((a <= b) == (x <= y));
        }
    }

    #[test]
    fn a_mix_is_its_product_and_its_water(
        product in super::above_zero(1_000, 2), water in plain(100_000, 2), volume in plain(1_000_000, 2),
    ) {
        let batch = Dilution { product_parts: product, water_parts: water }.batch(volume).unwrap();
        prop_assert!(super::near(batch.concentrate + batch.water, volume));
        prop_assert!(super::near(batch.concentrate * water, batch.water * product));
    }

    #[test]
    fn minor_units_count_back_to_the_amount(amount in cents(), code in select(&["USD", "JPY", "KWD", "CLF"])) {
        let currency = Currency::from_code(code).unwrap();
        let digits = currency.minor_unit_digits();
        let counted = Decimal::new(currency.minor_units(amount).unwrap(), digits);
        prop_assert!((counted - amount).abs() * Decimal::TWO <= Decimal::new(1, digits));
    }
}

/// Money with more digits than a cent, as sums of product and labour come out.
fn any_money() -> impl Strategy<Value = Decimal> {
    (-1_000_000_000_000_i64..=1_000_000_000_000).prop_map(|digits| Decimal::new(digits, 7))
}
