//! Draws a plot with the charting library's SVG backend.

use super::{Axis, Layer, Mark, Palette, Plot, Size, Stroke, Tone};
use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::element::DashedPathElement;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

/// Of all text, px: as the page's own near text, less its margin.
const TEXT: u32 = 15;
/// What the library divides a size by before it writes it into the SVG.
const LIBRARY: f64 = 1.24;
/// How wide a letter is at most as a share of the text's height, where no font is at hand to ask (own guess).
const LETTER: f64 = 0.56;
const LEFT: u32 = 52;
const RIGHT: u32 = 68;
const FOOT: u32 = 44;
const HEAD: u32 = 30;
/// Of a line above the frame that says what the marks are.
const ROW: i32 = 21;

type Sheet<'a> = DrawingArea<SVGBackend<'a>, Shift>;
type Frame<'a> = DrawingArea<SVGBackend<'a>, Cartesian2d<RangedCoordf64, RangedCoordf64>>;
type Drawn = Result<(), Box<dyn std::error::Error>>;

/// A layer, its words and where they stand.
type Said<'a> = (&'a Layer, &'a str, (i32, i32));

struct Brush<'a> {
    sheet: Sheet<'a>,
    frame: Frame<'a>,
    palette: Palette,
}

/// The plot as SVG text. A sheet without marks, where the library refuses to draw: never the case for finite values.
pub fn svg(plot: &Plot, size: Size, palette: Palette) -> String {
    let mut text = String::new();
    if draw(plot, size, palette, &mut text).is_err() {
        text = String::from("<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"1\" height=\"1\"></svg>");
    }
    text
}

fn draw(plot: &Plot, size: Size, palette: Palette, text: &mut String) -> Drawn {
    let (width, height) = size.px();
    let sheet = SVGBackend::with_string(text, (width, height)).into_drawing_area();
    sheet.fill(&palette.sheet())?;
    let ((left, right), (foot, head)) = (plot.x.ends(), plot.y.ends());
    let across = RangedCoordf64::from(left..right);
    let up = RangedCoordf64::from(foot..head);
    let (places, rows) = key(plot, width as i32);
    let inside = (LEFT as i32..(width - RIGHT) as i32, HEAD as i32 + ROW * rows..(height - FOOT) as i32);
    // The library's ordinates grow downwards on the sheet: the range of the second axis is turned round.
    let inside = (inside.0, inside.1.end..inside.1.start);
    let frame = sheet
        .clone()
        .apply_coord_spec(Cartesian2d::<RangedCoordf64, RangedCoordf64>::new(across, up, inside));
    let brush = Brush { sheet, frame, palette };
    brush.axes(&plot.x, &plot.y)?;
    plot.layers.iter().try_for_each(|layer| brush.layer(layer, &plot.x, &plot.y))?;
    brush.levels(plot)?;
    brush.key(&places)?;
    brush.sheet.present()?;
    Ok(())
}

impl Brush<'_> {
    fn px(&self, at: (f64, f64)) -> (i32, i32) {
        self.frame.map_coordinate(&at)
    }

    fn style(&self, stroke: Stroke, tone: Tone) -> ShapeStyle {
        let width = match stroke {
            Stroke::Thick => 3,
            Stroke::Thin | Stroke::Dashed => 1,
        };
        self.palette.colour(tone).stroke_width(width)
    }

    fn write(&self, words: &str, at: (i32, i32), pos: Pos) -> Drawn {
        let ink = self.palette.colour(Tone::Ink);
        let style =
            TextStyle::from(("sans-serif", f64::from(TEXT) * LIBRARY).into_font()).color(&ink).pos(pos);
        Ok(self.sheet.draw(&Text::new(words.to_owned(), at, style))?)
    }

    /// Net, frame, numbers and words.
    fn axes(&self, x: &Axis, y: &Axis) -> Drawn {
        let ((left, right), (foot, head)) = (x.ends(), y.ends());
        let net = self.palette.net().stroke_width(1);
        for (at, words) in y.ticks() {
            let (from, to) = (self.px((left, at)), self.px((right, at)));
            self.sheet.draw(&PathElement::new([from, to], net))?;
            self.write(&words, (from.0 - 6, from.1), Pos::new(HPos::Right, VPos::Center))?;
        }
        for (at, words) in x.ticks() {
            let (from, _) = (self.px((at, foot)), ());
            self.sheet
                .draw(&PathElement::new([from, (from.0, from.1 + 4)], self.style(Stroke::Thin, Tone::Ink)))?;
            self.write(&words, (from.0, from.1 + 6), Pos::new(HPos::Center, VPos::Top))?;
        }
        let (corner, end, top) = (self.px((left, foot)), self.px((right, foot)), self.px((left, head)));
        self.sheet.draw(&PathElement::new([top, corner, end], self.style(Stroke::Thin, Tone::Ink)))?;
        self.write(x.words(), (end.0, end.1 + 24), Pos::new(HPos::Right, VPos::Top))?;
        self.write(y.words(), (6, 6), Pos::new(HPos::Left, VPos::Top))
    }

    fn layer(&self, layer: &Layer, x: &Axis, y: &Axis) -> Drawn {
        let ((left, right), (foot, head)) = (x.ends(), y.ends());
        match layer {
            Layer::Points { at, mark, tone, words: _ } => {
                let seen = |(x, y): &&(f64, f64)| x.is_finite() && y.is_finite();
                at.iter().filter(seen).try_for_each(|at| self.mark(*mark, *tone, self.px(*at)))
            }
            Layer::Line { through, stroke, tone, words: _ } => {
                let seen = through.iter().filter(|(x, y)| x.is_finite() && y.is_finite());
                let points: Vec<_> = seen.map(|at| self.px(*at)).collect();
                self.line(&points, *stroke, *tone)
            }
            Layer::Band { between } => {
                let seen =
                    || between.iter().filter(|(x, l, u)| x.is_finite() && l.is_finite() && u.is_finite());
                let low = seen().map(|(x, low, _)| self.px((*x, low.clamp(foot, head))));
                let high = seen().rev().map(|(x, _, high)| self.px((*x, high.clamp(foot, head))));
                let round: Vec<_> = low.chain(high).collect();
                Ok(self.sheet.draw(&Polygon::new(round, self.palette.band().filled()))?)
            }
            Layer::Level { y, stroke, words: _ } => {
                if !(foot..=head).contains(y) {
                    return Ok(());
                }
                self.line(&[self.px((left, *y)), self.px((right, *y))], *stroke, Tone::Ink)
            }
            Layer::Upright { x, stroke, words } => {
                if !(left..=right).contains(x) {
                    return Ok(());
                }
                let top = self.px((*x, head));
                self.line(&[self.px((*x, foot)), top], *stroke, Tone::Ink)?;
                self.write(words, (top.0 + 5, top.1), Pos::new(HPos::Left, VPos::Top))
            }
            Layer::Bars { bars } => bars.iter().try_for_each(|bar| self.bar(*bar, foot)),
        }
    }

    fn bar(&self, (from, to, high): (f64, f64, f64), foot: f64) -> Drawn {
        if high <= 0.0 || !(from.is_finite() && to.is_finite() && high.is_finite()) {
            return Ok(());
        }
        let (a, b) = (self.px((from, foot.max(0.0))), self.px((to, high)));
        let ends = [(a.0 + 1, a.1), (b.0 - 1, b.1)];
        Ok(self.sheet.draw(&Rectangle::new(ends, self.palette.colour(Tone::Main).filled()))?)
    }

    fn line(&self, points: &[(i32, i32)], stroke: Stroke, tone: Tone) -> Drawn {
        let style = self.style(stroke, tone);
        match stroke {
            Stroke::Thick | Stroke::Thin => Ok(self.sheet.draw(&PathElement::new(points.to_vec(), style))?),
            Stroke::Dashed => Ok(self.sheet.draw(&DashedPathElement::new(points.to_vec(), 7, 5, style))?),
        }
    }

    fn mark(&self, mark: Mark, tone: Tone, at: (i32, i32)) -> Drawn {
        let colour = self.palette.colour(tone);
        let shape = |points: [(i32, i32); 3]| {
            Polygon::new(points.map(|(x, y)| (at.0 + x, at.1 + y)), colour.filled())
        };
        match mark {
            Mark::Disc => self.sheet.draw(&Circle::new(at, 4, colour.filled()))?,
            Mark::Dot => self.sheet.draw(&Circle::new(at, 2, colour.filled()))?,
            Mark::Down => self.sheet.draw(&shape([(-7, -5), (7, -5), (0, 7)]))?,
            Mark::Up => self.sheet.draw(&shape([(-7, 5), (7, 5), (0, -7)]))?,
            Mark::Cross => self.sheet.draw(&Cross::new(at, 5, colour.stroke_width(2)))?,
            Mark::Square => {
                let ends = [(at.0 - 4, at.1 - 4), (at.0 + 4, at.1 + 4)];
                self.sheet.draw(&Rectangle::new(ends, colour.stroke_width(2)))?;
            }
            Mark::Ring => self.sheet.draw(&Circle::new(at, 10, colour.stroke_width(2)))?,
        }
        Ok(())
    }

    /// The words of the levels at the right edge, moved apart where they would lie on each other.
    fn levels(&self, plot: &Plot) -> Drawn {
        let ((_, right), (foot, head)) = (plot.x.ends(), plot.y.ends());
        let mut said: Vec<((i32, i32), &str)> = Vec::new();
        for layer in &plot.layers {
            if let Layer::Level { y, words, stroke: _ } = layer
                && (foot..=head).contains(y)
                && !words.is_empty()
            {
                said.push((self.px((right, *y)), words));
            }
        }
        said.sort_by_key(|((_, y), _)| *y);
        let mut next = 0;
        for ((x, y), words) in said {
            let at = y.max(next);
            next = at + TEXT as i32 + 2;
            self.write(words, (x + 6, at), Pos::new(HPos::Left, VPos::Center))?;
        }
        Ok(())
    }

    fn key(&self, places: &[Said<'_>]) -> Drawn {
        for (layer, words, (x, y)) in places {
            match layer {
                Layer::Points { mark, tone, .. } => self.mark(*mark, *tone, (x + 6, *y))?,
                Layer::Line { stroke, tone, .. } => {
                    self.line(&[(x - 4, *y), (x + 14, *y)], *stroke, *tone)?
                }
                Layer::Band { .. } | Layer::Level { .. } | Layer::Upright { .. } | Layer::Bars { .. } => {}
            }
            self.write(words, (x + 20, *y), Pos::new(HPos::Left, VPos::Center))?;
        }
        Ok(())
    }
}

/// What each kind of point and line is and where that stands above the frame, and how many rows it takes.
fn key(plot: &Plot, width: i32) -> (Vec<Said<'_>>, i32) {
    let (mut places, mut x, mut row) = (Vec::new(), 10, 0);
    for layer in &plot.layers {
        let words = match layer {
            Layer::Points { words, .. } | Layer::Line { words, .. } => words.as_str(),
            Layer::Band { .. } | Layer::Level { .. } | Layer::Upright { .. } | Layer::Bars { .. } => "",
        };
        if words.is_empty() {
            continue;
        }
        let long = 24 + (words.chars().count() as f64 * f64::from(TEXT) * LETTER) as i32;
        if x > 10 && x + long > width {
            (x, row) = (10, row + 1);
        }
        places.push((layer, words, (x, HEAD as i32 + 6 + ROW * row)));
        x += long + 10;
    }
    let rows = if places.is_empty() { 0 } else { row + 1 };
    (places, rows)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot() -> Plot {
        let at: Vec<(f64, f64)> = (1..=8).map(|n| (f64::from(n), 29.0 + 0.1 * f64::from(n % 3))).collect();
        let points =
            |mark, words: &str| Layer::Points { at: at.clone(), mark, tone: Tone::Main, words: words.into() };
        Plot {
            x: Axis::around("piece", at.iter().map(|p| p.0)).whole(),
            y: Axis::around("g <net> & more", [27.0, 31.0]),
            layers: vec![
                Layer::Band { between: vec![(1.0, 28.0, 30.0), (8.0, 28.0, 30.0)] },
                Layer::Level { y: 30.0, stroke: Stroke::Dashed, words: "most".into() },
                Layer::Level { y: 29.99, stroke: Stroke::Thin, words: "near".into() },
                Layer::Line {
                    through: at.clone(),
                    stroke: Stroke::Thin,
                    tone: Tone::Soft,
                    words: "in turn".into(),
                },
                points(Mark::Disc, "good"),
                points(Mark::Down, "short"),
                points(Mark::Up, "over"),
                points(Mark::Cross, "void"),
                points(Mark::Square, ""),
                points(Mark::Ring, ""),
                points(Mark::Dot, ""),
                Layer::Upright { x: 4.0, stroke: Stroke::Dashed, words: "refilled".into() },
                Layer::Bars { bars: vec![(1.0, 2.0, 29.0)] },
            ],
        }
    }

    #[test]
    fn every_palette_and_size_draws_all_marks_lines_and_words() {
        for (palette, size) in Palette::ALL.into_iter().flat_map(|p| Size::ALL.map(|s| (p, s))) {
            let text = svg(&plot(), size, palette);
            let has = |tag: &str| text.matches(tag).count();
            assert_eq!(has("<svg"), 1);
            assert!(
                has("<circle") >= 24 && has("<polygon") >= 17 && has("<rect") >= 9 && has("<polyline") >= 3
            );
            for words in ["piece", "g &lt;net&gt; &amp; more", "most", "near", "good", "refilled", "30"] {
                assert!(text.contains(words), "{words} in {text}");
            }
            assert!(!text.contains("NaN") && !text.contains("inf"));
        }
    }

    #[test]
    fn what_is_not_finite_is_left_out_and_what_lies_outside_stays_in_the_frame() {
        let odd = vec![(1.0, f64::NAN), (f64::INFINITY, 29.0), (2.0, 29.0)];
        let plot = Plot {
            x: Axis::around("piece", [1.0, 2.0]),
            y: Axis::around("g", [28.0, 30.0]),
            layers: vec![
                Layer::Points { at: odd.clone(), mark: Mark::Disc, tone: Tone::Main, words: String::new() },
                Layer::Line { through: odd, stroke: Stroke::Thin, tone: Tone::Main, words: String::new() },
                Layer::Level { y: f64::NAN, stroke: Stroke::Thin, words: "nowhere".into() },
                Layer::Level { y: 99.0, stroke: Stroke::Thin, words: "outside".into() },
                Layer::Bars { bars: vec![(1.0, 2.0, f64::NAN), (1.0, 2.0, 0.0)] },
            ],
        };
        let text = svg(&plot, Size::Wide, Palette::Light);
        assert_eq!(text.matches("<circle").count(), 1);
        assert!(!text.contains("nowhere") && !text.contains("outside") && !text.contains("NaN"));
    }

    #[test]
    fn words_of_levels_that_lie_close_are_moved_apart() {
        let text = svg(&plot(), Size::Wide, Palette::Light);
        let y = |words: &str| -> i32 {
            let before = &text[..text.find(&format!("\n{words}\n")).unwrap()];
            before[before.rfind(" y=\"").unwrap() + 4..].split('"').next().unwrap().parse().unwrap()
        };
        assert!((y("near") - y("most")).abs() >= TEXT as i32, "{} and {}", y("near"), y("most"));
    }
}
