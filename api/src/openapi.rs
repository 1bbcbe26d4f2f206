//! The API document: its title, its way of signing in; the paths are collected from the routes.

use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityScheme};
use utoipa::{Modify, OpenApi};

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Dropwise",
        version = "1",
        description = "The books of mobile detailing fleets, drop by drop.\n\n\
            Decimals are strings. Instants are RFC 3339 in UTC, dates ISO 8601, units end the name. \
            Errors are problem documents (RFC 9457) with a stable `code`. `x-roles` lists who may call an operation.\n\n\
            Figures inform; suppliers' safety sheets, local codes and licensed practice govern.",
        license(name = "Apache-2.0", identifier = "Apache-2.0")
    ),
    modifiers(&Bearer)
)]
struct Head;

struct Bearer;

impl Modify for Bearer {
    fn modify(&self, document: &mut utoipa::openapi::OpenApi) {
        let scheme = SecurityScheme::Http(Http::new(HttpAuthScheme::Bearer));
        document.components.get_or_insert_default().add_security_scheme("bearer", scheme);
    }
}

/// The document before its paths.
#[must_use]
pub fn head() -> utoipa::openapi::OpenApi {
    Head::openapi()
}

/// The whole document, as committed under `openapi/`.
///
/// # Errors
/// When it cannot be written as JSON.
pub fn document() -> Result<String, serde_json::Error> {
    use utoipa_actix_web::AppExt;
    let (_, document) = actix_web::App::new()
        .into_utoipa_app()
        .openapi(head())
        .configure(crate::http::routes)
        .split_for_parts();
    Ok(serde_json::to_string_pretty(&document)? + "\n")
}
