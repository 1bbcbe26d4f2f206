//! An open app, listening: a socket on which the signal arrives.

use end_to_end::raw;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

/// A socket that asked for the signal.
pub struct Ear {
    socket: TcpStream,
    /// Everything that has arrived, chunk marks and all.
    pub heard: String,
    /// Up to where it has been looked at.
    read: usize,
    /// Whether the server has ended the answer or the connection.
    pub ended: bool,
}

impl Ear {
    /// Asks; waits for the head of the answer and the first event.
    pub fn open(address: SocketAddr, token: &str) -> Self {
        let mut socket = raw::open(address);
        let ask = format!(
            "GET /v1/device/signal HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
             accept-encoding: gzip, zstd\r\n\r\n"
        );
        socket.write_all(ask.as_bytes()).unwrap();
        Self { socket, heard: String::new(), read: 0, ended: false }
    }

    /// The next head that is told, if any is within this time.
    pub fn hear(&mut self, patience: Duration) -> Option<i64> {
        let until = Instant::now() + patience;
        loop {
            let rest = &self.heard[self.read..];
            let event = rest.find("\nid: ").and_then(|at| Some((at, rest[at..].find("\n\n")?)));
            if let Some((at, length)) = event {
                let head = rest[at + 5..at + length].lines().next().unwrap().parse().unwrap();
                self.read += at + length + 2;
                return Some(head);
            }
            let left = until.saturating_duration_since(Instant::now());
            if self.ended || left.is_zero() {
                return None;
            }
            self.listen(left);
        }
    }

    /// Whether the stream ends within this time, as a whole answer.
    pub fn ends(&mut self, patience: Duration) -> bool {
        let until = Instant::now() + patience;
        while !self.ended && Instant::now() < until {
            self.listen(until.saturating_duration_since(Instant::now()));
        }
        self.ended && self.heard.ends_with("0\r\n\r\n")
    }

    fn listen(&mut self, patience: Duration) {
        self.socket.set_read_timeout(Some(patience.max(Duration::from_millis(1)))).unwrap();
        let mut buffer = [0; 4096];
        match self.socket.read(&mut buffer) {
            Ok(0) => self.ended = true,
            Ok(n) => {
                self.heard += &String::from_utf8_lossy(&buffer[..n]);
                self.ended |= self.heard.ends_with("\r\n0\r\n\r\n");
            }
            Err(error)
                if matches!(error.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut) => {}
            Err(_) => self.ended = true,
        }
    }
}
