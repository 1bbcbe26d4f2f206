//! Worksheets of the `stock` room. Reads inputs, calls one function, writes its result; no formula here.

use super::Worksheet;

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[];
