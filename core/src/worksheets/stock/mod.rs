//! Worksheets of the `stock` room. Reads inputs, calls one function, writes its result; no formula here.

mod answer;
mod demand_classification;
mod depot_van_transfer;
mod discrete_lead_time_demand_quantiles;
mod economic_order_quantity;
mod fill_rate_reorder_point;
mod forecast_choice;
mod forecast_error_measures;
mod holt_linear_trend;
mod intermittent_demand_forecast;
mod lead_time_demand_safety_stock;
mod newsvendor;
mod normal_service_factor_and_loss;
mod pack_size_eoq;
mod quantity_discounts;
mod reorder_policies;
mod run_out_date;
mod simple_exponential_smoothing;
mod supplier_basket;

use super::Worksheet;

/// Every worksheet of this room, in name order.
pub(super) const ALL: &[Worksheet] = &[
    demand_classification::SHEET,
    depot_van_transfer::SHEET,
    discrete_lead_time_demand_quantiles::SHEET,
    economic_order_quantity::SHEET,
    fill_rate_reorder_point::SHEET,
    forecast_choice::SHEET,
    forecast_error_measures::SHEET,
    holt_linear_trend::SHEET,
    intermittent_demand_forecast::SHEET,
    lead_time_demand_safety_stock::SHEET,
    newsvendor::SHEET,
    normal_service_factor_and_loss::SHEET,
    pack_size_eoq::SHEET,
    quantity_discounts::SHEET,
    reorder_policies::SHEET,
    run_out_date::SHEET,
    simple_exponential_smoothing::SHEET,
    supplier_basket::SHEET,
];
