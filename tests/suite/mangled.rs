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
