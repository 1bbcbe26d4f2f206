//! The one way to the database: a transaction that knows its fleet, from a small pool per worker.

use super::bell::Bell;
use super::trail::{self, TrailRow};
use crate::error::Error;
use crate::ids::FleetId;
use diesel::result::{DatabaseErrorKind, Error as DieselError};
use diesel_async::pooled_connection::deadpool::{Object, Pool};
use diesel_async::pooled_connection::{AsyncDieselConnectionManager, ManagerConfig, RecyclingMethod};
use diesel_async::{AnsiTransactionManager, AsyncPgConnection, TransactionManager};
use std::time::Duration;

/// How long a request waits for a free connection.
const POOL_WAIT: Duration = Duration::from_secs(1);
/// How long a whole transaction may take before its connection is given up. Postgres ends a statement
/// after 5 s by itself; this is for a Postgres that stands still and ends nothing.
const TRANSACTION_LIMIT: Duration = Duration::from_secs(10);
/// A transaction that lost a race is done again this often.
const TRIES: u32 = 5;
/// Connections per worker: eight in all on two workers won every measured mix.
pub const CONNECTIONS_PER_WORKER: usize = 4;

/// The door to the database. Cheap to clone; one per worker, because a connection belongs to the
/// thread that opened it.
#[derive(Clone)]
pub struct Db {
    pool: Pool<AsyncPgConnection>,
    bell: Option<Bell>,
}

/// One open transaction of one fleet.
pub struct Tx {
    conn: Object<AsyncPgConnection>,
    fleet: FleetId,
    trail: Vec<TrailRow>,
}

impl std::fmt::Debug for Db {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Db")
    }
}

impl Tx {
    /// The fleet this transaction belongs to.
    #[must_use]
    pub const fn fleet(&self) -> FleetId {
        self.fleet
    }

    /// Keeps a record for the trail; it is written when everything else has been.
    pub fn tell(&mut self, row: TrailRow) {
        self.trail.push(row);
    }

    pub(super) fn conn(&mut self) -> &mut AsyncPgConnection {
        &mut self.conn
    }
}

impl Db {
    /// A pool of `connections` to the server at `url`; opens nothing yet.
    ///
    /// # Errors
    /// [`Error::Internal`] when the pool cannot be set up.
    pub fn open(url: &str, connections: usize) -> Result<Self, Error> {
        let mut config = ManagerConfig::default();
        // Drops closed and half-used connections without asking the server on every loan.
        config.recycling_method = RecyclingMethod::Fast;
        let manager =
            AsyncDieselConnectionManager::<AsyncPgConnection>::new_with_config(with_limits(url), config);
        let pool = Pool::builder(manager)
            .max_size(connections)
            .wait_timeout(Some(POOL_WAIT))
            .create_timeout(Some(Duration::from_secs(3)))
            .runtime(deadpool::Runtime::Tokio1)
            .build()
            .map_err(Error::internal)?;
        Ok(Self { pool, bell: None })
    }

    /// The same, ringing this bell after each commit that moved a fleet's head.
    #[must_use]
    pub fn ringing(self, bell: Bell) -> Self {
        Self { bell: Some(bell), ..self }
    }

    /// Reads in one snapshot-free, read-only transaction of the fleet.
    ///
    /// # Errors
    /// Those of `work`; [`Error::Unavailable`] when the database cannot be reached in time.
    pub async fn read<T>(
        &self,
        fleet: FleetId,
        work: impl AsyncFnOnce(&mut Tx) -> Result<T, Error>,
    ) -> Result<T, Error> {
        self.read_begun(fleet, "begin read only", work).await
    }

    async fn read_begun<T>(
        &self,
        fleet: FleetId,
        begin: &str,
        work: impl AsyncFnOnce(&mut Tx) -> Result<T, Error>,
    ) -> Result<T, Error> {
        let reading = async {
            let mut tx = self.begin(fleet, begin).await?;
            let answer = work(&mut tx).await;
            let ended = AnsiTransactionManager::rollback_transaction(&mut *tx.conn).await;
            let answer = answer?;
            ended.map_err(Error::from)?;
            Ok(answer)
        };
        limited(reading).await
    }

    /// Reads in one snapshot: what several statements answer belongs to one instant.
    ///
    /// # Errors
    /// Those of `work`; [`Error::Unavailable`] when the database cannot be reached in time.
    pub async fn read_snapshot<T>(
        &self,
        fleet: FleetId,
        work: impl AsyncFnOnce(&mut Tx) -> Result<T, Error>,
    ) -> Result<T, Error> {
        self.read_begun(fleet, "begin isolation level repeatable read read only", work).await
    }

    /// Reads a whole history in one snapshot, however long it takes. For an operator's commands only:
    /// of a server's limits, only the one on locks holds here.
    ///
    /// # Errors
    /// Those of `work`; [`Error::Unavailable`] when the database cannot be reached in time.
    pub async fn read_long<T>(
        &self,
        fleet: FleetId,
        work: impl AsyncFnOnce(&mut Tx) -> Result<T, Error>,
    ) -> Result<T, Error> {
        const BEGIN: &str = "begin isolation level repeatable read read only; set local statement_timeout = 0; \
                             set local idle_in_transaction_session_timeout = 0";
        let mut tx = self.begin(fleet, BEGIN).await?;
        let answer = work(&mut tx).await;
        let _ = AnsiTransactionManager::rollback_transaction(&mut *tx.conn).await;
        answer
    }

    /// Writes in one transaction of the fleet, and stamps the fleet's head last.
    ///
    /// Runs as a task of its own that the request only awaits: it reaches commit or rollback even
    /// when the client has gone. A transaction that lost a deadlock or a race is done again, so
    /// `work` may run several times and must touch nothing but the transaction.
    ///
    /// # Errors
    /// Those of `work`; [`Error::Unavailable`] when the database cannot be reached in time.
    pub async fn write<T: 'static>(
        &self,
        name: &'static str,
        fleet: FleetId,
        work: impl AsyncFn(&mut Tx) -> Result<T, Error> + 'static,
    ) -> Result<T, Error> {
        let db = self.clone();
        let task = tokio::task::spawn_local(async move {
            let mut tried = 0;
            loop {
                tried += 1;
                match limited(db.write_once(fleet, &work)).await {
                    Err(Error::Retry(why)) if tried < TRIES => {
                        tracing::debug!(name, tried, why, "transaction is done again");
                        let pause = rand::random_range(1..=10_u64) << tried;
                        tokio::time::sleep(Duration::from_millis(pause)).await;
                    }
                    Err(Error::Retry(why)) => return Err(Error::Unavailable { why, retry_after_s: 1 }),
                    other => return other,
                }
            }
        });
        task.await.map_err(|gone| Error::internal(format!("{name}: {gone}")))?
    }

    async fn write_once<T>(
        &self,
        fleet: FleetId,
        work: &impl AsyncFn(&mut Tx) -> Result<T, Error>,
    ) -> Result<T, Error> {
        let mut tx = self.begin(fleet, "begin").await?;
        let done = match work(&mut tx).await {
            Ok(answer) => {
                let told = std::mem::take(&mut tx.trail);
                trail::stamp(&mut tx, told).await.map(|head| (answer, head))
            }
            Err(error) => Err(error),
        };
        match done {
            Ok((answer, head)) => {
                AnsiTransactionManager::commit_transaction(&mut *tx.conn).await.map_err(Error::from)?;
                if let (Some(bell), Some(head)) = (&self.bell, head) {
                    bell.moved(fleet, head);
                }
                Ok(answer)
            }
            Err(error) => {
                // A failed rollback leaves the connection marked, and the pool throws it away.
                let _ = AnsiTransactionManager::rollback_transaction(&mut *tx.conn).await;
                Err(error)
            }
        }
    }

    /// A question outside any fleet: health, the log's end, a fleet by its handle, an operator's list of fleets.
    pub(super) async fn loan(&self) -> Result<Object<AsyncPgConnection>, Error> {
        self.pool.get().await.map_err(|error| Error::Unavailable { why: error.to_string(), retry_after_s: 2 })
    }

    async fn begin(&self, fleet: FleetId, begin: &str) -> Result<Tx, Error> {
        let mut conn = self.loan().await?;
        // One message for both; the setting ends with the transaction. An id is safe to write out.
        let sql = format!("{begin}; set local app.fleet = '{fleet}'");
        AnsiTransactionManager::begin_transaction_sql(&mut *conn, &sql).await.map_err(Error::from)?;
        Ok(Tx { conn, fleet, trail: Vec::new() })
    }
}

/// Every wait has a limit, also when Postgres itself stands still. The connection is dropped then.
pub(super) async fn limited<T>(work: impl Future<Output = Result<T, Error>>) -> Result<T, Error> {
    tokio::time::timeout(TRANSACTION_LIMIT, work).await.unwrap_or_else(|_| {
        Err(Error::Unavailable { why: "transaction took too long".into(), retry_after_s: 5 })
    })
}

/// Limits on statements, locks and forgotten transactions, set as the connection is made. Statements here
/// are short: compiling one takes longer than running it.
pub(super) fn with_limits(url: &str) -> String {
    const LIMITS: &str = "-c statement_timeout=5000 -c lock_timeout=2000 \
                          -c idle_in_transaction_session_timeout=10000 -c timezone=UTC -c jit=off";
    if url.contains("://") {
        let options = LIMITS.replace(' ', "%20").replace('=', "%3D");
        let join = if url.contains('?') { '&' } else { '?' };
        format!("{url}{join}options={options}")
    } else {
        format!("{url} options='{LIMITS}'")
    }
}

impl From<DieselError> for Error {
    #[expect(
        clippy::wildcard_enum_match_arm,
        reason = "the library may add kinds; what nobody foresaw is our fault"
    )]
    fn from(error: DieselError) -> Self {
        match error {
            DieselError::NotFound => Self::NotFound,
            DieselError::DatabaseError(kind, ref info) => match kind {
                DatabaseErrorKind::SerializationFailure => Self::Retry(info.message().to_owned()),
                DatabaseErrorKind::UniqueViolation => {
                    Self::Duplicate(info.constraint_name().unwrap_or_default().to_owned())
                }
                DatabaseErrorKind::ClosedConnection => {
                    Self::Unavailable { why: info.message().to_owned(), retry_after_s: 2 }
                }
                // Postgres hung up in the middle of a question: the driver has no code to tell by.
                DatabaseErrorKind::UnableToSendCommand
                    if info.message().contains("connection closed")
                        || info.message().contains("communicating with the server") =>
                {
                    Self::Unavailable { why: info.message().to_owned(), retry_after_s: 2 }
                }
                // Deadlocks and timeouts have no kind of their own here.
                _ if info.message().contains("deadlock detected") => Self::Retry(info.message().to_owned()),
                _ if info.message().contains("timeout")
                    || info.message().contains("terminating connection") =>
                {
                    Self::Unavailable { why: info.message().to_owned(), retry_after_s: 2 }
                }
                _ => Self::internal(error),
            },
            DieselError::BrokenTransactionManager | DieselError::RollbackErrorOnCommit { .. } => {
                Self::Unavailable { why: error.to_string(), retry_after_s: 2 }
            }
            other => Self::internal(other),
        }
    }
}
