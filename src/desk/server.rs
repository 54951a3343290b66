//! The server: which address leads where, and what an answer is.

use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::{Context, Result};
use axum::Router;
use axum::body::Body;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, StatusCode, header};
use axum::middleware;
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::json;

use super::door::{Door, at_the_door};
use super::filter::Asked;
use super::keys::Keys;
use super::lost::{self, LostRows};
use super::views::{self, Size, is_playable};
use super::window::{Open, Window};
use super::{
    Desk, DeskOptions, begin, behind, clocks, connections, contact_sheet, deer, home, land_sketch,
    live, logbook, pages, pulling, visits,
};
use crate::debrief::Behind;
use crate::files::without_number;

/// What is answered: JSON, or a failure.
pub(super) struct Reply(String);

impl Reply {
    /// # Errors
    /// When the value cannot be written as JSON.
    pub fn json(value: &impl Serialize) -> Result<Self, Failure> {
        let text = serde_json::to_string(value).map_err(anyhow::Error::from)?;
        Ok(Self(text))
    }
}

/// An answer of the desk's files. (The alias hides axum from them.)
pub(super) type Answer = Result<Reply, Failure>;

/// Why there is no answer.
pub(super) enum Failure {
    /// The page asked for something that cannot be.
    Wrong(String),
    /// The same, at one field of a form.
    WrongField { error: String, column: String },
    /// What the page showed has changed meanwhile; carries what there is now.
    Changed(serde_json::Value),
    /// There is no such thing.
    Missing(String),
    /// No property is open.
    NothingOpen,
    /// Another one than the page was loaded for.
    OtherOpen,
    /// The disk or a file refused.
    Refused(anyhow::Error),
}

impl From<anyhow::Error> for Failure {
    fn from(e: anyhow::Error) -> Self {
        Self::Refused(e)
    }
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        let (status, body) = match self {
            Self::Wrong(error) => (StatusCode::UNPROCESSABLE_ENTITY, json!({ "error": error })),
            Self::WrongField { error, column } => {
                (StatusCode::UNPROCESSABLE_ENTITY, json!({ "error": error, "column": column }))
            }
            Self::Changed(now) => (StatusCode::CONFLICT, now),
            Self::Missing(error) => (StatusCode::NOT_FOUND, json!({ "error": error })),
            Self::NothingOpen => (
                StatusCode::PRECONDITION_FAILED,
                json!({ "error": "No property is open. Open one on the page Home.", "closed": true }),
            ),
            Self::OtherOpen => (
                StatusCode::PRECONDITION_FAILED,
                json!({ "error": "Another property has been opened in this window. Load this page again to see it." }),
            ),
            Self::Refused(e) => (
                StatusCode::SERVICE_UNAVAILABLE,
                json!({ "error": without_number(&format!("{e:#}")) }),
            ),
        };
        (status, as_type("application/json", body.to_string())).into_response()
    }
}

impl IntoResponse for Reply {
    fn into_response(self) -> Response {
        as_type("application/json", self.0).into_response()
    }
}

pub(super) fn as_type(
    kind: &'static str,
    body: impl Into<Body>,
) -> ([(HeaderName, &'static str); 1], Body) {
    ([(header::CONTENT_TYPE, kind)], body.into())
}

/// Serves the desk until the program is stopped.
pub(super) fn run(
    window: &Arc<Window>,
    request: &DeskOptions,
    first: &str,
    open: impl FnOnce(&str),
) -> Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build()?;
    let served = runtime.block_on(async {
        let address = SocketAddr::new(request.address, request.port);
        let listener = tokio::net::TcpListener::bind(address).await.with_context(|| {
            format!("cannot listen on {address}. Choose another port, or none for any that is free")
        })?;
        let door = Door::at(listener.local_addr()?);
        let home = door.address_of(first);
        let app = app(Arc::clone(window), door);
        open(&home);
        connections::serve(listener, app).await;
        Ok(())
    });
    // Nothing that is being made for a page is waited for: what is saved was saved before it was told.
    runtime.shutdown_background();
    served
}

/// What a page sends at the most.
pub(super) const LARGEST_BODY: usize = 1 << 20;

fn app(window: Arc<Window>, door: Door) -> Router {
    let inside = Router::new()
        .route("/{file}", get(page))
        .route("/api/home", get(home_answer))
        .route("/api/open", post(open_property))
        .route("/api/forget", post(forget_property))
        .route("/api/folders", get(folders))
        .route("/api/place", get(place))
        .route("/api/start", post(start_property))
        .route("/api/cards", get(cards))
        .route("/api/pull", post(begin_pull))
        .route("/api/pull/stop", post(stop_pull))
        .route("/api/receipt", get(receipt))
        .route("/api/clocks", get(read_clocks))
        .route("/api/clocks/accept", post(accept_clock))
        .route("/api/clocks/undo", post(undo_clock))
        .route("/api/clocks/pictures", get(watch_pictures))
        .route("/api/clocks/watch", post(watch_picture))
        .route("/api/behind", get(behind_number))
        .route("/api/report", get(report_state).post(save_report))
        .route("/report/{file}", get(report_file))
        .route("/for-others.html", get(for_others))
        .route("/api/state", get(state))
        .route("/api/since", get(since))
        .route("/api/visit", get(visit))
        .route("/api/tag", post(tag))
        .route("/api/undo", post(undo))
        .route("/api/sheet", get(contact_sheet))
        .route("/api/sweep", post(sweep))
        .route("/api/deer", get(named_deer))
        .route("/api/log", get(read_log).post(write_log))
        .route("/api/lost", post(decide_on_lost))
        .route("/api/land", get(read_land))
        .route("/api/keys", post(change_keys))
        .route("/picture/{id}", get(picture))
        .route("/clip/{id}", get(clip));
    let nowhere =
        || async { (StatusCode::NOT_FOUND, as_type("text/plain", "There is nothing here.")) };
    Router::new()
        .nest(&door.path(), inside)
        .fallback(nowhere)
        .layer(middleware::from_fn(connections::whole_in_time))
        .layer(middleware::from_fn_with_state(Arc::new(door), at_the_door))
        .with_state(window)
}

/// The desk's files wait for the disk, which must not hold up the others.
async fn work<S: Send + Sync + 'static, T: Send + 'static>(
    shared: Arc<S>,
    answer: impl FnOnce(&Arc<S>) -> Result<T, Failure> + Send + 'static,
) -> Result<T, Failure> {
    beside(Box::new(move || answer(&shared))).await
}

/// Boxed, so that the runtime's code for a task is built once and not for every address.
async fn beside<T: Send + 'static>(
    answer: Box<dyn FnOnce() -> Result<T, Failure> + Send>,
) -> Result<T, Failure> {
    tokio::task::spawn_blocking(answer)
        .await
        .unwrap_or_else(|e| Err(Failure::Refused(anyhow::anyhow!("the desk failed: {e}"))))
}

fn sent<T: DeserializeOwned>(headers: &HeaderMap, body: &str) -> Result<T, Failure> {
    let kind = headers.get(header::CONTENT_TYPE);
    if !kind.is_some_and(|k| k.as_bytes().starts_with(b"application/json")) {
        return Err(Failure::Wrong("Only JSON is understood.".to_owned()));
    }
    serde_json::from_str(body).map_err(|e| Failure::Wrong(format!("This is not understood: {e}")))
}

async fn page(Path(file): Path<String>) -> Response {
    match pages::find(&file) {
        Some((kind, text)) => as_type(kind, text).into_response(),
        None => {
            let nothing = as_type("text/plain", "There is nothing here.");
            (StatusCode::NOT_FOUND, nothing).into_response()
        }
    }
}

async fn state(Open(desk): Open) -> Answer {
    work(desk, |desk| {
        let keys = desk.keys().clone();
        let mut season = desk.season();
        season.refresh()?;
        Reply::json(&json!({
            "property": season.property.settings.name,
            "opening": desk.opening,
            "cameras": season.screens.cameras,
            "names": deer::names(&season),
            "keys": keys.keys,
            "keys_on": keys.keys_on,
            "counts": season.counts(),
            "version": season.version,
            "generation": season.generation,
            "sorting": season.sorting.progress(),
            "notices": season.notices,
            "lost": LostRows::of(&season.gone),
        }))
    })
    .await
}

async fn since(Open(desk): Open) -> Answer {
    work(desk, |desk| {
        let mut season = desk.season();
        season.refresh()?;
        Reply::json(&json!({
            "version": season.version,
            "generation": season.generation,
            "counts": season.counts(),
            "sorting": season.sorting.progress(),
            "notices": season.notices,
            "lost": LostRows::of(&season.gone),
        }))
    })
    .await
}

async fn visit(
    Open(desk): Open,
    Query(going): Query<visits::Going>,
    Query(asked): Query<Asked>,
) -> Answer {
    work(desk, move |desk| visits::visit(desk, &going, &asked)).await
}

async fn tag(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent = sent(&headers, &body)?;
    work(desk, |desk| visits::tag(desk, sent)).await
}

async fn undo(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let _: serde_json::Value = sent(&headers, &body)?;
    work(desk, |desk| visits::undo(desk)).await
}

async fn contact_sheet(
    Open(desk): Open,
    Query(part): Query<contact_sheet::Part>,
    Query(asked): Query<Asked>,
) -> Answer {
    work(desk, move |desk| contact_sheet::sheet(desk, &part, &asked)).await
}

async fn sweep(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: contact_sheet::Sweep = sent(&headers, &body)?;
    work(desk, move |desk| contact_sheet::sweep(desk, &sent)).await
}

async fn named_deer(Open(desk): Open, Query(which): Query<deer::Which>) -> Answer {
    work(desk, move |desk| deer::deer(desk, &which)).await
}

async fn read_log(Open(desk): Open) -> Answer {
    work(desk, |desk| logbook::read(desk)).await
}

async fn read_land(Open(desk): Open) -> Answer {
    work(desk, |desk| land_sketch::land(desk)).await
}

async fn write_log(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: logbook::Change = sent(&headers, &body)?;
    work(desk, move |desk| logbook::change(desk, &sent)).await
}

async fn decide_on_lost(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: lost::Decided = sent(&headers, &body)?;
    work(desk, move |desk| lost::decide(desk, &sent)).await
}

type Windowed = State<Arc<Window>>;

async fn home_answer(State(window): Windowed) -> Answer {
    work(window, |window| home::home(window)).await
}

async fn open_property(State(window): Windowed, headers: HeaderMap, body: String) -> Answer {
    let sent: home::Which = sent(&headers, &body)?;
    work(window, move |window| home::open(window, &sent)).await
}

async fn forget_property(State(window): Windowed, headers: HeaderMap, body: String) -> Answer {
    let sent: home::Which = sent(&headers, &body)?;
    work(window, move |window| home::forget(window, &sent)).await
}

async fn folders(State(window): Windowed, Query(which): Query<home::Folder>) -> Answer {
    work(window, move |_| home::folders(&which)).await
}

async fn place(State(window): Windowed, Query(asked): Query<begin::PlaceAsked>) -> Answer {
    work(window, move |_| begin::place(&asked)).await
}

async fn start_property(State(window): Windowed, headers: HeaderMap, body: String) -> Answer {
    let sent: begin::Wanted = sent(&headers, &body)?;
    work(window, move |window| begin::begin(window, &sent)).await
}

async fn cards(State(window): Windowed, Open(desk): Open) -> Answer {
    work(desk, move |desk| pulling::cards(&window, desk)).await
}

async fn stop_pull(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let _: serde_json::Value = sent(&headers, &body)?;
    work(desk, |desk| pulling::stop(desk)).await
}

async fn begin_pull(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: pulling::Wanted = sent(&headers, &body)?;
    work(desk, move |desk| pulling::begin(desk, sent)).await
}

async fn receipt(Open(desk): Open, Query(which): Query<pulling::WhichReceipt>) -> Answer {
    work(desk, move |desk| pulling::receipt(desk, &which)).await
}

async fn read_clocks(Open(desk): Open) -> Answer {
    work(desk, |desk| clocks::clocks(desk)).await
}

async fn accept_clock(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: clocks::Accepted = sent(&headers, &body)?;
    work(desk, move |desk| clocks::accept(desk, &sent)).await
}

async fn undo_clock(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: clocks::Undone = sent(&headers, &body)?;
    work(desk, move |desk| clocks::undo(desk, &sent)).await
}

async fn watch_pictures(Open(desk): Open, Query(asked): Query<clocks::WatchAsked>) -> Answer {
    work(desk, move |desk| clocks::pictures(desk, &asked)).await
}

async fn watch_picture(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let sent: clocks::Watch = sent(&headers, &body)?;
    work(desk, move |desk| clocks::watch(desk, &sent)).await
}

async fn report_state(Open(desk): Open) -> Answer {
    work(desk, |desk| Reply::json(&live::view(desk))).await
}

async fn save_report(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let _: serde_json::Value = sent(&headers, &body)?;
    work(desk, |desk| live::save(desk)).await
}

/// The report has its style within it, and nothing else: no script, nothing from elsewhere, and only the
/// window may show it.
const REPORT_POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; img-src data:; \
    base-uri 'none'; form-action 'none'; frame-ancestors 'self'";

fn report_page(html: impl Into<Body>) -> Response {
    let mut response = as_type("text/html; charset=utf-8", html).into_response();
    let policy = HeaderValue::from_static(REPORT_POLICY);
    let headers = response.headers_mut();
    headers.insert(header::CONTENT_SECURITY_POLICY, policy);
    headers.insert(header::X_FRAME_OPTIONS, HeaderValue::from_static("SAMEORIGIN"));
    response
}

async fn report_file(Open(desk): Open, Path(file): Path<String>) -> Result<Response, Failure> {
    let name = file.clone();
    let bytes = work(desk, move |desk| live::file(desk, &name)).await?;
    Ok(match file.rsplit('.').next() {
        Some("html") => report_page(bytes),
        Some("svg") => as_type("image/svg+xml", bytes).into_response(),
        Some("json") => as_type("application/json", bytes).into_response(),
        _ => as_type("text/csv; charset=utf-8", bytes).into_response(),
    })
}

async fn behind_number(Open(desk): Open, Query(number): Query<Behind>) -> Answer {
    work(desk, move |desk| behind::behind(desk, &number)).await
}

async fn for_others(
    Open(desk): Open,
    Query(asked): Query<live::ForOthers>,
) -> Result<Response, Failure> {
    let page = work(desk, move |desk| live::for_others(desk, &asked)).await?;
    Ok(report_page(page))
}

async fn change_keys(Open(desk): Open, headers: HeaderMap, body: String) -> Answer {
    let wanted: Keys = sent(&headers, &body)?;
    work(desk, move |desk| {
        wanted.check().map_err(Failure::Wrong)?;
        let root = desk.season_to_change()?.property.root.clone();
        let mut keys = desk.keys();
        wanted.save(&root)?;
        *keys = wanted;
        Reply::json(&*keys)
    })
    .await
}

#[derive(serde::Deserialize)]
struct Wanted {
    #[serde(default)]
    size: Size,
}

async fn picture(
    Open(desk): Open,
    Path(id): Path<u64>,
    Query(wanted): Query<Wanted>,
) -> Result<Response, Failure> {
    work(desk, move |desk| {
        let path = inside(desk, id)?;
        match &*desk.views.of(&path, wanted.size) {
            Ok(jpeg) => Ok(kept(as_type("image/jpeg", jpeg.clone()))),
            Err(why) => {
                let words = as_type("text/plain; charset=utf-8", why.clone());
                Ok((StatusCode::NOT_FOUND, words).into_response())
            }
        }
    })
    .await
}

async fn clip(
    Open(desk): Open,
    Path(id): Path<u64>,
    headers: HeaderMap,
) -> Result<Response, Failure> {
    work(desk, move |desk| {
        let path = inside(desk, id)?;
        if !is_playable(&path) {
            return Err(Failure::Missing("this clip cannot be shown here".to_owned()));
        }
        Ok(kept(super::clip::part(&path, headers.get(header::RANGE))?))
    })
    .await
}

/// Pictures may be kept by the browser: their number says which picture it is for good.
fn kept(response: impl IntoResponse) -> Response {
    let mut response = response.into_response();
    let for_an_hour = HeaderValue::from_static("private, max-age=3600");
    response.headers_mut().insert(header::CACHE_CONTROL, for_an_hour);
    response
}

/// The file of a picture, which must lie in the property: a link may lead anywhere.
fn inside(desk: &Desk, id: u64) -> Result<std::path::PathBuf, Failure> {
    const NONE: &str = "there is no such picture";
    let (root, file) = {
        let season = desk.season();
        let index = visits::picture(&season, id).ok_or(Failure::Missing(NONE.to_owned()))?;
        let file = season.crawl.pictures[index as usize].file().to_owned();
        (season.property.root.clone(), file)
    };
    views::inside(&root, &file).map_err(Failure::Missing)
}
