//! The plot: how far fills of the mug scatter, for each scale, hand and caller. Marks differ in shape as well as in
//! colour; white ground, so that it can be read on a dark page too.

use super::cell::{HANDS, SCALES};
use super::grid::{Cell, MUG, Row};
use super::run::Caller;
use super::table::row_of;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};
use std::path::Path;

const SIZE: (u32, u32) = (960, 520);
/// From and to, g: below any hand, above any plain tone on a late scale.
const RANGE_G: (f64, f64) = (0.15, 20.0);
/// Lines across, g.
const LINES_G: [f64; 7] = [0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0];
const INK: RGBColor = RGBColor(40, 40, 40);
const FAINT: RGBColor = RGBColor(205, 205, 205);
/// Four of the colours of Okabe and Ito's set, chosen for eyes that tell few colours (from memory).
const COLOURS: [RGBColor; 4] =
    [RGBColor(0, 0, 0), RGBColor(213, 94, 0), RGBColor(0, 114, 178), RGBColor(0, 158, 115)];

type Paper<'a> = DrawingArea<SVGBackend<'a>, plotters::coord::Shift>;

fn colour(caller: Caller) -> RGBColor {
    let place = Caller::ALL.iter().position(|c| *c == caller).unwrap_or_default();
    COLOURS.get(place).copied().unwrap_or(INK)
}

/// A caller's own mark: a cross, a triangle, a full disc, an open ring (one told everything is in tables only).
fn mark(root: &Paper<'_>, caller: Caller, at: (i32, i32)) -> anyhow::Result<()> {
    let colour = colour(caller);
    match caller {
        Caller::Plain => root.draw(&Cross::new(at, 5, colour.stroke_width(2)))?,
        Caller::Grams => root.draw(&TriangleMarker::new(at, 7, colour.filled()))?,
        Caller::Engine => root.draw(&Circle::new(at, 6, colour.filled()))?,
        Caller::Oracle | Caller::Told | Caller::Cloud => {
            root.draw(&Circle::new(at, 5, colour.stroke_width(2)))?
        }
    }
    Ok(())
}

fn text(size: u32, anchor: Pos) -> TextStyle<'static> {
    TextStyle::from(("sans-serif", size).into_font()).color(&INK).pos(anchor)
}

/// The plot as SVG.
pub(crate) fn draw(rows: &[Row], path: &Path) -> anyhow::Result<()> {
    let root = SVGBackend::new(path, SIZE).into_drawing_area();
    root.fill(&WHITE)?;
    let last = (SCALES.len() * HANDS.len()) as f64;
    let mut chart = ChartBuilder::on(&root)
        .margin_left(56)
        .margin_right(16)
        .margin_top(64)
        .margin_bottom(64)
        .build_cartesian_2d(-0.5..last - 0.5, (RANGE_G.0..RANGE_G.1).log_scale())?;
    let across = LINES_G.map(|g| PathElement::new([(-0.5, g), (last - 0.5, g)], FAINT));
    chart.draw_series(across)?;
    let bounds = (0..=SCALES.len()).map(|i| (i * HANDS.len()) as f64 - 0.5);
    chart.draw_series(bounds.map(|x| PathElement::new([(x, RANGE_G.0), (x, RANGE_G.1)], INK)))?;
    for caller in Caller::ALL {
        for (x, cell) in places() {
            let Some(row) = row_of(rows, cell, caller) else { continue };
            let at = (x, row.figures.rms_g.clamp(RANGE_G.0, RANGE_G.1));
            mark(&root, caller, chart.backend_coord(&at))?;
        }
    }
    let foot = chart.backend_coord(&(0.0, RANGE_G.0)).1;
    for g in LINES_G {
        let (x, y) = chart.backend_coord(&(-0.5, g));
        root.draw(&Text::new(format!("{g}"), (x - 6, y), text(14, Pos::new(HPos::Right, VPos::Center))))?;
    }
    let below = Pos::new(HPos::Center, VPos::Top);
    for (x, cell) in places() {
        let at = (chart.backend_coord(&(x, 1.0)).0, foot + 6);
        root.draw(&Text::new(cell.hand, at, text(13, below)))?;
    }
    for (i, scale) in SCALES.iter().enumerate() {
        let middle = (i * HANDS.len()) as f64 + 0.5 * (HANDS.len() - 1) as f64;
        let at = (chart.backend_coord(&(middle, 1.0)).0, foot + 30);
        root.draw(&Text::new(format!("{scale} scale"), at, text(16, below)))?;
    }
    head(&root)?;
    root.present()?;
    Ok(())
}

/// Where each scale and hand stands.
fn places() -> Vec<(f64, Cell)> {
    let cells = super::grid::at(MUG.0, MUG.1);
    cells.into_iter().enumerate().map(|(i, cell)| (i as f64, cell)).collect()
}

/// The title and what each mark means.
fn head(root: &Paper<'_>) -> anyhow::Result<()> {
    let title = format!("How far {:.0} g fills at {} g/s are off, RMS, g (simulated)", MUG.0, MUG.1);
    root.draw(&Text::new(title, (56, 10), text(18, Pos::new(HPos::Left, VPos::Top))))?;
    let beside = Pos::new(HPos::Left, VPos::Center);
    for (i, caller) in Caller::ALL.into_iter().enumerate() {
        let x = 64 + 150 * i as i32;
        mark(root, caller, (x, 48))?;
        root.draw(&Text::new(caller.word(), (x + 12, 48), text(15, beside)))?;
    }
    Ok(())
}
