//! Two hundred mangled files, and header bytes that mean nothing: each has a name and a reason
//! afterwards, and none stops the run.

use std::io::Cursor;

use graylight::card::read_header;
use proptest::prelude::*;
use rand::{Rng, RngExt, SeedableRng};
use rand_chacha::ChaCha8Rng;

use crate::support::{Place, good_picture, reference};

fn mangle(bytes: &[u8], rng: &mut ChaCha8Rng) -> Vec<u8> {
    let mut out = bytes.to_vec();
    match rng.random_range(0..5) {
        0 => out.truncate(rng.random_range(0..out.len())),
        1 => {
            for _ in 0..rng.random_range(1..40) {
                let i = rng.random_range(0..out.len());
                out[i] = rng.random();
            }
        }
        2 => {
            let from = rng.random_range(0..out.len());
            let until = rng.random_range(from..out.len());
            out[from..until].fill(if rng.random_bool(0.5) { 0 } else { 0xff });
        }
        3 => {
            let from = rng.random_range(0..out.len());
            let until = rng.random_range(from..out.len());
            out.drain(from..until);
        }
        _ => {
            let mut noise = vec![0; rng.random_range(0..3000)];
            rng.fill_bytes(&mut noise);
            let at = rng.random_range(0..out.len());
            out.splice(at..at, noise);
        }
    }
    out
}

#[test]
fn two_hundred_mangled_files() {
    let mut rng = ChaCha8Rng::seed_from_u64(20_251_108);
    let whole = [
        good_picture(),
        std::fs::read(reference("exif/all_little_endian.jpg")).unwrap(),
        std::fs::read(reference("exif/thumbnail.jpg")).unwrap(),
    ];
    let place = Place::new();
    for i in 0..200 {
        let bytes = mangle(&whole[i % whole.len()], &mut rng);
        place.put(&format!("cards/A/IMG_{i:04}.JPG"), bytes);
    }
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.found(), 200);
    assert!(!debrief.crawl.unreadable.is_empty());
    assert!(debrief.crawl.pictures.len() > 50);
}

/// A picture that claims to be `width` by `height` pixels; `progressive` is a sort for which a decoder
/// must hold all of them at once.
fn claiming(width: u16, height: u16, progressive: bool) -> Vec<u8> {
    let mut bytes = good_picture();
    let at = bytes.windows(2).position(|w| w == [0xff, 0xc0]).unwrap();
    bytes[at + 1] = if progressive { 0xc2 } else { 0xc0 };
    bytes[at + 5..at + 7].copy_from_slice(&height.to_be_bytes());
    bytes[at + 7..at + 9].copy_from_slice(&width.to_be_bytes());
    let end = bytes.len() - 2;
    bytes.splice(end..end, vec![0x35; 700_000]);
    bytes
}

/// 400 files that lie about their size, or hold nothing but empty segments, cost neither time nor
/// memory.
#[test]
fn four_hundred_hostile_files_cost_little() {
    let place = Place::new();
    let mut rng = ChaCha8Rng::seed_from_u64(7);
    let mut segments = vec![0xff, 0xd8];
    for _ in 0..2_000_000 {
        segments.extend([0xff, 0xe5, 0, 2]);
    }
    place.put("cards/A/IMG_9999.JPG", segments);
    for i in 0..400 {
        let time = format!("2025:11:{:02} {:02}:41:27", 1 + i % 28, i % 24);
        let bytes = match i % 4 {
            0 => claiming(65_500, 65_500, i % 8 == 0),
            1 => claiming(40_000, 20_000, true),
            _ => mangle(&crate::support::picture_at(&time), &mut rng),
        };
        place.put(&format!("cards/A/IMG_{i:04}.JPG"), bytes);
    }
    let start = std::time::Instant::now();
    let mut child = std::process::Command::new(&*crate::support::PROGRAM)
        .arg("debrief")
        .arg(place.path())
        .stdout(std::process::Stdio::null())
        .stderr(std::process::Stdio::null())
        .spawn()
        .unwrap();
    let mut peak_kb = 0;
    let status = loop {
        let facts =
            std::fs::read_to_string(format!("/proc/{}/status", child.id())).unwrap_or_default();
        let line = facts.lines().find(|l| l.starts_with("VmHWM"));
        let kb = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<u64>().ok());
        peak_kb = kb.unwrap_or(0).max(peak_kb);
        match child.try_wait().unwrap() {
            Some(status) => break status,
            None => std::thread::sleep(std::time::Duration::from_millis(2)),
        }
    };
    let took = start.elapsed();
    println!("{took:?}, {} MB", peak_kb / 1000);
    assert!(status.success());
    assert!(took.as_secs_f64() <= 2.0, "{took:?}");
    assert!(peak_kb < 300_000, "{peak_kb} kB");
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(3000))]

    #[test]
    fn any_bytes_after_a_jpeg_start(tail in proptest::collection::vec(any::<u8>(), 0..400)) {
        let mut bytes = vec![0xff, 0xd8, 0xff];
        bytes.extend(tail);
        let size = bytes.len() as u64;
        let _ = read_header(&mut Cursor::new(bytes), size);
    }

    #[test]
    fn any_exif_block(block in proptest::collection::vec(any::<u8>(), 0..400)) {
        let mut bytes = vec![0xff, 0xd8, 0xff, 0xe1];
        bytes.extend(((block.len() + 8) as u16).to_be_bytes());
        bytes.extend(b"Exif\0\0");
        bytes.extend(block);
        let size = bytes.len() as u64;
        let header = read_header(&mut Cursor::new(bytes), size);
        prop_assert!(header.is_ok_and(|h| h.exif.is_some()));
    }
}
