//! Leads the page through every place and face, each held still for as long as it is looked at.

use crate::pan::Pan;
use crate::rig::Rig;
use crate::window::Browser;
use fantoccini::Locator;
use std::path::Path;

/// Where the page stands now.
pub(crate) trait Looker {
    /// Looks at the page, which stays as it is meanwhile.
    async fn look(&mut self, browser: &Browser, stand: &str);
}

/// How often a tour stands still to be looked at.
pub(crate) const STANDS: usize = 28;

/// An invented mug.
const BARE_G: f64 = 300.0;
/// So slow that the number moves for twenty seconds.
const TRICKLE_G_S: f64 = 0.9;

/// The page at the real binary, with a pan that does what it is told.
pub(crate) struct Tour {
    rig: Rig,
    pan: Pan,
    pub(crate) browser: Browser,
}

impl Tour {
    pub(crate) async fn begin(dir: &Path) -> Self {
        let rig = Rig::start(dir);
        let pan = Pan::on(&rig);
        let browser = Browser::open(dir).await;
        browser.client.goto(&format!("http://{}/", rig.address)).await.expect("the page");
        Self { rig, pan, browser }
    }

    /// Every place without a batch, then with one in each face, then in trouble.
    pub(crate) async fn all(&self, looker: &mut impl Looker) {
        self.without_a_batch(looker).await;
        self.rig.begin_batch(12);
        self.a_piece(looker, 29.2, "good").await;
        self.a_piece(looker, 27.2, "short").await;
        self.a_piece(looker, 32.6, "over").await;
        for place in ["batch", "scale", "log"] {
            self.browser.place(place).await;
            self.settle(place).await;
            looker.look(&self.browser, &format!("{place}-under-way")).await;
        }
        self.trouble(looker).await;
    }

    async fn settle(&self, place: &str) {
        let ready = match place {
            "batch" => ".hold, form",
            "scale" => ".weight",
            "log" => ".place table, .place p:not(.wrong)",
            other => panic!("no such place: {other}"),
        };
        self.browser.client.wait().for_element(Locator::Css(ready)).await.expect(place);
    }

    async fn without_a_batch(&self, looker: &mut impl Looker) {
        self.browser.place("pour").await;
        self.pan.still(42.0);
        self.browser.shows("empty").await;
        self.browser
            .until("the weight", "return document.querySelector('.number').textContent === '42.0g'")
            .await;
        looker.look(&self.browser, "pour-empty").await;
        for place in ["scale", "log", "batch"] {
            self.browser.place(place).await;
            self.settle(place).await;
            looker.look(&self.browser, place).await;
        }
        self.ways_of_setting_up(looker).await;
    }

    async fn choose(&self, name: &str, value: &str) {
        let at = format!("input[name={name}][value={value}]");
        self.browser.client.find(Locator::Css(&at)).await.expect(&at).click().await.expect(&at);
    }

    async fn fill(&self, name: &str, text: &str) {
        let at = format!("input[name={name}]");
        let input = self.browser.client.wait().for_element(Locator::Css(&at)).await.expect(name);
        input.clear().await.expect(name);
        input.send_keys(text).await.expect(name);
    }

    async fn ways_of_setting_up(&self, looker: &mut impl Looker) {
        let reckoned = "return !!document.querySelector('.result')";
        self.fill("slop_g", "29").await;
        self.fill("name", "invented cups").await;
        self.browser.until("the limits", reckoned).await;
        looker.look(&self.browser, "batch-by-grams").await;
        self.fill("slop_g", "0").await;
        self.browser.until("a refusal", "return !!document.querySelector('.wrong[role=alert]')").await;
        looker.look(&self.browser, "batch-refused").await;
        self.choose("by", "bucket").await;
        // The worked example of the README.
        for (name, text) in
            [("specific_gravity", "1.45"), ("powder_density_g_ml", "2.5"), ("dry_g_per_cm2", "0.06")]
        {
            self.fill(name, text).await;
        }
        let shapes: [(&str, &[(&str, &str)]); 4] = [
            ("area", &[("area_cm2", "250")]),
            ("cylinder", &[("diameter_mm", "80"), ("height_mm", "95")]),
            ("bowl", &[("diameter_mm", "150"), ("depth_mm", "60")]),
            ("cone", &[("bottom_mm", "60"), ("top_mm", "90"), ("height_mm", "95")]),
        ];
        for (shape, sizes) in shapes {
            self.choose("shape", shape).await;
            for (name, text) in sizes {
                self.fill(name, text).await;
            }
            self.browser.until(shape, reckoned).await;
            looker.look(&self.browser, &format!("batch-by-bucket-{shape}")).await;
        }
    }

    /// One piece from the bare pan to its verdict, that one seen both with the piece on and lifted.
    async fn a_piece(&self, looker: &mut impl Looker, net_g: f64, verdict: &str) {
        let first = verdict == "good";
        self.browser.place("pour").await;
        self.pan.still(0.0);
        if first {
            self.browser.shows("next").await;
            looker.look(&self.browser, "pour-next").await;
            self.pan.swings(BARE_G);
            self.browser.shows("landing").await;
            looker.look(&self.browser, "pour-landing").await;
        }
        self.pan.still(BARE_G);
        self.browser.shows("ready").await;
        if first {
            looker.look(&self.browser, "pour-ready").await;
            self.pan.runs(TRICKLE_G_S, BARE_G + net_g);
            self.browser.shows("pouring").await;
            looker.look(&self.browser, "pour-pouring").await;
        }
        self.pan.runs(8.0, BARE_G + net_g);
        self.browser.shows("lift").await;
        if first {
            self.pan.shakes(BARE_G + net_g);
            looker.look(&self.browser, "pour-lift").await;
            assert_eq!(self.browser.face().await, "lift", "it was looked at too long");
            self.pan.still(BARE_G + net_g);
        }
        self.browser.shows(verdict).await;
        self.browser.until("its mark", "return !!document.querySelector('.marks li')").await;
        looker.look(&self.browser, &format!("pour-{verdict}-on")).await;
        self.pan.still(0.0);
        self.browser
            .until("lifted", "return document.querySelector('.say').textContent.includes('to go')")
            .await;
        looker.look(&self.browser, &format!("pour-{verdict}-lifted")).await;
    }

    async fn trouble(&self, looker: &mut impl Looker) {
        self.browser.place("pour").await;
        self.pan.still(BARE_G);
        self.browser.shows("ready").await;
        self.pan.runs(TRICKLE_G_S, BARE_G + 29.0);
        self.browser.shows("pouring").await;
        self.pan.falls_silent();
        self.browser.shows("trouble").await;
        self.browser.until("it is said", "return document.querySelector('.do').textContent !== ''").await;
        looker.look(&self.browser, "pour-trouble").await;
        for place in ["batch", "scale", "log"] {
            self.browser.place(place).await;
            self.settle(place).await;
            looker.look(&self.browser, &format!("{place}-trouble")).await;
        }
    }
}
