//! A real browser, driven from outside: its page, its log, and what it makes of the screen.
//!
//! Needs chromium and chromium-driver (`tests/setup.sh` installs them); without them it fails.

use fantoccini::wd::WebDriverCompatibleCommand;
use fantoccini::{Client, ClientBuilder, Locator};
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

/// How many ports a driver may try: with 900 of the ports of 127.0.0.1 taken, 84 starts of 1,200 met a
/// taken one, so that 20 in a row mean another trouble.
const PORTS: usize = 20;

/// A driver on a free port.
///
/// It picks one that is free on `::1` and ends if the same number is taken on 127.0.0.1: it is asked again
/// for that reason and for no other.
fn driver() -> Driver {
    for _ in 0..PORTS {
        match started() {
            Ok(driver) => return driver,
            Err(said) => {
                assert!(said.contains("port not available"), "chromedriver ended at its start: {said}")
            }
        }
    }
    panic!("chromedriver met a taken port {PORTS} times");
}

/// A driver, or what one said that ended at its start.
fn started() -> Result<Driver, String> {
    let child =
        Command::new("chromedriver").arg("--port=0").stdout(Stdio::piped()).stderr(Stdio::null()).spawn();
    let mut child =
        child.expect("chromedriver is missing: install chromium and chromium-driver (tests/setup.sh does)");
    let mut lines = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let mut driver = Driver { child, port: 0 };
    let mut said = String::new();
    for line in lines.by_ref() {
        let line = line.expect("text");
        if let Some((_, port)) = line.split_once("started successfully on port ") {
            driver.port = port.trim_end_matches('.').parse().expect("a port");
            // Its pipe must not fill up.
            std::thread::spawn(move || lines.for_each(drop));
            return Ok(driver);
        }
        said.push_str(&line);
        said.push('\n');
    }
    driver.child.wait().expect("the end of a driver");
    Err(said)
}

impl Browser {
    /// Types into the field of this name, in place of what stands there.
    pub(crate) async fn fill(&self, name: &str, text: &str) {
        let at = format!("input[name={name}]");
        let input = self.client.wait().for_element(Locator::Css(&at)).await.expect(name);
        self.unfold(&at).await;
        input.clear().await.expect(name);
        input.send_keys(text).await.expect(name);
    }

    /// Clicks what is found here, once it is there.
    pub(crate) async fn press(&self, css: &str) {
        let at = self.client.wait().for_element(Locator::Css(css)).await.expect(css);
        at.click().await.expect(css);
    }

    /// One of several.
    pub(crate) async fn choose(&self, name: &str, value: &str) {
        let at = format!("input[name={name}][value={value}]");
        self.client.wait().for_element(Locator::Css(&at)).await.expect(name);
        self.unfold(&at).await;
        self.press(&at).await;
    }

    /// What is folded away is unfolded first, as a person would.
    async fn unfold(&self, css: &str) {
        self.js(&format!("document.querySelector('{css}').closest('details')?.setAttribute('open', '')"))
            .await;
    }

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
        self.within(Duration::from_secs(15), what, script).await;
    }

    pub(crate) async fn within(&self, longest: Duration, what: &str, script: &str) {
        let from = Instant::now();
        while self.js(script).await != json!(true) {
            if from.elapsed() >= longest {
                let said = self.js("return document.querySelector('main').innerText.slice(0, 400)").await;
                panic!("{what}: never; now '{}', which says {said}", self.face().await);
            }
            tokio::time::sleep(Duration::from_millis(60)).await;
        }
    }

    pub(crate) async fn complaints(&self) -> Vec<Value> {
        let told = self.client.issue_cmd(Complaints).await.expect("the browser's log");
        told.as_array().expect("a list").clone()
    }

    /// A command of the browser's own protocol.
    pub(crate) async fn order(&self, cmd: &'static str, params: Value) -> Value {
        self.client.issue_cmd(Order { cmd, params }).await.expect(cmd)
    }

    /// Has the page believe in another screen, and proves that it does.
    pub(crate) async fn wear(&self, look: Look) {
        let features: Vec<Value> =
            look.features().iter().map(|(name, value)| json!({ "name": name, "value": value })).collect();
        self.order("Emulation.setEmulatedMedia", json!({ "features": features })).await;
        for (name, value) in look.features() {
            let asked = format!("return matchMedia('({name}: {value})').matches");
            assert_eq!(self.js(&asked).await, json!(true), "{name}: {value} is not emulated");
        }
    }

    /// Gives the page a screen of this size in px.
    pub(crate) async fn size(&self, width: u32, height: u32) {
        let screen = json!({ "width": width, "height": height, "deviceScaleFactor": 1, "mobile": false });
        self.order("Emulation.setDeviceMetricsOverride", screen).await;
        self.until("the size", &format!("return innerWidth === {width} && innerHeight === {height}")).await;
    }

    /// Pictures of what is shown now, where they are wanted.
    pub(crate) async fn pictures(&self, name: &str) {
        let Some(folder) = std::env::var_os("TAREBELL_VIEWS") else { return };
        let folder = std::path::PathBuf::from(folder);
        std::fs::create_dir_all(&folder).expect("a folder");
        for (width, height) in [(360, 740), (1440, 900)] {
            self.size(width, height).await;
            for look in [Look::Light, Look::Dark] {
                self.wear(look).await;
                let png = self.client.screenshot().await.expect("a picture");
                let file = folder.join(format!("{name}-{width}-{}.png", look.word()));
                std::fs::write(file, png).expect("a file");
            }
        }
    }

    /// Turns to a place, and waits until it is there.
    pub(crate) async fn place(&self, place: &str) {
        self.js(&format!("location.hash = '{place}'")).await;
        self.until(place, &format!("return document.documentElement.dataset.place === '{place}'")).await;
    }

    /// Waits for a face of the place Pour.
    pub(crate) async fn shows(&self, face: &str) {
        self.until(face, &format!("return document.documentElement.dataset.face === '{face}'")).await;
    }
}

/// What a screen may be set to.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Look {
    Light,
    Dark,
    Contrast,
    Forced,
}

impl Look {
    pub(crate) const ALL: [Self; 4] = [Self::Light, Self::Dark, Self::Contrast, Self::Forced];

    pub(crate) fn word(self) -> &'static str {
        match self {
            Self::Light => "light",
            Self::Dark => "dark",
            Self::Contrast => "contrast",
            Self::Forced => "forced",
        }
    }

    /// The media features of this look (W3C Media Queries Level 5), all of them, so that none is left over.
    fn features(self) -> [(&'static str, &'static str); 3] {
        let (scheme, contrast, forced) = match self {
            Self::Light => ("light", "no-preference", "none"),
            Self::Dark => ("dark", "no-preference", "none"),
            Self::Contrast => ("light", "more", "none"),
            Self::Forced => ("dark", "more", "active"),
        };
        [("prefers-color-scheme", scheme), ("prefers-contrast", contrast), ("forced-colors", forced)]
    }
}

/// A command that is not of WebDriver but of this browser.
#[derive(Debug)]
struct Order {
    cmd: &'static str,
    params: Value,
}

impl WebDriverCompatibleCommand for Order {
    fn endpoint(&self, base: &url::Url, session: Option<&str>) -> Result<url::Url, url::ParseError> {
        base.join(&format!("session/{}/goog/cdp/execute", session.unwrap_or("none")))
    }

    fn method_and_body(&self, _: &url::Url) -> (http::Method, Option<String>) {
        (http::Method::POST, Some(json!({ "cmd": self.cmd, "params": self.params }).to_string()))
    }
}
