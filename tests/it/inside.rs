//! Insides of pots: areas and volumes against closed forms, tables and numerical integration.
//!
//! Closed forms are textbook formulae (from memory); values derived from them, sizes in cm. The integrals
//! are taken by a general-purpose library (double exponential quadrature), of the shape's own equation.

use crate::outside::{asked, close, example, with, worked};
use crate::seeds::seeded;
use proptest::prelude::*;
use serde_json::{Value, json};
use std::f64::consts::PI;
use tarebell::batch::form::{ellipse_around, least_area_cm2, profile_area, profile_volume};

/// Area cm2 and volume mL of a form.
fn inside(form: Value) -> (f64, f64) {
    let t = worked(with("/form", form));
    (t.area.unwrap().cm2(), t.volume.map_or(f64::NAN, |volume| volume.ml()))
}

fn integral(f: impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    quadrature::integrate(f, from, to, 1e-10).integral
}

/// Side 2 pi r h, disc pi r^2, frustum pi (r1 + r2) slant and pi h (r1^2 + r1 r2 + r2^2) / 3, cap pi (a^2 + h^2) and
/// pi h (3 a^2 + h^2) / 6.
#[test]
fn areas_and_volumes_match_the_table_of_closed_forms() {
    let cylinder = |d: f64, h: f64| json!({ "by": "cylinder", "diameter_mm": d, "height_mm": h });
    let cone = |b: f64, t: f64, h: f64| json!({ "by": "cone", "bottom_mm": b, "top_mm": t, "height_mm": h });
    let bowl = |d: f64, h: f64| json!({ "by": "bowl", "diameter_mm": d, "depth_mm": h });
    let mug =
        json!({ "by": "profile", "points_mm": [[0, 0], [0, 30], [15, 36], [40, 41], [70, 42], [90, 40]] });
    let rows = [
        (cylinder(80.0, 90.0), 276.460154, 452.389342),
        (cylinder(76.0, 85.0), 248.311483, 385.599082),
        (cone(60.0, 120.0, 40.0), 141.371669 + 9.0 * PI, 263.893783),
        (cone(60.0, 80.0, 90.0), 227.412654, 348.716785),
        (cone(70.0, 80.0, 90.0), 250.869011, 398.196869),
        (cone(0.0, 60.0, 40.0), 47.123890, 37.699112),
        (bowl(80.0, 40.0), 100.530965, 134.041287),
        (bowl(80.0, 20.0), 62.831853, 54.454273),
        (mug, 253.493468, 436.005936),
    ];
    for (form, cm2, ml) in rows {
        let (area, volume) = inside(form.clone());
        close(area, cm2, 1e-6, &format!("area of {form}"));
        close(volume, ml, 1e-6, &format!("volume of {form}"));
    }
}

/// Quarter torus c 1 in a wall of r 4 (Pappus: 2 pi (3 + 2 / pi) pi / 2 = 35.891999 cm2), then the same corner by
/// integration of its circle.
#[test]
fn a_rounded_corner_is_a_quarter_of_a_torus() {
    let (area, volume) =
        inside(json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "corner_mm": 10 }));
    close(area, 2.0 * PI * 4.0 * 8.0 + 35.891999 + 9.0 * PI, 1e-6, "area");
    let bore = |turn: f64| 3.0 + turn.sin();
    let corner = integral(|turn| 2.0 * PI * bore(turn), 0.0, PI / 2.0);
    close(area, 2.0 * PI * 4.0 * 8.0 + corner + 9.0 * PI, 1e-8, "area by integration");
    let slice = integral(|z| PI * (3.0 + (1.0 - (1.0 - z) * (1.0 - z)).sqrt()).powi(2), 0.0, 1.0);
    close(volume, 16.0 * PI * 8.0 + slice, 1e-7, "volume by integration");
    let round = inside(json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 40, "corner_mm": 40 }));
    close(round.0, 32.0 * PI, 1e-9, "a corner as large as the bore is half a ball");
    close(round.1, 128.0 * PI / 3.0, 1e-9, "and its volume");
}

/// A = 2 pi x integral of r sqrt(1 + r'^2) dz, V = pi x integral of r^2 dz, of the equation of each shape; the paraboloid
/// also by its closed form, a 4 h 9: 160.448512 cm2 and 72 pi mL.
#[test]
fn drawn_profiles_converge_on_the_integral_of_their_curve() {
    type Curve = (&'static str, fn(f64) -> f64, fn(f64) -> f64, f64);
    let curves: [Curve; 3] = [
        ("paraboloid", |z| 4.0 * (z / 9.0).sqrt(), |z| 2.0 / (9.0 * z).sqrt(), 9.0),
        ("bellied jar", |z| 3.5 + 1.5 * (z / 3.0).sin(), |z| 0.5 * (z / 3.0).cos(), 9.0),
        (
            "ball cut off",
            |z| (25.0 - (5.0 - z).powi(2)).sqrt(),
            |z| (5.0 - z) / (25.0 - (5.0 - z).powi(2)).sqrt(),
            8.0,
        ),
    ];
    for (name, r, slope, height) in curves {
        let area = integral(|z| 2.0 * PI * r(z) * (1.0 + slope(z).powi(2)).sqrt(), 0.0, height);
        let volume = integral(|z| PI * r(z).powi(2), 0.0, height);
        let floor = PI * r(0.0).powi(2);
        // Closer points where the floor turns up.
        let points: Vec<[f64; 2]> = (0..=1500)
            .map(|n| height * (f64::from(n) / 1500.0).powi(2))
            .map(|z| [10.0 * z, 10.0 * r(z)])
            .collect();
        let drawn = std::iter::once([0.0, 0.0]).chain(points).collect::<Vec<_>>();
        close(profile_area(&drawn).cm2() / (area + floor), 1.0, 5e-6, name);
        close(profile_volume(&drawn).ml() / volume, 1.0, 5e-6, name);
    }
    let paraboloid = integral(|z| 2.0 * PI * (16.0 * z / 9.0 + (8.0_f64 / 9.0).powi(2)).sqrt(), 0.0, 9.0);
    close(paraboloid, 160.448512, 1e-6, "the integral is that of the closed form");
}

/// Derived: square 7 x 7 x 9 has 4 x 63 + 49 = 301 cm2, 441 mL; corners as large as half the width make it a cylinder.
#[test]
fn square_and_oval_insides_match_cylinders_and_the_integral_round_an_ellipse() {
    let square = |w: f64, c: f64| json!({ "by": "square", "width_mm": w, "height_mm": 90, "corner_mm": c });
    let (area, volume) = inside(square(70.0, 0.0));
    close(area, 301.0, 1e-9, "square");
    close(volume, 441.0, 1e-9, "square volume");
    let oblong = inside(json!({ "by": "square", "width_mm": 50, "length_mm": 100, "height_mm": 40 }));
    close(oblong.0, 30.0 * 4.0 + 50.0, 1e-9, "oblong");
    let cylinder = inside(json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90 }));
    let round = inside(square(80.0, 40.0));
    let oval = inside(json!({ "by": "oval", "length_mm": 80, "width_mm": 80, "height_mm": 90 }));
    for (found, what) in [(round, "rounded to a circle"), (oval, "oval as wide as long")] {
        close(found.0, cylinder.0, 1e-9, what);
        close(found.1, cylinder.1, 1e-9, what);
    }
    for (a, b) in [(5.0, 3.5), (10.0, 1.0), (4.0, 4.0), (30.0, 0.5)] {
        let around = integral(|t| (a * a * t.sin().powi(2) + b * b * t.cos().powi(2)).sqrt(), 0.0, PI / 2.0);
        close(ellipse_around(a, b) / (4.0 * around), 1.0, 1e-9, "around an ellipse");
    }
}

/// Derived: the band's own area (cylinder 2 pi r b; frustum; zone of a ball 2 pi R b), and a rim taken off by hand.
#[test]
fn a_bare_rim_or_a_lids_gallery_is_left_out() {
    let without = |mut form: Value, bare: f64| {
        form["bare_rim_mm"] = json!(bare);
        inside(form)
    };
    let cylinder = json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90 });
    close(without(cylinder.clone(), 10.0).0, 88.0 * PI - 8.0 * PI, 1e-9, "cylinder");
    close(without(cylinder, 10.0).1, 144.0 * PI, 1e-9, "the volume is still to the rim");
    let bowl = json!({ "by": "bowl", "diameter_mm": 80, "depth_mm": 20 });
    close(without(bowl, 5.0).0, 20.0 * PI - 5.0 * PI, 1e-9, "a zone of a 5 cm ball");
    let cone = json!({ "by": "cone", "bottom_mm": 60, "top_mm": 120, "height_mm": 40 });
    let lower = inside(json!({ "by": "cone", "bottom_mm": 60, "top_mm": 90, "height_mm": 20 }));
    close(without(cone, 20.0).0, lower.0, 1e-9, "cone");
    let square = json!({ "by": "square", "width_mm": 70, "height_mm": 90 });
    close(without(square, 10.0).0, 301.0 - 28.0, 1e-9, "square");
    let gallery = json!({ "by": "profile", "points_mm": [[0, 0], [0, 40], [80, 40], [80, 46], [90, 46]] });
    close(without(gallery, 10.0).0, 16.0 * PI + 64.0 * PI, 1e-9, "ledge and wall of the gallery stay bare");
    let rim = asked(with(
        "/form",
        json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "bare_rim_mm": 90 }),
    ));
    assert_eq!(rim.unwrap_err().field, "form.bare_rim_mm");
    let area = asked(with("/form", json!({ "by": "area", "area_cm2": 250, "bare_rim_mm": 5 })));
    assert_eq!(area.unwrap_err().field, "form.bare_rim_mm");
}

/// Derived: 10 percent off lengths leaves 0.81 of the area and 0.729 of the volume.
#[test]
fn sizes_of_leather_hard_clay_shrink_to_bisque() {
    let (area, volume) =
        inside(json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "shrinkage_percent": 10 }));
    close(area, 0.81 * 88.0 * PI, 1e-9, "area");
    close(volume, 0.729 * 144.0 * PI, 1e-9, "volume");
    let wild = worked(with("/form", json!({ "by": "area", "area_cm2": 250, "shrinkage_percent": 30 })));
    assert!(wild.warnings.iter().any(|w| w.contains("of lengths")), "{:?}", wild.warnings);
}

/// Derived: a fired piece 6 percent smaller than the bisque of 452.39 mL holds 0.94^3 x 452.39 = 375.75 g of water.
#[test]
fn water_in_a_fired_piece_checks_the_size_and_says_which_way_it_is_off() {
    let form = |water: f64| json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "fired_water_g": water, "fired_shrinkage_percent": 6 });
    let fits = worked(with("/form", form(375.75)));
    assert!(fits.warnings.is_empty(), "{:?}", fits.warnings);
    let said = tarebell::batch::told(&fits);
    assert!(said.contains("452.4 mL") && said.contains("never fill bisque"), "{said}");
    let more = worked(with("/form", form(450.0))).warnings.join("\n");
    assert!(more.contains("measured too small"), "{more}");
    assert!(worked(with("/form", form(300.0))).warnings.join("\n").contains("measured too large"));
    let alone = json!({ "by": "area", "area_cm2": 250, "fired_shrinkage_percent": 6 });
    assert_eq!(asked(with("/form", alone)).unwrap_err().field, "form.fired_shrinkage_percent");
}

/// Least wall for a volume: half a ball, A^3 = 18 pi V^2 (isoperimetric inequality for a vessel with a flat opening,
/// from memory). Derived: 2 pi r^2 and 2 pi r^3 / 3.
#[test]
fn an_area_too_small_for_the_water_is_refused_and_one_far_too_large_is_asked_about() {
    close(least_area_cm2(128.0 * PI / 3.0), 32.0 * PI, 1e-9, "half a ball of r 4");
    let form = |cm2: f64| json!({ "by": "area", "area_cm2": cm2, "fired_water_g": 452.4 });
    let least = least_area_cm2(452.4);
    let refused = asked(with("/form", form(0.9 * least))).unwrap_err();
    assert_eq!(refused.field, "form.area_cm2");
    assert!(
        refused.reason.contains("half a ball") && refused.reason.contains("in cm2"),
        "{}",
        refused.reason
    );
    assert!(worked(with("/form", form(276.5))).warnings.is_empty());
    let mut large = with("/form", form(2765.0));
    large["coat"]["dry_g_per_cm2"] = json!(0.05);
    assert!(worked(large).warnings.join("\n").contains("check the unit of the area"));
}

/// A profile that starts off the axis has no floor to coat, but its pot holds what it holds.
#[test]
fn a_wall_without_its_floor_is_compared_with_water_and_not_refused() {
    let wall =
        |water: f64| json!({ "by": "profile", "points_mm": [[0, 40], [90, 40]], "fired_water_g": water });
    let t = worked(with("/form", wall(452.4)));
    close(t.area.unwrap().cm2(), 72.0 * PI, 1e-9, "wall alone");
    close(t.volume.unwrap().ml(), 144.0 * PI, 1e-9, "volume");
    assert_eq!(t.warnings.len(), 1, "{:?}", t.warnings);
    assert!(t.warnings[0].contains("no floor"));
    assert_eq!(worked(with("/form", wall(600.0))).warnings.len(), 2);
}

#[test]
fn profiles_that_cannot_be_a_pot_are_refused_at_their_point() {
    let rows = [
        (json!([[0, 0], [0, 40], [0, 30], [90, 30]]), "form.points_mm[2][1]", "crosses itself"),
        (json!([[0, 0], [0, 30], [90, 40], [80, 40]]), "form.points_mm[3][0]", "cross itself"),
        (json!([[0, 0], [0, 30], [0, 40]]), "form.points_mm", "no wall"),
        (json!([[0, 0], [0, 0]]), "form.points_mm", "in that order"),
        (json!([[0, 0], [30, 3000]]), "form.points_mm[1][1]", "decimal point"),
    ];
    for (points, field, words) in rows {
        let form = json!({ "by": "profile", "points_mm": points });
        let refused = asked(with("/form", form)).unwrap_err();
        assert_eq!(refused.field, field, "{points}: {}", refused.reason);
        assert!(refused.reason.contains(words), "{points}: {}", refused.reason);
    }
    for (form, field) in [
        (json!({ "by": "square", "width_mm": 70, "height_mm": 90, "corner_mm": 36 }), "form.corner_mm"),
        (json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "corner_mm": 41 }), "form.corner_mm"),
        (json!({ "by": "oval", "length_mm": 80, "width_mm": 0, "height_mm": 90 }), "form.width_mm"),
        (json!({ "by": "oval", "length_mm": 80, "height_mm": 90 }), "form.width_mm"),
        (
            json!({ "by": "cylinder", "diameter_mm": 80, "height_mm": 90, "bare_rim_mm": "5" }),
            "form.bare_rim_mm",
        ),
    ] {
        assert_eq!(asked(with("/form", form.clone())).unwrap_err().field, field, "{form}");
    }
}

fn any_form() -> impl Strategy<Value = (Value, f64)> {
    let size = || 20.0..300.0f64;
    (0..6, size(), size(), size(), 0.0..0.4f64, 0.0..0.3f64).prop_map(|(which, a, b, c, corner, bare)| {
        let corner = |mm: f64| corner * mm;
        let form = match which {
            0 => json!({ "by": "cylinder", "diameter_mm": a, "height_mm": b, "corner_mm": corner(a.min(b)) }),
            1 => json!({ "by": "cone", "bottom_mm": a, "top_mm": b, "height_mm": c }),
            2 => json!({ "by": "bowl", "diameter_mm": a, "depth_mm": b }),
            3 => json!({ "by": "square", "width_mm": a, "length_mm": b, "height_mm": c, "corner_mm": corner(a.min(b)) }),
            4 => json!({ "by": "oval", "length_mm": a, "width_mm": b, "height_mm": c }),
            _ => json!({ "by": "profile", "points_mm": [[0, 0], [0, a / 2.0], [b / 2.0, c / 2.0], [b, a / 3.0]] }),
        };
        let height = match which {
            0 | 2 | 5 => b,
            _ => c,
        };
        (form, bare * height)
    })
}

/// The form s times as large.
fn larger(form: &Value, s: f64) -> Value {
    let grow = |value: &Value| match value {
        Value::Number(n) => json!(n.as_f64().unwrap_or(0.0) * s),
        Value::Array(points) => points
            .iter()
            .map(|point| json!([point[0].as_f64().unwrap_or(0.0) * s, point[1].as_f64().unwrap_or(0.0) * s]))
            .collect(),
        other @ (Value::Null | Value::Bool(_) | Value::String(_) | Value::Object(_)) => other.clone(),
    };
    form.as_object().unwrap().iter().map(|(name, value)| (name.clone(), grow(value))).collect()
}

proptest! {
    #![proptest_config(seeded())]

    #[test]
    fn area_grows_as_the_square_and_volume_as_the_cube_of_the_size((form, bare) in any_form(), s in 0.8..1.5f64) {
        let mut form = form;
        form["bare_rim_mm"] = json!(bare);
        let mut request = with("/form", form.clone());
        request["coat"]["dry_g_per_cm2"] = json!(0.05);
        let t = worked(request.clone());
        request["form"] = larger(&form, s);
        let u = worked(request);
        let (area, volume) = (t.area.unwrap().cm2(), t.volume.unwrap().ml());
        prop_assert!((u.area.unwrap().cm2() / area / (s * s) - 1.0).abs() < 1e-9);
        prop_assert!((u.volume.unwrap().ml() / volume / s.powi(3) - 1.0).abs() < 1e-9);
        prop_assert!(bare > 0.0 || area >= least_area_cm2(volume) * (1.0 - 1e-9), "{form} beats half a ball");
    }

    #[test]
    fn splitting_a_segment_of_a_profile_changes_nothing(
        radii in prop::collection::vec(5.0..80.0f64, 2..8), n in 0usize..7, share in 0.01..0.99f64, bare in 0.0..20.0f64,
    ) {
        let mut points = vec![[0.0, 0.0]];
        points.extend(radii.iter().enumerate().map(|(n, r)| [30.0 * f64::from(u32::try_from(n).unwrap()), *r]));
        let ask = |points: &[[f64; 2]]| {
            let mut request = example();
            request["form"] = json!({ "by": "profile", "points_mm": points, "bare_rim_mm": bare });
            let t = worked(request);
            (t.area.unwrap().cm2(), t.volume.unwrap().ml())
        };
        let whole = ask(&points);
        let at = n % (points.len() - 1);
        let (from, to) = (points[at], points[at + 1]);
        let between = |i: usize| from[i] + share * (to[i] - from[i]);
        points.insert(at + 1, [between(0), between(1)]);
        let split = ask(&points);
        prop_assert!((whole.0 / split.0 - 1.0).abs() < 1e-9 && (whole.1 / split.1 - 1.0).abs() < 1e-9);
    }
}
