//! What phones do: hand over, read the trail, copy everything or some kinds, listen for the trail to grow, ask for the limits.

mod catch_up;
mod fresh_copy;
pub mod gate;
mod handover;
pub mod lanes;
mod limits;
mod row;
mod signal;
mod strict_json;
mod trail;
mod written;

use utoipa_actix_web::service_config::ServiceConfig;

/// The routes of phones, in the order of the document.
pub(super) fn routes(to: &mut ServiceConfig<'_>) {
    to.service(handover::hand_over);
    to.service(trail::read_trail);
    to.service(fresh_copy::read_fresh_copy);
    to.service(catch_up::read_catch_up);
    to.service(limits::read_limits);
    to.service(signal::read_signal);
}
