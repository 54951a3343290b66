//! The door: who is let in, and what every answer carries.
//!
//! It listens on a loopback address only. That alone does not keep out pages from elsewhere that
//! the same browser has open, so every request must name this server as its host (a foreign name
//! that was made to point here does not), must come from this server's own pages where it says
//! where it comes from, and must know the secret that was made at the start and stands in the
//! address (OWASP Cross-Site Request Forgery Prevention Cheat Sheet: verifying the origin, and an
//! unguessable token; Fetch Metadata, W3C).

use std::net::SocketAddr;
use std::sync::Arc;

use axum::extract::{Request, State};
use axum::http::{HeaderName, HeaderValue, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use rand::Rng;

use super::server::as_type;

/// Who is let in.
pub(super) struct Door {
    address: SocketAddr,
    secret: String,
}

impl Door {
    /// A door with a secret of its own.
    pub fn at(address: SocketAddr) -> Self {
        let mut secret = [0; 16];
        rand::rng().fill_bytes(&mut secret);
        Self { address, secret: secret.iter().map(|b| format!("{b:02x}")).collect() }
    }

    /// The address of a page, for the one who is to be let in.
    pub fn address_of(&self, page: &str) -> String {
        format!("http://{}/{}/{page}", self.address, self.secret)
    }

    /// Where everything that is let in lies.
    pub fn path(&self) -> String {
        format!("/{}", self.secret)
    }

    /// Why a request is not let in; `None` where it is.
    fn refuses(&self, request: &Request) -> Option<&'static str> {
        let headers = request.headers();
        let is_twice = |name: HeaderName| headers.get_all(name).iter().count() > 1;
        if is_twice(header::HOST) || is_twice(header::ORIGIN) {
            return Some("a request says once where it goes and where it comes from");
        }
        let text = |name: HeaderName| headers.get(name).map(|v| v.to_str().unwrap_or("?"));
        let hosts = [self.address.to_string(), format!("localhost:{}", self.address.port())];
        if !text(header::HOST).is_some_and(|h| hosts.iter().any(|known| known == h)) {
            return Some("this is not the host that was asked for");
        }
        let origin = text(header::ORIGIN);
        let is_own =
            |o: &str| o.strip_prefix("http://").is_some_and(|o| hosts.iter().any(|h| h == o));
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
            && given.bytes().zip(self.secret.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b))
                == 0
    }
}

/// Nothing but the desk's own files may run or be shown, and nobody may show the desk in a frame
/// (Content Security Policy Level 3, W3C).
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; \
    media-src 'self'; connect-src 'self'; frame-src 'self'; form-action 'self'; base-uri 'none'; \
    frame-ancestors 'none'";

pub(super) async fn at_the_door(
    State(door): State<Arc<Door>>,
    request: Request,
    next: Next,
) -> Response {
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
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.entry(name).or_insert(HeaderValue::from_static(value));
    }
    headers.entry(header::CACHE_CONTROL).or_insert(HeaderValue::from_static("no-store"));
    response
}
