//! Times of clips against another reader.
//!
//! Source: ffprobe (Debian package `ffmpeg`) on clips that ffmpeg makes here. The container's time
//! is taken as the camera's clock, so the digits are compared, not the zone.

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::Command;

use chrono::NaiveDateTime;
use graylight::card::read_container;
use proptest::prelude::*;
use tempfile::TempDir;

fn run(program: &str, args: &[&str]) -> String {
    let output = Command::new(program)
        .args(args)
        .output()
        .unwrap_or_else(|e| panic!("{program}: {e}; tests/tools installs it"));
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap()
}

/// A clip of a fifth of a second.
fn clip(folder: &TempDir, name: &str, more: &[&str]) -> PathBuf {
    let path = folder.path().join(name);
    let mut args = vec!["-v", "error", "-f", "lavfi", "-i", "color=s=32x32:r=10:d=0.2"];
    args.extend(["-c:v", "mjpeg", "-pix_fmt", "yuvj420p"]);
    args.extend(more);
    args.push(path.to_str().unwrap());
    run("ffmpeg", &args);
    path
}

fn ours(path: &Path) -> Option<NaiveDateTime> {
    let mut file = File::open(path).unwrap();
    let bytes = file.metadata().unwrap().len();
    read_container(&mut file, bytes).unwrap()
}

fn theirs(path: &Path) -> Option<NaiveDateTime> {
    let shown = run(
        "ffprobe",
        &[
            "-v",
            "error",
            "-show_entries",
            "format_tags=creation_time,date",
            "-of",
            "default=nw=1:nk=1",
            path.to_str().unwrap(),
        ],
    );
    let text = shown.lines().next()?;
    let text = text.get(..19).unwrap_or(text).replace('T', " ");
    Some(NaiveDateTime::parse_from_str(&text, "%Y-%m-%d %H:%M:%S").unwrap())
}

/// Puts a text chunk in front of an AVI's first list inside its header list.
fn with_chunk(avi: &Path, id: &[u8; 4], text: &[u8]) -> PathBuf {
    let mut bytes = fs::read(avi).unwrap();
    assert_eq!((&bytes[12..16], &bytes[20..24]), (&b"LIST"[..], &b"hdrl"[..]));
    let mut chunk = id.to_vec();
    chunk.extend((text.len() as u32).to_le_bytes());
    chunk.extend(text);
    chunk.extend(std::iter::repeat_n(0, text.len() % 2));
    let list = u32::from_le_bytes(bytes[16..20].try_into().unwrap()) as usize;
    for at in [4, 16] {
        let size = u32::from_le_bytes(bytes[at..at + 4].try_into().unwrap());
        let size = size + chunk.len() as u32;
        bytes[at..at + 4].copy_from_slice(&size.to_le_bytes());
    }
    bytes.splice(20 + list..20 + list, chunk);
    let path = avi.with_extension(format!("{}.avi", text.len()));
    fs::write(&path, bytes).unwrap();
    path
}

/// Takes the years from 1904 to 1970 off the movie header's time, as some cameras do.
fn counted_from_1970(mp4: &Path) -> PathBuf {
    const TO_1970_S: u32 = 2_082_844_800;
    let mut bytes = fs::read(mp4).unwrap();
    let kind = bytes.windows(4).position(|w| w == b"mvhd").unwrap();
    // After the kind: version and flags, then the time of creation.
    let at = kind + 8;
    let time = u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap());
    bytes[at..at + 4].copy_from_slice(&(time - TO_1970_S).to_be_bytes());
    let path = mp4.with_extension("1970.mp4");
    fs::write(&path, bytes).unwrap();
    path
}

#[test]
fn container_times_agree_with_ffprobe() {
    let folder = TempDir::new().unwrap();
    let time = ["-metadata", "creation_time=2025-11-08T06:41:27Z"];
    let front = ["-metadata", "creation_time=2024-02-29T23:59:59Z", "-movflags", "+faststart"];
    let mut clips = vec![
        clip(&folder, "plain.mp4", &time),
        clip(&folder, "front.mp4", &front),
        clip(&folder, "plain.mov", &time),
        clip(&folder, "old.mov", &["-metadata", "creation_time=1999-12-31T00:00:00Z"]),
        clip(&folder, "none.mp4", &[]),
        clip(&folder, "dated.avi", &["-metadata", "date=2025-11-08 06:41:27"]),
    ];
    clips.push(counted_from_1970(&clips[0]));
    let none = clip(&folder, "none.avi", &[]);
    clips.push(with_chunk(&none, b"IDIT", b"Sat Nov 08 06:41:27 2025\n\0"));
    clips.push(none);
    let mut timed = 0;
    for path in &clips {
        assert_eq!(ours(path), theirs(path), "{}", path.display());
        timed += usize::from(ours(path).is_some());
    }
    assert_eq!(timed, 7);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    /// No bytes make the reader of containers panic or read for ever.
    #[test]
    fn any_bytes_are_survived(
        head in prop::sample::select(vec![
            b"\0\0\0\x10ftypisom\0\0\0\0".to_vec(),
            b"RIFF\xff\xff\xff\xffAVI LIST".to_vec(),
            b"\0\0\0\x08moov\0\0\0\x6cmvhd".to_vec(),
        ]),
        body in prop::collection::vec(any::<u8>(), 0..300),
    ) {
        let bytes = [head, body].concat();
        let length = bytes.len() as u64;
        let _ = read_container(&mut std::io::Cursor::new(bytes), length);
    }
}
