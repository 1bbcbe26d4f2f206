//! A way to Postgres on which every statement loses its filters on the fleet: what the application
//! would ask if all of them had been forgotten. Nothing in the server itself has to be built otherwise.
//!
//! Speaks just enough of the protocol (Postgres manual, 55.7): the text of each `Parse` message is
//! rewritten, everything else passes.

use crate::TestDb;
use std::collections::BTreeSet;
use std::io::{Read, Write};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::os::unix::net::UnixStream;
use std::path::PathBuf;
use std::str::FromStr;
use std::sync::{Arc, Mutex};
use tokio_postgres::config::Host;

/// The way, open for as long as the process lives.
#[derive(Debug, Clone)]
pub struct Unfiltered {
    server_url: String,
    seen: Arc<Mutex<Seen>>,
}

/// Texts that passed.
#[derive(Debug, Default)]
struct Seen {
    bared: BTreeSet<String>,
    kept: BTreeSet<String>,
}

#[derive(Debug, Clone)]
enum Upstream {
    Tcp(String, u16),
    Unix(PathBuf),
}

impl Unfiltered {
    /// Opens a way to the server of a database.
    #[must_use]
    pub fn to(db: &TestDb) -> Self {
        let config = tokio_postgres::Config::from_str(&db.server_url()).expect("a URL");
        let port = config.get_ports().first().copied().unwrap_or(5432);
        let upstream = match config.get_hosts().first() {
            Some(Host::Tcp(name)) => Upstream::Tcp(name.clone(), port),
            Some(Host::Unix(folder)) => Upstream::Unix(folder.join(format!(".s.PGSQL.{port}"))),
            None => panic!("a URL without a host"),
        };
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let (_, rest) =
            db.server_url().split_once(" dbname=").map(|(a, b)| (a.to_owned(), b.to_owned())).expect("a URL");
        let server_url = format!("host=127.0.0.1 port={} dbname={rest}", address.port());
        let seen = Arc::new(Mutex::new(Seen::default()));
        let for_all = Arc::clone(&seen);
        std::thread::spawn(move || {
            for client in listener.incoming().filter_map(Result::ok) {
                let seen = Arc::clone(&for_all);
                match &upstream {
                    Upstream::Tcp(name, port) => {
                        let server = TcpStream::connect((name.as_str(), *port)).expect("Postgres");
                        let _ = server.set_nodelay(true);
                        let back = server.try_clone().expect("a second hand");
                        let end = server.try_clone().expect("a third hand");
                        join(client, server, back, move || drop(end.shutdown(Shutdown::Both)), seen);
                    }
                    Upstream::Unix(path) => {
                        let server = UnixStream::connect(path).expect("Postgres");
                        let back = server.try_clone().expect("a second hand");
                        let end = server.try_clone().expect("a third hand");
                        join(client, server, back, move || drop(end.shutdown(Shutdown::Both)), seen);
                    }
                }
            }
        });
        Self { server_url, seen }
    }

    /// How the server's role reaches the database this way.
    #[must_use]
    pub fn server_url(&self) -> &str {
        &self.server_url
    }

    /// The statements that lost a filter.
    #[must_use]
    pub fn bared(&self) -> Vec<String> {
        self.seen.lock().expect("what was seen").bared.iter().cloned().collect()
    }

    /// The statements that speak of fleets and still passed as they were.
    #[must_use]
    pub fn kept(&self) -> Vec<String> {
        self.seen.lock().expect("what was seen").kept.iter().cloned().collect()
    }
}

fn join<S: Read + Write + Send + 'static>(
    client: TcpStream,
    server: S,
    mut back: S,
    end: impl FnOnce() + Send + 'static,
    seen: Arc<Mutex<Seen>>,
) {
    let _ = client.set_nodelay(true);
    let mut answers = client.try_clone().expect("a second hand");
    std::thread::spawn(move || {
        let _ = std::io::copy(&mut back, &mut answers);
        let _ = answers.shutdown(Shutdown::Both);
    });
    std::thread::spawn(move || {
        let _ = forward(client, server, &seen);
        end();
    });
}

/// Passes messages on until the client goes: the first has no type, the others a byte for it.
fn forward(mut from: impl Read, mut to: impl Write, seen: &Mutex<Seen>) -> std::io::Result<()> {
    let first = message(&mut from)?;
    send(&mut to, None, &first)?;
    loop {
        let mut kind = [0];
        from.read_exact(&mut kind)?;
        let body = message(&mut from)?;
        let body = if kind == *b"P" { bare_parse(&body, seen) } else { body };
        send(&mut to, Some(kind[0]), &body)?;
    }
}

fn message(from: &mut impl Read) -> std::io::Result<Vec<u8>> {
    let mut length = [0; 4];
    from.read_exact(&mut length)?;
    let length = usize::try_from(u32::from_be_bytes(length)).expect("a length").saturating_sub(4);
    let mut body = vec![0; length];
    from.read_exact(&mut body)?;
    Ok(body)
}

fn send(to: &mut impl Write, kind: Option<u8>, body: &[u8]) -> std::io::Result<()> {
    let length = u32::try_from(body.len() + 4).expect("a length").to_be_bytes();
    let whole: Vec<u8> = kind.into_iter().chain(length).chain(body.iter().copied()).collect();
    to.write_all(&whole)?;
    to.flush()
}

/// A `Parse` message: a name, the text, each ended by a zero, then the parameters' types.
fn bare_parse(body: &[u8], seen: &Mutex<Seen>) -> Vec<u8> {
    let mut parts = body.splitn(3, |byte| *byte == 0);
    let (Some(name), Some(text), Some(types)) = (parts.next(), parts.next(), parts.next()) else {
        return body.to_vec();
    };
    let text = String::from_utf8_lossy(text).into_owned();
    let bared = without_filters(&text);
    let mut seen = seen.lock().expect("what was seen");
    if bared != text {
        seen.bared.insert(text);
    } else if text.contains("fleet_id") {
        seen.kept.insert(text);
    }
    [name, &[0], bared.as_bytes(), &[0], types].concat()
}

/// The text with every comparison of a fleet with a parameter made true. The parameter stays, so that
/// Postgres still knows its type.
#[must_use]
pub fn without_filters(text: &str) -> String {
    let (mut done, mut rest) = (String::new(), text);
    while let Some(at) = rest.find("fleet_id") {
        let after = rest[at + "fleet_id".len()..].trim_start_matches('"');
        let Some(number) = after.strip_prefix(" = $") else {
            let (plain, next) = rest.split_at(at + "fleet_id".len());
            done.push_str(plain);
            rest = next;
            continue;
        };
        let digits = number.chars().take_while(char::is_ascii_digit).count();
        let named = |c: char| c.is_alphanumeric() || "._\"".contains(c);
        let start = rest[..at].rfind(|c| !named(c)).map_or(0, |space| space + 1);
        let end = rest.len() - number.len() + digits;
        done.push_str(&rest[..start]);
        done.push_str(&format!("({} or true)", &rest[start..end]));
        rest = &rest[end..];
    }
    done + rest
}

#[cfg(test)]
mod tests {
    use super::without_filters;

    #[test]
    fn filters_are_made_true_and_nothing_else_is_touched() {
        for (text, bared) in [
            (
                r#"SELECT "a" FROM "t" WHERE (("t"."fleet_id" = $1) AND ("t"."id" = $12))"#,
                r#"SELECT "a" FROM "t" WHERE ((("t"."fleet_id" = $1 or true)) AND ("t"."id" = $12))"#,
            ),
            (
                "update t set x = 1 where t.fleet_id = $10 and y = $2",
                "update t set x = 1 where (t.fleet_id = $10 or true) and y = $2",
            ),
            ("select 1 from t where fleet_id = $1", "select 1 from t where (fleet_id = $1 or true)"),
            ("insert into t (fleet_id) values ($1)", "insert into t (fleet_id) values ($1)"),
            ("on a.fleet_id = b.fleet_id", "on a.fleet_id = b.fleet_id"),
        ] {
            assert_eq!(without_filters(text), bared);
        }
    }
}
