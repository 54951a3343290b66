//! A clip for the browser's own player, which asks for it piece by piece.

use std::fs::File;
use std::io::{Read, Seek, SeekFrom};
use std::ops::RangeInclusive;
use std::path::Path;

use axum::http::{HeaderValue, StatusCode, header};
use axum::response::{IntoResponse, Response};
use http_range_header::parse_range_header;

use super::server::Failure;

/// No more than this is read at a time; the player asks again.
const PIECE: u64 = 2 << 20;

/// The part of a file that a `Range` header asks for (RFC 9110, 14): the first of its ranges, or the beginning
/// where there is none or it is not understood. One that lies wholly outside the file is refused.
pub(super) fn part(path: &Path, range: Option<&HeaderValue>) -> Result<Response, Failure> {
    let missing = |e: std::io::Error| Failure::Missing(format!("could not be read: {e}"));
    let mut file = File::open(path).map_err(missing)?;
    let length = file.metadata().map_err(missing)?.len();
    let Some(asked) = asked_for(range, length) else {
        let there_is = [(header::CONTENT_RANGE, format!("bytes */{length}"))];
        return Ok((StatusCode::RANGE_NOT_SATISFIABLE, there_is).into_response());
    };
    let from = *asked.start();
    let wanted = (asked.end() - from).saturating_add(1).min(PIECE);
    let mut piece = Vec::new();
    file.seek(SeekFrom::Start(from)).map_err(missing)?;
    file.take(wanted).read_to_end(&mut piece).map_err(missing)?;
    let last = (from + piece.len() as u64).saturating_sub(1);
    let headers = [
        (header::CONTENT_TYPE, "video/mp4".to_owned()),
        (header::ACCEPT_RANGES, "bytes".to_owned()),
        (header::CONTENT_RANGE, format!("bytes {from}-{last}/{length}")),
    ];
    Ok((StatusCode::PARTIAL_CONTENT, headers, piece).into_response())
}

/// First and last byte that are wanted; `None` where none of them is in the file.
fn asked_for(range: Option<&HeaderValue>, length: u64) -> Option<RangeInclusive<u64>> {
    let text = range.and_then(|r| r.to_str().ok());
    match text.map(parse_range_header) {
        Some(Ok(ranges)) => ranges.validate(length).ok()?.into_iter().next(),
        _ => Some(0..=length.saturating_sub(1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges() {
        let of = |range: &str| asked_for(Some(&range.parse().unwrap()), 10);
        assert_eq!(of("bytes=0-"), Some(0..=9));
        assert_eq!(of("bytes=3-4"), Some(3..=4));
        assert_eq!(of("bytes=-2"), Some(8..=9));
        assert_eq!(of("bytes=1-2,4-5"), Some(1..=2));
        assert_eq!(of("bytes=10-"), None);
        assert_eq!(of("items=0-1"), Some(0..=9));
        assert_eq!(asked_for(None, 10), Some(0..=9));
    }
}
