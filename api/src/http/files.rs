//! Files at the door: reserve, append, finish; fetch; and the files of a job.

use super::extract::{Arrived, Body, Cursor, Ending, Part, SignedIn};
use super::problem::{Problem, Problems, StoreProblems};
use crate::auth::Member;
use crate::clock::Clock;
use crate::error::Error;
use crate::flows::files::fetch::{self, Fetched};
use crate::flows::files::job_files::{self, JobFile, Presence};
use crate::flows::files::reserve::{self, Wish};
use crate::flows::files::{
    Cabinet, FileDigest, MediaType, PART_BYTES_MIN, Purpose, Standing, append, finish,
};
use crate::store::Db;
use actix_web::body::SizedStream;
use actix_web::http::StatusCode;
use actix_web::http::header::{self, ByteRangeSpec, Header, Range};
use actix_web::web::{Data, Json, Path, Query};
use actix_web::{HttpRequest, HttpResponse, get, post, put};
use chrono::{DateTime, Utc};
use percent_encoding::{AsciiSet, NON_ALPHANUMERIC, utf8_percent_encode};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// A file that is announced before it is sent.
#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub(super) struct FileBody {
    /// How large the whole is, in bytes; at most 25 MiB.
    #[schema(minimum = 1, maximum = 26_214_400)]
    size_bytes: u64,
    /// What it is. It must begin like one.
    #[schema(inline)]
    media_type: MediaType,
    /// What it is for. Sheets come from the office.
    #[schema(inline)]
    what: Purpose,
    /// What the sender calls it: shown when it is fetched, and nothing else.
    #[schema(max_length = 1000)]
    name: Option<String>,
}

/// Whether a file is there, or on its way.
#[derive(Debug, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub(super) enum FileState {
    /// On its way: go on from `offset_bytes`.
    Open,
    /// All of it is there and was found to be what it was said to be.
    Kept,
    /// A record refers to it, and it has not come yet.
    Missing,
    /// It was kept, and its bytes are not what they were: send it again.
    Damaged,
}

/// How far a file is.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct FileView {
    /// SHA-256 of the file as it is sent: what records refer to.
    sha256: FileDigest,
    /// Whether it is there: `open` or `kept`.
    #[schema(inline)]
    state: FileState,
    /// What it is.
    #[schema(inline)]
    media_type: MediaType,
    /// What it is for.
    #[schema(inline)]
    what: Purpose,
    /// How large the whole is as it is sent.
    size_bytes: i64,
    /// How much of it has arrived: where the next part begins.
    offset_bytes: i64,
    /// SHA-256 of what is kept and handed out: a picture without its metadata.
    #[serde(skip_serializing_if = "Option::is_none")]
    kept_sha256: Option<FileDigest>,
    /// How large what is kept is.
    #[serde(skip_serializing_if = "Option::is_none")]
    kept_bytes: Option<i64>,
}

impl From<Standing> for FileView {
    fn from(standing: Standing) -> Self {
        Self {
            sha256: standing.digest,
            state: if standing.kept.is_some() { FileState::Kept } else { FileState::Open },
            media_type: standing.media_type,
            what: standing.what,
            size_bytes: standing.size_bytes,
            offset_bytes: standing.offset_bytes,
            kept_sha256: standing.kept.map(|(digest, _)| digest),
            kept_bytes: standing.kept.map(|(_, bytes)| bytes),
        }
    }
}

fn digest(text: &str) -> Result<FileDigest, Error> {
    FileDigest::read(text).ok_or(Error::NotFound)
}

/// Announces a file under the SHA-256 of its bytes. Announced again, it answers how far the file is and
/// where to go on; one that is kept already need not be sent. Announced with another size or type, it
/// begins anew. What nobody sends on for 48 hours is forgotten.
#[utoipa::path(tag = "files", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("sha256" = String, Path, description = "SHA-256 of the file, in hexadecimal.")),
    request_body = FileBody,
    responses((status = 201, body = FileView), (status = 200, body = FileView, description = "It was announced before."),
        Problems))]
#[put("/v1/files/{sha256}")]
pub(super) async fn reserve_file(
    SignedIn(who): SignedIn<Member>,
    sha256: Path<String>,
    Body(body): Body<FileBody>,
    db: Data<Db>,
    cabinet: Data<Cabinet>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let FileBody { size_bytes, media_type, what, name } = body;
    let wish = Wish { digest: digest(&sha256)?, size_bytes, media_type, what, name };
    let (first, standing) = reserve::reserve(&db, &cabinet, who, wish, clock.now()).await?;
    let status = if first { StatusCode::CREATED } else { StatusCode::OK };
    Ok(HttpResponse::build(status).json(FileView::from(standing)))
}

/// Appends the next part of an announced file: at most 8 MiB, and at least 64 KiB unless it ends the file.
///
/// A part that begins elsewhere than the file stands is answered 409 `wrong_offset` with
/// `current.offset_bytes`, where to go on. When the connection is lost in the middle of a part, what had
/// arrived of it is kept, from 64 KiB upwards: announce the file again to learn how far it is.
#[utoipa::path(tag = "files", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])),
    params(("sha256" = String, Path, description = "SHA-256 of the file, in hexadecimal."),
        ("offset" = i64, Path, description = "Where the part begins, in bytes.", minimum = 0)),
    request_body(content = Vec<u8>, content_type = "application/octet-stream"),
    responses((status = 200, body = FileView), StoreProblems, Problems))]
#[put("/v1/files/{sha256}/parts/{offset}")]
pub(super) async fn append_part(
    SignedIn(who): SignedIn<Member>,
    path: Path<(String, i64)>,
    part: Part,
    db: Data<Db>,
    cabinet: Data<Cabinet>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let (sha256, offset) = path.into_inner();
    let digest = digest(&sha256)?;
    let fleet = who.who().fleet;
    if let Err(why) = db.read(fleet, async |tx| append::expect(tx, who, digest, offset).await).await {
        part.let_pass().await;
        return Err(why);
    }
    let arrived = part.read(&cabinet.budget).await?;
    let worth_keeping = arrived.ending == Ending::Whole || arrived.size() >= PART_BYTES_MIN;
    let standing = if worth_keeping {
        let Arrived { ref pieces, .. } = arrived;
        append::append(&db, &cabinet, who, (digest, offset), pieces.clone(), clock.now()).await?
    } else {
        db.read(fleet, async |tx| append::standing(tx, who, digest).await).await?
    };
    Ok(match arrived.ending {
        Ending::Whole => HttpResponse::Ok().json(FileView::from(standing)),
        Ending::Cut => broken_off(StatusCode::BAD_REQUEST, "cut_short", &standing),
        Ending::Slow => broken_off(StatusCode::REQUEST_TIMEOUT, "too_slow", &standing),
    })
}

fn broken_off(status: StatusCode, code: &str, standing: &Standing) -> HttpResponse {
    let sentence = "The part did not arrive whole. Go on from current.offset_bytes.";
    let current = serde_json::json!({ "offset_bytes": standing.offset_bytes });
    Problem { current: Some(current), ..Problem::new(status, code, sentence) }.response()
}

/// Keeps a file of which everything has arrived: its digest must be the one it was announced under, it
/// must begin as its type does, be whole, and have at most 40 million pixels. Of a picture only the
/// picture is kept: where, when and with what it was taken is removed; how it is turned stays. A file that
/// does not fit is forgotten, and can be announced anew.
#[utoipa::path(tag = "files", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("sha256" = String, Path, description = "SHA-256 of the file, in hexadecimal.")),
    responses((status = 200, body = FileView), StoreProblems, Problems))]
#[post("/v1/files/{sha256}/finish")]
pub(super) async fn finish_file(
    SignedIn(who): SignedIn<Member>,
    sha256: Path<String>,
    db: Data<Db>,
    cabinet: Data<Cabinet>,
    clock: Data<Clock>,
) -> Result<Json<FileView>, Error> {
    let standing = finish::finish(&db, &cabinet, who, digest(&sha256)?, clock.now()).await?;
    Ok(Json(standing.into()))
}

/// Hands a file out, by the digest it was sent under. A technician finds what they sent themselves and
/// what a job of their van refers to. The bytes are compared with the digest they were kept under first:
/// damaged ones are answered 500 `file_damaged`. One range of bytes may be asked for.
#[utoipa::path(tag = "files", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("sha256" = String, Path, description = "SHA-256 of the file as it was sent, in hexadecimal."),
        ("Range" = Option<String>, Header, description = "One range, such as `bytes=1000-`; others are ignored.")),
    responses((status = 200, content(("image/jpeg"), ("image/png"), ("application/pdf")),
            headers(("ETag" = String, description = "SHA-256 of what is kept."))),
        (status = 206, content(("image/jpeg"), ("image/png"), ("application/pdf")), description = "The range that was asked for.",
            headers(("Content-Range" = String, description = "Which part of the whole this is."))),
        Problems))]
#[get("/v1/files/{sha256}")]
pub(super) async fn read_file(
    SignedIn(who): SignedIn<Member>,
    sha256: Path<String>,
    request: HttpRequest,
    db: Data<Db>,
    cabinet: Data<Cabinet>,
    clock: Data<Clock>,
) -> Result<HttpResponse, Error> {
    let file = fetch::fetch(&db, &cabinet, who, digest(&sha256)?, clock.now()).await?;
    Ok(hand_out(file, &request))
}

fn hand_out(file: Fetched, request: &HttpRequest) -> HttpResponse {
    let (size, tag) = (file.size_bytes, format!("\"{}\"", file.kept));
    let range = wanted(request, size, &tag);
    let mut response = HttpResponse::build(match range {
        Some(_) => StatusCode::PARTIAL_CONTENT,
        None => StatusCode::OK,
    });
    if let Some((from, to)) = range {
        response.insert_header((header::CONTENT_RANGE, format!("bytes {from}-{to}/{size}")));
    }
    let (from, to) = range.map_or((0, size), |(from, to)| (from, to + 1));
    response
        .content_type(file.media_type.word())
        .insert_header((header::CONTENT_DISPOSITION, disposition(&file.shown_name)))
        .insert_header((header::ETAG, tag))
        .insert_header((header::ACCEPT_RANGES, "bytes"))
        .insert_header((header::X_CONTENT_TYPE_OPTIONS, "nosniff"))
        .insert_header((header::CONTENT_SECURITY_POLICY, "sandbox; default-src 'none'"))
        .insert_header((header::CACHE_CONTROL, "no-store"))
        // Nothing on the way may change the bytes.
        .insert_header((header::CONTENT_ENCODING, "identity"))
        .body(SizedStream::new(to - from, Box::pin(file.stream(from..to))))
}

/// To be kept under that name and never shown in place: RFC 6266, the name by RFC 8187.
fn disposition(name: &str) -> String {
    const PLAIN: &AsciiSet = &NON_ALPHANUMERIC.remove(b'.').remove(b'-').remove(b'_');
    format!("attachment; filename*=UTF-8''{}", utf8_percent_encode(name, PLAIN))
}

/// The one range that was asked for, its ends included; a server may ignore any other (RFC 9110, 14.2).
fn wanted(request: &HttpRequest, size: u64, tag: &str) -> Option<(u64, u64)> {
    let same = request.headers().get(header::IF_RANGE).is_none_or(|known| known.as_bytes() == tag.as_bytes());
    let Some(Range::Bytes(ranges)) = Range::parse(request).ok().filter(|_| same) else { return None };
    let [one]: &[ByteRangeSpec; 1] = ranges.as_slice().try_into().ok()?;
    one.to_satisfiable_range(size)
}

/// Which files of a job.
#[derive(Debug, Clone, Copy, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub(super) struct JobFilesQuery {
    /// Only those that have not come, or are damaged.
    missing: Option<bool>,
    /// Go on after this entry: the `next` of the page before.
    after: Option<Uuid>,
    /// How many, at most 200; 50 when not said.
    #[param(minimum = 1, maximum = 200)]
    room: Option<i64>,
}

/// A file that a photo of the job refers to.
#[derive(Debug, Serialize, ToSchema)]
pub(super) struct JobFileView {
    /// The entry that refers to it.
    entry_id: Uuid,
    /// SHA-256 of the file as it was or will be sent.
    sha256: FileDigest,
    /// Whether it is there: `missing`, `kept` or `damaged`.
    #[schema(inline)]
    state: FileState,
    /// When it was taken.
    happened_at: DateTime<Utc>,
    /// Of which section of the vehicle.
    #[serde(skip_serializing_if = "Option::is_none")]
    section: Option<String>,
    /// What it shows, in words.
    #[serde(skip_serializing_if = "Option::is_none")]
    caption: Option<String>,
    /// What it is, once it has come.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(inline)]
    media_type: Option<MediaType>,
    /// How large what is kept is.
    #[serde(skip_serializing_if = "Option::is_none")]
    kept_bytes: Option<i64>,
}

impl From<JobFile> for JobFileView {
    fn from(file: JobFile) -> Self {
        Self {
            entry_id: file.entry_id,
            sha256: file.photo.sha256,
            state: match file.presence {
                Presence::Missing => FileState::Missing,
                Presence::Kept => FileState::Kept,
                Presence::Damaged => FileState::Damaged,
            },
            happened_at: file.happened_at,
            section: file.photo.section,
            caption: file.photo.caption,
            media_type: file.kept.map(|(media_type, _)| media_type),
            kept_bytes: file.kept.map(|(_, bytes)| bytes),
        }
    }
}

/// The files that photos of a job refer to, and whether they have come: in the order of the entries.
#[utoipa::path(tag = "files", extensions(("x-roles" = json!(["technician", "office", "owner"]))),
    security(("bearer" = [])), params(("id" = Uuid, Path, description = "The job."), JobFilesQuery),
    responses((status = 200, body = Cursor<JobFileView>), Problems))]
#[get("/v1/jobs/{id}/files")]
pub(super) async fn list_job_files(
    SignedIn(who): SignedIn<Member>,
    job: Path<Uuid>,
    query: Query<JobFilesQuery>,
    db: Data<Db>,
) -> Result<Json<Cursor<JobFileView>>, Error> {
    let (job, room) = (job.into_inner(), query.room.unwrap_or(50).clamp(1, 200));
    let (missing, after) = (query.missing.unwrap_or(false), query.after);
    let rows = db
        .read(who.who().fleet, async |tx| job_files::list(tx, who, job, missing, after, room + 1).await)
        .await?;
    let rows = rows.into_iter().map(JobFileView::from).collect();
    Ok(Json(Cursor::of(rows, room, |file: &JobFileView| file.entry_id)))
}
