//! Start-up without decisions: the parts put together, the server run until it is told to stop.

use crate::auth::Keys;
use crate::auth::password::Hasher;
use crate::clock::Clock;
use crate::config::{PhonesConfig, SyncConfig, ThrottleConfig};
use crate::error::Error;
use crate::flows::files::Cabinet;
use crate::http::device::gate::Gate;
use crate::http::device::lanes::Lanes;
use crate::http::extract::{MinimumApp, Sessions};
use crate::http::throttle::Throttle;
use crate::store::{Bell, CONNECTIONS_PER_WORKER, Db, Seats};
use crate::sync::safe::Standby;
use crate::sync::sweeping::Sweeps;
use crate::{http, openapi};
use actix_web::middleware::{DefaultHeaders, from_fn};
use actix_web::web::Data;
use actix_web::{App, HttpResponse, HttpServer, get, web};
use std::net::TcpListener;
use std::time::Duration;
use tracing_actix_web::TracingLogger;
use utoipa_actix_web::AppExt;

/// What a server is made of.
#[derive(Clone)]
pub struct Parts {
    /// The database, as the server's own role.
    pub database_url: String,
    /// Worker threads.
    pub workers: usize,
    /// Signing keys.
    pub keys: Data<Keys>,
    /// Password hasher, shared by all workers.
    pub hasher: Hasher,
    /// The time.
    pub clock: Clock,
    /// Where files are kept.
    pub files: Cabinet,
    /// How often signing in may be tried.
    pub throttle: ThrottleConfig,
    /// How phones and server stay together.
    pub sync: SyncConfig,
    /// How phones are served.
    pub phones: PhonesConfig,
}

impl std::fmt::Debug for Parts {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Parts({} workers)", self.workers)
    }
}

/// The document, handed out as it was built.
struct Document(String);

#[get("/openapi.json")]
async fn read_document(document: Data<Document>) -> HttpResponse {
    HttpResponse::Ok().content_type("application/json").body(document.0.clone())
}

/// A server on `listener`; await it to serve, `handle()` it to stop.
///
/// # Errors
/// When the listener cannot be used.
pub fn serve(parts: Parts, listener: TcpListener) -> Result<actix_web::dev::Server, Error> {
    let sessions = Data::new(Sessions::default());
    let throttle = Data::new(Throttle::new(parts.throttle));
    let document = Data::new(Document(openapi::document().map_err(Error::internal)?));
    let sync = Data::new(parts.sync.clone());
    let sweeps = Data::new(Sweeps::default());
    let standby = Data::new(Standby::named(parts.sync.standby.clone()));
    watch(&parts, &standby)?;
    let lanes = Data::new(Lanes::new(parts.phones.handovers_per_lane_per_min));
    let minimum_app = Data::new(MinimumApp(parts.phones.minimum_app.clone()));
    let bell = Bell::new(Seats { all: parts.phones.signals, per_fleet: parts.phones.signals_per_fleet });
    actix_web::rt::spawn(bell.clone().carry(parts.database_url.clone()));
    actix_web::rt::spawn(close_when_told_to_stop(bell.clone()));
    let workers = parts.workers;
    let server = HttpServer::new(move || {
        // Each worker has connections of its own: they belong to the thread that opened them.
        let db = Db::open(&parts.database_url, CONNECTIONS_PER_WORKER).map(|db| db.ringing(bell.clone()));
        let (app, api) =
            App::new().into_utoipa_app().openapi(openapi::head()).configure(http::routes).split_for_parts();
        let app = app
            .configure(http::refusals)
            .app_data(parts.keys.clone())
            .app_data(Data::new(parts.hasher.clone()))
            .app_data(Data::new(parts.clock.clone()))
            .app_data(sessions.clone())
            .app_data(throttle.clone())
            .app_data(lanes.clone())
            .app_data(minimum_app.clone())
            .app_data(Data::new(bell.clone()))
            .app_data(Data::new(Gate::default()))
            .app_data(Data::new(parts.files.clone()))
            .app_data(document.clone())
            .app_data(sync.clone())
            .app_data(sweeps.clone())
            .app_data(standby.clone())
            .service(read_document)
            .app_data(Data::new(http::unknown::Methods::of(&api)))
            .service(utoipa_swagger_ui::SwaggerUi::new("/docs/{_:.*}").url("/openapi.json", api))
            .default_service(web::to(http::unknown::answer))
            .wrap(from_fn(http::last_resort::answer))
            .wrap(
                DefaultHeaders::new()
                    .add(("X-Content-Type-Options", "nosniff"))
                    .add(("Cache-Control", "no-store"))
                    .add(("Referrer-Policy", "no-referrer")),
            )
            .wrap(TracingLogger::default());
        match db {
            Ok(db) => app.app_data(Data::new(db)),
            Err(error) => {
                tracing::error!(%error, "no pool of connections");
                app
            }
        }
    })
    .workers(workers)
    .max_connections(2_000)
    .keep_alive(Duration::from_secs(75))
    .client_request_timeout(Duration::from_secs(10))
    .client_disconnect_timeout(Duration::from_secs(5))
    .shutdown_timeout(30)
    .listen(listener)
    .map_err(Error::internal)?;
    Ok(server.run())
}

/// Keeps an eye on the standby, from a connection of its own, for as long as this system runs.
fn watch(parts: &Parts, standby: &Data<Standby>) -> Result<(), Error> {
    if parts.sync.standby.is_some() {
        let (db, clock, standby) = (Db::open(&parts.database_url, 1)?, parts.clock.clone(), standby.clone());
        actix_web::rt::spawn(async move { standby.watch(&db, &clock).await });
    }
    Ok(())
}

/// Ends the open streams when the process is told to stop: the server waits for its connections, and
/// these would last for minutes.
async fn close_when_told_to_stop(bell: Bell) {
    use tokio::signal::unix::{SignalKind, signal};
    let kinds = [SignalKind::terminate(), SignalKind::interrupt()].map(signal);
    let [Ok(mut terminate), Ok(mut interrupt)] = kinds else {
        tracing::error!("signals cannot be heard; open streams will hold up the end");
        return;
    };
    tokio::select! {
        _ = terminate.recv() => {}
        _ = interrupt.recv() => {}
    }
    bell.close();
}
