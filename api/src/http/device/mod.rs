//! What phones do: hand over, read the trail, ask for the limits.

mod handover;
mod limits;
mod strict_json;
mod trail;
mod written;

use utoipa_actix_web::service_config::ServiceConfig;

/// The routes of phones, in the order of the document.
pub(super) fn routes(to: &mut ServiceConfig<'_>) {
    to.service(handover::hand_over);
    to.service(trail::read_trail);
    to.service(limits::read_limits);
}
