//! Bytes on a socket, for what a well-behaved client would never send.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

/// Sends bytes and gives what came back until the server closed or fell silent for `patience`.
#[must_use]
pub fn talk(address: SocketAddr, bytes: &[u8], patience: Duration) -> String {
    let mut socket = open(address);
    // The server may refuse, and close, before it has read everything.
    let _ = socket.write_all(bytes);
    listen(&mut socket, patience)
}

/// A connected socket.
#[must_use]
pub fn open(address: SocketAddr) -> TcpStream {
    let socket = TcpStream::connect(address).expect("a connection");
    socket.set_nodelay(true).expect("no delay");
    socket
}

/// What arrives until the server closes, or is silent for `patience`.
#[must_use]
pub fn listen(socket: &mut TcpStream, patience: Duration) -> String {
    socket.set_read_timeout(Some(patience)).expect("a timeout");
    let (mut heard, mut buffer) = (Vec::new(), [0_u8; 16 * 1024]);
    while let Ok(n) = socket.read(&mut buffer) {
        if n == 0 {
            break;
        }
        heard.extend_from_slice(&buffer[..n]);
    }
    String::from_utf8_lossy(&heard).into_owned()
}

/// Sends one byte at a time until the server answers or closes, or `limit` has passed; answers with
/// what was heard and after how long.
#[must_use]
pub fn drip(address: SocketAddr, bytes: &[u8], every: Duration, limit: Duration) -> (String, Duration) {
    drip_on(&mut open(address), bytes, every, limit)
}

/// The same on a connection that has said something already.
#[must_use]
pub fn drip_on(socket: &mut TcpStream, bytes: &[u8], every: Duration, limit: Duration) -> (String, Duration) {
    let start = Instant::now();
    socket.set_read_timeout(Some(every)).expect("a timeout");
    let mut buffer = [0_u8; 4096];
    for byte in bytes {
        if socket.write_all(&[*byte]).is_err() || start.elapsed() > limit {
            break;
        }
        match socket.read(&mut buffer) {
            Ok(n) => return (String::from_utf8_lossy(&buffer[..n]).into_owned(), start.elapsed()),
            Err(error)
                if matches!(error.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut) => {}
            Err(_) => break,
        }
    }
    (String::new(), start.elapsed())
}
