//! Signing in, staying signed in, signing out, and one's own password.

use super::extract::{Body, Sessions, SignedIn};
use super::problem::Problems;
use super::secret::{Handout, Secret};
use super::throttle::Throttle;
use crate::auth::device_key::KeyProof;
use crate::auth::password::Hasher;
use crate::auth::refresh::RefreshToken;
use crate::auth::{Keys, Member, Role};
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::accounts::names::typed_handle;
use crate::flows::accounts::sign_in::{Entered, SignIn};
use crate::flows::accounts::{passwords, refresh, sign_in};
use crate::ids::{FleetId, MemberId};
use crate::store::Db;
use actix_web::http::StatusCode;
use actix_web::web::{Data, Json};
use actix_web::{HttpRequest, HttpResponse, Responder, delete, post, put};
use chrono::{DateTime, Utc};
use secrecy::ExposeSecret;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Who wants to enter.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewSession {
    /// The fleet's handle.
    #[schema(example = "harbour-shine", max_length = 1024)]
    pub fleet: String,
    /// The member's handle.
    #[schema(example = "rosa", max_length = 1024)]
    pub member: String,
    /// Their password.
    pub password: Secret,
}

/// What was handed out last.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct Renewal {
    /// The refresh token, good for one successor.
    pub refresh_token: Secret,
    /// Needed when the session was bound to a phone's key by enrolling it.
    pub proof: Option<RenewalProof>,
}

/// Shows that the phone a session is bound to is the one that renews it.
///
/// The phone signs, with the key it was enrolled with, three lines of ASCII without a newline at the end:
/// `dropwise refresh 1`; the SHA-256 of the refresh token's text in base64url without padding; `signed_at_ms`.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct RenewalProof {
    /// Unix time in milliseconds at which it was signed, by the server's clock: the phone adds what it
    /// knows its own clock to be off by. At most five minutes from the server's time.
    pub signed_at_ms: i64,
    /// The Ed25519 signature (RFC 8032) in base64url without padding.
    #[schema(min_length = 86, max_length = 86)]
    pub signature: String,
}

/// A pair of tokens.
#[derive(Debug, Serialize, ToSchema)]
pub struct SessionView {
    /// Whose business.
    pub fleet_id: FleetId,
    /// Whose session.
    pub member_id: MemberId,
    /// What they may do.
    pub role: Role,
    /// Send it as `Authorization: Bearer …`.
    pub access_token: Handout,
    /// Renew before this instant.
    pub access_ends_at: DateTime<Utc>,
    /// Good for one renewal. When the answer to it is lost, send the same token again within ten minutes.
    pub refresh_token: Handout,
    /// Sign in again after this instant.
    pub session_ends_at: DateTime<Utc>,
}

/// A change of one's own password.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PasswordChange {
    /// The one in use.
    pub current_password: Secret,
    /// The one to be: 15 to 256 characters of any kind, and not what is soon guessed.
    pub new_password: Secret,
}

impl From<Entered> for SessionView {
    fn from(entered: Entered) -> Self {
        Self {
            fleet_id: entered.bearer.fleet,
            member_id: entered.bearer.member,
            role: entered.role,
            access_token: Handout(entered.access_token),
            access_ends_at: entered.access_ends_at,
            refresh_token: Handout(entered.refresh_token),
            session_ends_at: entered.session_ends_at,
        }
    }
}

/// Signs in with a password.
#[utoipa::path(tag = "sessions", extensions(("x-roles" = json!(["nobody"]))), request_body = NewSession,
    responses((status = 201, body = SessionView), Problems))]
#[post("/v1/sessions")]
pub(super) async fn create_session(
    request: HttpRequest,
    throttle: Data<Throttle>,
    Body(new): Body<NewSession>,
    db: Data<Db>,
    hasher: Data<Hasher>,
    keys: Data<Keys>,
    clock: Data<Clock>,
) -> Result<impl Responder, Error> {
    throttle.count_source(&request)?;
    throttle.count_member((typed_handle(&new.fleet), typed_handle(&new.member)))?;
    let asked = SignIn { fleet: new.fleet, member: new.member, password: new.password.0 };
    let entered = sign_in::sign_in(&db, &hasher, &keys, asked, clock.now()).await?;
    Ok(Json(SessionView::from(entered)).customize().with_status(StatusCode::CREATED))
}

/// Renews a session: a fresh access token and the one refresh token that follows the one sent.
#[utoipa::path(tag = "sessions", extensions(("x-roles" = json!(["nobody"]))), request_body = Renewal,
    responses((status = 200, body = SessionView), Problems))]
#[post("/v1/sessions/refresh")]
pub(super) async fn refresh_session(
    request: HttpRequest,
    throttle: Data<Throttle>,
    Body(renewal): Body<Renewal>,
    db: Data<Db>,
    keys: Data<Keys>,
    clock: Data<Clock>,
) -> Result<Json<SessionView>, Error> {
    throttle.count_source(&request)?;
    let token = RefreshToken::read(renewal.refresh_token.0.expose_secret()).ok_or(refresh::REFUSED)?;
    // What is no signature proves nothing, like one that is missing.
    let proof = renewal.proof.and_then(|proof| KeyProof::read(proof.signed_at_ms, &proof.signature));
    let shown = refresh::Asked { token, proof };
    let entered = refresh::refresh(&db, &keys.into_inner(), shown, clock.now()).await?;
    Ok(Json(entered.into()))
}

/// Ends the session whose token is sent.
#[utoipa::path(tag = "sessions", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), responses((status = 204), Problems))]
#[delete("/v1/sessions/current")]
pub(super) async fn end_session(
    SignedIn(who): SignedIn<Member>,
    db: Data<Db>,
    sessions: Data<Sessions>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    sign_in::sign_out(&db, who, clock.now()).await?;
    sessions.forget(who.who()).await;
    Ok(HttpResponse::NoContent().finish())
}

/// Changes one's own password and ends one's other sessions.
#[utoipa::path(tag = "sessions", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), request_body = PasswordChange, responses((status = 204), Problems))]
#[put("/v1/members/self/password")]
pub(super) async fn change_password(
    SignedIn(who): SignedIn<Member>,
    throttle: Data<Throttle>,
    Body(change): Body<PasswordChange>,
    db: Data<Db>,
    hasher: Data<Hasher>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    throttle.count_member(who.who().member)?;
    let (current, new) = (change.current_password.0, change.new_password.0);
    passwords::change(&db, &hasher, who, current, new, clock.now()).await?;
    Ok(HttpResponse::NoContent().finish())
}
