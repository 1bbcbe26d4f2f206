//! What phones do: hand over, read the trail, copy everything, ask for the limits.

mod fresh_copy;
mod handover;
mod limits;
mod row;
mod strict_json;
mod trail;
mod written;

use utoipa_actix_web::service_config::ServiceConfig;

/// The routes of phones, in the order of the document.
pub(super) fn routes(to: &mut ServiceConfig<'_>) {
    to.service(handover::hand_over);
    to.service(trail::read_trail);
    to.service(fresh_copy::read_fresh_copy);
    to.service(limits::read_limits);
}
