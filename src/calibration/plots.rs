//! What is drawn of a calibration: the error against the load, the placements, the checks since. Values in, plots out.

use super::check::{ACTS, WARNS};
use super::correction::Correction;
use super::fitness::class_iii_limit_g;
use super::report::{Load, Report};
use super::request::CalibrationRequest;
use super::statistics::mean;
use crate::plot::{Axis, Layer, Mark, Plot, Stroke, Tone};

/// Loads at which lines are drawn.
const ALONG: u32 = 200;

/// Error against load, with its uncertainty (k = 2), what is corrected, and the limits of class III as a yardstick.
pub fn error(found: &Report) -> Plot {
    let mut loads: Vec<_> = found.loads.iter().collect();
    loads.sort_by(|a, b| a.load_g.total_cmp(&b.load_g));
    let most_g = loads.last().map_or(1.0, |l| l.load_g);
    let along = || (0..=ALONG).map(|i| f64::from(i) / f64::from(ALONG) * most_g);
    let limit = |sign: f64| Layer::Line {
        through: along().map(|g| (g, sign * class_iii_limit_g(g, found.known.division_g))).collect(),
        stroke: Stroke::Dashed,
        tone: Tone::Soft,
        words: if sign > 0.0 { "class III limits (yardstick)".to_owned() } else { String::new() },
    };
    let correction = found.correction();
    let ends = loads
        .iter()
        .flat_map(|l| [l.error_g - l.expanded_g, l.error_g + l.expanded_g, l.limit_g, -l.limit_g]);
    Plot {
        x: Axis::from_zero("load, g", [most_g]).of_weight(),
        y: Axis::around("shown less load, g", ends).of_weight(),
        layers: vec![
            Layer::Band { between: band(&loads) },
            limit(1.0),
            limit(-1.0),
            Layer::Line {
                through: along().map(|g| (g, shown_of_g(correction, g) - g)).collect(),
                stroke: Stroke::Thin,
                tone: Tone::Main,
                words: "what is corrected".to_owned(),
            },
            Layer::Points {
                at: loads.iter().map(|l| (l.load_g, l.error_g)).collect(),
                mark: Mark::Disc,
                tone: Tone::Main,
                words: "shown, with its uncertainty".to_owned(),
            },
        ],
    }
}

/// What the scale shows of a load above its bare pan, by the correction, g. A scale is off by a tenth at most, so each round
/// is ten times nearer.
fn shown_of_g(correction: Correction, load_g: f64) -> f64 {
    let load_of = |shown_g: f64| correction.of_g(shown_g) - correction.of_g(0.0);
    (0..8).fold(load_g, |shown_g, _| shown_g + load_g - load_of(shown_g))
}

/// About the mean error at each load, as wide as the widest there.
fn band(loads: &[&Load]) -> Vec<(f64, f64, f64)> {
    let at_one = |a: &&Load, b: &&Load| (a.load_g - b.load_g).abs() < 1e-6;
    let each = |alike: &[&Load]| {
        let errors: Vec<f64> = alike.iter().map(|l| l.error_g).collect();
        let expanded_g = alike.iter().map(|l| l.expanded_g).fold(0.0, f64::max);
        let load_g = alike.first().map_or(0.0, |l| l.load_g);
        (load_g, mean(&errors) - expanded_g, mean(&errors) + expanded_g)
    };
    loads.chunk_by(at_one).map(each).collect()
}

/// Each placement of a load that was set down several times, less their mean. `None` where none was.
pub fn spread(request: &CalibrationRequest) -> Option<Plot> {
    let mut groups: Vec<Vec<f64>> = Vec::new();
    // The bare pan against itself is no placement.
    for p in request.points.iter().filter(|p| p.nominal_g > 0.0 || p.base_readings_g.is_none()) {
        let base_g = |n: usize| p.base_readings_g.as_ref().and_then(|b| b.get(n)).copied().unwrap_or(0.0);
        groups.push(p.readings_g.iter().enumerate().map(|(n, g)| g - base_g(n)).collect());
    }
    groups.extend(request.repeat.as_ref().map(|r| r.readings_g.clone()));
    let off: Vec<f64> = groups
        .iter()
        .filter(|g| g.len() >= 2)
        .flat_map(|g| {
            let centre = mean(g);
            g.iter().map(move |v| v - centre)
        })
        .collect();
    let half = 0.5 * request.division_g;
    let at: Vec<(f64, f64)> = off.iter().enumerate().map(|(n, v)| (n as f64 + 1.0, *v)).collect();
    (!at.is_empty()).then(|| Plot {
        x: Axis::from_zero("placement", [at.len() as f64]).whole(),
        y: Axis::around("off the mean of its load, g", off.iter().copied().chain([half, -half])).of_weight(),
        layers: vec![
            Layer::Level { y: half, stroke: Stroke::Dashed, words: "½ step".to_owned() },
            Layer::Level { y: -half, stroke: Stroke::Dashed, words: String::new() },
            Layer::Level { y: 0.0, stroke: Stroke::Thin, words: String::new() },
            Layer::Points { at, mark: Mark::Disc, tone: Tone::Main, words: String::new() },
        ],
    })
}

/// Checks in their order, the oldest first: error and its standard uncertainty, g. `None` of none.
pub fn checks(all: &[(f64, f64)]) -> Option<Plot> {
    let (_, u_g) = *all.last()?;
    let levels = [(0.0, ""), (WARNS * u_g, "again"), (ACTS * u_g, "limit")];
    let level = |y: f64, words: &str| Layer::Level {
        y,
        stroke: if y == 0.0 { Stroke::Thin } else { Stroke::Dashed },
        words: words.to_owned(),
    };
    let at: Vec<(f64, f64)> =
        all.iter().enumerate().map(|(n, (error_g, _))| (n as f64 + 1.0, *error_g)).collect();
    let mut layers: Vec<Layer> = levels.iter().map(|(y, words)| level(*y, words)).collect();
    layers.extend(levels.iter().skip(1).map(|(y, _)| level(-y, "")));
    layers.push(Layer::Line {
        through: at.clone(),
        stroke: Stroke::Thin,
        tone: Tone::Soft,
        words: String::new(),
    });
    layers.push(Layer::Points { at, mark: Mark::Disc, tone: Tone::Main, words: String::new() });
    let ends = all.iter().map(|(error_g, _)| *error_g).chain([ACTS * u_g, -ACTS * u_g]);
    Some(Plot {
        x: Axis::from_zero("check", [all.len() as f64]).whole(),
        y: Axis::around("corrected less mass, g", ends).of_weight(),
        layers,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::report::report;
    use crate::calibration::request::from_json;

    fn request(points: &str) -> CalibrationRequest {
        from_json(&format!(r#"{{ "division_g": 0.1, "points": [{points}] }}"#)).unwrap()
    }

    #[test]
    fn one_load_met_twice_has_one_place_in_the_band() {
        let told = request(
            r#"{ "nominal_g": 0, "readings_g": [0] }, { "nominal_g": 50, "class": "M1", "readings_g": [50.2], "direction": "up" },
               { "nominal_g": 50, "class": "M1", "readings_g": [50.0], "direction": "down" },
               { "nominal_g": 200, "class": "M1", "readings_g": [200.1] }"#,
        );
        let plot = error(&report(&told).unwrap());
        let Some(Layer::Band { between }) = plot.layers.first() else { panic!("{plot:?}") };
        assert_eq!(between.iter().map(|(g, ..)| *g).collect::<Vec<_>>(), [0.0, 50.0, 200.0]);
        let (_, low, high) = between[1];
        assert!((0.5 * (low + high) - 0.1).abs() < 1e-9 && high - low > 0.1, "{between:?}");
        assert_eq!(spread(&told), None, "nothing was set down twice");
    }

    #[test]
    fn placements_are_drawn_about_the_mean_of_their_load_and_checks_in_their_order() {
        let told = request(
            r#"{ "nominal_g": 0, "readings_g": [0] },
               { "nominal_g": 200, "class": "M1", "readings_g": [200.3, 200.1], "base_readings_g": [0.1, 0.1] }"#,
        );
        let Some(Layer::Points { at, .. }) = spread(&told).unwrap().layers.pop() else { panic!("no points") };
        assert!((at[0].1 - 0.1).abs() < 1e-9 && (at[1].1 + 0.1).abs() < 1e-9, "{at:?}");
        let Some(Layer::Points { at, .. }) = checks(&[(0.1, 0.07), (-0.2, 0.07)]).unwrap().layers.pop()
        else {
            panic!("no points")
        };
        assert_eq!(at, [(1.0, 0.1), (2.0, -0.2)]);
        assert_eq!(checks(&[]), None);
    }

    #[test]
    fn what_is_corrected_lies_on_what_a_scale_without_noise_shows() {
        // Invented: 2 percent too much; 200 g of mass show 204 g, worked by hand.
        let text = r#"{ "division_g": 0.1, "points": [{ "nominal_g": 0, "readings_g": [0] },
            { "nominal_g": 100, "class": "M1", "readings_g": [102] }, { "nominal_g": 200, "class": "M1", "readings_g": [204] }] }"#;
        let plot = error(&report(&from_json(text).unwrap()).unwrap());
        let wanted =
            |layer: &&Layer| matches!(layer, Layer::Line { words, .. } if words == "what is corrected");
        let Some(Layer::Line { through: line, .. }) = plot.layers.iter().find(wanted) else {
            panic!("{plot:?}")
        };
        let last = *line.last().unwrap();
        assert!((last.0 - 200.0).abs() < 1e-9 && (last.1 - 4.0).abs() < 1e-6, "{last:?}");
    }
}
