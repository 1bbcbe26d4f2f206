//! Every setting, read once at start from the environment and passed down typed. Secrets come by
//! file or environment, never as arguments, and have no default.

use crate::error::Error;
use crate::flows::files::{Cabinet, Quota};
use crate::http::limits::LIMITS;
use crate::store::blobs::Blobs;
use secrecy::SecretString;
use std::net::SocketAddr;
use std::num::NonZeroU32;
use std::path::PathBuf;

/// What the server needs to know before it starts.
#[derive(Debug, Clone, clap::Args)]
pub struct ServerConfig {
    /// The database, as the server's own role: `DROPWISE_DATABASE_URL`.
    #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
    pub database_url: SecretString,
    /// Where to listen.
    #[arg(long, env = "DROPWISE_LISTEN", default_value = "127.0.0.1:8080")]
    pub listen: SocketAddr,
    /// Where the keys lie; made on first start.
    #[arg(long, env = "DROPWISE_KEYS_DIR", default_value = ".dropwise/keys")]
    pub keys_dir: PathBuf,
    /// Worker threads, each with its own connections.
    #[arg(long, env = "DROPWISE_WORKERS", default_value_t = 2)]
    pub workers: usize,
    /// How passwords are hashed.
    #[command(flatten)]
    pub hashing: HashingConfig,
    /// How often signing in may be tried.
    #[command(flatten)]
    pub throttle: ThrottleConfig,
    /// How phones and server stay together.
    #[command(flatten)]
    pub sync: SyncConfig,
    /// How phones are served.
    #[command(flatten)]
    pub phones: PhonesConfig,
    /// Where files are kept, and how much room each fleet has.
    #[command(flatten)]
    pub files: FilesConfig,
    /// Log as JSON, one object per line.
    #[arg(long, env = "DROPWISE_LOG_JSON")]
    pub log_json: bool,
}

/// Where files are kept, and how much room each fleet has.
#[derive(Debug, Clone, PartialEq, Eq, clap::Args)]
pub struct FilesConfig {
    /// A folder, or the URL of a bucket such as `s3://bucket/fleets` in a build with the feature `s3`,
    /// whose keys and region come from `AWS_…`.
    #[arg(long = "files", env = "DROPWISE_FILES", default_value = ".dropwise/files")]
    pub location: String,
    /// Bytes of files per fleet, reserved ones included.
    #[arg(long = "files-quota-bytes", env = "DROPWISE_FILES_QUOTA_BYTES", default_value_t = 100 * 1024 * 1024 * 1024)]
    pub quota_bytes: u64,
    /// Files per fleet, reserved ones included.
    #[arg(long = "files-quota-count", env = "DROPWISE_FILES_QUOTA_COUNT", default_value_t = 500_000)]
    pub quota_count: u64,
}

impl FilesConfig {
    /// The cabinet these settings describe.
    ///
    /// # Errors
    /// When the store cannot be opened.
    pub fn open(&self) -> Result<Cabinet, Error> {
        let quota = Quota { bytes: self.quota_bytes, files: self.quota_count };
        Ok(Cabinet::new(Blobs::open(&self.location)?, quota))
    }
}

/// Argon2id parameters. Raising them rehashes each password at its next sign-in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::Args)]
pub struct HashingConfig {
    /// Memory in KiB; at least 19,456.
    #[arg(long, env = "DROPWISE_HASH_MEMORY_KIB", default_value_t = 19_456, value_parser = clap::value_parser!(u32).range(19_456..=1_048_576))]
    pub memory_kib: u32,
    /// Passes over the memory; at least 2.
    #[arg(long, env = "DROPWISE_HASH_PASSES", default_value_t = 2, value_parser = clap::value_parser!(u32).range(2..=16))]
    pub passes: u32,
}

impl Default for HashingConfig {
    fn default() -> Self {
        Self { memory_kib: 19_456, passes: 2 }
    }
}

/// How often signing in may be tried. Every try counts, right or wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::Args)]
pub struct ThrottleConfig {
    /// Tries per minute from one network address.
    #[arg(long, env = "DROPWISE_TRIES_PER_SOURCE_PER_MIN", default_value_t = NonZeroU32::MIN.saturating_add(119))]
    pub per_source_per_min: NonZeroU32,
    /// Tries per hour for one member, whether there is such a member or not.
    #[arg(long, env = "DROPWISE_TRIES_PER_MEMBER_PER_HOUR", default_value_t = NonZeroU32::MIN.saturating_add(19))]
    pub per_member_per_hour: NonZeroU32,
    /// Proxies in front that add to `X-Forwarded-For`; with 0 that header is not believed.
    #[arg(long, env = "DROPWISE_TRUSTED_PROXIES", default_value_t = 0)]
    pub trusted_proxies: u8,
}

impl Default for ThrottleConfig {
    fn default() -> Self {
        Self {
            per_source_per_min: NonZeroU32::MIN.saturating_add(119),
            per_member_per_hour: NonZeroU32::MIN.saturating_add(19),
            trusted_proxies: 0,
        }
    }
}

/// How phones and server stay together.
#[derive(Debug, Clone, PartialEq, Eq, clap::Args)]
pub struct SyncConfig {
    /// Days for which a phone may stay away and still be told what has left or was deleted; after that
    /// it takes a fresh copy.
    #[arg(long, env = "DROPWISE_TOMBSTONE_DAYS", default_value_t = 90, value_parser = clap::value_parser!(u16).range(1..=3650))]
    pub tombstone_days: u16,
    /// The standby whose copy makes entries safe, by the `application_name` it signs on with. The tables'
    /// owner must be allowed to see it: a superuser, or a member of `pg_read_all_stats`.
    #[arg(long, env = "DROPWISE_STANDBY")]
    pub standby: Option<String>,
}

impl Default for SyncConfig {
    fn default() -> Self {
        Self { tombstone_days: 90, standby: None }
    }
}

/// How phones are served.
#[derive(Debug, Clone, clap::Args)]
pub struct PhonesConfig {
    /// Phones of all fleets that may listen to the signal at once, in this process.
    #[arg(long, env = "DROPWISE_SIGNALS", default_value_t = 2_000)]
    pub signals: usize,
    /// Phones of one fleet that may listen to the signal at once, in this process.
    #[arg(long, env = "DROPWISE_SIGNALS_PER_FLEET", default_value_t = 500)]
    pub signals_per_fleet: usize,
    /// Handovers a minute of one lane: what is published as the limit, or more.
    #[arg(long, env = "DROPWISE_HANDOVERS_PER_LANE_PER_MIN", default_value_t = published_rate(),
        value_parser = at_least_the_published_rate)]
    pub handovers_per_lane_per_min: NonZeroU32,
    /// The oldest version of the app that may read; older ones may still hand over.
    #[arg(long, env = "DROPWISE_MINIMUM_APP")]
    pub minimum_app: Option<semver::Version>,
}

impl Default for PhonesConfig {
    fn default() -> Self {
        Self {
            signals: 2_000,
            signals_per_fleet: 500,
            handovers_per_lane_per_min: published_rate(),
            minimum_app: None,
        }
    }
}

fn published_rate() -> NonZeroU32 {
    NonZeroU32::new(LIMITS.handovers_per_lane_per_min).unwrap_or(NonZeroU32::MAX)
}

fn at_least_the_published_rate(text: &str) -> Result<NonZeroU32, String> {
    let published = published_rate();
    let rate: NonZeroU32 = text.parse().map_err(|error| format!("{error}"))?;
    if rate < published { Err(format!("phones are promised {published}")) } else { Ok(rate) }
}
