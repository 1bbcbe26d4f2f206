//! Worksheets of the `stock` room. Reads inputs, calls one function, writes its result; no formula here.

mod answer;
mod normal_loss;
mod run_out_date;

use super::Worksheet;

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[normal_loss::SHEET, run_out_date::SHEET];
