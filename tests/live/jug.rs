//! The jug on the pan between two pieces: what is left in it, and whether what it lost is what they got. All of it is
//! invented.

use crate::pan::Pan;
use crate::rig::Rig;
use crate::shelf::{a_piece, begun};
use crate::window::Browser;
use serde_json::{Value, json};

fn jug_of(rig: &Rig, on_pan_g: f64) -> Value {
    rig.until("the jug is told", |now| {
        now["jug"]["left_g"].as_f64().is_some_and(|g| (g - (on_pan_g - 251.0)).abs() < 0.3)
    })["jug"]
        .clone()
}

fn agrees(jug: &Value, words: &str) {
    let says = jug["says"].as_str().unwrap_or_default();
    assert!(jug["agrees"] == json!(true) && says.contains(words), "{jug}");
}

#[test]
fn the_jug_set_on_the_pan_says_what_it_holds_and_checks_the_pours_through_a_restart_and_a_refill() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    let (status, refused) = rig.try_post("/api/scale/jug", json!({}));
    assert!(
        status == 409 && refused["detail"].as_str().is_some_and(|d| d.contains("not at rest")),
        "{refused}"
    );
    rig.send(1.5, |_| 3.0);
    let (status, refused) = rig.try_post("/api/scale/jug", json!({}));
    assert!(
        status == 409 && refused["detail"].as_str().is_some_and(|d| d.contains("no empty jug")),
        "{refused}"
    );
    rig.send(1.5, |_| 251.0);
    let kept = rig.post("/api/scale/jug", json!({}));
    assert!(kept["jug_g"].as_f64().is_some_and(|g| (g - 251.0).abs() < 0.1), "{kept}");
    rig.send(1.2, |_| 0.0);
    let more = [("supply", json!({ "pieces": 12, "slop_g": 600 })), ("bare_g", json!([290, 310]))];
    let id = begun(&rig, &more);
    let (status, refused) = rig.try_post("/api/scale/jug", json!({ "off": true }));
    assert!(
        status == 409 && refused["detail"].as_str().is_some_and(|d| d.contains("under way")),
        "{refused}"
    );

    rig.send(1.2, |_| 0.0);
    rig.send(2.0, |_| 751.0);
    let jug = jug_of(&rig, 751.0);
    assert_eq!((&jug["lost_g"], &jug["enough_for"]), (&Value::Null, &json!(17)), "500 g: {jug}");
    assert_eq!(rig.get("/api/now")["note"], "jug");
    assert_eq!(rig.get("/api/now")["phase"], "idle", "nothing is tared");
    assert!(jug["before"] == json!(false) && jug["at"].as_str().is_some_and(|at| at.ends_with('Z')), "{jug}");
    rig.child.kill().expect("killed");
    drop(rig);
    let mut rig = Rig::start(dir.path());
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    let told = rig.until("what it held is told before it stands there again", |now| now["jug"].is_object());
    let held = &told["jug"];
    assert!(held["left_g"].as_f64().is_some_and(|g| (g - 500.0).abs() < 0.3), "{held}");
    assert_eq!((&held["before"], &held["at"]), (&json!(true), &jug["at"]), "{held}");
    assert!(
        held["says"].as_str().is_some_and(|says| says.contains("when it stood on the pan last")),
        "{held}"
    );
    let heard = rig.listen();
    a_piece(&mut rig, 300.0, 29.0);
    a_piece(&mut rig, 303.0, 29.0);
    rig.send(2.0, |_| 692.6);
    let jug = jug_of(&rig, 692.6);
    agrees(&jug, "they agree");
    assert_eq!(jug["before"], json!(false));
    let cues: Vec<Value> = heard.try_iter().map(|h| h.message).collect();
    let count = |cue: &str| cues.iter().filter(|m| m["cue"] == cue).count();
    assert_eq!((count("ready"), count("note")), (2, 1), "two pieces and one jug");
    let pours = rig.get(&format!("/api/batches/{id}/pours"));
    assert_eq!(pours.as_array().map(Vec::len), Some(2), "no number is used up: {pours}");

    rig.child.kill().expect("killed");
    drop(rig);
    let mut rig = Rig::start(dir.path());
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    rig.send(1.2, |_| 0.0);
    a_piece(&mut rig, 298.0, 29.0);
    rig.send(2.0, |_| 620.0);
    let jug = jug_of(&rig, 620.0);
    let says = jug["says"].as_str().unwrap_or_default();
    assert!(jug["agrees"] == json!(false) && says.contains("no record?"), "73 g went, 29 were logged: {jug}");
    rig.post(&format!("/api/batches/{id}/refill"), json!({ "added_g": 200 }));
    a_piece(&mut rig, 301.0, 29.0);
    rig.send(2.0, |_| 780.0);
    assert_eq!(jug_of(&rig, 780.0)["lost_g"], Value::Null, "counted on from there");
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    let next = begun(&rig, &more);
    rig.send(1.2, |_| 0.0);
    rig.send(2.0, |_| 700.0);
    assert_eq!(jug_of(&rig, 700.0)["lost_g"], Value::Null, "it stood there in another batch");
    rig.post(&format!("/api/batches/{next}/end"), json!({}));
    assert_eq!(rig.post("/api/scale/jug", json!({ "off": true })), json!({ "jug_g": null }));
    rig.until("it is forgotten", |now| now["scale"]["jug_g"].is_null());
    assert_eq!(rig.post("/api/scale/jug", json!({ "jug_g": 251.5 })), json!({ "jug_g": 251.5 }));
    assert_eq!(rig.try_post("/api/scale/jug", json!({ "jug_g": 5 })).1["field"], "jug_g");
}

/// What was called the jug and is set down again, or poured into, is a piece: nothing is reckoned from what it weighed.
#[test]
fn a_piece_that_was_called_the_jug_leaves_nothing_in_the_balance() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    rig.post("/api/scale/jug", json!({ "jug_g": 251.0 }));
    let more = [("supply", json!({ "pieces": 12, "slop_g": 600 })), ("bare_g", json!([290, 310]))];
    let id = begun(&rig, &more);
    rig.send(1.2, |_| 0.0);
    rig.send(2.0, |_| 460.0);
    jug_of(&rig, 460.0);
    a_piece(&mut rig, 460.0, 29.0);
    let now = rig.until("logged", |now| now["nth"] == json!(2));
    assert_eq!(now["jug"], Value::Null, "it was none");
    let pours = rig.get(&format!("/api/batches/{id}/pours"));
    assert_eq!(pours[0]["verdict"], "good", "{pours}");
    rig.send(2.0, |_| 751.0);
    assert_eq!(jug_of(&rig, 751.0)["lost_g"], Value::Null);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_the_page_the_empty_jug_is_kept_by_holding_a_button_and_the_full_one_tells_what_it_holds() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let pan = Pan::on(&rig);
    pan.still(251.0);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#scale", rig.address)).await.expect("the page");
    rig.until("at rest", |now| {
        now["scale"]["mass_g"] == json!(251.0) && now["scale"]["settled"] == json!(true)
    });
    let hold = "[...document.querySelectorAll('.hold')].find((b) => b.textContent.includes('this is the empty jug'))";
    browser.until("the button", &format!("return !!{hold}")).await;
    browser.js(&format!("{hold}.dispatchEvent(new PointerEvent('pointerdown'));")).await;
    let says =
        |what: &str| format!("return document.querySelector('.place, .say')?.textContent.includes('{what}')");
    browser.until("kept", &says("It weighs 251.0 g empty.")).await;
    pan.still(0.0);
    let bare = |now: &Value| now["scale"]["mass_g"] == json!(0.0) && now["scale"]["settled"] == json!(true);
    rig.until("bare", bare);
    begun(&rig, &[("supply", json!({ "pieces": 3, "slop_g": 600 })), ("bare_g", json!([290, 310]))]);
    browser.place("pour").await;
    // A batch looks at the bare pan first.
    rig.until("looked at", |now| now["phase"] == json!("idle") && bare(now));
    tokio::time::sleep(std::time::Duration::from_millis(500)).await;
    pan.still(751.0);
    browser.until("what it holds", &says("Jug: 500 g, for 17 more")).await;
    browser.place("batch").await;
    browser
        .until("there too", &says("The jug holds 500.0 g of slop, enough for 17 pieces. Weighed at "))
        .await;
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.client.clone().close().await.expect("closed");
}
