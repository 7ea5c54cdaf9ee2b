//! Slop that comes to a batch under way: counted on from there, whatever becomes of the bucket or the daemon. All of it is
//! invented.

use crate::pan::Pan;
use crate::rig::Rig;
use crate::shelf::{a_piece, begun, glaze, put};
use crate::window::Browser;
use serde_json::{Value, json};

/// Grams left to a tenth, pieces that they are enough for, and the piece at which they run out.
fn left(supply: &Value) -> (f64, Value, Value) {
    let g = supply["left_g"].as_f64().expect("grams");
    ((g * 10.0).round() / 10.0, supply["enough_for"].clone(), supply["runs_out_at"].clone())
}

/// Derived: 80 - 29 = 51 g for two pieces of 29 g run out at the third; 70 g are enough for both; 100 g for three.
#[test]
fn what_is_refilled_is_counted_on_from_through_a_change_of_the_bucket_and_a_restart() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    put(&rig, "glaze", "Invented green", &glaze(1.45), "");
    let id = begun(&rig, &[("supply", json!({ "pieces": 3, "slop_g": 80 }))]);
    let refill = format!("/api/batches/{id}/refill");
    a_piece(&mut rig, 300.0, 29.0);
    let now = rig.until("less", |now| now["supply"]["left_g"].as_f64().is_some_and(|g| g < 60.0));
    assert_eq!(left(&now["supply"]), (51.0, json!(1), json!(3)));
    assert_eq!(left(&rig.post(&refill, json!({ "now_g": 70 }))), (70.0, json!(2), Value::Null));
    assert_eq!(left(&rig.post(&refill, json!({ "added_g": 30 }))), (100.0, json!(3), Value::Null));
    put(&rig, "glaze", "Invented green", &glaze(1.40), "added water");
    rig.post(&format!("/api/batches/{id}/bucket"), json!({}));
    // 31.5 g a piece now.
    let now = rig.until("the new grams", |now| now["target_g"].as_f64().is_some_and(|g| g > 31.0));
    assert_eq!(left(&now["supply"]), (100.0, json!(3), Value::Null));

    rig.send(1.8, |_| 310.0);
    let (status, refused) = rig.try_post(&refill, json!({ "now_g": 90 }));
    let why = refused["detail"].as_str().unwrap_or_default();
    assert!(status == 409 && why.contains("lift it off first"), "{refused}");
    assert_eq!(
        left(&rig.post(&refill, json!({ "added_g": 20 }))).0,
        120.0,
        "what is added may be told at any time"
    );

    rig.child.kill().expect("killed");
    drop(rig);
    let rig = Rig::start(dir.path());
    let (status, refused) = rig.try_post(&refill, json!({ "added_g": 20 }));
    let why = refused["detail"].as_str().unwrap_or_default();
    assert!(status == 409 && why.contains("not under way"), "{refused}");
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    let now = rig.until("begun again", |now| now["supply"].is_object());
    assert_eq!(left(&now["supply"]).0, 120.0);
}

/// Every version of the glaze, the newest first: its number, what was done, what slop came or was there, and its bucket.
fn versions(rig: &Rig) -> Vec<(Value, Value, Value, Value)> {
    let all = rig.get("/api/shelves/glaze/Invented%20green");
    let each = |v: &Value| {
        let slop = if v["what"]["came_g"].is_number() { &v["what"]["came_g"] } else { &v["what"]["there_g"] };
        (v["version"].clone(), v["note"].clone(), slop.clone(), v["what"]["glaze"].clone())
    };
    all.as_array().expect("versions").iter().map(each).collect()
}

#[test]
fn a_refill_is_a_dated_version_of_the_bucket_which_the_next_pours_name_and_the_bucket_grows_no_younger() {
    let dir = tempfile::tempdir().expect("a folder");
    let mut rig = Rig::start(dir.path());
    put(&rig, "glaze", "Invented green", &glaze(1.45), "new bucket");
    let id = begun(&rig, &[("supply", json!({ "pieces": 9, "slop_g": 80 }))]);
    let refill = format!("/api/batches/{id}/refill");
    a_piece(&mut rig, 300.0, 29.0);
    rig.send(1.5, |_| 0.0);
    let before = rig.get("/api/shelves/glaze/Invented%20green")[0].clone();
    std::thread::sleep(std::time::Duration::from_millis(2100));
    rig.post(&refill, json!({ "added_g": 200 }));
    rig.post(&refill, json!({ "now_g": 420 }));
    let now = rig.until("it goes by the newest", |now| now["bucket"] == json!(3));
    assert!(now["bucket_age_s"].as_u64() >= Some(2), "as old as its measurement: {now}");
    a_piece(&mut rig, 302.0, 29.0);
    rig.send(1.5, |_| 0.0);
    let all = versions(&rig);
    let told: Vec<_> =
        all.iter().map(|(version, note, slop, _)| (version.clone(), note.clone(), slop.clone())).collect();
    let (counted, refilled) = (json!("counted what is there"), json!("refilled the jug"));
    assert_eq!(told[..2], [(json!(3), counted, json!(420.0)), (json!(2), refilled, json!(200.0))]);
    assert_eq!(told[2], (json!(1), json!("new bucket"), Value::Null));
    assert!(all.iter().all(|v| v.3 == before["what"]["glaze"]), "the bucket itself is as it was: {all:?}");
    let newest = rig.get("/api/shelves/glaze/Invented%20green")[0].clone();
    // Measured anew from what was read: what came then did not come again.
    let again = json!({ "shelf": "glaze", "name": "Invented blue", "what": newest["what"], "note": "" });
    rig.post("/api/shelves", again);
    assert_eq!(rig.get("/api/shelves/glaze/Invented%20blue")[0]["what"]["there_g"], Value::Null);
    assert!(newest["made_at"].as_str() > before["made_at"].as_str(), "{newest}");
    let buckets = |rig: &Rig| {
        let pours = rig.get(&format!("/api/batches/{id}/pours"));
        pours.as_array().expect("pours").iter().map(|p| p["bucket"].clone()).collect::<Vec<_>>()
    };
    assert_eq!(buckets(&rig), [json!(1), json!(3)]);

    rig.child.kill().expect("killed");
    drop(rig);
    let rig = Rig::start(dir.path());
    assert_eq!(versions(&rig), all);
    assert_eq!(rig.get(&format!("/api/batches/{id}"))["bucket"], json!(3));
    let next = begun_beside(&rig, &id);
    let age = rig.until("begun", |now| now["batch"] == next)["bucket_age_s"].as_u64();
    assert!(age >= Some(2), "another batch knows how old the bucket is: {age:?}");
    let (status, refused) =
        rig.try_post(&format!("/api/batches/{}/bucket", next.as_str().expect("an id")), json!({}));
    let why = refused["detail"].as_str().unwrap_or_default();
    assert!(status == 409 && why.contains("by this version already"), "{refused}");
}

/// Ends that batch and begins another of the same bucket.
fn begun_beside(rig: &Rig, id: &str) -> Value {
    rig.post(&format!("/api/batches/{id}/begin"), json!({}));
    rig.post(&format!("/api/batches/{id}/end"), json!({}));
    json!(begun(rig, &[("supply", json!({ "pieces": 9, "slop_g": 80 }))]))
}

#[test]
fn a_batch_that_tells_of_no_slop_refuses_a_refill_with_what_to_do() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    let id = rig.begin_batch(2);
    let (status, refused) = rig.try_post(&format!("/api/batches/{id}/refill"), json!({ "now_g": 90 }));
    let why = refused["detail"].as_str().unwrap_or_default();
    assert!(
        status == 409 && why.contains("nothing is counted down") && why.contains("next one"),
        "{refused}"
    );
    let (status, refused) = rig.try_post(&format!("/api/batches/{id}/refill"), json!({ "now_g": -1 }));
    assert_eq!((status, &refused["field"]), (422, &json!("now_g")), "{refused}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn on_the_page_one_number_and_one_tap_say_that_there_is_slop_again() {
    let dir = tempfile::tempdir().expect("a folder");
    let rig = Rig::start(dir.path());
    begun(&rig, &[("supply", json!({ "pieces": 3, "slop_g": 50 }))]);
    let pan = Pan::on(&rig);
    pan.still(0.0);
    let browser = Browser::open(dir.path()).await;
    browser.client.goto(&format!("http://{}/#batch", rig.address)).await.expect("the page");
    let says =
        |what: &str| format!("return document.querySelector('.place')?.textContent.includes('{what}')");
    browser.until("what is left", &says("50 g of slop left: it runs out at piece 2")).await;
    browser.fill("slop_g", "200").await;
    browser.press(".acts [data-refill=now_g]").await;
    browser.until("counted on", &says("Counted on from there: 200 g of slop left, for 6 more")).await;
    browser.fill("slop_g", "31.5").await;
    browser.press(".acts [data-refill=added_g]").await;
    // 231.5 g by then, told for a glance.
    browser.until("counted on again", &says("g of slop left, for 7 more")).await;
    // A browser complains of each refusal by itself.
    assert_eq!(browser.complaints().await, Vec::<Value>::new());
    browser.press(".acts [data-refill=added_g]").await;
    browser.until("an empty field is told", &says("Type how much slop first")).await;
    rig.until("kept", |now| now["supply"]["left_g"].as_f64().is_some_and(|g| (g - 231.5).abs() < 1e-6));
    browser.client.clone().close().await.expect("closed");
}
