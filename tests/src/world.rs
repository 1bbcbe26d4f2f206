//! One database, one server, one clock: what most tests begin with.

use crate::binary::Serving;
use crate::cluster::Cluster;
use crate::{Client, Fleet, TestDb, TestServer};
use chrono::{DateTime, Utc};
use dropwise::clock::Clock;

/// A server on a fresh database. Fields drop in this order: the server first.
#[derive(Debug)]
pub struct World {
    /// The server.
    pub server: TestServer,
    /// Its database.
    pub db: TestDb,
    /// Its time.
    pub clock: Clock,
}

impl World {
    /// A world on the machine's time.
    #[must_use]
    pub fn new() -> Self {
        Self::with_clock(Clock::system())
    }

    /// A world whose clock stands still at `at` until the test moves it.
    #[must_use]
    pub fn at(at: DateTime<Utc>) -> Self {
        Self::with_clock(Clock::set_to(at))
    }

    fn with_clock(clock: Clock) -> Self {
        let db = TestDb::fresh();
        Self { server: TestServer::start(&db, &clock), db, clock }
    }

    /// A client nobody knows.
    #[must_use]
    pub fn as_nobody(&self) -> Client {
        Client::new(self.server.address)
    }

    /// A new business of that handle, with an owner, an office member and a technician.
    #[must_use]
    pub fn fleet(&self, handle: &str) -> Fleet {
        Fleet::found(&self.db.server_url(), &self.clock, self.as_nobody(), handle)
    }
}

impl Default for World {
    fn default() -> Self {
        Self::new()
    }
}

/// The binary as a process of its own on a durable cluster of its own, with one business: for what
/// only a whole process can show. Fields drop in this order: the server first.
#[derive(Debug)]
pub struct ProcessWorld {
    /// The server.
    pub serving: Serving,
    /// A business of the handle `harbour`.
    pub fleet: Fleet,
    /// Its database.
    pub db: TestDb,
    _cluster: Cluster,
}

impl ProcessWorld {
    /// Starts everything; `settings` are further environment variables of the server.
    #[must_use]
    pub fn start(settings: &[(&str, &str)]) -> Self {
        let cluster = Cluster::own(&[]);
        let db = TestDb::fresh_on(&cluster);
        let mut serving = Serving::start(&db.server_url(), settings);
        serving.wait_until_ready().expect("a server");
        let client = Client::new(serving.address);
        let fleet = Fleet::found(&db.server_url(), &Clock::system(), client, "harbour");
        Self { serving, fleet, db, _cluster: cluster }
    }

    /// A client nobody knows.
    #[must_use]
    pub fn as_nobody(&self) -> Client {
        Client::new(self.serving.address)
    }
}
