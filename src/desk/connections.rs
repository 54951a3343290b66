//! Connections, and how long each may take: whoever opens one and says nothing is not waited for.

use std::sync::Arc;
use std::time::Duration;

use axum::Router;
use axum::body::{Body, to_bytes};
use axum::extract::Request;
use axum::http::StatusCode;
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use hyper::server::conn::http1;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::service::TowerToHyperService;
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::Semaphore;

use super::server::LARGEST_BODY;

/// A head must be whole after so long, the first of a connection as well as the next one on it.
const HEAD: Duration = Duration::from_secs(5);
/// And a body.
const BODY: Duration = Duration::from_secs(10);
/// Fewer than the files that a process may have open, on the systems where that is least (1,024, common
/// practice): pictures must be opened too.
const CONNECTIONS_MAX: usize = 500;
/// Answers on their way get a moment when the program is told to end.
const LAST_ANSWERS: Duration = Duration::from_millis(1500);

/// Serves until the program is told to end.
pub(super) async fn serve(listener: TcpListener, app: Router) {
    let room = Arc::new(Semaphore::new(CONNECTIONS_MAX));
    tokio::select! {
        () = let_in(&listener, &app, &room) => {}
        _ = tokio::signal::ctrl_c() => {}
    }
    drop(listener);
    let all = u32::try_from(CONNECTIONS_MAX).unwrap_or(u32::MAX);
    let _ = tokio::time::timeout(LAST_ANSWERS, room.acquire_many(all)).await;
}

async fn let_in(listener: &TcpListener, app: &Router, room: &Arc<Semaphore>) {
    // Whoever comes when all places are taken waits in the system's own line.
    while let Ok(place) = Arc::clone(room).acquire_owned().await {
        let Ok((stream, _)) = listener.accept().await else {
            // Too many files are open, for example: that passes.
            tokio::time::sleep(Duration::from_millis(50)).await;
            continue;
        };
        let app = app.clone();
        tokio::spawn(async move {
            answer(stream, app).await;
            drop(place);
        });
    }
}

async fn answer(stream: TcpStream, app: Router) {
    let _ = stream.set_nodelay(true);
    let served = http1::Builder::new()
        .timer(TokioTimer::new())
        .header_read_timeout(HEAD)
        .serve_connection(TokioIo::new(stream), TowerToHyperService::new(app));
    // Whoever is gone needs no answer.
    let _ = served.await;
}

/// Waits for the whole body before anything is done, but not for ever.
pub(super) async fn whole_in_time(request: Request, next: Next) -> Response {
    let (head, body) = request.into_parts();
    match tokio::time::timeout(BODY, to_bytes(body, LARGEST_BODY)).await {
        Ok(Ok(bytes)) => next.run(Request::from_parts(head, Body::from(bytes))).await,
        Ok(Err(_)) => StatusCode::PAYLOAD_TOO_LARGE.into_response(),
        Err(_) => StatusCode::REQUEST_TIMEOUT.into_response(),
    }
}
