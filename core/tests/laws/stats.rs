//! Laws of the stats room: estimators find what was simulated, stay within what is possible, and
//! never panic.

mod bottle;
mod chance;
mod drops;
mod pads;
mod spot;

use proptest::prelude::*;
use proptest::sample::select;

/// Any `f64` there is, the extremes more often than chance would have them.
pub(crate) fn any_number() -> impl Strategy<Value = f64> + Clone {
    prop_oneof![
        proptest::num::f64::ANY,
        -10.0_f64..10.0,
        0.0_f64..1000.0,
        select(vec![
            0.0,
            -0.0,
            1.0,
            f64::MIN_POSITIVE,
            f64::MAX,
            f64::MIN,
            f64::INFINITY,
            f64::NAN,
            1e-300,
            1e300,
            1e-9,
            1.0 - 1e-16,
        ]),
    ]
}

/// Lives as pads have them, ties included.
fn lives(most: usize) -> impl Strategy<Value = Vec<f64>> {
    proptest::collection::vec((1_u32..400).prop_map(|quarters| f64::from(quarters) / 4.0), 0..most)
}
