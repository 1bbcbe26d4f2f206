//! A throw-away Postgres cluster that nobody has to tidy up.
//!
//! A keeper process (`cluster-keeper`) starts Postgres and waits on the lock of a `lease` file. Every
//! test process holds that lock shared for as long as it lives, however it ends; when the last holder
//! is gone the keeper stops Postgres and removes the folder. Tests run side by side, in one process or
//! in many, therefore share one cluster, and a killed run leaves nothing behind.

use std::fs::{self, File};
use std::os::unix::fs::{PermissionsExt, chown};
use std::os::unix::process::CommandExt;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// The superuser of the clusters made here.
const SUPERUSER: &str = "keeper";
/// Postgres and its lock file name sockets after the port; nothing listens on it.
const PORT: u16 = 5432;
/// Fast rather than durable: these clusters are never kept.
const SHARED_SETTINGS: &[&str] = &[
    "fsync=off",
    "full_page_writes=off",
    "max_connections=300",
    "shared_buffers=64MB",
    "max_wal_size=256MB",
];

/// A running cluster, held for as long as this value lives.
#[derive(Debug)]
pub struct Cluster {
    /// How its superuser reaches the database `postgres`, in keyword form.
    pub admin_url: String,
    folder: Option<PathBuf>,
    _lease: Option<File>,
}

impl Cluster {
    /// The cluster of this run: `DROPWISE_TEST_DATABASE_URL` when set (a superuser of a server whose
    /// contents do not matter), else a private one shared by every test of this checkout.
    #[must_use]
    pub fn shared() -> Self {
        if let Ok(url) = std::env::var("DROPWISE_TEST_DATABASE_URL") {
            return Self { admin_url: url, folder: None, _lease: None };
        }
        let checkout = env!("CARGO_MANIFEST_DIR");
        let folder =
            std::env::temp_dir().join(format!("dropwise-{}", crate::db::digest(&[checkout.as_bytes()])));
        let settings: Vec<String> = SHARED_SETTINGS.iter().map(|&s| s.to_owned()).collect();
        Self::keep(&folder, Duration::from_secs(4), &settings)
    }

    /// A cluster of one test's own, with its own settings, gone when the value is dropped.
    #[must_use]
    pub fn own(settings: &[&str]) -> Self {
        let name = format!("dropwise-own-{}", &uuid::Uuid::new_v4().simple().to_string()[..12]);
        let settings: Vec<String> = settings.iter().map(|&s| s.to_owned()).collect();
        Self::keep(&std::env::temp_dir().join(name), Duration::ZERO, &settings)
    }

    /// The process id of its Postgres.
    #[must_use]
    pub fn postmaster(&self) -> u32 {
        let folder = self.folder.as_ref().expect("a cluster given by URL is not ours to signal");
        let text = fs::read_to_string(folder.join("data/postmaster.pid")).expect("postmaster.pid");
        text.lines().next().and_then(|line| line.trim().parse().ok()).expect("a process id")
    }

    fn keep(folder: &Path, linger: Duration, settings: &[String]) -> Self {
        fs::create_dir_all(folder).expect("a folder for the cluster");
        let lease = File::create(folder.join("lease")).expect("a lease file");
        lease.lock_shared().expect("a share of the lease");
        let starting = File::create(folder.join("starting")).expect("a lock file");
        starting.lock().expect("the turn to start the cluster");
        if !answers(folder) {
            let _ = fs::remove_file(folder.join("ready"));
            let _ = fs::remove_file(folder.join("failed"));
            start_keeper(folder, linger, settings);
            wait_until_ready(folder);
        }
        Self { admin_url: admin_url(folder), folder: Some(folder.to_owned()), _lease: Some(lease) }
    }
}

fn admin_url(folder: &Path) -> String {
    format!("host={} port={PORT} user={SUPERUSER} dbname=postgres", folder.join("socket").display())
}

fn answers(folder: &Path) -> bool {
    folder.join("ready").exists() && postgres::Client::connect(&admin_url(folder), postgres::NoTls).is_ok()
}

fn wait_until_ready(folder: &Path) {
    let until = Instant::now() + Duration::from_secs(60);
    while !folder.join("ready").exists() {
        if let Ok(why) = fs::read_to_string(folder.join("failed")) {
            panic!("no private Postgres: {why}");
        }
        assert!(Instant::now() < until, "the private Postgres did not come up in {}", folder.display());
        std::thread::sleep(Duration::from_millis(20));
    }
}

/// The keeper lies beside the folder of this test binary: cargo builds both in one go.
fn start_keeper(folder: &Path, linger: Duration, settings: &[String]) {
    let here = std::env::current_exe().expect("the path of this test");
    let keeper = here
        .ancestors()
        .skip(1)
        .take(2)
        .map(|dir| dir.join("cluster-keeper"))
        .find(|path| path.exists())
        .expect("cluster-keeper beside the tests: run them with cargo test or cargo nextest run");
    #[expect(clippy::zombie_processes, reason = "the keeper is meant to outlive whoever starts it")]
    Command::new(keeper)
        .arg(folder)
        .arg(linger.as_millis().to_string())
        .args(settings)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .process_group(0)
        .spawn()
        .expect("a keeper process");
}

/// The keeper's whole life. Called by the program of that name only.
///
/// # Errors
/// A sentence when Postgres cannot be started; also left in the folder as `failed`.
pub fn keeper(folder: &Path, linger: Duration, settings: &[String]) -> Result<(), String> {
    let mut postgres = match start_postgres(folder, settings) {
        Ok(child) => child,
        Err(why) => {
            fs::write(folder.join("failed"), &why).map_err(|error| error.to_string())?;
            return Err(why);
        }
    };
    let lease = File::open(folder.join("lease")).map_err(|error| error.to_string())?;
    loop {
        lease.lock().map_err(|error| error.to_string())?;
        if linger.is_zero() {
            break;
        }
        // Between two test processes nobody may hold a share for a moment.
        lease.unlock().map_err(|error| error.to_string())?;
        std::thread::sleep(linger);
        if lease.try_lock().is_ok() {
            break;
        }
    }
    let _ = fs::remove_file(folder.join("ready"));
    stop(&mut postgres);
    for part in ["data", "socket"] {
        let _ = fs::remove_dir_all(folder.join(part));
    }
    if linger.is_zero() {
        let _ = fs::remove_dir_all(folder);
    }
    Ok(())
}

fn start_postgres(folder: &Path, settings: &[String]) -> Result<Child, String> {
    let tools = tools()?;
    let user = unprivileged_user();
    let (data, socket) = (folder.join("data"), folder.join("socket"));
    for path in [&data, &socket] {
        let _ = fs::remove_dir_all(path);
        fs::create_dir_all(path).map_err(|e| e.to_string())?;
        fs::set_permissions(path, fs::Permissions::from_mode(0o700)).map_err(|e| e.to_string())?;
        if let Some((uid, gid)) = user {
            chown(path, Some(uid), Some(gid)).map_err(|e| e.to_string())?;
        }
    }
    // Whoever runs the tests must be able to reach the socket; the data stay closed.
    fs::set_permissions(&socket, fs::Permissions::from_mode(0o755)).map_err(|e| e.to_string())?;
    let log = File::create(folder.join("log")).map_err(|e| e.to_string())?;
    let copy = || log.try_clone().map_err(|e| e.to_string());
    let made = as_user(&tools.join("initdb"), user)
        .args(["-U", SUPERUSER, "-A", "trust", "-E", "UTF8", "--no-locale", "--no-sync", "--no-instructions"])
        .arg("-D")
        .arg(&data)
        .stdout(copy()?)
        .stderr(copy()?)
        .status()
        .map_err(|e| e.to_string())?;
    if !made.success() {
        return Err(format!("initdb: {}", fs::read_to_string(folder.join("log")).unwrap_or_default()));
    }
    let mut command = as_user(&tools.join("postgres"), user);
    command.arg("-D").arg(&data).arg("-k").arg(&socket).args(["-p", &PORT.to_string()]);
    command.args(["-c", "listen_addresses=", "-c", "log_min_messages=warning"]);
    for setting in settings {
        command.args(["-c", setting]);
    }
    let mut child = command.stdout(copy()?).stderr(copy()?).spawn().map_err(|e| e.to_string())?;
    let until = Instant::now() + Duration::from_secs(45);
    loop {
        if postgres::Client::connect(&admin_url(folder), postgres::NoTls).is_ok() {
            break;
        }
        if child.try_wait().map_err(|e| e.to_string())?.is_some() || Instant::now() > until {
            let _ = child.kill();
            return Err(format!("postgres: {}", fs::read_to_string(folder.join("log")).unwrap_or_default()));
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    fs::write(folder.join("ready"), admin_url(folder)).map_err(|e| e.to_string())?;
    Ok(child)
}

/// Postgres' "fast" stop, and the hard one when it does not listen.
fn stop(postgres: &mut Child) {
    crate::process::signal(postgres.id(), "INT");
    let until = Instant::now() + Duration::from_secs(10);
    while Instant::now() < until {
        if matches!(postgres.try_wait(), Ok(Some(_))) {
            return;
        }
        std::thread::sleep(Duration::from_millis(20));
    }
    let _ = postgres.kill();
    let _ = postgres.wait();
}

fn as_user(program: &Path, user: Option<(u32, u32)>) -> Command {
    let mut command = Command::new(program);
    command.env_clear().current_dir("/").process_group(0).stdin(Stdio::null());
    if let Some((uid, gid)) = user {
        command.gid(gid).uid(uid);
    }
    command
}

/// Postgres refuses to run as root: then it runs as `postgres`, else as `nobody`.
fn unprivileged_user() -> Option<(u32, u32)> {
    let me = std::os::unix::fs::MetadataExt::uid(&fs::metadata("/proc/self").ok()?);
    if me != 0 {
        return None;
    }
    let users = fs::read_to_string("/etc/passwd").ok()?;
    ["postgres", "nobody"].iter().find_map(|name| {
        let line = users.lines().find(|line| line.split(':').next() == Some(name))?;
        let mut fields = line.split(':').skip(2);
        Some((fields.next()?.parse().ok()?, fields.next()?.parse().ok()?))
    })
}

/// The folder of Postgres' programs: `DROPWISE_POSTGRES_BIN`, else Debian's newest, else the path.
///
/// # Errors
/// A sentence that says what to install.
pub fn tools() -> Result<PathBuf, String> {
    if let Ok(dir) = std::env::var("DROPWISE_POSTGRES_BIN") {
        return Ok(dir.into());
    }
    let version =
        |path: &PathBuf| path.file_name().and_then(|n| n.to_str()).and_then(|n| n.parse::<u32>().ok());
    let debian = fs::read_dir("/usr/lib/postgresql").ok().and_then(|entries| {
        entries
            .filter_map(Result::ok)
            .map(|entry| entry.path())
            .filter(|p| version(p).is_some())
            .max_by_key(version)
    });
    let on_path = std::env::var_os("PATH")
        .and_then(|paths| std::env::split_paths(&paths).find(|dir| dir.join("initdb").exists()));
    debian
        .map(|dir| dir.join("bin"))
        .filter(|dir| dir.join("initdb").exists())
        .or(on_path)
        .ok_or_else(|| "install Postgres (initdb, postgres), or set DROPWISE_POSTGRES_BIN".to_owned())
}
