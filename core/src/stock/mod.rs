//! What to order, move and keep: order quantities, reorder points, forecasts, baskets, transfers.
//! Never knows an order's status or who supplies it.
