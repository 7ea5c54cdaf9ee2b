//! What a scale makes of its weight before it shows it: follows slow drift near zero, stands still in a
//! dead band, counts in coarser steps under a heavy load. Each is off by default; knows nothing of time
//! but the interval it is told.

use super::readout::ScaleModel;

/// Drift is followed only so near to zero, in steps of the display (scales in trade may follow half a
/// step a second, and only near zero: from memory of the rules for such scales, no text at hand).
const NEAR_STEPS: f64 = 2.5;
/// From these loads on the step is twice and five times as coarse, grams (an invented scale).
const GROWS: [(f64, f64); 2] = [(500.0, 2.0), (1000.0, 5.0)];

/// The display of a scale at work.
#[derive(Clone, Debug, Default)]
pub(super) struct Display {
    zero_g: f64,
    held_g: Option<f64>,
    key: bool,
}

impl Display {
    /// Its own tare key: what lies on the pan is zero from the next reading on.
    pub(super) fn zero_key(&mut self) {
        self.key = true;
    }

    /// The number shown for a weight; `interval_s` since the reading before.
    pub(super) fn show(&mut self, weight_g: f64, interval_s: f64, model: &ScaleModel) -> f64 {
        if std::mem::take(&mut self.key) {
            self.zero_g = weight_g;
            self.held_g = None;
        }
        let step_g = model.step_g;
        let off_g = weight_g - self.zero_g;
        if off_g.abs() <= NEAR_STEPS * step_g {
            let most_g = model.zero_tracking * step_g * interval_s;
            self.zero_g += off_g.clamp(-most_g, most_g);
        }
        let net_g = self.held(weight_g - self.zero_g, model.hold_g);
        let times = GROWS.iter().rev().find(|(from_g, _)| model.step_grows && net_g.abs() > *from_g);
        let step_g = step_g * times.map_or(1.0, |(_, times)| *times);
        if step_g > 0.0 { (net_g / step_g).round() * step_g } else { net_g }
    }

    fn held(&mut self, net_g: f64, band_g: f64) -> f64 {
        let held_g = self.held_g.filter(|held_g| (net_g - held_g).abs() <= band_g).unwrap_or(net_g);
        self.held_g = Some(held_g);
        held_g
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn shown(model: &ScaleModel, weights: &[f64]) -> Vec<f64> {
        let mut display = Display::default();
        weights.iter().map(|g| (display.show(*g, 0.1, model) * 10.0).round() / 10.0).collect()
    }

    #[test]
    fn a_plain_display_rounds_and_does_nothing_else() {
        assert_eq!(shown(&ScaleModel::middling(), &[0.04, 0.06, 1200.04]), [0.0, 0.1, 1200.0]);
    }

    #[test]
    fn slow_drift_near_zero_is_swallowed_and_a_load_is_not() {
        let model = ScaleModel { zero_tracking: 1.0, ..ScaleModel::middling() };
        let drift: Vec<f64> = (0..100).map(|i| 0.005 * f64::from(i)).collect();
        assert!(shown(&model, &drift).iter().all(|g| g.abs() < 0.05));
        assert_eq!(shown(&ScaleModel::middling(), &drift).last(), Some(&0.5));
        assert_eq!(shown(&model, &[0.0, 300.0, 300.0, 300.5]), [0.0, 300.0, 300.0, 300.5]);
    }

    #[test]
    fn a_held_display_stands_inside_its_band_and_then_jumps() {
        let model = ScaleModel { hold_g: 0.5, ..ScaleModel::middling() };
        assert_eq!(shown(&model, &[300.0, 300.3, 300.5, 300.6, 300.2]), [300.0, 300.0, 300.0, 300.6, 300.6]);
    }

    #[test]
    fn the_step_grows_with_the_load() {
        let model = ScaleModel { step_grows: true, ..ScaleModel::middling() };
        assert_eq!(shown(&model, &[499.93, 600.09, 1200.3]), [499.9, 600.0, 1200.5]);
    }

    #[test]
    fn after_its_own_key_the_display_counts_from_what_lies_there() {
        let mut display = Display::default();
        let model = ScaleModel::middling();
        assert_eq!(display.show(300.0, 0.1, &model), 300.0);
        display.zero_key();
        assert_eq!(display.show(300.0, 0.1, &model), 0.0);
        assert_eq!(display.show(0.0, 0.1, &model), -300.0);
    }
}
