//! The real server, on a real socket, in a thread of its own.

use crate::db::TestDb;
use actix_web::web::Data;
use dropwise::auth::Keys;
use dropwise::auth::password::Hasher;
use dropwise::clock::Clock;
use dropwise::config::{HashingConfig, PhonesConfig, SyncConfig, ThrottleConfig};
use dropwise::flows::files::{Cabinet, Quota};
use dropwise::server::{Parts, serve};
use dropwise::store::blobs::Blobs;
use std::net::{SocketAddr, TcpListener};
use std::num::NonZeroU32;
use std::sync::{OnceLock, mpsc};
use std::thread::JoinHandle;

/// A running server; stopped when dropped.
#[derive(Debug)]
pub struct TestServer {
    /// Where it listens.
    pub address: SocketAddr,
    handle: actix_web::dev::ServerHandle,
    thread: Option<JoinHandle<()>>,
}

/// The keys every server of this process signs with; made once.
#[must_use]
pub fn keys() -> Data<Keys> {
    static KEYS: OnceLock<Data<Keys>> = OnceLock::new();
    let make = || {
        let folder = tempfile::tempdir().expect("a folder for keys");
        Data::new(Keys::open(folder.path()).expect("keys"))
    };
    KEYS.get_or_init(make).clone()
}

/// What a test's server is made of, for a test to change. Signing in may be tried as often as one likes.
#[must_use]
pub fn parts(server_url: &str, clock: &Clock, workers: usize) -> Parts {
    Parts {
        database_url: server_url.to_owned(),
        workers,
        keys: keys(),
        hasher: Hasher::new(HashingConfig::default(), 2).expect("a hasher"),
        clock: clock.clone(),
        files: cabinet("memory:///"),
        throttle: ThrottleConfig {
            per_source_per_min: NonZeroU32::MAX,
            per_member_per_hour: NonZeroU32::MAX,
            trusted_proxies: 0,
        },
        sync: SyncConfig::default(),
        phones: PhonesConfig { handovers_per_lane_per_min: NonZeroU32::MAX, ..PhonesConfig::default() },
    }
}

/// A cabinet in a folder or at a URL, with room for whatever a test sends.
#[must_use]
pub fn cabinet(location: &str) -> Cabinet {
    let room = Quota { bytes: 1 << 32, files: 10_000 };
    Cabinet::new(Blobs::open(location).expect("a store of files"), room)
}

impl TestServer {
    /// A server with one worker on the database, with the clock it is given.
    #[must_use]
    pub fn start(db: &TestDb, clock: &Clock) -> Self {
        Self::start_with(&db.server_url(), clock, 1)
    }

    /// A server on any URL, with as many workers as wanted.
    #[must_use]
    pub fn start_with(server_url: &str, clock: &Clock, workers: usize) -> Self {
        Self::start_parts(parts(server_url, clock, workers))
    }

    /// A server of any parts.
    #[must_use]
    pub fn start_parts(parts: Parts) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = listener.local_addr().expect("its address");
        let (tell, told) = mpsc::channel();
        let thread = std::thread::spawn(move || {
            actix_web::rt::System::new().block_on(async move {
                let server = serve(parts, listener).expect("a server");
                tell.send(server.handle()).expect("a test that waits");
                server.await.expect("a server that ends well");
            });
        });
        let handle = told.recv().expect("a server that starts");
        Self { address, handle, thread: Some(thread) }
    }
}

impl Drop for TestServer {
    fn drop(&mut self) {
        // The command is sent by the call; what it answers only says when the stop is done.
        drop(self.handle.stop(false));
        if let Some(thread) = self.thread.take() {
            let ended = thread.join();
            assert!(ended.is_ok() || std::thread::panicking(), "the server's thread panicked");
        }
    }
}
