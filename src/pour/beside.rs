//! Something set on the pan beside a bare piece, and taken off again: the tare that the piece had alone is remembered, as
//! slop often runs before the display has come to rest a second time.

use super::engine::Engine;
use super::landing::Landing;
use super::ready::LUMP;
use super::stand::Stand;
use super::state::Pour;
use crate::reading::Weighing;

impl Engine {
    /// Something was set down beside this piece: what it weighed alone counts again once that is gone.
    pub(super) fn set_beside(&mut self, pour: &Pour) {
        self.alone_g.get_or_insert(pour.tare);
    }

    /// What was set beside the piece may be gone: the display is back at what it weighed alone, or no more than a pour above.
    pub(super) fn may_be_alone(&self, w: Weighing) -> bool {
        let most_g = LUMP.end * self.start.target.g();
        self.alone_g.is_some_and(|alone_g| {
            (-self.threshold_g()..most_g).contains(&(w.mass.g() - alone_g)) && self.guides() && !self.held
        })
    }

    /// The piece stands alone again: slop that runs already, or has run, is measured from what it weighed before. At rest at
    /// that weight it is tared as any other. True where this reading is dealt with.
    pub(super) fn alone_again(&mut self, l: &mut Landing, w: Weighing) -> bool {
        let Some(alone_g) = self.alone_g.filter(|_| self.may_be_alone(w)) else { return false };
        let within_g = self.threshold_g();
        let has_more = w.mass.g() - alone_g > within_g;
        let flows = l.climbs(self.start.scale.reading_sd_g()).is_some();
        match self.at_rest() {
            Some(rest) if (rest - alone_g).abs() <= within_g => self.alone_g = None,
            Some(_) if has_more => return self.goes_on_alone(l, alone_g, w),
            None if has_more && flows => return self.goes_on_alone(l, alone_g, w),
            Some(_) | None => {}
        }
        false
    }

    fn goes_on_alone(&mut self, l: &mut Landing, alone_g: f64, w: Weighing) -> bool {
        self.alone_g = None;
        l.forget_before_lowest();
        let stand = Stand { tare_g: alone_g, u_g: self.weight_u_g(alone_g), until: w.taken_at };
        self.early_pour(l, stand, None, w);
        true
    }
}
