//! A real browser, driven from outside: its page, its log, and what it makes of the screen.
//!
//! Needs chromium and chromium-driver (`tests/setup.sh` installs them); without them it fails.

use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder};
use serde_json::{Value, json};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A browser of this test's own; it ends with the value.
pub(crate) struct Browser {
    pub(crate) client: Client,
    _driver: Driver,
}

struct Driver {
    child: Child,
    port: u16,
}

impl Drop for Driver {
    fn drop(&mut self) {
        // Asked this way the driver ends its browsers too; by a signal it leaves them behind.
        let _ = ureq::get(format!("http://127.0.0.1:{}/shutdown", self.port)).call();
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// What the browser complained about since it was last asked, refused contents among it.
#[derive(Debug)]
struct Complaints;

impl WebDriverCompatibleCommand for Complaints {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/se/log", session.unwrap_or("none")))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(json!({ "type": "browser" }).to_string()))
    }
}

/// A driver on a port of its own choice.
fn driver() -> Driver {
    let child =
        Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
    let mut child =
        child.expect("chromedriver is missing: install chromium and chromium-driver (tests/setup.sh does)");
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let mut driver = Driver { child, port: 0 };
    driver.port = loop {
        let line = lines.next().expect("chromedriver ended at its start").expect("text");
        if let Some((_, port)) = line.split_once("started successfully on port ") {
            break port.trim_end_matches('.').parse().expect("a port");
        }
    };
    // Its pipe must not fill up.
    std::thread::spawn(move || lines.for_each(drop));
    driver
}

impl Browser {
    pub(crate) async fn open(dir: &Path) -> Self {
        let driver = driver();
        let port = driver.port;
        let profile = format!("--user-data-dir={}", dir.join("browser").display());
        // Without a sandbox: the tests may run as root, and only our own page is opened.
        let args = ["--headless", "--no-sandbox", "--disable-gpu", "--window-size=1000,800", &profile];
        let wanted = json!({
            "goog:loggingPrefs": { "browser": "ALL" }, "goog:chromeOptions": { "args": args }
        });
        let http = hyper_util::client::legacy::connect::HttpConnector::new();
        let client = ClientBuilder::new(http)
            .capabilities(wanted.as_object().expect("an object").clone())
            .connect(&format!("http://127.0.0.1:{port}"))
            .await
            .expect("a browser: is chromium installed?");
        Self { client, _driver: driver }
    }

    pub(crate) async fn js(&self, script: &str) -> Value {
        self.client.execute(script, Vec::new()).await.expect(script)
    }

    pub(crate) async fn face(&self) -> String {
        let face = self.js("return document.documentElement.dataset.face ?? ''").await;
        face.as_str().expect("text").to_owned()
    }

    /// Waits until the page's script gives true; the limit is for a busy machine.
    pub(crate) async fn until(&self, what: &str, script: &str) {
        let from = Instant::now();
        while self.js(script).await != json!(true) {
            assert!(from.elapsed() < Duration::from_secs(15), "{what}: never; now '{}'", self.face().await);
            tokio::time::sleep(Duration::from_millis(30)).await;
        }
    }

    pub(crate) async fn complaints(&self) -> Vec<Value> {
        let told = self.client.issue_cmd(Complaints).await.expect("the browser's log");
        told.as_array().expect("a list").clone()
    }
}
