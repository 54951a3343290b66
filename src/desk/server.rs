//! The server: who is let in, which address leads where, and what every answer carries.
//!
//! It listens on a loopback address only. That alone does not keep out pages from elsewhere that
//! the same browser has open, so every request must name this server as its host (a foreign name
//! that was made to point here does not), must come from this server's own pages where it says
//! where it comes from, and must know the secret that was made at the start and stands in the
//! address (OWASP Cross-Site Request Forgery Prevention Cheat Sheet: verifying the origin, and an
//! unguessable token; Fetch Metadata, W3C).

use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::{Context, Result};
use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Path, Query, Request as HttpRequest, State};
use axum::http::{HeaderMap, HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use rand::Rng;
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::json;

use super::filter::Asked;
use super::keys::Keys;
use super::lost::{self, LostRows};
use super::views::{self, Size, is_playable};
use super::{Desk, DeskOptions, connections, contact_sheet, deer, logbook, pages, visits};

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
            Self::WrongField { error, column } => (
                StatusCode::UNPROCESSABLE_ENTITY,
                json!({ "error": error, "column": column }),
            ),
            Self::Changed(now) => (StatusCode::CONFLICT, now),
            Self::Missing(error) => (StatusCode::NOT_FOUND, json!({ "error": error })),
            Self::Refused(e) => (
                StatusCode::SERVICE_UNAVAILABLE,
                json!({ "error": format!("{e:#}") }),
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

fn as_type(kind: &'static str, body: impl Into<Body>) -> ([(HeaderName, &'static str); 1], Body) {
    ([(header::CONTENT_TYPE, kind)], body.into())
}

/// Serves the desk until the program is stopped.
pub(super) fn run(desk: &Arc<Desk>, request: &DeskOptions, open: impl FnOnce(&str)) -> Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()?;
    let served = runtime.block_on(async {
        let address = SocketAddr::new(request.address, request.port);
        let listener = tokio::net::TcpListener::bind(address)
            .await
            .with_context(|| {
                format!(
                    "cannot listen on {address}. Choose another port, or none for any that is free"
                )
            })?;
        let door = Door::at(listener.local_addr()?);
        let home = door.home();
        let app = app(Arc::clone(desk), door);
        open(&home);
        connections::serve(listener, app).await;
        Ok(())
    });
    // Nothing that is being made for a page is waited for: what is saved was saved before it was told.
    runtime.shutdown_background();
    served
}

/// Who is let in.
struct Door {
    address: SocketAddr,
    secret: String,
}

impl Door {
    fn at(address: SocketAddr) -> Self {
        let mut secret = [0; 16];
        rand::rng().fill_bytes(&mut secret);
        Self {
            address,
            secret: secret.iter().map(|b| format!("{b:02x}")).collect(),
        }
    }

    fn home(&self) -> String {
        format!("http://{}/{}/visits.html", self.address, self.secret)
    }

    /// Why a request is not let in; `None` where it is.
    fn refuses(&self, request: &HttpRequest) -> Option<&'static str> {
        let headers = request.headers();
        let is_twice = |name: HeaderName| headers.get_all(name).iter().count() > 1;
        if is_twice(header::HOST) || is_twice(header::ORIGIN) {
            return Some("a request says once where it goes and where it comes from");
        }
        let text = |name: HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
        let hosts = [
            self.address.to_string(),
            format!("localhost:{}", self.address.port()),
        ];
        if !text(header::HOST).is_some_and(|h| hosts.iter().any(|known| known == h)) {
            return Some("this is not the host that was asked for");
        }
        let origin = text(header::ORIGIN);
        let is_own = |o: &str| {
            o.strip_prefix("http://")
                .is_some_and(|o| hosts.iter().any(|h| h == o))
        };
        if !origin.is_none_or(is_own) {
            return Some("this page is not one of the desk's");
        }
        if request.method() != Method::GET && origin.is_none() {
            return Some("a change must say which page it comes from");
        }
        let site = text(HeaderName::from_static("sec-fetch-site"));
        if !site.is_none_or(|s| s == "same-origin" || s == "none") {
            return Some("this page is not one of the desk's");
        }
        let given = request.uri().path().split('/').nth(1).unwrap_or("");
        (!self.is_secret(given)).then_some("this address is not complete")
    }

    /// Compares in the same time wherever the two differ.
    fn is_secret(&self, given: &str) -> bool {
        given.len() == self.secret.len()
            && given
                .bytes()
                .zip(self.secret.bytes())
                .fold(0, |differ, (a, b)| differ | (a ^ b))
                == 0
    }
}

/// Nothing but the desk's own files may run or be shown, and nobody may show the desk in a frame
/// (Content Security Policy Level 3, W3C).
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
    media-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'";

async fn at_the_door(State(door): State<Arc<Door>>, request: HttpRequest, next: Next) -> Response {
    let mut response = match door.refuses(&request) {
        Some(why) => (StatusCode::FORBIDDEN, as_type("text/plain", why)).into_response(),
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, POLICY),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "no-referrer"),
        (header::X_FRAME_OPTIONS, "DENY"),
        (
            HeaderName::from_static("cross-origin-resource-policy"),
            "same-origin",
        ),
        (
            HeaderName::from_static("cross-origin-opener-policy"),
            "same-origin",
        ),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    headers
        .entry(header::CACHE_CONTROL)
        .or_insert(HeaderValue::from_static("no-store"));
    response
}

/// What a page sends at the most.
pub(super) const LARGEST_BODY: usize = 1 << 20;

type Shared = State<Arc<Desk>>;

fn app(desk: Arc<Desk>, door: Door) -> Router {
    let inside = Router::new()
        .route("/{file}", get(page))
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
        .route("/api/keys", post(change_keys))
        .route("/picture/{id}", get(picture))
        .route("/clip/{id}", get(clip));
    let nowhere = || async {
        (
            StatusCode::NOT_FOUND,
            as_type("text/plain", "There is nothing here."),
        )
    };
    Router::new()
        .nest(&format!("/{}", door.secret), inside)
        .fallback(nowhere)
        .layer(DefaultBodyLimit::max(LARGEST_BODY))
        .layer(middleware::from_fn(connections::whole_in_time))
        .layer(middleware::from_fn_with_state(Arc::new(door), at_the_door))
        .with_state(desk)
}

/// The desk's files wait for the disk, which must not hold up the others.
async fn work<T: Send + 'static>(
    desk: Arc<Desk>,
    answer: impl FnOnce(&Desk) -> Result<T, Failure> + Send + 'static,
) -> Result<T, Failure> {
    tokio::task::spawn_blocking(move || answer(&desk))
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

async fn state(State(desk): Shared) -> Answer {
    work(desk, |desk| {
        let keys = desk.keys().clone();
        let mut season = desk.season();
        season.refresh()?;
        Reply::json(&json!({
            "property": season.property.settings.name,
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

async fn since(State(desk): Shared) -> Answer {
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
    State(desk): Shared,
    Query(going): Query<visits::Going>,
    Query(asked): Query<Asked>,
) -> Answer {
    work(desk, move |desk| visits::visit(desk, &going, &asked)).await
}

async fn tag(State(desk): Shared, headers: HeaderMap, body: String) -> Answer {
    let sent = sent(&headers, &body)?;
    work(desk, |desk| visits::tag(desk, sent)).await
}

async fn undo(State(desk): Shared, headers: HeaderMap, body: String) -> Answer {
    let _: serde_json::Value = sent(&headers, &body)?;
    work(desk, visits::undo).await
}

async fn contact_sheet(
    State(desk): Shared,
    Query(part): Query<contact_sheet::Part>,
    Query(asked): Query<Asked>,
) -> Answer {
    work(desk, move |desk| contact_sheet::sheet(desk, &part, &asked)).await
}

async fn sweep(State(desk): Shared, headers: HeaderMap, body: String) -> Answer {
    let sent: contact_sheet::Sweep = sent(&headers, &body)?;
    work(desk, move |desk| contact_sheet::sweep(desk, &sent)).await
}

async fn named_deer(State(desk): Shared, Query(which): Query<deer::Which>) -> Answer {
    work(desk, move |desk| deer::deer(desk, &which)).await
}

async fn read_log(State(desk): Shared) -> Answer {
    work(desk, logbook::read).await
}

async fn write_log(State(desk): Shared, headers: HeaderMap, body: String) -> Answer {
    let sent: logbook::Change = sent(&headers, &body)?;
    work(desk, move |desk| logbook::change(desk, &sent)).await
}

async fn decide_on_lost(State(desk): Shared, headers: HeaderMap, body: String) -> Answer {
    let sent: lost::Decided = sent(&headers, &body)?;
    work(desk, move |desk| lost::decide(desk, &sent)).await
}

async fn change_keys(State(desk): Shared, headers: HeaderMap, body: String) -> Answer {
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
    State(desk): Shared,
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
    State(desk): Shared,
    Path(id): Path<u64>,
    headers: HeaderMap,
) -> Result<Response, Failure> {
    work(desk, move |desk| {
        let path = inside(desk, id)?;
        if !is_playable(&path) {
            return Err(Failure::Missing(
                "this clip cannot be shown here".to_owned(),
            ));
        }
        Ok(kept(super::clip::part(&path, headers.get(header::RANGE))?))
    })
    .await
}

/// Pictures may be kept by the browser: their number says which picture it is for good.
fn kept(response: impl IntoResponse) -> Response {
    let mut response = response.into_response();
    let for_an_hour = HeaderValue::from_static("private, max-age=3600");
    response
        .headers_mut()
        .insert(header::CACHE_CONTROL, for_an_hour);
    response
}

/// The file of a picture, which must lie in the property: a link may lead anywhere.
fn inside(desk: &Desk, id: u64) -> Result<std::path::PathBuf, Failure> {
    const NONE: &str = "there is no such picture";
    let (root, file) = {
        let season = desk.season();
        let index = visits::picture(&season, id).ok_or(Failure::Missing(NONE.to_owned()))?;
        let file = season.crawl.pictures[index as usize].file.clone();
        (season.property.root.clone(), file)
    };
    views::inside(&root, &file).map_err(Failure::Missing)
}
