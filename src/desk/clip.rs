//! A clip for the browser's own player, which asks for it piece by piece.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::path::Path;

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};

use super::server::Failure;

/// No more than this is read at a time; the player asks again.
const PIECE: u64 = 2 << 20;

/// The part of a file that a `Range` header asks for (RFC 9110, 14): one range of bytes, or the
/// beginning.
pub(super) fn part(path: &Path, range: Option<&HeaderValue>) -> Result<Response, Failure> {
    let missing = |e: std::io::Error| Failure::Missing(format!("could not be read: {e}"));
    let mut file = File::open(path).map_err(missing)?;
    let length = file.metadata().map_err(missing)?.len();
    let (from, until) = range
        .and_then(|r| r.to_str().ok())
        .and_then(|r| bytes_of(r, length))
        .unwrap_or((0, length));
    let until = until.min(from + PIECE).min(length);
    let mut piece = Vec::new();
    file.seek(SeekFrom::Start(from)).map_err(missing)?;
    file.take(until - from)
        .read_to_end(&mut piece)
        .map_err(missing)?;
    let last = (from + piece.len() as u64).saturating_sub(1);
    let headers = [
        (header::CONTENT_TYPE, "video/mp4".to_owned()),
        (header::ACCEPT_RANGES, "bytes".to_owned()),
        (
            header::CONTENT_RANGE,
            format!("bytes {from}-{last}/{length}"),
        ),
    ];
    Ok((StatusCode::PARTIAL_CONTENT, headers, piece).into_response())
}

/// `bytes=from-` or `bytes=from-last`, as from and the byte after the last.
fn bytes_of(range: &str, length: u64) -> Option<(u64, u64)> {
    let (from, last) = range.strip_prefix("bytes=")?.split_once('-')?;
    let from: u64 = from.trim().parse().ok()?;
    let until = match last.trim() {
        "" => length,
        last => last.parse::<u64>().ok()?.checked_add(1)?,
    };
    (from < until && from < length).then_some((from, until))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges() {
        assert_eq!(bytes_of("bytes=0-", 10), Some((0, 10)));
        assert_eq!(bytes_of("bytes=3-4", 10), Some((3, 5)));
        for odd in [
            "bytes=10-",
            "bytes=5-3",
            "bytes=-2",
            "bytes=1-2,4-5",
            "items=0-1",
        ] {
            assert_eq!(bytes_of(odd, 10), None, "{odd}");
        }
    }
}
