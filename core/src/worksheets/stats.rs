//! Worksheets of the `stats` room. Reads inputs, calls one function, writes its result; no formula here.

mod bottle;
mod drops;
mod film;

use super::Worksheet;

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[
    Worksheet {
        method: "bottle_filter",
        sentence: "How much is left in a bottle and how large its drops are, after counts and weigh-ins.",
        run: bottle::bottle_filter,
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
        method: "pooled_drop_size",
        sentence: "What drop size to expect of a new bottle, pooled over the bottles already weighed.",
        run: drops::pooled_drop_size,
    },
];
