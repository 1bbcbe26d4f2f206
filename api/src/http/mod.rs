//! The hall: JSON in, status codes out. Every route stands on this page.
//!
//! Never: SQL, formulas. A handler reads the clock once, opens one transaction, calls one flow.

pub mod extract;
mod health;
pub mod last_resort;
pub mod problem;
pub mod unknown;

use crate::error::Error;
use actix_web::web;
use utoipa_actix_web::service_config::ServiceConfig;

/// Every route of the API, in the order of the document.
pub fn routes(to: &mut ServiceConfig<'_>) {
    to.service(health::read_liveness);
    to.service(health::read_readiness);
}

/// How bodies, paths and queries that do not fit are answered.
pub fn refusals(to: &mut web::ServiceConfig) {
    to.app_data(web::PathConfig::default().error_handler(|_, _| Error::NotFound.into()));
    to.app_data(web::QueryConfig::default().error_handler(|error, _| {
        Error::invalid("bad_query", format!("{error}. See the operation's parameters.")).into()
    }));
}
