//! SIGTERM under load: whatever was under way is answered whole, then the process ends well.

use end_to_end::binary::Serving;
use end_to_end::cluster::Cluster;
use end_to_end::{TestDb, raw};
use std::io::{Read, Write};
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

/// The short form; the long one is fifty.
const RESTARTS: usize = 5;

/// What one keep-alive client saw.
#[derive(Default)]
struct Seen {
    whole: usize,
    cut: usize,
}

/// Asks over one connection after another until told to stop. An answer that begins must end.
fn ask_on(address: SocketAddr, stop: &AtomicBool) -> Seen {
    let mut seen = Seen::default();
    while !stop.load(Ordering::Relaxed) {
        let Ok(mut socket) = std::net::TcpStream::connect(address) else {
            std::thread::sleep(Duration::from_millis(1));
            continue;
        };
        socket.set_read_timeout(Some(Duration::from_secs(35))).expect("a timeout");
        while !stop.load(Ordering::Relaxed) {
            if socket.write_all(b"GET /health/ready HTTP/1.1\r\nhost: x\r\n\r\n").is_err() {
                break;
            }
            match answer(&mut socket) {
                Some(true) => seen.whole += 1,
                Some(false) => {
                    seen.cut += 1;
                    break;
                }
                // Closed before a single byte: an idle connection was let go, nothing was begun.
                None => break,
            }
        }
    }
    seen
}

/// Whether an answer came whole; `None` when nothing came.
fn answer(socket: &mut std::net::TcpStream) -> Option<bool> {
    let (mut heard, mut buffer) = (Vec::new(), [0_u8; 4096]);
    loop {
        match socket.read(&mut buffer) {
            Ok(0) | Err(_) => return if heard.is_empty() { None } else { Some(false) },
            Ok(n) => heard.extend_from_slice(&buffer[..n]),
        }
        let text = String::from_utf8_lossy(&heard);
        if let Some((head, body)) = text.split_once("\r\n\r\n") {
            let length = head.lines().find_map(|l| l.strip_prefix("content-length: ")?.parse::<usize>().ok());
            if length.is_some_and(|length| body.len() >= length) {
                return Some(true);
            }
        }
    }
}

#[test]
fn a_server_told_to_stop_under_load_cuts_no_answer_and_ends_well() {
    let cluster = Cluster::own(&[]);
    let db = TestDb::fresh_on(&cluster);
    for _ in 0..RESTARTS {
        let mut serving = Serving::start(&db.server_url(), &[]);
        serving.wait_until_ready().expect("a start");
        let stop = Arc::new(AtomicBool::new(false));
        let askers: Vec<_> = (0..8)
            .map(|_| {
                let (stop, address) = (Arc::clone(&stop), serving.address);
                std::thread::spawn(move || ask_on(address, &stop))
            })
            .collect();
        // And some who hold a connection and say nothing: they must not hold up the end.
        let idle: Vec<_> = (0..20).map(|_| raw::open(serving.address)).collect();
        std::thread::sleep(Duration::from_millis(300));
        serving.signal("TERM");
        let ended = serving.wait_for_end(Duration::from_secs(31));
        stop.store(true, Ordering::Relaxed);
        let seen: Vec<Seen> = askers.into_iter().map(|asker| asker.join().expect("a client")).collect();
        drop(idle);
        let (status, after) = ended.unwrap_or_else(|| panic!("did not end in 31 s: {}", serving.said()));
        assert!(status.success(), "{status}: {}", serving.said());
        assert!(after < Duration::from_secs(30), "took {after:?}");
        assert!(seen.iter().map(|s| s.whole).sum::<usize>() > 50, "there was no load");
        assert_eq!(seen.iter().map(|s| s.cut).sum::<usize>(), 0, "answers were cut");
    }
}

#[test]
fn a_second_server_can_take_the_address_at_once() {
    let cluster = Cluster::own(&[]);
    let db = TestDb::fresh_on(&cluster);
    let mut serving = Serving::start(&db.server_url(), &[]);
    serving.wait_until_ready().expect("a start");
    let address = serving.address.to_string();
    // An answered connection lingers in the kernel; a restart must not trip over it.
    let _ = raw::talk(
        serving.address,
        b"GET /health/live HTTP/1.1\r\nhost: x\r\nconnection: close\r\n\r\n",
        Duration::from_secs(1),
    );
    let start = Instant::now();
    serving.signal("TERM");
    let (status, _) = serving.wait_for_end(Duration::from_secs(31)).expect("an end");
    assert!(status.success());
    let mut again = Serving::start(&db.server_url(), &[("DROPWISE_LISTEN", &address)]);
    again.address = serving.address;
    again.wait_until_ready().expect("a second start");
    assert!(start.elapsed() < Duration::from_secs(20));
}
