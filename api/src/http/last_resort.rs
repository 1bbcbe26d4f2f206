//! What goes around every handler: its request's id in the answer, and an answer even when it panics.

use crate::error::Error;
use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::header::{HeaderMap, HeaderName, HeaderValue};
use actix_web::middleware::Next;
use actix_web::{HttpMessage, ResponseError};
use futures_util::FutureExt;
use std::panic::AssertUnwindSafe;
use tracing_actix_web::RequestId;

/// Names the request in the log and in the answer.
const REQUEST_ID: HeaderName = HeaderName::from_static("x-request-id");

/// Calls the handler. A panic becomes the same problem document as any other fault of ours; its
/// transaction was a task of its own or is rolled back with its connection.
///
/// # Errors
/// Only for a panic; it carries its whole answer.
pub async fn answer(
    request: ServiceRequest,
    next: Next<impl MessageBody + 'static>,
) -> Result<ServiceResponse<BoxBody>, actix_web::Error> {
    let id = request.extensions().get::<RequestId>().map(ToString::to_string);
    let id = id.and_then(|id| HeaderValue::from_str(&id).ok());
    // Whatever the handler held is dropped by the unwinding and never looked at again.
    let Ok(answered) = AssertUnwindSafe(next.call(request)).catch_unwind().await else {
        let mut response = Error::internal("a handler panicked").error_response();
        name(response.headers_mut(), id);
        return Err(InternalError::from_response("a handler panicked", response).into());
    };
    let mut response = answered?.map_into_boxed_body();
    name(response.headers_mut(), id);
    Ok(response)
}

fn name(headers: &mut HeaderMap, id: Option<HeaderValue>) {
    if let Some(id) = id {
        headers.insert(REQUEST_ID, id);
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::panic, reason = "a test may stop at the first surprise")]

    use actix_web::http::StatusCode;
    use actix_web::middleware::from_fn;
    use actix_web::{App, HttpResponse, test, web};
    use tracing_actix_web::TracingLogger;

    async fn falls_over() -> HttpResponse {
        panic!("canary-of-the-inside");
    }

    #[actix_web::test]
    async fn a_panic_is_answered_with_a_problem_that_tells_nothing() {
        let app = App::new()
            .route("/falls", web::get().to(falls_over))
            .route("/stands", web::get().to(HttpResponse::Ok))
            .wrap(from_fn(super::answer))
            .wrap(TracingLogger::default());
        let app = test::init_service(app).await;
        for _ in 0..2 {
            let failed =
                test::try_call_service(&app, test::TestRequest::get().uri("/falls").to_request()).await;
            let response = failed.unwrap_err().error_response();
            assert_eq!(response.status(), StatusCode::INTERNAL_SERVER_ERROR);
            assert_eq!(response.headers().get("content-type").unwrap(), "application/problem+json");
            assert!(response.headers().contains_key("x-request-id"));
            let body = actix_web::body::to_bytes(response.into_body()).await.unwrap_or_default();
            let text = String::from_utf8_lossy(&body);
            assert!(text.contains("our_fault") && !text.contains("canary"), "{text}");
        }
        let stands = test::call_service(&app, test::TestRequest::get().uri("/stands").to_request()).await;
        assert_eq!(stands.status(), StatusCode::OK);
        assert!(stands.headers().contains_key("x-request-id"));
    }
}
