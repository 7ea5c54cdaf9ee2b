//! The snapshot as people read it: what was played, where a promise does not hold, and a row for each cell.

use super::cell::{HANDS, SCALES};
use super::grid::{Cell, MUG, Row};
use super::run::Caller;
use std::fmt::Write;

/// After the pours for learning the mean should be within this of the target, g (a pass mark of our own).
pub(crate) const MEAN_WITHIN_G: f64 = 0.3;

/// A row that some caller has in a cell.
pub(crate) fn row_of(rows: &[Row], cell: Cell, caller: Caller) -> Option<&Row> {
    rows.iter().find(|r| r.cell == cell && r.caller == caller)
}

fn own(rows: &[Row]) -> impl Iterator<Item = &Row> {
    rows.iter().filter(|r| r.caller == Caller::Engine)
}

fn name(cell: &Cell) -> String {
    format!("{}/{}, {:.0} g at {:.2} g/s", cell.scale, cell.hand, cell.target_g, cell.flow_g_s)
}

/// Where it is worse than fixed grams, and where the mean is off: a line each.
pub(crate) fn broken(rows: &[Row]) -> String {
    let mut out = String::new();
    let worse = own(rows).filter_map(|r| {
        let grams = row_of(rows, r.cell, Caller::Grams)?.figures;
        (r.figures.rms_g > grams.rms_g)
            .then(|| format!("{} ({:.2} against {:.2} g)", name(&r.cell), r.figures.rms_g, grams.rms_g))
    });
    let off = own(rows).filter(|r| r.figures.mean_g.abs() > MEAN_WITHIN_G);
    let off = off.map(|r| format!("{} ({:+.2} g)", name(&r.cell), r.figures.mean_g));
    let stuck = rows.iter().filter(|r| r.stuck > 0);
    let stuck = stuck.map(|r| format!("{}, {} ({})", name(&r.cell), r.caller.word(), r.stuck));
    let mut list = |head: &str, of: &mut dyn Iterator<Item = String>| {
        let of: Vec<String> = of.collect();
        let all = own(rows).count();
        let _ = writeln!(out, "{head}: {} of {all} cells{}", of.len(), if of.is_empty() { "." } else { ":" });
        for one in of {
            let _ = writeln!(out, "- {one}");
        }
        let _ = writeln!(out);
    };
    list("Scatters more (RMS) than fixed grams", &mut worse.into_iter());
    list(&format!("Mean further than {MEAN_WITHIN_G} g from the target"), &mut off.into_iter());
    list("Sessions that got stuck and are left out", &mut stuck.into_iter());
    out
}

const HEAD: &str = "| scale | hand | sessions | mean | SD | RMS | P95 | in 5 % | in 9 % | on the ware | told | R 61: in X(1) | class of 60: middle, worst | plain tone | fixed grams | knows all |\n| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |\n";

fn percent(share: f64) -> String {
    format!("{:.1} %", 100.0 * share)
}

fn line(rows: &[Row], row: &Row) -> String {
    let f = row.figures;
    let other = |caller| {
        row_of(rows, row.cell, caller)
            .map_or("-".into(), |r| format!("{:+.2}, {:.2}", r.figures.mean_g, r.figures.rms_g))
    };
    format!(
        "| {} | {} | {} | {:+.2} | {:.2} | {:.2} | {:.2} | {} | {} | {:.1} s | {} | {} | {}, {} | {} | {} | {} |\n",
        row.cell.scale,
        row.cell.hand,
        f.sessions,
        f.mean_g,
        f.sd_g,
        f.rms_g,
        f.p95_g,
        percent(f.within.0),
        percent(f.within.1),
        f.contact_s,
        percent(f.told),
        percent(f.in_class_1),
        f.class.0,
        f.class.1,
        other(Caller::Plain),
        other(Caller::Grams),
        other(Caller::Oracle),
    )
}

/// The cells of one target and flow.
pub(crate) fn block(rows: &[Row], target_g: f64, flow_g_s: f64) -> String {
    let mut out = format!("### {target_g:.0} g at {flow_g_s:.2} g/s\n\n{HEAD}");
    for cell in
        SCALES.into_iter().flat_map(|scale| HANDS.map(|hand| Cell { scale, hand, target_g, flow_g_s }))
    {
        if let Some(row) = row_of(rows, cell, Caller::Engine) {
            out += &line(rows, row);
        }
    }
    out + "\n"
}

/// The whole of the grid as text.
pub(crate) fn grid(rows: &[Row]) -> String {
    let mut out = broken(rows);
    let mut seen: Vec<(f64, f64)> = vec![MUG];
    for row in rows {
        let at = (row.cell.target_g, row.cell.flow_g_s);
        if !seen.contains(&at) {
            seen.push(at);
        }
    }
    for (target_g, flow_g_s) in seen {
        out += &block(rows, target_g, flow_g_s);
    }
    out
}
