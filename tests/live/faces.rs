//! Leads the page through every place and face, each held still for as long as it is looked at.

use crate::pan::Pan;
use crate::rig::{Rig, terminal};
use crate::window::Browser;
use fantoccini::Locator;
use serde_json::json;
use std::path::Path;
use std::time::Duration;

/// Where the page stands now.
pub(crate) trait Looker {
    /// Looks at the page, which stays as it is meanwhile.
    async fn look(&mut self, browser: &Browser, stand: &str);
}

/// How often a tour stands still to be looked at.
pub(crate) const STANDS: usize = 60;

/// An invented mug.
const BARE_G: f64 = 300.0;
/// An invented piece that is none of its ware.
const OTHER_G: f64 = 238.0;
/// So slow that the number moves for twenty seconds.
const TRICKLE_G_S: f64 = 0.9;

/// The grams are there.
const RECKONED: &str = "return !!document.querySelector('.result')";
/// Whether the place Scale gives a pace.
const PACE_SHOWN: &str = "document.querySelector('.list').textContent.includes('readings a second')";

/// The page at the real binary, with a pan that does what it is told.
pub(crate) struct Tour {
    pub(crate) rig: Rig,
    pan: Pan,
    pub(crate) browser: Browser,
}

impl Tour {
    pub(crate) async fn begin(dir: &Path) -> Self {
        let line = terminal(dir);
        let config = dir.join("tarebell.toml");
        let text = std::fs::read_to_string(&config).expect("settings");
        // The third piece, one that does not count, is followed by a reminder; the fourth fills the batch.
        std::fs::write(&config, text + "[pour]\nstir_every_pieces = 3\n").expect("settings");
        let rig = Rig::start_with(dir, line);
        let pan = Pan::on(&rig);
        let browser = Browser::open(dir).await;
        browser.client.goto(&format!("http://{}/", rig.address)).await.expect("the page");
        Self { rig, pan, browser }
    }

    /// Every place without a batch, then with one in each face, then in trouble.
    pub(crate) async fn all(&self, looker: &mut impl Looker) {
        self.without_a_batch(looker).await;
        self.a_trickle(looker).await;
        let batch = self.batch();
        self.a_dirty_pan(looker, "pour-next-wipe").await;
        self.a_piece(looker, 29.2, "good").await;
        self.a_piece(looker, 27.2, "short").await;
        self.a_piece_out_of_the_count(looker, &batch).await;
        // The last one that was planned.
        // Over by what a hand leaves that is a little late: a second later it would be a pour anew, that stands still.
        self.a_piece(looker, 31.2, "over").await;
        self.a_dirty_pan(looker, "pour-over-wipe").await;
        self.a_jug(looker).await;
        for place in ["batch", "glaze", "scale", "review", "log"] {
            self.browser.place(place).await;
            self.settle(place).await;
            if place == "scale" {
                // A busy machine sends unevenly, and after a doubt of its rhythm a scale has to send evenly
                // for about a minute before one is shown: room for three such minutes.
                let script = format!("return {PACE_SHOWN}");
                self.browser.within(std::time::Duration::from_secs(200), "the pace", &script).await;
            }
            looker.look(&self.browser, &format!("{place}-under-way")).await;
        }
        self.curves(looker).await;
        self.trouble(looker).await;
    }

    /// A batch of one piece that is to be finished with a trickle: it stops short, and is lifted without it.
    async fn a_trickle(&self, looker: &mut impl Looker) {
        let asked = json!({
            "name": "invented tiles", "pieces": 1, "finish": "trickle", "coat": { "by": "direct", "slop_g": 29.0 }
        });
        let id = self.rig.post("/api/batches", asked)["id"].as_str().expect("an id").to_owned();
        let begun = self.rig.post(&format!("/api/batches/{id}/begin"), json!({}));
        assert_eq!(begun["finish"], json!("trickle"));
        assert!(begun["expected"]["spread_g"].as_f64().is_some_and(|g| (0.1..2.0).contains(&g)), "{begun}");
        self.browser.place("pour").await;
        self.pan.still(0.0);
        self.browser.shows("next").await;
        // Until the bare pan was seen at rest a piece might hold slop.
        tokio::time::sleep(Duration::from_secs(1)).await;
        self.pan.still(BARE_G);
        self.browser.shows("ready").await;
        tokio::time::sleep(Duration::from_millis(400)).await;
        self.pan.runs(8.0, BARE_G + 20.0);
        self.browser.shows("stop").await;
        self.pan.shakes(BARE_G + 20.0);
        looker.look(&self.browser, "pour-stop").await;
        self.pan.still(BARE_G + 20.0);
        self.browser.shows("trickle").await;
        looker.look(&self.browser, "pour-trickle").await;
        self.pan.still(0.0);
        self.browser.shows("short").await;
        self.rig.post(&format!("/api/batches/{id}/end"), json!({}));
        self.browser.shows("empty").await;
    }

    /// An invented batch, whose pieces begin at another number than one.
    fn batch(&self) -> String {
        let asked = json!({
            "name": "invented cups", "pieces": 3, "glaze_name": "invented tenmoku", "bare_g": [290, 310],
            "coat": { "by": "direct", "slop_g": 29.0 }, "tolerance": { "percent": 5.0 }
        });
        let id = self.rig.post("/api/batches", asked)["id"].as_str().expect("an id").to_owned();
        self.rig.post(&format!("/api/batches/{id}/begin"), json!({}));
        self.rig.post(&format!("/api/batches/{id}/skip"), json!({}));
        id
    }

    /// The jug between two pieces.
    async fn a_jug(&self, looker: &mut impl Looker) {
        self.pan.still(0.0);
        self.rig.until("bare", |now| {
            now["pan_g"].is_null()
                && now["scale"]["mass_g"] == json!(0.0)
                && now["scale"]["settled"] == json!(true)
        });
        self.pan.still(751.0);
        self.browser
            .until(
                "what is in it",
                "return document.querySelector('.note')?.textContent.includes('Jug: 500 g, for 17 more')",
            )
            .await;
        looker.look(&self.browser, "pour-jug").await;
        self.pan.still(0.0);
        self.rig.until("taken off", |now| now["scale"]["mass_g"] == json!(0.0));
    }

    /// A pebble and a jug that the scale knows.
    async fn spare(&self, looker: &mut impl Looker) {
        self.browser.place("scale").await;
        self.pan.still(30.0);
        self.rig.until("at rest", |now| {
            now["scale"]["mass_g"] == json!(30.0) && now["scale"]["settled"] == json!(true)
        });
        self.rig.post("/api/scale/spare", json!({}));
        self.rig.post("/api/scale/jug", json!({ "jug_g": 251.0 }));
        self.browser
            .until("a way to forget both", "return document.querySelectorAll('.hold').length === 7")
            .await;
        looker.look(&self.browser, "scale-spare").await;
        self.pan.still(0.0);
    }

    /// The response test of the scale: a step, and one with something amiss.
    async fn lag_test(&self, looker: &mut impl Looker) {
        self.browser.place("scale").await;
        self.rig.post("/api/scale/lag", json!({}));
        self.rig.until("a bare pan", |now| now["scale"]["lag_test"]["wants"] == json!("heavy"));
        self.pan.still(90.0);
        self.browser
            .until(
                "too light",
                "return document.querySelector('.step .amiss')?.textContent.includes('too light')",
            )
            .await;
        looker.look(&self.browser, "scale-test-amiss").await;
        self.pan.still(BARE_G);
        self.browser
            .until("lift it", "return document.querySelector('.ask')?.textContent.startsWith('Lift')")
            .await;
        looker.look(&self.browser, "scale-test-off").await;
        self.browser
            .client
            .find(Locator::Css(".step button"))
            .await
            .expect("a button")
            .click()
            .await
            .expect("a click");
        self.browser.until("left off", "return !document.querySelector('.step')").await;
        self.pan.still(0.0);
        // The next batch begins on a bare pan.
        self.rig.until("bare again", |now| {
            now["scale"]["mass_g"] == json!(0.0) && now["scale"]["settled"] == json!(true)
        });
    }

    /// The scale against masses: a step with a wrong mass on the pan, and what is told of a scale that is calibrated.
    async fn calibrating(&self, looker: &mut impl Looker) {
        let masses = json!([{ "nominal_g": 50, "class": "M1" }, { "nominal_g": 200, "class": "M1" }]);
        self.rig.post("/api/scale/calibrate", json!({ "masses": masses }));
        self.rig.until("a bare pan", |now| now["scale"]["routine"]["wants"] == json!("put"));
        self.pan.still(100.0);
        self.browser
            .until(
                "told",
                "return document.querySelector('.step .amiss')?.textContent === 'That looks like 100 g.'",
            )
            .await;
        looker.look(&self.browser, "scale-calibrate-amiss").await;
        self.rig.post("/api/scale/calibrate", json!({ "off": true }));
        self.pan.still(0.0);
        let point = |g: f64, shown: [f64; 2]| json!({ "nominal_g": g, "class": "M1", "readings_g": shown });
        let made = self.rig.post(
            "/api/calibrations",
            json!({
                "division_g": 0.1, "corners": { "centre_g": 200, "readings_g": [200.1, 200, 199.9, 200] },
                "points": [point(0.0, [0.0, 0.0]), point(50.0, [50.0, 50.1]), point(200.0, [200.0, 200.0])]
            }),
        );
        let drawn = "return document.querySelectorAll('.calibrate img').length === 2 && [...document.querySelectorAll('.calibrate img')].every((i) => i.complete && i.naturalWidth > 100)";
        self.browser.until("its plots", drawn).await;
        looker.look(&self.browser, "scale-calibrated").await;
        let id = made["id"].as_str().expect("an id");
        self.rig.post(&format!("/api/calibrations/{id}/use"), json!({ "off": true }));
        self.browser.until("not gone by", "return !document.querySelector('.calibrate img')").await;
        // The next batch begins on a bare pan.
        self.rig.until("bare again", |now| {
            now["scale"]["mass_g"] == json!(0.0) && now["scale"]["settled"] == json!(true)
        });
    }

    async fn settle(&self, place: &str) {
        let ready = match place {
            "batch" => ".hold, form",
            "glaze" => ".acts button",
            "scale" => ".weight",
            "review" => ".glance, .place p:not(.wrong)",
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
        for place in ["scale", "log", "review", "batch"] {
            self.browser.place(place).await;
            self.settle(place).await;
            looker.look(&self.browser, place).await;
        }
        self.ways_of_setting_up(looker).await;
        self.glazes(looker).await;
        self.spare(looker).await;
        self.lag_test(looker).await;
        self.calibrating(looker).await;
    }

    async fn ways_of_setting_up(&self, looker: &mut impl Looker) {
        self.browser.fill("slop_g", "29").await;
        self.browser.fill("name", "invented cups").await;
        self.browser.until("the limits", RECKONED).await;
        looker.look(&self.browser, "batch-by-grams").await;
        self.browser.fill("slop_g", "0").await;
        self.refused("slop_g").await;
        looker.look(&self.browser, "batch-refused").await;
        self.browser.fill("slop_g", "29").await;
        self.browser.choose("tolerance_by", "percent").await;
        for (name, text) in [("percent", "4"), ("pourer", "invented hand"), ("jug", "invented white jug")] {
            self.browser.fill(name, text).await;
        }
        self.browser.until("the limits", RECKONED).await;
        looker.look(&self.browser, "batch-percent-and-jug").await;
        self.browser.choose("by", "bucket").await;
        self.shapes(looker).await;
        self.ways_of_measuring(looker).await;
        self.rows(looker).await;
    }

    /// A bucket is measured and kept, looked at in the list, opened again, and chosen for a batch.
    async fn glazes(&self, looker: &mut impl Looker) {
        self.browser.place("glaze").await;
        self.settle("glaze").await;
        looker.look(&self.browser, "glaze").await;
        self.browser.press(".acts button").await;
        for (name, text) in [("name", "invented celadon"), ("specific_gravity", "1.45"), ("slop_g", "8200")] {
            self.browser.fill(name, text).await;
        }
        self.browser.fill("powder_density_g_ml", "2.5").await;
        self.browser.until("the solids", RECKONED).await;
        looker.look(&self.browser, "glaze-new").await;
        self.browser.press("form > button").await;
        self.browser.until("the list", "return !!document.querySelector('.shelf li')").await;
        looker.look(&self.browser, "glaze-kept").await;
        self.browser.press(".shelf button").await;
        self.browser.until("the solids", RECKONED).await;
        looker.look(&self.browser, "glaze-again").await;
        self.rig.post("/api/scale/weigh", json!({ "things": ["vessel", "water", "slop"] }));
        self.browser
            .until(
                "amiss",
                "return document.querySelector('.step .amiss')?.textContent.includes('on the pan')",
            )
            .await;
        self.pan.still(0.0);
        self.browser
            .until("asked", "return document.querySelector('.ask')?.textContent.includes('empty')")
            .await;
        looker.look(&self.browser, "glaze-weigh").await;
        self.rig.post("/api/scale/weigh", json!({ "off": true }));
        self.browser.until("the form again", "return !!document.querySelector('form')").await;
        self.browser.place("batch").await;
        self.browser.until("mine", "return !!document.querySelector('select[name=mine_glaze]')").await;
        let mine = self.browser.client.find(Locator::Css("select[name=mine_glaze]")).await.expect("a choice");
        mine.select_by_value("invented celadon").await.expect("mine");
        self.browser.choose("shape", "cylinder").await;
        self.browser.choose("each", "own").await;
        for (name, text) in [("low_g", "23"), ("high_g", "35"), ("steps", "5")] {
            self.browser.fill(name, text).await;
        }
        self.browser.choose("ware", "sponged").await;
        for (name, text) in [("piece_g", "310"), ("dry_g", "100"), ("soaked_g", "111"), ("sponged_g", "20")] {
            self.browser.fill(name, text).await;
        }
        self.browser.fill("at_hand_g", "120").await;
        self.browser
            .until(
                "not enough",
                "return !!document.querySelector('.result')?.textContent.includes('runs out')",
            )
            .await;
        self.browser.until("the limits", RECKONED).await;
        self.browser.press(".working summary").await;
        looker.look(&self.browser, "batch-mine-and-ladder").await;
    }

    /// A refusal stands at this field.
    async fn refused(&self, field: &str) {
        let at = format!("return !!document.querySelector('#amiss-{field}')");
        self.browser.until("a refusal", &at).await;
    }

    async fn shapes(&self, looker: &mut impl Looker) {
        // The worked example of the README.
        for (name, text) in
            [("specific_gravity", "1.45"), ("powder_density_g_ml", "2.5"), ("dry_g_per_cm2", "0.06")]
        {
            self.browser.fill(name, text).await;
        }
        let shapes: [(&str, &[(&str, &str)]); 4] = [
            ("area", &[("area_cm2", "250")]),
            ("cylinder", &[("diameter_mm", "80"), ("height_mm", "95")]),
            ("bowl", &[("diameter_mm", "150"), ("depth_mm", "60")]),
            ("cone", &[("bottom_mm", "60"), ("top_mm", "90"), ("height_mm", "95")]),
        ];
        for (shape, sizes) in shapes {
            self.browser.choose("shape", shape).await;
            for (name, text) in sizes {
                self.browser.fill(name, text).await;
            }
            self.browser.until(shape, RECKONED).await;
            looker.look(&self.browser, &format!("batch-by-bucket-{shape}")).await;
        }
    }

    /// The other ways to tell what the bucket holds. The numbers are invented.
    async fn ways_of_measuring(&self, looker: &mut impl Looker) {
        let ways: [(&str, &[(&str, &str)]); 2] = [
            ("mix", &[("dry_g", "1000"), ("water_g", "900")]),
            ("drying", &[("wet_g", "100"), ("dry_g", "52")]),
        ];
        for (way, weights) in ways {
            self.browser.choose("glaze_by", way).await;
            for (name, text) in weights {
                self.browser.fill(name, text).await;
            }
            self.browser.until(way, RECKONED).await;
            looker.look(&self.browser, &format!("batch-by-bucket-{way}")).await;
        }
        self.measured_twice(looker).await;
    }

    /// A vessel of slop and of water, and the weights of the mix beside it; then only a dried sample again.
    async fn measured_twice(&self, looker: &mut impl Looker) {
        self.browser.choose("glaze_by", "vessel").await;
        for (name, text) in [("empty_g", "102.4"), ("water_g", "201.9 202.1"), ("slop_g", "246.8 247.2")] {
            self.browser.fill(name, text).await;
        }
        self.browser.press("form > .acts:last-of-type button").await;
        self.browser.until("another", "return !!document.querySelector('input[name=dry_g]')").await;
        looker.look(&self.browser, "batch-by-bucket-several").await;
        self.browser.press("form > .acts button:not(.weigh)").await;
        self.browser.until("one again", "return !!document.querySelector('input[name=glaze_by]')").await;
        self.browser.choose("coat_by", "piece").await;
        looker.look(&self.browser, "batch-coat-piece").await;
        self.browser.choose("coat_by", "dry").await;
        for (name, text) in [("dry_g", "1000"), ("water_g", "900"), ("dry_g_per_cm2", "0.06")] {
            self.browser.fill(name, text).await;
        }
        self.browser.until("the mix", RECKONED).await;
    }

    /// An invented mug, row by row; then with a rim that lies under its wall.
    async fn rows(&self, looker: &mut impl Looker) {
        self.browser.choose("shape", "profile").await;
        for (i, (height, radius)) in [("0", "0"), ("0", "35"), ("90", "42")].into_iter().enumerate() {
            self.browser.fill(&format!("height_{i}"), height).await;
            self.browser.fill(&format!("radius_{i}"), radius).await;
        }
        self.browser.until("the limits", RECKONED).await;
        self.browser.until("drawn", "return !!document.querySelector('.sketch .cut')").await;
        looker.look(&self.browser, "batch-by-bucket-profile").await;
        let add = self.browser.client.find(Locator::Css(".rows > button")).await.expect("a button");
        add.click().await.expect("a click");
        self.browser.fill("height_3", "40").await;
        self.browser.fill("radius_3", "50").await;
        self.refused("points_mm").await;
        self.browser.until("no drawing of no pot", "return !document.querySelector('.sketch')").await;
        looker.look(&self.browser, "batch-rows-refused").await;
    }

    /// Slop on the bare pan.
    async fn a_dirty_pan(&self, looker: &mut impl Looker, stand: &str) {
        self.browser.place("pour").await;
        self.pan.still(0.8);
        self.browser.until("to be wiped", "return !!document.querySelector('.wipe')").await;
        looker.look(&self.browser, stand).await;
        self.pan.still(0.0);
        self.browser.until("wiped", "return !document.querySelector('.wipe')").await;
    }

    /// A piece that is taken out of the count while it stands on the scale.
    async fn a_piece_out_of_the_count(&self, looker: &mut impl Looker, batch: &str) {
        self.pan.still(OTHER_G);
        self.browser.shows("ready").await;
        self.browser.until("unlike the others", "return !!document.querySelector('.note')").await;
        looker.look(&self.browser, "pour-ready-note").await;
        // Where the look takes no time: what runs within a quarter of a second of `ready` may be in the tare.
        tokio::time::sleep(Duration::from_millis(400)).await;
        self.pan.runs(8.0, OTHER_G + 29.0);
        self.browser.shows("good").await;
        let pours = self.rig.get(&format!("/api/batches/{batch}/pours"));
        let newest = pours.as_array().and_then(|all| all.iter().find(|p| p["piece"] == 4));
        let id = newest.and_then(|p| p["id"].as_str()).expect("the third piece");
        self.rig.post(&format!("/api/pours/{id}/void"), json!({}));
        self.on_and_lifted(looker, "void").await;
    }

    /// A row of the log opened, its numbers too; and the row of the piece that does not count.
    async fn curves(&self, looker: &mut impl Looker) {
        self.open_row(2).await;
        looker.look(&self.browser, "log-curve").await;
        self.browser.js("document.querySelector('details').open = true").await;
        looker.look(&self.browser, "log-curve-numbers").await;
        self.open_row(4).await;
        self.browser.until("no way out", "return ![...document.querySelectorAll('.look-row .hold')].some((b) => b.textContent.includes('out of the count'))").await;
        looker.look(&self.browser, "log-curve-void").await;
    }

    async fn open_row(&self, piece: u32) {
        let at = format!(".look[aria-label='Piece {piece}: its curve']");
        let row = self.browser.client.wait().for_element(Locator::Css(&at)).await.expect(&at);
        row.click().await.expect(&at);
        let drawn = format!(
            "return document.querySelector(\"{at}\").getAttribute('aria-expanded') === 'true' && !!document.querySelector('.curve .net')"
        );
        self.browser.until("the curve", &drawn).await;
    }

    /// The daemon of the tour has no loudspeaker, and nobody listens: that is said.
    async fn no_sound(&self) {
        let said = "return document.querySelector('.mute')?.textContent === 'No sound: watch this page'";
        self.browser.until("no sound is said", said).await;
    }

    async fn reminder(&self) {
        let said = "return document.querySelector('.note')?.textContent === 'Stir the bucket'";
        self.browser.until("a reminder", said).await;
    }

    /// One piece from the bare pan to its verdict, that one seen both with the piece on and lifted.
    async fn a_piece(&self, looker: &mut impl Looker, net_g: f64, verdict: &str) {
        let first = verdict == "good";
        self.browser.place("pour").await;
        self.pan.still(0.0);
        if first {
            self.browser.shows("next").await;
            self.no_sound().await;
            looker.look(&self.browser, "pour-next").await;
            self.pan.swings(BARE_G);
            self.browser.shows("landing").await;
            self.no_sound().await;
            looker.look(&self.browser, "pour-landing").await;
        }
        self.pan.still(BARE_G);
        self.browser.shows("ready").await;
        if first {
            self.no_sound().await;
            looker.look(&self.browser, "pour-ready").await;
            self.pan.runs(TRICKLE_G_S, BARE_G + net_g);
            self.browser.shows("pouring").await;
            looker.look(&self.browser, "pour-pouring").await;
        } else {
            // A hand waits for `ready`: what runs at once may be in the tare.
            tokio::time::sleep(Duration::from_millis(400)).await;
        }
        // After the trickle a stream of a hand: a gush of half a second would look like a push.
        self.pan.runs(if first { 3.0 } else { 8.0 }, BARE_G + net_g);
        self.browser.shows("lift").await;
        if first {
            self.pan.shakes(BARE_G + net_g);
            looker.look(&self.browser, "pour-lift").await;
            assert_eq!(self.browser.face().await, "lift", "it was looked at too long");
            self.pan.still(BARE_G + net_g);
        }
        self.on_and_lifted(looker, verdict).await;
    }

    /// The verdict, with the piece still on and then lifted.
    async fn on_and_lifted(&self, looker: &mut impl Looker, verdict: &str) {
        self.browser.shows(verdict).await;
        self.browser.until("its mark", "return !!document.querySelector('.marks li')").await;
        looker.look(&self.browser, &format!("pour-{verdict}-on")).await;
        self.pan.still(0.0);
        self.browser
            .until("lifted", "return /on the scale|are done/.test(document.querySelector('.do').textContent)")
            .await;
        if verdict == "void" {
            // It comes soon after the lift, and would move the page while that is looked at.
            self.reminder().await;
        }
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
        self.no_sound().await;
        looker.look(&self.browser, "pour-trouble").await;
        for place in ["batch", "scale", "log"] {
            self.browser.place(place).await;
            self.settle(place).await;
            if place == "scale" {
                let pace = self.browser.js(&format!("return {PACE_SHOWN}")).await;
                assert_eq!(pace, json!(false), "a silent scale has no pace");
            }
            looker.look(&self.browser, &format!("{place}-trouble")).await;
        }
    }
}
