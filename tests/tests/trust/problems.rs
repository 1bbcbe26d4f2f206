//! Every refusal is a problem document that tells nothing of the inside (RFC 9457).

use end_to_end::{Answer, World};

/// Words that would tell a stranger how the house is built.
const INSIDES: [&str; 12] = [
    "panicked",
    "src/",
    ".rs:",
    "diesel",
    "postgres",
    "select ",
    "insert into",
    "relation ",
    "violates",
    "actix",
    "backtrace",
    "dropwise_server",
];

fn check(answer: Answer, status: u16) -> Answer {
    let answer = answer.expect(status);
    assert_eq!(answer.header("content-type"), Some("application/problem+json"), "{}", answer.asked);
    let body = answer.json();
    assert_eq!(body["status"], status, "{}", answer.asked);
    let (kind, code) = (body["type"].as_str().expect("a type"), body["code"].as_str().expect("a code"));
    assert_eq!(kind, format!("urn:dropwise:problem:{code}"));
    assert!(body["detail"].as_str().is_some_and(|text| text.ends_with('.') && text.len() > 20), "{body}");
    let text = answer.text().to_lowercase();
    for word in INSIDES {
        assert!(!text.contains(word), "{} tells {word}: {text}", answer.asked);
    }
    answer
}

#[test]
fn addresses_and_methods_nobody_documented_are_refused_as_problems() {
    let world = World::new();
    let nobody = world.as_nobody();
    for path in [
        "/",
        "/v1",
        "/v2/jobs",
        "/health",
        "/.env",
        "/metrics",
        "/debug",
        "/v1/../health/live/x",
        "/%00",
        "/v1/%2e%2e/",
    ] {
        let _ = check(nobody.get(path), 404);
    }
    for method in ["PUT", "POST", "DELETE", "PATCH", "TRACE", "PROPFIND", "CONNECT-X"] {
        let answer = check(nobody.send(method, "/health/live", &[], None), 405);
        assert!(
            answer.header("allow").is_some_and(|allow| allow.contains("GET")),
            "{method}: {:?}",
            answer.headers
        );
    }
}

#[test]
fn every_answer_carries_the_headers_that_keep_browsers_from_guessing() {
    let world = World::new();
    for path in ["/health/live", "/nowhere", "/openapi.json"] {
        let answer = world.as_nobody().get(path);
        assert_eq!(answer.header("x-content-type-options"), Some("nosniff"), "{path}");
        assert_eq!(answer.header("cache-control"), Some("no-store"), "{path}");
        assert_eq!(answer.header("referrer-policy"), Some("no-referrer"), "{path}");
    }
}
