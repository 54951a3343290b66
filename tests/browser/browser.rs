//! A headless Chromium, driven through chromedriver (Debian packages `chromium`, `chromium-driver`)
//! by the W3C WebDriver protocol.

use std::net::TcpListener;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use fantoccini::actions::{InputSource, KeyAction, KeyActions};
use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder};
use hyper_util::client::legacy::connect::HttpConnector;
use serde_json::{Value, json};
use tokio::runtime::Runtime;

/// One window.
pub struct Browser {
    runtime: Runtime,
    client: Client,
    driver: Child,
    _profile: tempfile::TempDir,
}

/// Keys that are no letters, by their WebDriver code points (W3C WebDriver, 17.4.2).
pub const ENTER: char = '\u{e007}';
pub const CONTROL: char = '\u{e009}';
pub const ESCAPE: char = '\u{e00c}';
pub const TAB: char = '\u{e004}';

impl Browser {
    /// Opens a window of a size, in the light or in the dark.
    pub fn open(width: u32, height: u32, dark: bool) -> Self {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver; tests/tools installs it");
        let profile = tempfile::tempdir().unwrap();
        let mut args = vec![
            "--headless=new".to_owned(),
            "--no-sandbox".to_owned(),
            "--disable-gpu".to_owned(),
            "--disable-dev-shm-usage".to_owned(),
            "--no-first-run".to_owned(),
            "--disable-background-networking".to_owned(),
            format!("--window-size={width},{height}"),
            format!("--user-data-dir={}", profile.path().display()),
        ];
        if dark {
            args.push("--blink-settings=preferredColorScheme=0".to_owned());
        }
        let wanted = json!({
            "goog:chromeOptions": { "args": args },
            "unhandledPromptBehavior": "accept",
        });
        let runtime = Runtime::new().unwrap();
        let client = runtime.block_on(connect(port, &wanted));
        Self { runtime, client, driver, _profile: profile }
    }

    /// Opens a window whose page has a size, whatever the browser puts around it.
    pub fn open_inner(width: u32, height: u32) -> Self {
        let browser = Self::open(width, height, false);
        browser.command(
            "Emulation.setDeviceMetricsOverride",
            json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false }),
        );
        browser
    }

    /// A finger touches a point of the page.
    pub fn tap(&self, x: f64, y: f64) {
        let touch = |kind: &str, points: Value| {
            let wanted = json!({ "type": kind, "touchPoints": points });
            self.command("Input.dispatchTouchEvent", wanted);
        };
        touch("touchStart", json!([{ "x": x, "y": y }]));
        touch("touchEnd", json!([]));
    }

    /// The page as a PDF.
    pub fn print(&self) -> Vec<u8> {
        let config = fantoccini::wd::PrintConfiguration::default();
        self.runtime.block_on(self.client.print(config)).unwrap()
    }

    /// A command of the browser's own protocol (Chrome DevTools Protocol).
    fn command(&self, name: &'static str, parameters: Value) -> Value {
        let command = OwnCommand { name, parameters };
        self.runtime.block_on(self.client.issue_cmd(command)).unwrap()
    }

    pub fn go(&self, address: &str) {
        self.runtime.block_on(self.client.goto(address)).unwrap();
    }

    /// What a script returns.
    pub fn js(&self, script: &str) -> Value {
        let answer = self.client.execute(script, Vec::new());
        self.runtime.block_on(answer).unwrap_or_else(|e| panic!("{script}: {e}"))
    }

    /// What an asynchronous script hands to its last argument.
    pub fn js_later(&self, script: &str) -> Value {
        let answer = self.client.execute_async(script, Vec::new());
        self.runtime.block_on(answer).unwrap()
    }

    /// The text of the first element that fits.
    pub fn text(&self, selector: &str) -> String {
        let script = format!("return document.querySelector({selector:?})?.textContent ?? ''");
        self.js(&script).as_str().unwrap_or_default().to_owned()
    }

    /// Waits until a script returns something that is true.
    pub fn wait_until(&self, script: &str) {
        let start = Instant::now();
        while !truthy(&self.js(script)) {
            let shown = self.text("body");
            assert!(start.elapsed() < Duration::from_secs(20), "{script}: {shown}");
            std::thread::sleep(Duration::from_millis(5));
        }
    }

    /// Presses keys one after the other.
    pub fn press(&self, keys: &str) {
        let mut actions = KeyActions::new("keyboard".to_owned());
        for value in keys.chars() {
            actions = actions.then(KeyAction::Down { value }).then(KeyAction::Up { value });
        }
        self.runtime.block_on(self.client.perform_actions(actions)).unwrap();
    }

    /// Presses a key while another is held.
    pub fn press_with(&self, held: char, value: char) {
        let actions = KeyActions::new("keyboard".to_owned())
            .then(KeyAction::Down { value: held })
            .then(KeyAction::Down { value })
            .then(KeyAction::Up { value })
            .then(KeyAction::Up { value: held });
        self.runtime.block_on(self.client.perform_actions(actions)).unwrap();
    }
}

fn truthy(value: &Value) -> bool {
    !matches!(value, Value::Null | Value::Bool(false)) && *value != json!("") && *value != json!(0)
}

async fn connect(port: u16, wanted: &Value) -> Client {
    let address = format!("http://127.0.0.1:{port}");
    let mut builder = ClientBuilder::new(HttpConnector::new());
    builder.capabilities(wanted.as_object().unwrap().clone());
    let mut said = String::new();
    // The driver needs a moment before it answers.
    for _ in 0..100 {
        match builder.connect(&address).await {
            Ok(client) => return client,
            Err(e) => said = e.to_string(),
        }
        tokio::time::sleep(Duration::from_millis(100)).await;
    }
    panic!("no browser: {said}");
}

impl Drop for Browser {
    fn drop(&mut self) {
        let _ = self.runtime.block_on(self.client.clone().close());
        let _ = self.driver.kill();
        let _ = self.driver.wait();
    }
}

#[derive(Debug)]
struct OwnCommand {
    name: &'static str,
    parameters: Value,
}

impl WebDriverCompatibleCommand for OwnCommand {
    fn endpoint(
        &self,
        base: &url::Url,
        session: Option<&str>,
    ) -> Result<url::Url, url::ParseError> {
        let session = session.unwrap_or_default();
        base.join(&format!("session/{session}/goog/cdp/execute"))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        let body = json!({ "cmd": self.name, "params": self.parameters });
        (http::Method::POST, Some(body.to_string()))
    }
}
