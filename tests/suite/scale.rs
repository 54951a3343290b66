//! Ten thousand pictures: headers are read, files are not.

use std::io::{Read, Result, Seek, SeekFrom, Write};

use graylight::card::{HEAD_LIMIT, read_header};

use crate::support::{Place, picture_at};

const PICTURES: u32 = 10_000;
const BYTES: u64 = 1_000_000;

/// Counts what is read through it.
struct Counting<R> {
    inner: R,
    read: u64,
}

impl<R: Read> Read for Counting<R> {
    fn read(&mut self, buffer: &mut [u8]) -> Result<usize> {
        let n = self.inner.read(buffer)?;
        self.read += n as u64;
        Ok(n)
    }
}

impl<R: Seek> Seek for Counting<R> {
    fn seek(&mut self, to: SeekFrom) -> Result<u64> {
        self.inner.seek(to)
    }
}

#[test]
fn ten_thousand_pictures_of_a_megabyte() {
    let place = Place::new();
    for i in 0..PICTURES {
        let (day, hour, minute) = (i / 1440 + 1, i / 60 % 24, i % 60);
        let bytes = picture_at(&format!("2025:11:{day:02} {hour:02}:{minute:02}:00"));
        let path = place.put(&format!("cards/A/DCIM/1/IMG_{i:05}.JPG"), &bytes);
        // Sparse: a megabyte long, with the end of the picture at the end of the file.
        let mut file = std::fs::OpenOptions::new().write(true).open(path).unwrap();
        file.seek(SeekFrom::Start(BYTES - 2)).unwrap();
        file.write_all(&[0xff, 0xd9]).unwrap();
    }
    let debrief = place.debrief();
    assert_eq!(debrief.crawl.found(), PICTURES as usize);
    assert_eq!(debrief.crawl.timed(), PICTURES as usize);
    assert!(debrief.crawl.pictures.iter().all(|p| !p.cut_short));

    let mut most = 0;
    for picture in &debrief.crawl.pictures {
        let file = std::fs::File::open(place.path().join(picture.file())).unwrap();
        let mut counting = Counting { inner: file, read: 0 };
        read_header(&mut counting, BYTES).unwrap();
        most = most.max(counting.read);
    }
    println!("at most {most} bytes read of a picture");
    assert!(most < HEAD_LIMIT);
    const { assert!(HEAD_LIMIT < 128 * 1024) };
}

/// The crawl as a whole, by the kernel's own count of bytes read, linker and libraries included.
#[cfg(target_os = "linux")]
#[test]
fn the_kernel_counts_the_same() {
    let place = Place::new();
    for i in 0..500_u32 {
        let bytes = picture_at(&format!("2025:11:01 {:02}:{:02}:00", i / 60, i % 60));
        let path = place.put(&format!("cards/A/IMG_{i:05}.JPG"), &bytes);
        let file = std::fs::OpenOptions::new().write(true).open(path).unwrap();
        file.set_len(BYTES).unwrap();
    }
    let script = format!(
        "'{}' daylight '{}' --json >/dev/null; grep rchar /proc/$$/io",
        &*crate::support::PROGRAM,
        place.path().display()
    );
    // The shell's own count takes in that of the children it has waited for.
    let output = std::process::Command::new("sh").args(["-c", &script]).output().unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    let read: u64 = text.trim().trim_start_matches("rchar: ").parse().unwrap();
    println!("{} bytes read per picture", read / 500);
    assert!(read > 500 * 300 && read < 500 * 128 * 1024, "{text}");
}
