//! How fast the desk is with 50,000 pictures, 600 of them of twelve megapixels.
//!
//!     cargo bench --bench desk
//!
//! A person who takes less than half a second for each visit is imitated: what the page asks for is
//! asked for, in the order in which it does. The named peer is the disk itself: a line appended and
//! synced without anything around it.

use std::fs::{self, File};
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use chrono::{NaiveDate, TimeDelta};
use image::codecs::jpeg::JpegEncoder;
use image::{ImageEncoder, Rgb, RgbImage};
use serde_json::{Value, json};

const PICTURES: usize = 50_000;
const LARGE: usize = 600;
const ROWS_BEFORE: usize = 40_000;
const VISITS: usize = 250;
const THINKS: Duration = Duration::from_millis(400);

fn main() {
    let folder = tempfile::tempdir().unwrap();
    write_season(folder.path());
    // The first start reads the cards; from then on they are known, once a change to them would show.
    std::thread::sleep(Duration::from_millis(2500));
    let first = Desk::start(folder.path());
    first.wait_until_sorted();
    drop(first);

    let start = Instant::now();
    let desk = Desk::start(folder.path());
    let visit = desk.first_screen();
    let first_screen_ms = ms(start);
    desk.wait_until_sorted();

    let (next_ms, saved_ms) = evening(&desk, visit);
    let memory_mb = desk.memory_mb();
    drop(desk);
    let disk_ms = disk_ms(folder.path());

    println!("\n{PICTURES} pictures, {ROWS_BEFORE} rows in tags.csv before\n");
    target("first screen after start, ms", first_screen_ms, 300.0);
    target("next visit and its picture, 99th percentile, ms", high(&next_ms), 50.0);
    println!("  (half of them under {:.1} ms)", middle(&next_ms));
    target("tag to saved, 99th percentile, ms", high(&saved_ms), 20.0);
    println!("  (half of them under {:.1} ms)", middle(&saved_ms));
    println!(
        "- saved / a line appended and synced, halves: {:.2}; 99th percentiles: {:.2}",
        middle(&saved_ms) / middle(&disk_ms),
        high(&saved_ms) / high(&disk_ms)
    );
    target("most memory, MB", memory_mb, 300.0);
}

/// From visit to visit: tag it, give it a count, go on.
fn evening(desk: &Desk, mut visit: Value) -> (Vec<f64>, Vec<f64>) {
    let (mut next_ms, mut saved_ms) = (Vec::new(), Vec::new());
    for i in 0..VISITS {
        desk.look_ahead(&visit);
        std::thread::sleep(THINKS);
        let mut version = visit["version"].clone();
        let counts: &[u32] = if i % 3 == 0 { &[1, 2] } else { &[1] };
        for count in counts {
            let start = Instant::now();
            let body = json!({
                "generation": visit["generation"],
                "visit": visit["id"],
                "version": version,
                "pictures": null,
                "tags": [{ "who": "doe", "count": count }],
            });
            let saved = desk.post("api/tag", &body);
            saved_ms.push(ms(start));
            version = saved["version"].clone();
        }
        let start = Instant::now();
        let id = visit["id"].as_u64().unwrap();
        visit = desk.json(&format!("api/visit?go=untagged&id={id}"))["visit"].clone();
        desk.picture(&visit);
        next_ms.push(ms(start));
    }
    (next_ms, saved_ms)
}

struct Desk {
    child: Child,
    host: String,
    secret: String,
}

impl Desk {
    fn start(property: &Path) -> Self {
        let mut child = Command::new(env!("CARGO_BIN_EXE_graylight"))
            .arg("tag")
            .arg(property)
            .arg("--no-browser")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        BufReader::new(child.stdout.take().unwrap()).read_line(&mut line).unwrap();
        let parts: Vec<&str> = line.trim().split('/').collect();
        Self { child, host: parts[2].to_owned(), secret: parts[3].to_owned() }
    }

    fn ask(&self, method: &str, path: &str, body: &str) -> Vec<u8> {
        let mut stream = TcpStream::connect(&self.host).unwrap();
        let (host, secret, length) = (&self.host, &self.secret, body.len());
        let request = format!(
            "{method} /{secret}/{path} HTTP/1.1\r\nHost: {host}\r\nOrigin: http://{host}\r\nContent-Type: application/json\r\nContent-Length: {length}\r\nConnection: close\r\n\r\n{body}"
        );
        stream.write_all(request.as_bytes()).unwrap();
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).unwrap();
        assert!(answer.starts_with(b"HTTP/1.1 200"), "{path}");
        let end = answer.windows(4).position(|w| w == b"\r\n\r\n").unwrap();
        answer.split_off(end + 4)
    }

    fn json(&self, path: &str) -> Value {
        serde_json::from_slice(&self.ask("GET", path, "")).unwrap()
    }

    fn post(&self, path: &str, body: &Value) -> Value {
        serde_json::from_slice(&self.ask("POST", path, &body.to_string())).unwrap()
    }

    fn picture(&self, visit: &Value) {
        let id = visit["pictures"][0]["id"].as_u64().unwrap();
        let jpeg = self.ask("GET", &format!("picture/{id}?size=screen"), "");
        assert!(jpeg.starts_with(&[0xff, 0xd8]));
    }

    /// The page, its script and style, the state, the first visit and its picture.
    fn first_screen(&self) -> Value {
        for file in ["visits.html", "desk.css", "shared.js", "visits.js", "api/state"] {
            self.ask("GET", file, "");
        }
        let visit = self.json("api/visit?go=untagged")["visit"].clone();
        self.picture(&visit);
        visit
    }

    /// What the page fetches while the person looks.
    fn look_ahead(&self, visit: &Value) {
        let mut id = visit["id"].as_u64().unwrap();
        for _ in 0..2 {
            let next = self.json(&format!("api/visit?go=untagged&id={id}"))["visit"].clone();
            self.picture(&next);
            id = next["id"].as_u64().unwrap();
        }
    }

    fn wait_until_sorted(&self) {
        while self.json("api/since?version=0")["sorting"]["done"] != json!(true) {
            std::thread::sleep(Duration::from_millis(200));
        }
    }

    /// The kernel's high-water mark (Linux).
    fn memory_mb(&self) -> f64 {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()));
        let status = status.unwrap_or_default();
        let line = status.lines().find(|l| l.starts_with("VmHWM"));
        let kb = line.and_then(|l| l.split_whitespace().nth(1)?.parse::<f64>().ok());
        kb.unwrap_or(f64::NAN) / 1024.0
    }
}

impl Drop for Desk {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// A line appended and synced, as often as there were tags.
fn disk_ms(folder: &Path) -> Vec<f64> {
    let mut file = File::create(folder.join("peer.csv")).unwrap();
    let line = "cards/Oak/DCIM/100MEDIA/IMG_0001.JPG,doe,1,,,\n";
    (0..VISITS)
        .map(|_| {
            let start = Instant::now();
            file.write_all(line.as_bytes()).unwrap();
            file.sync_data().unwrap();
            ms(start)
        })
        .collect()
}

/// The large pictures at the camera that comes first, the others at five more; the tags at those.
fn write_season(folder: &Path) {
    fs::write(
        folder.join("property.toml"),
        "name = 'Desk'\nlatitude = 43.1\nlongitude = -90.7\ntime_zone = 'America/Chicago'\n",
    )
    .unwrap();
    let (large, small) = (jpeg(4000, 3000), jpeg(320, 240));
    let mut tags = String::from("picture,who,count,age,name,note\n");
    for i in 0..PICTURES {
        let (camera, bytes) = if i < LARGE {
            ("Alder".to_owned(), &large)
        } else {
            (format!("Oak {}", i % 5), &small)
        };
        let below = format!("cards/{camera}/DCIM/{}MEDIA", 100 + i / 5000);
        let path = format!("{below}/IMG_{:04}.JPG", i % 10_000);
        fs::create_dir_all(folder.join(&below)).unwrap();
        fs::write(folder.join(&path), with_time(bytes, i)).unwrap();
        if i >= PICTURES - ROWS_BEFORE {
            tags += &format!("{path},doe,1,,,\n");
        }
    }
    fs::write(folder.join("tags.csv"), tags).unwrap();
    Command::new("sync").status().unwrap();
}

const TAKEN: &str = "2025:01:01 00:00:00";

/// Something with detail everywhere, so that decoding costs what it costs.
fn jpeg(across: u32, down: u32) -> Vec<u8> {
    let picture = RgbImage::from_fn(across, down, |x, y| {
        let grain = (x.wrapping_mul(2_654_435_761) ^ y.wrapping_mul(40_503)) >> 27;
        let wave = (x as f32 / 90.0).sin() * 50.0 + (y as f32 / 70.0).cos() * 50.0;
        Rgb([0, 10, 20].map(|tint| (120.0 + wave) as u8 + (grain & 15) as u8 + tint))
    });
    let field = exif::Field {
        tag: exif::Tag::DateTimeOriginal,
        ifd_num: exif::In::PRIMARY,
        value: exif::Value::Ascii(vec![TAKEN.as_bytes().to_vec()]),
    };
    let mut writer = exif::experimental::Writer::new();
    writer.push_field(&field);
    let mut block = std::io::Cursor::new(Vec::new());
    writer.write(&mut block, true).unwrap();
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 85);
    encoder.set_exif_metadata(block.into_inner()).unwrap();
    encoder.encode_image(&picture).unwrap();
    bytes
}

/// Ten minutes apart, so that each is a visit of its own.
fn with_time(jpeg: &[u8], number: usize) -> Vec<u8> {
    let first = NaiveDate::from_ymd_opt(2025, 1, 1).and_then(|d| d.and_hms_opt(0, 0, 0)).unwrap();
    let time = first + TimeDelta::minutes(10 * number as i64);
    let mut bytes = jpeg.to_vec();
    let at = bytes.windows(TAKEN.len()).position(|w| w == TAKEN.as_bytes()).unwrap();
    let text = time.format("%Y:%m:%d %H:%M:%S").to_string();
    bytes[at..at + TAKEN.len()].copy_from_slice(text.as_bytes());
    bytes
}

fn ms(start: Instant) -> f64 {
    start.elapsed().as_secs_f64() * 1000.0
}

fn ranked(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = (share * sorted.len() as f64).ceil() as usize;
    sorted[rank.clamp(1, sorted.len()) - 1]
}

fn high(values: &[f64]) -> f64 {
    ranked(values, 0.99)
}

fn middle(values: &[f64]) -> f64 {
    ranked(values, 0.5)
}

fn target(what: &str, value: f64, most: f64) {
    let met = if value <= most { "met" } else { "NOT met" };
    println!("- {what}: {value:.1} (target < {most}): {met}");
}
