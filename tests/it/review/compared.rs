//! Batches compared by what is kept with each.

use tarebell::record::Tally;
use tarebell::review::trend::{By, compare, plot};
use tarebell::time::WallTime;

/// Ten pieces, of which each is `sd` off one way or the other about a bias; made in this month of 2025 (invented).
fn tally(month: i64, glaze: &str, bias_mg: i64, sd_mg: i64) -> Tally {
    Tally {
        made_at: WallTime::from_unix_us(1_736_899_200_000_000 + month * 30 * 86_400_000_000),
        glaze: Some(glaze.to_owned()),
        target_g: 29.0,
        n: 10,
        good: 9,
        guided: 10,
        off_mg: 10 * bias_mg,
        off_squares_mg2: 10 * (bias_mg * bias_mg + sd_mg * sd_mg),
        ..Tally::default()
    }
}

#[test]
fn the_spread_is_pooled_within_batches_so_that_a_batch_that_was_off_does_not_count_as_unsteady() {
    let all = [tally(0, "Invented ash", 500, 300), tally(0, "Invented ash", -500, 300)];
    let group = &compare(&all, By::Glaze).groups[0];
    // Derived: each batch has a sum of squares of 10 x 0.3^2 about its mean, 9 degrees of freedom.
    assert!((group.sd_g.unwrap() - (2.0 * 10.0 * 0.09 / 18.0_f64).sqrt()).abs() < 1e-9, "{group:?}");
    assert!(group.bias_g.unwrap().abs() < 1e-12 && group.n == 20 && group.batches == 2);
    assert_eq!(group.share_within, Some(0.9));
}

#[test]
fn a_spread_that_shrinks_month_after_month_is_getting_steadier() {
    let shrinks: Vec<Tally> = (0..8).map(|m| tally(m, "Invented ash", 0, 700 - 50 * m)).collect();
    let found = compare(&shrinks, By::Time);
    assert!(
        found.sentence.starts_with("Getting steadier: the spread went from 2.5 % to 1.3 %"),
        "{}",
        found.sentence
    );
    assert!(plot(&found).is_some());
    let grows: Vec<Tally> = (0..8).map(|m| tally(m, "Invented ash", 0, 300 + 50 * m)).collect();
    assert!(compare(&grows, By::Time).sentence.starts_with("Getting less steady"));
    let same: Vec<Tally> = (0..8).map(|m| tally(m, "Invented ash", 0, 400 + 20 * (m % 3))).collect();
    assert!(compare(&same, By::Time).sentence.starts_with("No steadier and no less"));
    assert!(compare(&shrinks[..2], By::Time).sentence.starts_with("Too few months"));
}

/// Invented: steady bisque, and as many unsteady pieces that were fired before.
#[test]
fn fired_ware_stands_in_rows_of_its_own_whatever_is_compared_and_is_laid_beside_no_bisque() {
    let mut all: Vec<Tally> = (0..4).map(|m| tally(m, "Invented ash", 0, 300)).collect();
    all.extend((0..4).map(|m| Tally { fired: true, ..tally(m, "Invented ash", 2000, 900 + 100 * m) }));
    all.push(tally(0, "Invented blue", 0, 600));
    for by in By::ALL {
        let found = compare(&all, by);
        let pieces = |fired| found.groups.iter().filter(|g| g.fired == fired).map(|g| g.n).sum::<i64>();
        assert_eq!((pieces(false), pieces(true)), (50, 40), "{}", by.word());
        assert!(found.groups.iter().all(|g| g.fired == g.name.ends_with(", fired already")), "{found:?}");
        assert!(found.sentence.ends_with("what is poured in there is not the coat."), "{}", found.sentence);
    }
    let by_glaze = compare(&all, By::Glaze);
    let rows: Vec<(&str, &str)> = by_glaze.groups.iter().map(|g| (g.name.as_str(), g.of.as_str())).collect();
    let ash = "Invented ash";
    assert_eq!(rows, [(ash, ash), ("Invented ash, fired already", ash), ("Invented blue", "Invented blue")]);
    assert!(by_glaze.sentence.contains("least steady: Invented blue"), "{}", by_glaze.sentence);
    assert_eq!(plot(&by_glaze).map(|p| p.layers.len()), Some(2));
    assert!(
        compare(&all, By::Time).sentence.starts_with("No steadier and no less"),
        "months of bisque alone"
    );
    let fired: Vec<Tally> = all.iter().filter(|t| t.fired).cloned().collect();
    let only = compare(&fired, By::Glaze).sentence;
    assert!(only.starts_with("Only one so far: Invented ash, fired already"), "{only}");
    assert!(!compare(&all[..4], By::Time).sentence.contains("fired"));
}

#[test]
fn kinds_are_put_together_by_name_and_nothing_is_compared_with_itself() {
    let mut all = vec![
        tally(0, "Invented ash", 0, 300),
        tally(1, "Invented blue", 0, 600),
        tally(2, "Invented ash", 0, 300),
    ];
    all[1].guided = 2;
    let found = compare(&all, By::Glaze);
    assert_eq!(
        found.groups.iter().map(|g| (g.name.as_str(), g.batches)).collect::<Vec<_>>(),
        [("Invented ash", 2), ("Invented blue", 1)]
    );
    assert!(
        found.sentence.starts_with("Steadiest: Invented ash, 1.1 % spread; least steady: Invented blue"),
        "{}",
        found.sentence
    );
    let names: Vec<String> = compare(&all, By::Guidance).groups.into_iter().map(|g| g.name).collect();
    assert_eq!(names, ["by eye", "stop called"]);
    assert_eq!(compare(&all[..1], By::Form).groups[0].name, "not told");
    assert_eq!(compare(&[], By::Glaze).sentence, "Nothing to compare yet.");
    assert!(compare(&all[..1], By::Glaze).sentence.starts_with("Only one so far"));
}
