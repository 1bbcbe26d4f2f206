//! The command line: serve, migrate, and the rest. Decides nothing itself.

mod cli;

use clap::{Parser, Subcommand};
use dropwise::auth::Keys;
use dropwise::auth::password::Hasher;
use dropwise::clock::Clock;
use dropwise::config::ServerConfig;
use dropwise::server::{self, Parts};
use dropwise::store::migrate;
use secrecy::{ExposeSecret, SecretString};
use std::net::TcpListener;
use std::process::ExitCode;

#[derive(Parser)]
#[command(name = "dropwise", about = "The books of mobile detailing fleets, drop by drop.")]
struct Arguments {
    #[command(subcommand)]
    task: Task,
}

#[derive(Subcommand)]
enum Task {
    /// Serve the API until told to stop.
    Serve(ServerConfig),
    /// Bring the database up to this version, and admit the server's role.
    Migrate {
        /// The database, as the tables' owner.
        #[arg(long, env = "DROPWISE_OWNER_DATABASE_URL", hide_env_values = true, hide = true)]
        owner_database_url: SecretString,
        /// The database, as the server's own role.
        #[arg(long, env = "DROPWISE_DATABASE_URL", hide_env_values = true, hide = true)]
        database_url: Option<SecretString>,
    },
    /// Create a fleet with its owner, whose password is read from `DROPWISE_OWNER_PASSWORD` or standard input.
    Fleet(cli::fleet::FleetArguments),
    /// Check that the books of a fleet hold: kept figures, their lines, and a rebuild from the entries.
    Audit(cli::audit::AuditArguments),
    /// Say which history each fleet's phones read, or begin or keep one after the database was moved.
    Era(cli::era::EraArguments),
    /// Note up to when a verified backup covers the database, so that phones may forget what it holds.
    BackupVerified(cli::backup::BackupArguments),
    /// Take away the tombstones that have stood long enough, of every fleet.
    Sweep(cli::sweep::SweepArguments),
    /// Look after the files of fleets.
    Files(cli::files::FilesArguments),
    /// Work one computation out: JSON inputs on standard input, the result on standard output.
    Worksheet(cli::worksheet::WorksheetArguments),
    /// Fill in the demo fleet: a made-up year, booked through the same doors as a real one.
    Demo(cli::demo::DemoArguments),
    /// Print the API document.
    Openapi,
}

fn main() -> ExitCode {
    let arguments = Arguments::parse();
    let done = match arguments.task {
        Task::Worksheet(arguments) => return cli::worksheet::run(&arguments),
        Task::Audit(arguments) => cli::audit::run(&arguments),
        Task::Files(arguments) => cli::files::run(&arguments),
        Task::Serve(config) => serve(&config),
        Task::Era(arguments) => cli::era::run(&arguments),
        Task::BackupVerified(arguments) => cli::backup::note(&arguments),
        Task::Sweep(arguments) => cli::sweep::run(&arguments),
        Task::Migrate { owner_database_url, database_url } => {
            migrate(&owner_database_url, database_url.as_ref())
        }
        Task::Fleet(arguments) => cli::fleet::create(arguments),
        Task::Demo(arguments) => cli::demo::fill(arguments),
        Task::Openapi => {
            dropwise::openapi::document().map(|text| print!("{text}")).map_err(|e| e.to_string())
        }
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("dropwise: {why}");
            ExitCode::FAILURE
        }
    }
}

fn serve(config: &ServerConfig) -> Result<(), String> {
    log_to_stderr(config.log_json);
    let keys = Keys::open(&config.keys_dir).map_err(|error| format!("the keys cannot be used: {error}"))?;
    let cores = std::thread::available_parallelism().map_or(1, usize::from);
    let hasher =
        Hasher::new(config.hashing, cores).map_err(|_| "the hashing settings do not fit".to_owned())?;
    let listener = TcpListener::bind(config.listen).map_err(|error| {
        format!("cannot listen on {}: {error}. Set DROPWISE_LISTEN to a free address.", config.listen)
    })?;
    let files = config.files.open().map_err(|error| format!("files cannot be kept: {error}"))?;
    let parts = Parts {
        database_url: config.database_url.expose_secret().to_owned(),
        workers: config.workers.max(1),
        keys: actix_web::web::Data::new(keys),
        hasher,
        clock: Clock::system(),
        files,
        throttle: config.throttle,
        sync: config.sync.clone(),
        phones: config.phones.clone(),
    };
    actix_web::rt::System::new().block_on(async move {
        migrate::check_durability(&parts.database_url).await.map_err(|error| error.to_string())?;
        eprintln!("dropwise: serving on http://{}/ (documentation: /docs/)", config.listen);
        server::serve(parts, listener).map_err(|error| error.to_string())?.await.map_err(|e| e.to_string())
    })
}

fn migrate(owner_url: &SecretString, server_url: Option<&SecretString>) -> Result<(), String> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()
        .map_err(|error| error.to_string())?;
    runtime.block_on(async {
        let owner_url = owner_url.expose_secret();
        let done = migrate::up(owner_url).await.map_err(|error| error.to_string())?;
        if let Some(server_url) = server_url {
            migrate::admit_server(owner_url, server_url.expose_secret()).await.map_err(|e| e.to_string())?;
        }
        eprintln!("dropwise: the database is up to date ({done} steps run)");
        Ok(())
    })
}

fn log_to_stderr(json: bool) {
    use tracing_subscriber::{EnvFilter, fmt};
    let filter = EnvFilter::try_from_env("DROPWISE_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    let to = fmt().with_env_filter(filter).with_writer(std::io::stderr);
    if json {
        to.json().init();
    } else {
        to.init();
    }
}
