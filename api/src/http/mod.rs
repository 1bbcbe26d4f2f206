//! The hall: JSON in, status codes out. Every route stands on this page.
//!
//! Never: SQL, formulas. A handler reads the clock once, opens one transaction, calls one flow.
#![allow(unused_qualifications, reason = "the macros that write the API document qualify what they repeat")]

mod answers;
pub mod cards;
pub mod device;
pub mod devices;
mod entries;
pub mod extract;
mod files;
pub mod health;
pub mod last_resort;
pub mod limits;
pub mod login;
mod lost_values;
pub mod members;
mod parked;
pub mod pay_rates;
pub mod problem;
pub mod secret;
pub mod security_notes;
pub mod throttle;
pub mod unknown;
mod worksheets;

use crate::error::Error;
use actix_web::web;
use utoipa_actix_web::service_config::ServiceConfig;

/// Every route of the API, in the order of the document.
pub fn routes(to: &mut ServiceConfig<'_>) {
    to.service(health::read_liveness);
    to.service(health::read_readiness);

    to.service(login::create_session);
    to.service(login::refresh_session);
    to.service(login::end_session);
    to.service(login::change_password);
    // What has a name of its own comes before what is named by an id.
    to.service(members::read_self);
    to.service(members::claim_member);
    to.service(members::list_members);
    to.service(members::create_member);
    to.service(members::read_member);
    to.service(members::edit_member);
    to.service(members::retire_member);
    to.service(members::make_entry_code);
    to.service(pay_rates::add_pay_rate);
    to.service(pay_rates::list_pay_rates);
    to.service(devices::enrol_device);
    to.service(devices::list_devices);
    to.service(security_notes::list_security_notes);

    to.service(cards::create_card);
    to.service(cards::read_card);
    to.service(cards::list_cards);
    to.service(cards::edit_card);
    to.service(cards::retire_card);
    to.service(cards::delete_card);
    to.service(lost_values::list_lost_values);
    to.service(lost_values::decide_lost_value);

    device::routes(to);
    to.service(entries::record_entry);
    to.service(entries::list_entries);
    to.service(entries::read_entry);
    to.service(parked::list_parked);
    to.service(parked::decide_parked);

    to.service(files::reserve_file);
    to.service(files::append_part);
    to.service(files::finish_file);
    to.service(files::read_file);
    to.service(files::list_job_files);

    to.service(answers::list_container_levels);
    to.service(answers::list_pad_states);
    to.service(answers::list_run_outs);
    to.service(answers::read_job_costs);
    to.service(answers::read_month);
    to.service(worksheets::list_worksheets);
    to.service(worksheets::compute_worksheet);
}

/// How bodies, paths and queries that do not fit are answered.
pub fn refusals(to: &mut web::ServiceConfig) {
    to.app_data(web::PathConfig::default().error_handler(|_, _| Error::NotFound.into()));
    to.app_data(web::QueryConfig::default().error_handler(|error, _| {
        Error::invalid("bad_query", format!("{error}. See the operation's parameters.")).into()
    }));
}
