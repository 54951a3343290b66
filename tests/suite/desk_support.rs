//! A running desk, and a small client that can also behave badly.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use serde_json::{Value, json};

use crate::support::{Place, graylight, picture_at};

/// `graylight tag`, killed when dropped.
pub struct Running {
    child: Child,
    /// `127.0.0.1:PORT`
    pub host: String,
    /// The secret in the address.
    pub secret: String,
}

/// What came back.
pub struct Reply {
    pub status: u16,
    pub head: String,
    pub body: Vec<u8>,
}

impl Reply {
    pub fn json(&self) -> Value {
        let text = String::from_utf8_lossy(&self.body);
        serde_json::from_str(&text).unwrap_or_else(|e| panic!("{e}: {} {text}", self.status))
    }
}

impl Running {
    pub fn on(property: &Path) -> Self {
        let mut command = graylight();
        command.arg("tag").arg(property);
        // Not among what the person who runs the tests has opened.
        let config = std::env::temp_dir().join("graylight-tests-config");
        Self::begun(command.env("XDG_CONFIG_HOME", config))
    }

    /// `graylight` alone, as somebody whose home folder this is would start it.
    pub fn at_home(home: &Path) -> Self {
        let mut command = graylight();
        let config = home.join(".config");
        Self::begun(command.env("HOME", home).env("XDG_CONFIG_HOME", config))
    }

    fn begun(command: &mut Command) -> Self {
        let mut child = command
            .arg("--no-browser")
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut line = String::new();
        let mut out = BufReader::new(child.stdout.take().unwrap());
        out.read_line(&mut line).unwrap();
        let address = line.trim().strip_prefix("http://").expect("an address");
        let mut parts = address.split('/');
        Self {
            host: parts.next().unwrap().to_owned(),
            secret: parts.next().unwrap().to_owned(),
            child,
        }
    }

    /// The address of a page.
    #[allow(dead_code, reason = "only a browser opens pages")]
    pub fn page(&self, name: &str) -> String {
        format!("http://{}/{}/{name}", self.host, self.secret)
    }

    /// As SIGKILL does it, at once.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }

    #[allow(dead_code, reason = "browsers are not interrupted")]
    pub fn is_running(&mut self) -> bool {
        self.child.try_wait().unwrap().is_none()
    }

    pub fn process(&self) -> u32 {
        self.child.id()
    }

    /// A request with a head of the caller's own making.
    pub fn raw(&self, method: &str, path: &str, head: &[&str], body: &str) -> Option<Reply> {
        let mut stream = TcpStream::connect(&self.host).ok()?;
        stream.set_read_timeout(Some(Duration::from_secs(20))).ok()?;
        let head: String = head.iter().map(|line| format!("{line}\r\n")).collect();
        let length = body.len();
        let request = format!(
            "{method} {path} HTTP/1.1\r\n{head}Content-Length: {length}\r\nConnection: close\r\n\r\n{body}"
        );
        stream.write_all(request.as_bytes()).ok()?;
        let mut answer = Vec::new();
        stream.read_to_end(&mut answer).ok()?;
        let end = answer.windows(4).position(|w| w == b"\r\n\r\n")?;
        let head = String::from_utf8_lossy(&answer[..end]).into_owned();
        Some(Reply {
            status: head.split(' ').nth(1)?.parse().ok()?,
            head,
            body: answer[end + 4..].to_vec(),
        })
    }

    /// As the desk's own page would ask.
    pub fn get(&self, path: &str) -> Reply {
        let host = format!("Host: {}", self.host);
        let path = format!("/{}/{path}", self.secret);
        self.raw("GET", &path, &[&host], "").unwrap()
    }

    /// As the desk's own page would send; `None` where the desk is gone.
    pub fn try_post(&self, path: &str, body: &Value) -> Option<Reply> {
        let host = format!("Host: {}", self.host);
        let origin = format!("Origin: http://{}", self.host);
        let head = [&host, &origin, "Content-Type: application/json"];
        let path = format!("/{}/{path}", self.secret);
        self.raw("POST", &path, &head, &body.to_string())
    }

    pub fn post(&self, path: &str, body: &Value) -> Reply {
        self.try_post(path, body).unwrap()
    }

    /// A visit by its number.
    pub fn visit(&self, id: u64) -> Value {
        self.get(&format!("api/visit?go=here&id={id}")).json()["visit"].clone()
    }

    /// Tags a visit as it is now.
    pub fn tag(&self, id: u64, tags: &Value) -> Reply {
        self.post("api/tag", &tagging(&self.visit(id), tags))
    }

    /// Waits until the desk has looked through the pictures.
    pub fn wait_until_sorted(&self) {
        let start = Instant::now();
        while self.get("api/state").json()["sorting"]["done"] != json!(true) {
            assert!(start.elapsed() < Duration::from_secs(60), "still sorting");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

/// What the page sends to give a visit its tags.
pub fn tagging(visit: &Value, tags: &Value) -> Value {
    json!({
        "generation": visit["generation"],
        "visit": visit["id"],
        "version": visit["version"],
        "pictures": null,
        "tags": tags,
    })
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Forty pictures of one camera, two to a visit.
pub fn small() -> Place {
    let place = Place::new();
    for i in 0..40_u32 {
        let (day, minute) = (i / 4 + 1, 20 * (i % 4 / 2));
        let time = format!("2025:11:{day:02} 06:{minute:02}:{:02}", i % 2);
        place.put(&format!("cards/Oak/IMG_{i:04}.JPG"), picture_at(&time));
    }
    place
}

/// `tags.csv` as it is on the disk.
pub fn tags(place: &Place) -> String {
    without_content(&fs::read_to_string(place.path().join("tags.csv")).unwrap_or_default())
}

/// The same rows without the pictures' hashes, which must be hashes.
fn without_content(tags: &str) -> String {
    let is_hash = |cell: &str| {
        cell.split_once('-').is_some_and(|(hash, ends)| {
            let is_hex = |s: &str| s.bytes().all(|b| b.is_ascii_hexdigit());
            hash.len() == 64 && ends.len() == 16 && is_hex(hash) && is_hex(ends)
        })
    };
    let line = |line: &str| {
        let (text, end) = line.split_at(line.trim_end_matches(['\r', '\n']).len());
        let kept = match text.rsplit_once([',', ';']) {
            Some((kept, "content")) => kept,
            Some((kept, cell)) if is_hash(cell) => kept,
            _ => text,
        };
        kept.to_owned() + end
    };
    tags.split_inclusive('\n').map(line).collect()
}
