//! Worksheets of the `stats` room. Reads inputs, calls one function, writes its result; no formula here.

mod bottle;
mod drops;
mod film;
mod pads;
mod test_spot;

use super::Worksheet;

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[
    Worksheet {
        method: "age_replacement",
        sentence: "The age at which a pad is cheapest to swap, planned swap against failure on the job.",
        run: pads::age_replacement,
    },
    Worksheet {
        method: "bottle_filter",
        sentence: "How much is left in a bottle and how large its drops are, after counts and weigh-ins.",
        run: bottle::bottle_filter,
    },
    Worksheet {
        method: "conditional_life",
        sentence: "What is left of a pad that has reached an age.",
        run: pads::conditional_life,
    },
    Worksheet {
        method: "drop_conventions",
        sentence: "Drops to millilitres and back, and whether a drop is plausible for its tip.",
        run: drops::drop_conventions,
    },
    Worksheet {
        method: "film_thickness",
        sentence: "Paint thickness between micrometres and mils, and the build of its layers.",
        run: film::film_thickness,
    },
    Worksheet {
        method: "kaplan_meier",
        sentence: "How many pads survive each age, without assuming a distribution.",
        run: pads::kaplan_meier_curve,
    },
    Worksheet {
        method: "pooled_drop_size",
        sentence: "What drop size to expect of a new bottle, pooled over the bottles already weighed.",
        run: drops::pooled_drop_size,
    },
    Worksheet {
        method: "test_spot_projection",
        sentence: "Minutes and material for the whole car from a few test sections, with an interval.",
        run: test_spot::test_spot_projection,
    },
    Worksheet {
        method: "weibull_few_failures",
        sentence: "Pad life while few pads have failed, with the shape kept from experience.",
        run: pads::weibull_few_failures,
    },
    Worksheet {
        method: "weibull_fit",
        sentence: "Pad life by maximum likelihood, pads still in service counted as such.",
        run: pads::weibull_fit,
    },
];
