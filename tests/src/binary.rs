//! The binary itself, as a process of its own: for what only a whole process can show.

use crate::process::signal;
use std::fs::File;
use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::OnceLock;
use std::time::{Duration, Instant};

/// The binary, built from these sources unless `DROPWISE_BINARY` names another. A copy: another checkout
/// may share the build folder.
#[must_use]
pub fn dropwise() -> PathBuf {
    if let Some(given) = std::env::var_os("DROPWISE_BINARY") {
        return given.into();
    }
    static BUILT: OnceLock<(tempfile::TempDir, PathBuf)> = OnceLock::new();
    let build = || {
        let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
        let out = Command::new(cargo)
            .args(["build", "--quiet", "-p", "dropwise", "--bin", "dropwise", "--message-format=json"])
            .current_dir(env!("CARGO_MANIFEST_DIR"))
            .stderr(Stdio::inherit())
            .output()
            .expect("cargo");
        assert!(out.status.success(), "the binary does not build");
        let built = String::from_utf8_lossy(&out.stdout)
            .lines()
            .filter_map(|line| serde_json::from_str::<serde_json::Value>(line).ok())
            .find_map(|message| Some(PathBuf::from(message["executable"].as_str()?)))
            .expect("cargo names the executable");
        let folder = tempfile::tempdir().expect("a folder");
        let copy = folder.path().join("dropwise");
        std::fs::copy(built, &copy).expect("a copy");
        (folder, copy)
    };
    BUILT.get_or_init(build).1.clone()
}

/// `dropwise serve` on a free port; killed when dropped.
#[derive(Debug)]
pub struct Serving {
    /// Where it listens.
    pub address: SocketAddr,
    child: Child,
    folder: tempfile::TempDir,
    server_url: String,
    settings: Vec<(String, String)>,
}

impl Serving {
    /// Starts it; does not wait until it answers. `settings` are further environment variables.
    #[must_use]
    pub fn start(server_url: &str, settings: &[(&str, &str)]) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let free = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let address = free.local_addr().expect("its address");
        drop(free);
        let settings: Vec<(String, String)> =
            settings.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
        let child = spawn(folder.path(), address, server_url, &settings);
        Self { address, child, folder, server_url: server_url.to_owned(), settings }
    }

    /// Kills it on the spot, whatever it is doing, and starts it again where it was, with its keys.
    pub fn kill_and_start_again(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        self.child = spawn(self.folder.path(), self.address, &self.server_url, &self.settings);
    }

    /// Waits until it is ready to work.
    ///
    /// # Errors
    /// What it said when it ended instead.
    pub fn wait_until_ready(&mut self) -> Result<(), String> {
        let until = Instant::now() + Duration::from_secs(20);
        let client = crate::Client::new(self.address);
        while Instant::now() < until {
            if let Some(status) = self.child.try_wait().expect("its state") {
                return Err(format!("{status}: {}", self.said()));
            }
            if client.try_send("GET", "/health/ready", &[], None).is_ok_and(|answer| answer.status == 200) {
                return Ok(());
            }
            std::thread::sleep(Duration::from_millis(20));
        }
        Err(format!("not ready in time: {}", self.said()))
    }

    /// How much memory it holds, in MiB.
    #[must_use]
    pub fn resident_mib(&self) -> f64 {
        let status = std::fs::read_to_string(format!("/proc/{}/status", self.child.id())).unwrap_or_default();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:"));
        let kib = line.and_then(|line| line.split_whitespace().next()?.parse::<f64>().ok());
        kib.unwrap_or(f64::NAN) / 1024.0
    }

    /// The keys it made at its start, to sign in with.
    #[must_use]
    pub fn keys(&self) -> dropwise::auth::Keys {
        dropwise::auth::Keys::open(&self.folder.path().join("keys")).expect("its keys")
    }

    /// The folder its files lie in, unless a setting named another.
    #[must_use]
    pub fn files(&self) -> PathBuf {
        self.folder.path().join("files")
    }

    /// Everything it has said so far.
    #[must_use]
    pub fn said(&self) -> String {
        std::fs::read_to_string(self.folder.path().join("log")).unwrap_or_default()
    }

    /// Its process id.
    #[must_use]
    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// Sends it a signal.
    pub fn signal(&self, name: &str) {
        signal(self.child.id(), name);
    }

    /// Waits for its end; `None` when it did not end in time.
    #[must_use]
    pub fn wait_for_end(&mut self, patience: Duration) -> Option<(ExitStatus, Duration)> {
        let start = Instant::now();
        while start.elapsed() < patience {
            if let Some(status) = self.child.try_wait().expect("its state") {
                return Some((status, start.elapsed()));
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        None
    }
}

fn spawn(folder: &Path, address: SocketAddr, server_url: &str, settings: &[(String, String)]) -> Child {
    let log = File::options().create(true).append(true).open(folder.join("log")).expect("a log");
    Command::new(dropwise())
        .arg("serve")
        .env_clear()
        .env("DROPWISE_DATABASE_URL", server_url)
        .env("DROPWISE_LISTEN", address.to_string())
        .env("DROPWISE_KEYS_DIR", folder.join("keys"))
        .env("DROPWISE_FILES", folder.join("files"))
        .envs(settings.iter().map(|(name, value)| (name, value)))
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(log)
        .spawn()
        .expect("a process")
}

impl Drop for Serving {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}
