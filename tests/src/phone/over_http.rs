//! The wire over HTTP: one request of the reference phone, one reply, however it ends.
//!
//! Written on a bare socket, so that the connection can be cut after any byte.

use super::wire::{Problem, Reply, Request};
use serde::de::DeserializeOwned;
use std::fmt::Write as _;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// How long a phone waits for anything.
const PATIENCE: Duration = Duration::from_secs(20);

/// What came of a request, and how many bytes came back.
#[derive(Debug)]
pub struct Exchange {
    /// What the phone hears.
    pub reply: Reply,
    /// How much of the reply was read.
    pub bytes: usize,
    /// The status, when it came that far.
    pub status: Option<u16>,
}

/// Asks the server, and hangs up after `cut` bytes of its reply. Silence, a cut reply and a reply that
/// makes no sense are all [`Reply::Nothing`]: the phone cannot know what was done.
#[must_use]
pub fn ask(server: SocketAddr, token: &str, request: &Request, cut: Option<usize>) -> Exchange {
    let heard = talk(server, &text(token, request), cut.unwrap_or(usize::MAX)).unwrap_or_default();
    let whole = parse(&heard);
    let reply = match &whole {
        Some(answer) => read(request, answer),
        None => Reply::Nothing,
    };
    Exchange { reply, bytes: heard.len(), status: whole.map(|answer| answer.status) }
}

fn text(token: &str, request: &Request) -> Vec<u8> {
    let (method, path, body) = match request {
        Request::Enrol { lane_id } => {
            ("PUT", format!("/v1/devices/{lane_id}"), Some(r#"{"name":"Phone"}"#.to_owned()))
        }
        Request::Handover(handover) => {
            let body = serde_json::to_string(handover).expect("a handover is JSON");
            ("POST", "/v1/device/handover".to_owned(), Some(body))
        }
        Request::Trail { after, room, lane_id } => {
            let mut path = format!("/v1/device/trail?room={room}&lane_id={lane_id}");
            query(&mut path, "after", after.as_deref());
            ("GET", path, None)
        }
        Request::FreshCopy { token, from, room } => {
            let mut path = format!("/v1/device/fresh-copy?room={room}");
            query(&mut path, "token", token.as_deref());
            query(&mut path, "from", from.as_deref());
            ("GET", path, None)
        }
    };
    let mut head = format!(
        "{method} {path} HTTP/1.1\r\nhost: dropwise.test\r\nauthorization: Bearer {token}\r\nconnection: close\r\n"
    );
    if let Some(body) = &body {
        let _ = write!(head, "content-type: application/json\r\ncontent-length: {}\r\n", body.len());
    }
    head += "\r\n";
    head += body.as_deref().unwrap_or_default();
    head.into_bytes()
}

/// Tokens and bookmarks are base64url: nothing in them needs escaping.
fn query(path: &mut String, name: &str, value: Option<&str>) {
    if let Some(value) = value {
        let _ = write!(path, "&{name}={value}");
    }
}

/// Sends, and reads at most so many bytes.
fn talk(server: SocketAddr, request: &[u8], most: usize) -> std::io::Result<Vec<u8>> {
    let mut socket = TcpStream::connect_timeout(&server, PATIENCE)?;
    socket.set_nodelay(true)?;
    socket.set_read_timeout(Some(PATIENCE))?;
    socket.set_write_timeout(Some(PATIENCE))?;
    socket.write_all(request)?;
    let (mut heard, mut buffer) = (Vec::new(), [0_u8; 16 * 1024]);
    while heard.len() < most {
        let room = buffer.len().min(most - heard.len());
        match socket.read(&mut buffer[..room]) {
            Ok(0) | Err(_) => break,
            Ok(read) => heard.extend_from_slice(&buffer[..read]),
        }
    }
    Ok(heard)
}

struct Answer {
    status: u16,
    retry_after_s: Option<u32>,
    body: Vec<u8>,
}

/// A reply that came whole; anything else is none.
fn parse(heard: &[u8]) -> Option<Answer> {
    let end = heard.windows(4).position(|four| four == b"\r\n\r\n")?;
    let head = std::str::from_utf8(&heard[..end]).ok()?;
    let mut lines = head.split("\r\n");
    let status = lines.next()?.split(' ').nth(1)?.parse().ok()?;
    let headers: Vec<(String, &str)> = lines
        .filter_map(|line| line.split_once(':'))
        .map(|(name, value)| (name.to_ascii_lowercase(), value.trim()))
        .collect();
    let header = |name: &str| headers.iter().find(|(other, _)| other == name).map(|(_, value)| *value);
    let body = &heard[end + 4..];
    let body = if header("transfer-encoding") == Some("chunked") {
        unchunk(body)?
    } else {
        let length: usize = header("content-length").map_or(Some(0), |text| text.parse().ok())?;
        (body.len() == length).then(|| body.to_vec())?
    };
    Some(Answer { status, retry_after_s: header("retry-after").and_then(|text| text.parse().ok()), body })
}

/// The chunks of a body, when the last one has come.
fn unchunk(mut rest: &[u8]) -> Option<Vec<u8>> {
    let mut body = Vec::new();
    loop {
        let line = rest.windows(2).position(|two| two == b"\r\n")?;
        let size = usize::from_str_radix(std::str::from_utf8(&rest[..line]).ok()?.trim(), 16).ok()?;
        rest = rest.get(line + 2..)?;
        if size == 0 {
            return rest.starts_with(b"\r\n").then_some(body);
        }
        body.extend_from_slice(rest.get(..size)?);
        rest = rest.get(size + 2..)?;
    }
}

fn read(request: &Request, answer: &Answer) -> Reply {
    if !(200..300).contains(&answer.status) {
        let said: Problem = json(&answer.body).unwrap_or_default();
        let retry_after_s = answer.retry_after_s.or(said.retry_after_s);
        return Reply::Problem(Problem { status: answer.status, retry_after_s, ..said });
    }
    let meant = match request {
        Request::Enrol { .. } => Some(Reply::Enrolled),
        Request::Handover(_) => json(&answer.body).map(Reply::Handover),
        Request::Trail { .. } => json(&answer.body).map(Reply::Trail),
        Request::FreshCopy { .. } => json(&answer.body).map(Reply::FreshCopy),
    };
    meant.unwrap_or(Reply::Nothing)
}

fn json<T: DeserializeOwned>(body: &[u8]) -> Option<T> {
    serde_json::from_slice(body).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    const WHOLE: &[u8] = b"HTTP/1.1 503 Service Unavailable\r\nretry-after: 7\r\ncontent-length: 22\r\n\r\n{\"code\":\"over_loaded\"}";

    #[test]
    fn a_reply_counts_only_when_it_came_whole() {
        let request = Request::Enrol { lane_id: uuid::Uuid::nil() };
        let answer = parse(WHOLE).expect("a whole reply");
        let Reply::Problem(problem) = read(&request, &answer) else { panic!("a problem") };
        assert_eq!(
            (problem.status, problem.code.as_str(), problem.retry_after_s),
            (503, "over_loaded", Some(7))
        );
        for cut in 0..WHOLE.len() {
            assert!(parse(&WHOLE[..cut]).is_none(), "cut after {cut}");
        }
    }

    #[test]
    fn chunks_are_put_together_when_the_last_has_come() {
        let whole = b"5\r\nhello\r\n4\r\n you\r\n0\r\n\r\n";
        assert_eq!(unchunk(whole).as_deref(), Some(&b"hello you"[..]));
        assert!((0..whole.len()).all(|cut| unchunk(&whole[..cut]).is_none()));
    }
}
