//! Against published examples, tables and certified sets, and beside other libraries.

use super::{aim, close, given, met, reviewed};
use crate::calibration::{LEW, MAVRO, MICHELSO, normal, numacc};
use crate::cycles::Dice;
use linregress::{FormulaRegressionBuilder, RegressionDataBuilder};
use tarebell::review::capability::capability;
use tarebell::review::control_chart::{D2, D4, Rule, ewma, ewma_limit, individuals, ranges};
use tarebell::review::distribution::{normal_below, t_95, two_sided_p};
use tarebell::review::drift::{drift, serial_correlation};
use tarebell::review::review;
use tarebell::review::yardstick::{r61_fill_g, tolerable_deficiency_g};

/// NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.
const FLOW: [f64; 10] = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];

#[test]
fn the_handbooks_individuals_chart_has_its_limits_and_no_signal() {
    let r = review(&given(&FLOW, aim(50.0, 45.0, 55.0)));
    close(r.mean_g, 50.81, 1e-9, "mean");
    close(r.individuals.centre, 50.81, 1e-9, "centre");
    close(r.individuals.upper, 55.8041, 1e-4, "upper limit");
    close(r.individuals.lower, 45.8159, 1e-4, "lower limit");
    assert_eq!(r.individuals.signals, []);
    // Derived from the same ranges: their mean 1.877777..., 3.267 times that, s with n - 1.
    close(r.moving_range.centre, 16.9 / 9.0, 1e-12, "mean moving range");
    close(r.moving_range.upper, 6.1347, 1e-4, "upper limit of the ranges");
    close(r.sd_g, 2.033852, 1e-6, "standard deviation");
    let wanted = [2.0, 2.3, 1.4, 3.5, 3.4, 1.4, 0.2, 1.2, 1.5];
    assert!(ranges(&FLOW).iter().zip(wanted).all(|(found, wanted)| (found - wanted).abs() < 1e-9));
}

/// NIST/SEMATECH e-Handbook, 6.3.2.4: lambda 0.3, start 50, s 2.0539; the handbook cuts its limits off.
#[test]
fn the_handbooks_smoothed_chart_comes_out_to_its_two_digits() {
    let values = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6,
        52.4, 53.6, 52.1,
    ];
    let wanted = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05,
        49.38, 49.92, 50.73, 51.23, 51.94, 51.99,
    ];
    for (found, wanted) in ewma(&values, 50.0, 0.3).iter().zip(wanted) {
        assert!((found - wanted).abs() < 0.00501, "{found}, wanted {wanted}");
    }
    let limit = ewma_limit(2.0539, 0.3);
    assert!((50.0 + limit - 52.5884).abs() < 1e-4 && (50.0 - limit - 47.4115).abs() < 1e-4, "{limit}");
}

/// NIST/SEMATECH e-Handbook, 6.1.6: limits 8 and 20, mean 16, s 2: Cp 1.0, Cpk 0.6667. The values are made to have them.
#[test]
fn the_handbooks_capability_example_comes_out() {
    let unit = (99.0_f64 / 100.0).sqrt();
    let values: Vec<f64> =
        (0..100).map(|n| 16.0 + 2.0 * unit * if n % 2 == 0 { 1.0 } else { -1.0 }).collect();
    let c = capability(&values, 8.0, 20.0);
    close(c.pp, 1.0, 1e-9, "Pp");
    close(c.ppk, 2.0 / 3.0, 1e-9, "Ppk");
    // Derived: 0.6667 +/- 0.1135 for n = 100.
    close(c.ppk_low95, 2.0 / 3.0 - 0.1135, 1e-4, "lower end");
    close(c.ppk_high95, 2.0 / 3.0 + 0.1135, 1e-4, "upper end");
    // The same index by the ranges: all of them are 4 x 0.99498...
    close(c.cp, 12.0 * D2 / (6.0 * 4.0 * unit), 1e-9, "Cp");
    close(c.cpk, 4.0 * D2 / (3.0 * 4.0 * unit), 1e-9, "Cpk");
}

/// Chart constants for n = 2 as tabled (d2 1.128, D4 3.267), and exactly: 2 / sqrt(pi), and 1 + 3 d3 / d2.
#[test]
fn the_chart_constants_are_the_tabled_ones() {
    let d2 = 2.0 / std::f64::consts::PI.sqrt();
    let d4 = 1.0 + 3.0 * (2.0 - 4.0 / std::f64::consts::PI).sqrt() / d2;
    assert_eq!((D2, D4), (1.128, 3.267));
    assert!((D2 - d2).abs() < 5e-4 && (D4 - d4).abs() < 5e-4, "{d2} {d4}");
}

/// Western Electric 1956: eight on one side; Nelson 1984: the others. Each pattern ends where its last value stands, and
/// one value short of it nothing is met.
#[test]
fn each_run_rule_is_met_by_its_definition_and_not_one_piece_before() {
    // A long even start holds centre and limits: 29 with 0.1 either way.
    let even = |n: usize| (0..n).map(|i| if i % 2 == 0 { 29.1 } else { 28.9 }).collect::<Vec<f64>>();
    // In twos, so that no start alternates: sigma is 0.1 / 1.128.
    let twos = |n: usize| (0..n).map(|i| if i / 2 % 2 == 0 { 29.1 } else { 28.9 }).collect::<Vec<f64>>();
    let with = |end: &[f64]| [twos(200), end.to_vec()].concat();
    assert_eq!(met(&with(&[29.3]), Rule::Beyond), [200]);
    assert_eq!(met(&with(&[29.25]), Rule::Beyond), [] as [usize; 0]);
    // 200 values of the start end below the centre: nothing of them is part of a run above.
    assert_eq!(met(&with(&[29.05; 8]), Rule::EightOneSide), [207]);
    assert_eq!(met(&with(&[29.05; 7]), Rule::EightOneSide), [] as [usize; 0]);
    assert_eq!(met(&with(&[29.05; 9]), Rule::NineOneSide), [208]);
    assert_eq!(met(&with(&[29.05; 8]), Rule::NineOneSide), [] as [usize; 0]);
    assert_eq!(met(&with(&[28.95, 29.0, 29.02, 29.04, 29.06]), Rule::SixTrend), [204], "28.9 begins it");
    assert_eq!(met(&with(&[28.95, 29.0, 29.02, 29.04]), Rule::SixTrend), [] as [usize; 0]);
    assert_eq!(met(&even(13), Rule::FourteenAlternating), [] as [usize; 0]);
    assert_eq!(met(&even(14), Rule::FourteenAlternating), [13]);
    assert_eq!(met(&with(&[29.2, 29.0, 29.2]), Rule::TwoOfThree), [202]);
    assert_eq!(met(&with(&[29.2, 29.0, 29.0, 29.2]), Rule::TwoOfThree), [] as [usize; 0]);
    assert_eq!(met(&with(&[29.2, 29.0, 28.8]), Rule::TwoOfThree), [] as [usize; 0], "not on one side");
    let near = [29.01, 28.99].repeat(7);
    assert_eq!(met(&with(&[near.clone(), vec![29.01]].concat()), Rule::FifteenNear), [214]);
    assert_eq!(met(&with(&near), Rule::FifteenNear), [] as [usize; 0]);
    assert_eq!(met(&with(&[29.12, 29.12, 29.0, 29.12, 29.12]), Rule::FourOfFive), [204]);
    assert_eq!(met(&with(&[29.12, 29.0, 29.0, 29.12, 29.12]), Rule::FourOfFive), [] as [usize; 0]);
    // The start's own values lie beyond one sigma on both sides.
    assert_eq!(met(&twos(8), Rule::EightFar).last(), Some(&7));
    assert_eq!(met(&twos(7), Rule::EightFar), [] as [usize; 0]);
}

#[test]
fn a_value_on_a_limit_is_not_beyond_it_and_one_on_the_centre_is_on_neither_side() {
    // Mean 0, mean range 2.256: sigma 2, limits at 6.
    let values = [6.0, -6.0];
    let chart = individuals(&values, &given(&values, aim(0.0, -1.0, 1.0)).pieces, Default::default());
    assert!(chart.upper.is_some_and(|u| u > 6.0) && chart.signals.is_empty());
    let mut run = vec![29.1, 28.9, 28.9, 29.1];
    run.extend([29.1, 29.1, 29.1, 29.1, 29.0, 29.1, 29.1, 29.1, 28.9, 28.4]);
    let mean = run.iter().sum::<f64>() / run.len() as f64;
    assert!((mean - 29.0).abs() < 1e-9, "{mean}");
    assert_eq!(met(&run, Rule::EightOneSide), [] as [usize; 0]);
}

/// Derived: how often each rule is met per place of a normal series: 0.0027, 2 x 0.5^8, 2 x 0.5^9, 2 of 3 beyond 2 sigma
/// 0.0015 with the third outside, 4 of 5 beyond 1 sigma 0.0028, 15 within 1 sigma 0.6827^15, 8 outside 0.3173^8. Taken
/// from the definitions where the last one ends the pattern. Limits from 200,000 values are as good as known.
#[test]
fn by_chance_each_rule_is_met_as_often_as_its_definition_says() {
    let mut dice = Dice(9);
    let values: Vec<f64> = (0..200_000).map(|_| 29.0 + 0.3 * normal(&mut dice)).collect();
    let p = |z: f64| 1.0 - normal_below(z);
    let (two, one) = (p(2.0), p(1.0));
    let wanted = [
        (Rule::Beyond, 2.0 * p(3.0)),
        (Rule::EightOneSide, 2.0 * 0.5_f64.powi(8)),
        (Rule::NineOneSide, 2.0 * 0.5_f64.powi(9)),
        (Rule::SixTrend, 2.0 / 720.0),
        (Rule::TwoOfThree, 2.0 * two * (1.0 - (1.0 - two).powi(2))),
        (Rule::FourOfFive, 2.0 * one * (4.0 * one.powi(3) * (1.0 - one) + one.powi(4))),
        (Rule::FifteenNear, (1.0 - 2.0 * one).powi(15)),
        (Rule::EightFar, (2.0 * one).powi(8) * (1.0 - 2.0 / 256.0)),
    ];
    for (rule, wanted) in wanted {
        let found = met(&values, rule).len() as f64 / values.len() as f64;
        // Runs come in clusters: five times the deviation of single chances, and a little.
        let within = 8.0 * (wanted / values.len() as f64).sqrt() + 2e-5;
        println!("{}: {found:.6}, wanted {wanted:.6}", rule.word());
        assert!((found - wanted).abs() < within, "{}: {found}, wanted {wanted} within {within}", rule.word());
    }
}

/// NIST StRD, univariate: certified mean, s (n - 1) and lag-one correlation.
#[test]
fn the_certified_sets_come_out_of_a_review() {
    type Set = (&'static str, Vec<f64>, f64, f64, f64, f64);
    let sets: [Set; 6] = [
        ("Lew", LEW.to_vec(), -177.435, 277.332168044316, -0.307304800605679, 1e-12),
        ("Mavro", MAVRO.to_vec(), 2.001856, 0.000429123454003053, 0.937989183438248, 1e-10),
        ("Michelso", MICHELSO.to_vec(), 299.8524, 0.0790105478190518, 0.535199668621283, 1e-10),
        ("NumAcc2", numacc(1.2, 1.1, 1.3), 1.2, 0.1, -0.999, 1e-12),
        ("NumAcc3", numacc(1_000_000.2, 1_000_000.1, 1_000_000.3), 1_000_000.2, 0.1, -0.999, 1e-8),
        ("NumAcc4", numacc(10_000_000.2, 10_000_000.1, 10_000_000.3), 10_000_000.2, 0.1, -0.999, 1e-7),
    ];
    for (name, values, mean, sd, correlation, share) in sets {
        let r = reviewed(&values);
        close(r.mean_g, mean, mean.abs() * 1e-13, name);
        close(r.sd_g, sd, sd * share, name);
        close(serial_correlation(&values), correlation, share, name);
    }
}

/// Student's t and the normal distribution as tabled in any handbook (from memory): 2.228 for 10 degrees, 2.571 for 5,
/// 1.984 for 100; 12.706 for 1; below 1.96 lie 97.5 %.
#[test]
fn quantiles_are_the_tabled_ones() {
    for (freedom, wanted) in [(1, 12.706), (5, 2.571), (10, 2.228), (22, 2.074), (100, 1.984)] {
        close(t_95(freedom), wanted, 6e-4, "t");
        close(two_sided_p(wanted, freedom), 0.05, 5e-4, "p");
    }
    assert!((normal_below(1.96) - 0.975).abs() < 1e-5 && (normal_below(0.0) - 0.5).abs() < 1e-12);
    assert_eq!(two_sided_p(f64::INFINITY, 5), Some(0.0));
    assert_eq!(t_95(0), None);
}

/// The t distribution integrated from its own density by other means (double exponential integration).
#[test]
fn p_values_are_the_area_under_the_density() {
    for freedom in [1, 3, 8, 30] {
        let nu = f64::from(freedom);
        // Normalised by its own integral, so that no gamma function is needed.
        let density = |t: f64| (1.0 + t * t / nu).powf(-(nu + 1.0) / 2.0);
        let inside = |to: f64| quadrature::integrate(density, 0.0, to, 1e-12).integral;
        // From 1 to infinity by t = 1 / u.
        let beyond = quadrature::integrate(|u: f64| density(1.0 / u) / (u * u), 1e-12, 1.0, 1e-12).integral;
        let all = inside(1.0) + beyond;
        for t in [0.3, 1.0, 2.5, 6.0] {
            close(two_sided_p(t, freedom as usize), 1.0 - inside(t) / all, 2e-6, "p");
        }
    }
}

/// Beside another statistics library, on seeded series with and without a drift.
#[test]
fn slopes_their_intervals_and_p_values_are_those_of_a_statistics_library() {
    for (seed, n, grows) in [(1, 5, 0.0), (2, 24, 0.02), (3, 24, 0.0), (4, 200, 0.001), (5, 1000, -0.0005)] {
        let mut dice = Dice(seed);
        let values: Vec<f64> =
            (0..n).map(|i| 29.0 + grows * f64::from(i) + 0.4 * normal(&mut dice)).collect();
        let xs: Vec<f64> = (0..n).map(f64::from).collect();
        let data = RegressionDataBuilder::new().build_from(vec![("y", values.clone()), ("x", xs)]).unwrap();
        let other = FormulaRegressionBuilder::new().data(&data).formula("y ~ x").fit().unwrap();
        let found = drift(&values);
        let (slope, se) = (other.parameters()[1], other.se()[1]);
        close(found.first_g, other.parameters()[0], 1e-9, "offset");
        close(found.slope_g_per_piece, slope, 1e-11, "slope");
        close(found.p_value, other.p_values()[1], 1e-8, "p");
        let t = t_95(n as usize - 2).unwrap();
        close(found.slope_high95, slope + t * se, 1e-10, "upper end");
        close(found.slope_low95, slope - t * se, 1e-10, "lower end");
    }
}

/// OIML R 61-1 class X(1) in service as UK SI 2000/388 schedule 5 quotes it, and Directive 76/211/EEC as FPackV section 9
/// prints it; 29 g, 45 g, 150 g and 400 g derived from them.
#[test]
fn yardsticks_of_the_trade_are_the_published_tables() {
    for (fill, wanted) in [
        (29.0, 2.61),
        (50.0, 4.5),
        (100.0, 4.5),
        (150.0, 6.75),
        (200.0, 9.0),
        (300.0, 9.0),
        (500.0, 15.0),
        (1000.0, 15.0),
        (10_000.0, 150.0),
        (15_000.0, 150.0),
    ] {
        assert!((r61_fill_g(fill) - wanted).abs() < 1e-9, "{fill}: {}", r61_fill_g(fill));
    }
    for (fill, wanted) in [
        (29.0, 2.7),
        (45.0, 4.1),
        (50.0, 4.5),
        (150.0, 6.8),
        (200.0, 9.0),
        (400.0, 12.0),
        (1000.0, 15.0),
        (10_000.0, 150.0),
    ] {
        assert!(
            (tolerable_deficiency_g(fill) - wanted).abs() < 1e-9,
            "{fill}: {}",
            tolerable_deficiency_g(fill)
        );
    }
    // X(0.5) at 29 g: each within 1.305 g of the mean, the mean within 0.326 g of the target; both ends.
    let class = |values: &[f64]| reviewed(values).yardsticks.r61_class;
    assert_eq!(class(&[29.0 - 1.30, 29.0 + 1.30]), Some(0.5));
    assert_eq!(class(&[29.0 - 1.31, 29.0 + 1.31]), Some(1.0));
    assert_eq!(class(&[29.32, 29.32]), Some(0.5));
    assert_eq!(class(&[29.34, 29.34]), Some(1.0));
    let short = reviewed(&[26.3, 26.2, 23.5, 29.0]).yardsticks;
    assert_eq!(
        (short.short_of_tolerable, short.short_of_twice, short.mean_reaches_target),
        (2, 1, Some(false))
    );
}
