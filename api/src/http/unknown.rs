//! Whatever no route answers: 405 where only the method is wrong, else 404.

use super::problem::Problem;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, HeaderValue};
use actix_web::{HttpRequest, HttpResponse, web};
use std::collections::HashMap;
use utoipa::openapi::OpenApi;
use utoipa::openapi::path::PathItem;

/// Which methods each address takes, as the document says.
#[derive(Debug)]
pub struct Methods(HashMap<String, HeaderValue>);

impl Methods {
    /// From the document.
    #[must_use]
    pub fn of(document: &OpenApi) -> Self {
        let paths = document.paths.paths.iter();
        Self(paths.filter_map(|(path, item)| Some((path.clone(), allow(item)?))).collect())
    }

    /// What to tell someone who used another one there.
    fn allowed(&self, pattern: Option<&str>) -> HeaderValue {
        let known = pattern.and_then(|pattern| self.0.get(pattern)).cloned();
        // What the document leaves out is the document itself and its pages.
        known.unwrap_or(HeaderValue::from_static("GET"))
    }
}

fn allow(item: &PathItem) -> Option<HeaderValue> {
    let methods = [
        ("GET", item.get.is_some()),
        ("PUT", item.put.is_some()),
        ("POST", item.post.is_some()),
        ("PATCH", item.patch.is_some()),
        ("DELETE", item.delete.is_some()),
    ];
    let named: Vec<&str> = methods.iter().filter(|(_, there)| *there).map(|(name, _)| *name).collect();
    HeaderValue::from_str(&named.join(", ")).ok()
}

/// Answers a request that no route takes.
pub async fn answer(request: HttpRequest, methods: web::Data<Methods>) -> HttpResponse {
    if !request.resource_map().has_resource(request.path()) {
        let detail = "There is no such address. The API document lists them all.";
        return Problem::new(StatusCode::NOT_FOUND, "no_such_address", detail).response();
    }
    let detail = "This address does not take that method. The Allow header names the ones it takes.";
    let mut response = Problem::new(StatusCode::METHOD_NOT_ALLOWED, "method_not_allowed", detail).response();
    let pattern = request.resource_map().match_pattern(request.path());
    response.headers_mut().insert(header::ALLOW, methods.allowed(pattern.as_deref()));
    response
}
