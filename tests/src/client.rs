//! A small HTTP client that hides nothing: status, headers and bytes as they came.

use serde_json::Value;
use std::io::Read;
use std::net::SocketAddr;
use std::time::{Duration, Instant};

/// A client of one server, perhaps with a bearer token.
#[derive(Debug, Clone)]
pub struct Client {
    base: String,
    agent: ureq::Agent,
    token: Option<String>,
}

/// What came back.
#[derive(Debug, Clone)]
pub struct Answer {
    /// Method and path, for messages.
    pub asked: String,
    /// The status code.
    pub status: u16,
    /// The headers, names in lower case.
    pub headers: Vec<(String, String)>,
    /// The body.
    pub body: Vec<u8>,
    /// How long it took.
    pub took: Duration,
}

impl Client {
    /// A client that says nothing about who it is.
    #[must_use]
    pub fn new(address: SocketAddr) -> Self {
        let config = ureq::Agent::config_builder()
            .http_status_as_error(false)
            .allow_non_standard_methods(true)
            .max_redirects(0)
            .proxy(None)
            .timeout_global(Some(Duration::from_secs(60)))
            .build();
        Self { base: format!("http://{address}"), agent: config.into(), token: None }
    }

    /// The same client, signed in.
    #[must_use]
    pub fn with_token(&self, token: impl Into<String>) -> Self {
        Self { token: Some(token.into()), ..self.clone() }
    }

    /// Sends anything at all.
    pub fn try_send(
        &self,
        method: &str,
        path: &str,
        headers: &[(&str, &str)],
        body: Option<&[u8]>,
    ) -> Result<Answer, ureq::Error> {
        let mut request = ureq::http::Request::builder().method(method).uri(format!("{}{path}", self.base));
        if let Some(token) = &self.token {
            request = request.header("authorization", format!("Bearer {token}"));
        }
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        let start = Instant::now();
        let mut response = match body {
            Some(body) => self.agent.run(request.body(body).map_err(ureq::Error::from)?)?,
            None => self.agent.run(request.body(()).map_err(ureq::Error::from)?)?,
        };
        let text = |value: &ureq::http::HeaderValue| String::from_utf8_lossy(value.as_bytes()).into_owned();
        Ok(Answer {
            asked: format!("{method} {path}"),
            status: response.status().as_u16(),
            headers: response.headers().iter().map(|(n, v)| (n.as_str().to_owned(), text(v))).collect(),
            body: read(&mut response)?,
            took: start.elapsed(),
        })
    }

    /// Sends anything; the connection must hold.
    #[must_use]
    pub fn send(&self, method: &str, path: &str, headers: &[(&str, &str)], body: Option<&[u8]>) -> Answer {
        self.try_send(method, path, headers, body).unwrap_or_else(|error| panic!("{method} {path}: {error}"))
    }

    /// Sends a JSON body.
    #[must_use]
    pub fn send_json(&self, method: &str, path: &str, headers: &[(&str, &str)], body: &Value) -> Answer {
        let headers: Vec<_> = headers.iter().copied().chain([("content-type", "application/json")]).collect();
        self.send(method, path, &headers, Some(body.to_string().as_bytes()))
    }

    /// `GET`.
    #[must_use]
    pub fn get(&self, path: &str) -> Answer {
        self.send("GET", path, &[], None)
    }

    /// `POST` with JSON.
    #[must_use]
    pub fn post(&self, path: &str, body: &Value) -> Answer {
        self.send_json("POST", path, &[], body)
    }

    /// `PUT` with JSON.
    #[must_use]
    pub fn put(&self, path: &str, body: &Value) -> Answer {
        self.send_json("PUT", path, &[], body)
    }

    /// `PATCH` with JSON, made from the version `etag`.
    #[must_use]
    pub fn patch(&self, path: &str, etag: &str, body: &Value) -> Answer {
        self.send_json("PATCH", path, &[("if-match", etag)], body)
    }

    /// `DELETE`.
    #[must_use]
    pub fn delete(&self, path: &str) -> Answer {
        self.send("DELETE", path, &[], None)
    }
}

impl Answer {
    /// Stops the test unless the status is this one, showing what came instead.
    #[track_caller]
    #[allow(clippy::must_use_candidate, reason = "looking is its purpose; the answer may be dropped")]
    pub fn expect(self, status: u16) -> Self {
        assert_eq!(self.status, status, "{}: {}", self.asked, self.text());
        self
    }

    /// Stops the test unless the status is one of these.
    #[track_caller]
    #[allow(clippy::must_use_candidate, reason = "looking is its purpose; the answer may be dropped")]
    pub fn expect_any(self, statuses: &[u16]) -> Self {
        assert!(statuses.contains(&self.status), "{}: {} {}", self.asked, self.status, self.text());
        self
    }

    /// Stops the test unless this is a problem document of that status and code.
    #[track_caller]
    pub fn expect_problem(self, status: u16, code: &str) {
        let answer = self.expect(status);
        assert_eq!(answer.header("content-type"), Some("application/problem+json"), "{}", answer.asked);
        assert_eq!(answer.json()["code"], code, "{}: {}", answer.asked, answer.text());
    }

    /// A header's first value.
    #[must_use]
    pub fn header(&self, name: &str) -> Option<&str> {
        self.headers.iter().find(|(n, _)| n == name).map(|(_, value)| value.as_str())
    }

    /// The body as text.
    #[must_use]
    pub fn text(&self) -> String {
        String::from_utf8_lossy(&self.body).into_owned()
    }

    /// The body as JSON.
    #[track_caller]
    #[must_use]
    pub fn json(&self) -> Value {
        serde_json::from_slice(&self.body)
            .unwrap_or_else(|error| panic!("{}: {error}: {}", self.asked, self.text()))
    }

    /// The version it carries.
    #[track_caller]
    #[must_use]
    pub fn etag(&self) -> String {
        self.header("etag").unwrap_or_else(|| panic!("{} has no ETag", self.asked)).to_owned()
    }
}

/// The whole body; of a stream that does not end, what was said first.
fn read(response: &mut ureq::http::Response<ureq::Body>) -> Result<Vec<u8>, ureq::Error> {
    let stream = response.headers().get("content-type").is_some_and(|kind| kind == "text/event-stream");
    if !stream {
        return response.body_mut().with_config().limit(64 << 20).read_to_vec();
    }
    let mut first = vec![0; 4096];
    let n = response.body_mut().as_reader().read(&mut first)?;
    first.truncate(n);
    Ok(first)
}
