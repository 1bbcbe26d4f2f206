//! Brings a database up to this binary's schema, as the tables' owner.

use crate::error::Error;
use diesel_async::{
    AsyncConnection, AsyncMigrationHarness, AsyncPgConnection, RunQueryDsl, SimpleAsyncConnection,
};
use diesel_migrations::{EmbeddedMigrations, MigrationHarness, embed_migrations};
use std::str::FromStr;

const MIGRATIONS: EmbeddedMigrations = embed_migrations!("../migrations");
/// The role the server connects as. It owns nothing and passes no wall.
pub const SERVER_ROLE: &str = "dropwise_server";
/// An arbitrary number that two starters agree on.
const LOCK: i64 = 4_871_155_302;

/// Runs what is pending and answers how many steps that were. Two starters take turns.
///
/// Must be called on a multi-thread runtime.
///
/// # Errors
/// When the database cannot be reached or a step fails.
pub async fn up(owner_url: &str) -> Result<usize, Error> {
    let mut conn = connect(owner_url).await?;
    conn.batch_execute(&format!("select pg_advisory_lock({LOCK})")).await?;
    let mut harness = AsyncMigrationHarness::new(conn);
    let done = harness.run_pending_migrations(MIGRATIONS).map_err(Error::internal)?.len();
    let mut conn = harness.into_inner();
    conn.batch_execute(&format!("select pg_advisory_unlock({LOCK})")).await?;
    Ok(done)
}

/// Takes every step back. Only for tests of the steps themselves.
///
/// # Errors
/// When a step fails.
pub async fn down(owner_url: &str) -> Result<(), Error> {
    let mut harness = AsyncMigrationHarness::new(connect(owner_url).await?);
    harness.revert_all_migrations(MIGRATIONS).map_err(Error::internal)?;
    Ok(())
}

/// Lets the server's role sign in with the password in its URL, when that URL names it.
///
/// # Errors
/// When the URL cannot be read or the role may not be changed.
pub async fn admit_server(owner_url: &str, server_url: &str) -> Result<(), Error> {
    let config = tokio_postgres::Config::from_str(server_url)
        .map_err(|_| Error::internal("the server's database URL cannot be read"))?;
    if config.get_user() != Some(SERVER_ROLE) {
        return Err(Error::internal(format!("the server must connect as the role {SERVER_ROLE}")));
    }
    let password = config.get_password().map_or_else(
        || " password null".to_owned(),
        |bytes| format!(" password '{}'", String::from_utf8_lossy(bytes).replace('\'', "''")),
    );
    let mut conn = connect(owner_url).await?;
    // `log_statement` would write the password down.
    let sql = format!("set log_statement = 'none'; alter role {SERVER_ROLE} login{password}");
    conn.batch_execute(&sql).await.map_err(|_| Error::internal("the server's role could not be admitted"))
}

/// What this database must never have switched off: an acknowledged entry would be lost in a crash.
///
/// # Errors
/// A sentence naming the setting.
pub async fn check_durability(url: &str) -> Result<(), Error> {
    let mut conn = connect(url).await?;
    for (setting, wanted) in [
        ("fsync", "on"),
        ("full_page_writes", "on"),
        ("synchronous_commit", "on"),
        ("data_sync_retry", "off"),
    ] {
        let found: String = diesel::select(current_setting(setting)).get_result(&mut conn).await?;
        let stricter =
            setting == "synchronous_commit" && matches!(found.as_str(), "remote_write" | "remote_apply");
        if found != wanted && !stricter {
            return Err(Error::internal(format!(
                "the database has {setting} = {found}; it must be {wanted}"
            )));
        }
    }
    let sums: String = diesel::select(current_setting("data_checksums")).get_result(&mut conn).await?;
    if sums != "on" {
        tracing::warn!("the database has no data checksums: a damaged page would go unnoticed");
    }
    let number: String = diesel::select(current_setting("server_version_num")).get_result(&mut conn).await?;
    if number.parse().is_ok_and(is_behind) {
        tracing::warn!(
            number,
            "this Postgres lacks a security fix (CVE-2025-8713): update to its newest minor version"
        );
    }
    Ok(())
}

/// Whether a server version is older than the minor release that mended CVE-2025-8713: 15.14, 16.10, 17.6.
const fn is_behind(number: u32) -> bool {
    let (major, minor) = (number / 10_000, number % 10_000);
    match major {
        0..=14 => true,
        15 => minor < 14,
        16 => minor < 10,
        17 => minor < 6,
        _ => false,
    }
}

#[diesel::declare_sql_function]
extern "SQL" {
    /// A setting of the server.
    fn current_setting(name: diesel::sql_types::Text) -> diesel::sql_types::Text;
}

async fn connect(url: &str) -> Result<AsyncPgConnection, Error> {
    AsyncPgConnection::establish(url)
        .await
        .map_err(|error| Error::Unavailable { why: error.to_string(), retry_after_s: 2 })
}

#[cfg(test)]
mod tests {
    use super::is_behind;

    #[test]
    fn only_servers_with_the_fix_pass_without_a_word() {
        // The minor releases of 14 August 2025, as the CVE's announcement lists them.
        assert!([130_022, 150_013, 160_009, 170_005].into_iter().all(is_behind));
        assert!(![150_014, 150_018, 160_010, 170_006, 180_000].into_iter().any(is_behind));
    }
}
