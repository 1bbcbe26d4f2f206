//! Writers on kept-alive connections who remember what they were told: sent, acknowledged, in doubt.

use dropwise::ids::fresh;
use std::collections::HashSet;
use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;
use uuid::Uuid;

/// What one writer knows of what it sent.
#[derive(Debug, Default)]
pub(super) struct Known {
    /// Told that it is stored.
    pub(super) acknowledged: HashSet<Uuid>,
    /// Sent, and told nothing.
    pub(super) in_doubt: HashSet<Uuid>,
    /// Answers that began and did not end.
    pub(super) cut: usize,
    /// Answers that said the connection ends with them.
    pub(super) told_to_leave: usize,
    /// Answers that were neither "stored" nor "come back later".
    pub(super) odd: Vec<String>,
}

/// Writers at work until told to stop.
pub(super) struct Load {
    stop: Arc<AtomicBool>,
    writers: Vec<JoinHandle<Known>>,
}

impl Load {
    /// So many writers, each creating one card after another.
    pub(super) fn start(address: SocketAddr, token: &str, writers: usize) -> Self {
        let stop = Arc::new(AtomicBool::new(false));
        let writers = (0..writers)
            .map(|_| {
                let (stop, token) = (Arc::clone(&stop), token.to_owned());
                std::thread::spawn(move || write_on(address, &token, &stop))
            })
            .collect();
        Self { stop, writers }
    }

    /// Ends the load and gathers what the writers know.
    pub(super) fn end(self) -> Known {
        self.stop.store(true, Ordering::Relaxed);
        let mut all = Known::default();
        for writer in self.writers {
            let known = writer.join().expect("a writer");
            all.acknowledged.extend(known.acknowledged);
            all.in_doubt.extend(known.in_doubt);
            all.cut += known.cut;
            all.told_to_leave += known.told_to_leave;
            all.odd.extend(known.odd);
        }
        all
    }
}

/// The body every writer sends.
pub(super) const CARD: &str = r#"{"kind":"place","body":{"name":"Under load","what":"depot"}}"#;

fn write_on(address: SocketAddr, token: &str, stop: &AtomicBool) -> Known {
    let mut known = Known::default();
    while !stop.load(Ordering::Relaxed) {
        let Ok(mut socket) = TcpStream::connect(address) else {
            std::thread::sleep(Duration::from_millis(1));
            continue;
        };
        socket.set_read_timeout(Some(Duration::from_secs(35))).expect("a timeout");
        while !stop.load(Ordering::Relaxed) {
            let id = fresh();
            let request = format!(
                "PUT /v1/cards/{id} HTTP/1.1\r\nhost: x\r\nauthorization: Bearer {token}\r\n\
                 content-type: application/json\r\ncontent-length: {}\r\n\r\n{CARD}",
                CARD.len()
            );
            known.in_doubt.insert(id);
            if socket.write_all(request.as_bytes()).is_err() {
                break;
            }
            let (heard, whole) = answer(&mut socket);
            if !whole {
                known.cut += usize::from(!heard.is_empty());
                break;
            }
            if heard.starts_with("HTTP/1.1 201") {
                known.in_doubt.remove(&id);
                known.acknowledged.insert(id);
            } else if !heard.starts_with("HTTP/1.1 503") {
                known.odd.push(heard);
                continue;
            }
            if heard.to_ascii_lowercase().contains("\r\nconnection: close\r\n") {
                known.told_to_leave += 1;
                break;
            }
        }
    }
    known
}

/// What was heard, and whether it is a whole answer.
fn answer(socket: &mut TcpStream) -> (String, bool) {
    let (mut heard, mut buffer) = (Vec::new(), [0_u8; 4096]);
    loop {
        let ended = match socket.read(&mut buffer) {
            Ok(0) | Err(_) => true,
            Ok(n) => {
                heard.extend_from_slice(&buffer[..n]);
                false
            }
        };
        let text = String::from_utf8_lossy(&heard).into_owned();
        let whole = text.split_once("\r\n\r\n").is_some_and(|(head, body)| {
            let length =
                head.lines().find_map(|line| line.strip_prefix("content-length: ")?.parse::<usize>().ok());
            length.is_some_and(|length| body.len() >= length)
        });
        if whole || ended {
            return (text, whole);
        }
    }
}
