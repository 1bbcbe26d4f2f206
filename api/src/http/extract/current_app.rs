//! Whether the app that asks is new enough to be answered.

use crate::error::Error;
use crate::http::problem::APP_VERSION;
use actix_web::{FromRequest, HttpRequest, dev::Payload, web};
use semver::Version;
use std::future::{Ready, ready};

/// The oldest version of the app that may read; none when every version may.
#[derive(Debug, Clone)]
pub struct MinimumApp(pub Option<Version>);

/// An app new enough to read, or something that does not say that it is an app. Handing over never asks
/// for this: what waits in an old app must get out of it.
#[derive(Debug, Clone, Copy)]
pub struct CurrentApp;

impl FromRequest for CurrentApp {
    type Error = Error;
    type Future = Ready<Result<Self, Error>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let minimum = request.app_data::<web::Data<MinimumApp>>().and_then(|held| held.0.as_ref());
        let (Some(minimum), Some(said)) = (minimum, request.headers().get(APP_VERSION)) else {
            return ready(Ok(Self));
        };
        let said = said.to_str().ok().and_then(|text| Version::parse(text).ok());
        ready(match said {
            Some(version) if version >= *minimum => Ok(Self),
            Some(_) => Err(Error::AppTooOld { minimum: minimum.to_string() }),
            None => Err(Error::invalid(
                "bad_app_version",
                "Dropwise-App must be a version as semver.org writes it, such as 2.4.0.",
            )),
        })
    }
}
