//! A database per test, cloned from one migrated template.

use crate::cluster::Cluster;
use dropwise::store::migrate;
use postgres::NoTls;
use sha2::{Digest, Sha256};
use std::path::Path;
use std::str::FromStr;
use std::sync::OnceLock;

/// What the server's role signs in with here.
const PASSWORD: &str = "only-for-throw-away-clusters";
/// Two processes must not make the template at once.
const TEMPLATE_LOCK: i64 = 7_310_544_902;

/// A fresh, migrated database; gone when dropped.
#[derive(Debug)]
pub struct TestDb {
    name: String,
    admin_url: String,
}

impl TestDb {
    /// A new database on the cluster of this run.
    #[must_use]
    pub fn fresh() -> Self {
        static SHARED: OnceLock<(Cluster, String)> = OnceLock::new();
        let (cluster, template) = SHARED.get_or_init(|| {
            let cluster = Cluster::shared();
            let template = ensure_template(&cluster.admin_url);
            (cluster, template)
        });
        Self::cloned(&cluster.admin_url, Some(template))
    }

    /// A new database on a cluster of the test's own, migrated from scratch.
    #[must_use]
    pub fn fresh_on(cluster: &Cluster) -> Self {
        Self::cloned(&cluster.admin_url, Some(&ensure_template(&cluster.admin_url)))
    }

    /// A new database without any tables.
    #[must_use]
    pub fn empty() -> Self {
        let with_tables = Self::fresh();
        Self::cloned(&with_tables.admin_url, None)
    }

    fn cloned(admin_url: &str, template: Option<&str>) -> Self {
        let name = format!("test_{}", uuid::Uuid::new_v4().simple());
        let from = template.map_or_else(String::new, |t| format!(" template {t}"));
        admin(admin_url).batch_execute(&format!("create database {name}{from}")).expect("a database");
        Self { name, admin_url: admin_url.to_owned() }
    }

    /// How the tables' owner reaches it, in keyword form.
    #[must_use]
    pub fn owner_url(&self) -> String {
        url(&self.admin_url, &self.name, None)
    }

    /// How the server's own role reaches it.
    #[must_use]
    pub fn server_url(&self) -> String {
        url(&self.admin_url, &self.name, Some((migrate::SERVER_ROLE, PASSWORD)))
    }

    /// A connection as the tables' owner, who is a superuser and passes every wall.
    #[must_use]
    pub fn as_owner(&self) -> postgres::Client {
        postgres::Client::connect(&self.owner_url(), NoTls).expect("a connection as the owner")
    }

    /// A connection as the server's role, which passes none.
    #[must_use]
    pub fn as_server(&self) -> postgres::Client {
        postgres::Client::connect(&self.server_url(), NoTls).expect("a connection as the server's role")
    }
}

impl Drop for TestDb {
    fn drop(&mut self) {
        // A cluster that is gone already has taken the database with it.
        if let Ok(mut admin) = postgres::Client::connect(&self.admin_url, NoTls) {
            let _ = admin.batch_execute(&format!("drop database if exists {} with (force)", self.name));
        }
    }
}

/// Runs something of the store on a runtime fit for migrations.
pub fn on_runtime<T>(work: impl Future<Output = T>) -> T {
    let runtime = tokio::runtime::Builder::new_multi_thread().worker_threads(2).enable_all().build();
    runtime.expect("a runtime").block_on(work)
}

fn admin(url: &str) -> postgres::Client {
    postgres::Client::connect(url, NoTls).expect("a superuser's connection: see DROPWISE_TEST_DATABASE_URL")
}

/// The template for this state of `migrations/`; made by whoever comes first, kept for later runs.
fn ensure_template(admin_url: &str) -> String {
    let template = format!("dropwise_template_{}", migrations_digest());
    let mut admin = admin(admin_url);
    admin.execute("select pg_advisory_lock($1)", &[&TEMPLATE_LOCK]).expect("the template's lock");
    let there = admin.query_opt("select from pg_database where datname = $1", &[&template]).expect("a look");
    if there.is_none() {
        // Under another name until it is whole: a run that dies here leaves no half-made template.
        let building = format!("{template}_building");
        admin
            .batch_execute(&format!("drop database if exists {building} with (force)"))
            .expect("a clean start");
        admin.batch_execute(&format!("create database {building}")).expect("a database");
        let owner_url = url(admin_url, &building, None);
        let server_url = url(admin_url, &building, Some((migrate::SERVER_ROLE, PASSWORD)));
        on_runtime(async {
            migrate::up(&owner_url).await.expect("migrations");
            migrate::admit_server(&owner_url, &server_url).await.expect("the server's role");
        });
        let kept = format!("alter database {building} rename to {template}");
        admin.batch_execute(&kept).expect("a template");
    }
    admin.execute("select pg_advisory_unlock($1)", &[&TEMPLATE_LOCK]).expect("the template's lock");
    template
}

fn migrations_digest() -> String {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../migrations");
    let mut steps: Vec<_> =
        std::fs::read_dir(root).expect("migrations/").map(|e| e.expect("an entry").path()).collect();
    steps.sort();
    let texts: Vec<Vec<u8>> = steps
        .iter()
        .filter(|p| p.is_dir())
        .map(|p| std::fs::read(p.join("up.sql")).expect("up.sql"))
        .collect();
    digest(&texts.iter().map(Vec::as_slice).collect::<Vec<_>>())
}

/// Twelve hexadecimal digits of the SHA-256 of all parts.
#[must_use]
pub fn digest(parts: &[&[u8]]) -> String {
    let mut hash = Sha256::new();
    for part in parts {
        hash.update(part);
        hash.update([0]);
    }
    hash.finalize().iter().take(6).map(|byte| format!("{byte:02x}")).collect()
}

/// The same server, another database and perhaps another user.
fn url(admin_url: &str, database: &str, user: Option<(&str, &str)>) -> String {
    let config = tokio_postgres::Config::from_str(admin_url).expect("DROPWISE_TEST_DATABASE_URL");
    let host = match config.get_hosts().first() {
        Some(tokio_postgres::config::Host::Tcp(name)) => name.clone(),
        Some(tokio_postgres::config::Host::Unix(path)) => path.display().to_string(),
        None => "localhost".to_owned(),
    };
    let port = config.get_ports().first().copied().unwrap_or(5432);
    let own = config.get_password().map(|bytes| String::from_utf8_lossy(bytes).into_owned());
    let (user, password) = match user {
        Some((user, password)) => (user.to_owned(), Some(password.to_owned())),
        None => (config.get_user().unwrap_or("postgres").to_owned(), own),
    };
    let password = password.map_or_else(String::new, |word| format!(" password='{word}'"));
    format!("host={host} port={port} dbname={database} user={user}{password}")
}
