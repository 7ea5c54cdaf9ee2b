//! A batch's review as HTML made for paper: printed, or kept as PDF, by the browser.
//!
//! No script; plots are images of their own, in black and greys.

use super::ask::{Answer, Ask, desk};
use super::problem::Refusals;
use super::review::given;
use super::take::Id;
use super::view::BatchReviewView;
use super::words::told;
use crate::record::{BatchRecord, PourRecord, Verdict};
use crate::review::Review;
use crate::review::outcome::{Look, Why};
use crate::review::plots::Picture;
use crate::units::shown::Shown;
use crate::units::{Mass, plain_figure};
use axum::extract::State;
use axum::response::Html;

/// A cup in section, as on the page: its wall, and what is in it.
const WALL: &str = "M4 3 L6 25 Q6 28 9 28 L19 28 Q22 28 22 25 L24 3";
const FULL: &str = "M5.5 6 L7.3 25 Q7.5 26.5 9 26.5 L19 26.5 Q20.5 26.5 20.7 25 L22.5 6 Z";
const HALF: &str = "M6.6 18 L7.3 25 Q7.5 26.5 9 26.5 L19 26.5 Q20.5 26.5 20.7 25 L21.4 18 Z";
const HEAP: &str = "M4 4.5 Q14 -9 24 4.5 Z M29 9 q4 7 0 9 q-4 -2 0 -9 Z";
const STRIKE: &str = "M2 30 L27 0";

/// Text as it may stand in HTML.
fn plain(text: &str) -> String {
    text.chars().fold(String::new(), |mut safe, c| {
        match c {
            '&' => safe += "&amp;",
            '<' => safe += "&lt;",
            '>' => safe += "&gt;",
            '"' => safe += "&quot;",
            '\'' => safe += "&#39;",
            other => safe.push(other),
        }
        safe
    })
}

fn cup(verdict: Verdict) -> String {
    let inside = match verdict {
        Verdict::Good => format!("<path d=\"{FULL}\"/>"),
        Verdict::Short => format!("<path d=\"{HALF}\"/>"),
        Verdict::Over => format!("<path d=\"{FULL}\"/><path d=\"{HEAP}\"/>"),
        Verdict::Void => format!("<path class=\"line\" d=\"{STRIKE}\"/>"),
    };
    format!(
        "<svg viewBox=\"0 -4 36 36\" aria-hidden=\"true\"><path class=\"line\" d=\"{WALL}\"/>{inside}</svg>"
    )
}

/// What is to be looked at of this piece. A number may stand twice in what was brought in: only the piece that is meant.
fn meant(review: &Review, piece: u32, net_g: Option<f64>) -> Option<&Look> {
    let same = |l: &&Look| l.piece == piece && net_g.is_some_and(|net_g| (net_g - l.net_g).abs() < 1e-9);
    review.look.iter().find(same)
}

fn piece(shown: Shown, pour: &PourRecord, review: &Review) -> String {
    let look = meant(review, pour.piece, pour.net.map(Mass::g)).filter(|_| pour.verdict != Verdict::Void);
    let why = look.map_or(String::new(), |look| {
        let word = match look.why {
            Why::Thin => "thin",
            Why::Thick => "thick",
            Why::Odd => "odd",
        };
        format!("<br><b>{}</b>", plain(&told(&format!("/report/{word}"))))
    });
    let sign = shown.weight.word();
    let net = pour.net.map_or("-".to_owned(), |net| format!("{} {sign}", shown.grams(net.g(), 1)));
    let label = pour
        .label
        .as_deref()
        .filter(|l| !l.is_empty())
        .map_or(String::new(), |l| format!("<br>{}", plain(l)));
    let class = if look.is_some() { " class=\"look\"" } else { "" };
    format!("<li{class}>{}<b>{}</b> {net}{why}{label}</li>", cup(pour.verdict), pour.piece)
}

fn rows(shown: Shown, review: &Review) -> Vec<(String, String)> {
    let sign = shown.weight.word();
    let grams = |value: Option<f64>, digits: usize| {
        value.map_or("-".to_owned(), |g| format!("{} {sign}", shown.grams(g, digits)))
    };
    let number =
        |value: Option<f64>, digits: usize| value.map_or("-".to_owned(), |v| plain_figure(v, digits));
    let two = |value| number(value, 2);
    let range = |low: Option<f64>, high: Option<f64>| {
        low.zip(high).map_or(String::new(), |(low, high)| format!(" (95 %: {low:.2} to {high:.2})"))
    };
    let percent = |share: Option<f64>| number(share.map(|share| 100.0 * share), 0);
    let bias = review.bias_low95_g.zip(review.bias_high95_g);
    let told_range = |(low, high)| format!(" (95 %: {} to {})", shown.grams(low, 2), shown.grams(high, 2));
    let (c, d) = (review.capability, review.drift);
    let word = |key: &str| told(&format!("/review/numbers/{key}"));
    vec![
        (
            told("/report/target"),
            format!(
                "{}, {} to {}",
                grams(Some(review.target_g), 2),
                shown.grams(review.low_g, 2),
                grams(Some(review.high_g), 2)
            ),
        ),
        (word("n"), format!("{} ({} void)", review.n, review.void)),
        (word("mean"), grams(review.mean_g, 2)),
        (word("spread"), format!("{}, {} %", grams(review.sd_g, 2), number(review.cv_percent, 1))),
        (word("bias"), format!("{}{}", grams(review.bias_g, 2), bias.map_or(String::new(), told_range))),
        (
            word("within"),
            format!(
                "{} %, {} % by mean and spread",
                percent(review.share_within),
                percent(review.share_estimated)
            ),
        ),
        (
            word("hand"),
            format!("{} (scale {})", grams(review.spread.hand_g, 2), grams(review.spread.scale_g, 2)),
        ),
        ("Cp, Cpk".to_owned(), format!("{}, {}{}", two(c.cp), two(c.cpk), range(c.cpk_low95, c.cpk_high95))),
        ("Pp, Ppk".to_owned(), format!("{}, {}{}", two(c.pp), two(c.ppk), range(c.ppk_low95, c.ppk_high95))),
        (word("drift"), format!("{} (p = {})", grams(d.slope_g_per_piece, 3), number(d.p_value, 3))),
    ]
}

fn html(shown: Shown, batch: &BatchRecord, pours: &[PourRecord], view: &BatchReviewView) -> String {
    let (review, day) = (&view.review, batch.created_at.rfc3339().chars().take(10).collect::<String>());
    let glaze = batch.glaze_name.as_deref().map_or(String::new(), |glaze| format!(", {}", plain(glaze)));
    let board: String = pours.iter().filter(|p| p.rev > 0).map(|pour| piece(shown, pour, review)).collect();
    let plot = |p: &super::view::PlotView| {
        // Two stand side by side below the first: their text is then as large.
        let size = if p.plot == Picture::Run.word() { "wide" } else { "narrow" };
        let src = format!("/api/batches/{}/plots/{}?palette=print&amp;size={size}", plain(&batch.id), p.plot);
        format!(
            "<figure><figcaption><b>{}</b> {}</figcaption><img src=\"{src}\" alt=\"{}\"></figure>",
            p.title, p.says, p.title
        )
    };
    let plots: String = view.plots.iter().map(plot).collect();
    let signals = review.individuals.signals.iter().filter(|_| !review.coarse);
    let signals = signals.map(|s| format!("Piece {}: {}.", s.piece, s.says));
    let notes = signals.chain(review.warnings.iter().map(|w| format!("{w}.")));
    let notes: String = notes.map(|note| format!("<li>{}</li>", plain(&shown.retold(&note)))).collect();
    let row = |(what, value): (String, String)| {
        format!("<tr><th>{}</th><td>{}</td></tr>", plain(&what), plain(&value))
    };
    let numbers: String = rows(shown, review).into_iter().map(row).collect();
    format!(
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>{name}, {day}</title><link rel=\"icon\" href=\"data:,\"><link rel=\"stylesheet\" href=\"/assets/report.css\">\
         <h1>{name}</h1><p>{day}{glaze}</p><p class=\"glance\">{sentence}</p><ul class=\"board\">{board}</ul>\
         <ul class=\"notes\">{notes}</ul><table>{numbers}</table><section>{plots}</section><footer>{foot}</footer></html>",
        name = plain(&batch.name),
        sentence = plain(&review.sentence),
        foot = plain(&told("/review/bucket")),
    )
}

/// A batch's review for paper.
#[utoipa::path(get, path = "/report/{id}", params(("id" = String, Path, description = "Id of the batch")), responses(
    (status = 200, body = String, content_type = "text/html"), Refusals
))]
pub(super) async fn report(State(page): Ask, Id(id): Id) -> Answer<Html<String>> {
    let of = id.clone();
    let (pours, rules) = desk(&page, move |desk| Ok((desk.pours(&of)?, desk.run_rules()?))).await?;
    let (batch, given) = given(&page, id, rules).await?;
    Ok(Html(html(page.shown, &batch, &pours, &BatchReviewView::new(&batch, &given, page.shown))))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::Aim;
    use crate::review::control_chart::Rules;
    use crate::review::outcome::Piece;
    use crate::review::{Given, review};

    #[test]
    fn of_two_pieces_with_one_number_only_the_thin_one_is_marked() {
        let g = Mass::saturating;
        let aim = Aim { target: g(29.0), low: g(28.0), high: g(30.0) };
        let pieces = vec![Piece::of(7, g(29.1), aim), Piece::of(7, g(25.0), aim)];
        let reviewed =
            review(&Given { pieces, void: 0, aim, rules: Rules::default(), set_back: None, fired: false });
        assert!(meant(&reviewed, 7, Some(25.0)).is_some() && meant(&reviewed, 7, Some(29.1)).is_none());
        assert!(meant(&reviewed, 8, Some(25.0)).is_none() && meant(&reviewed, 7, None).is_none());
    }

    #[test]
    fn a_name_is_text_and_never_markup() {
        assert_eq!(plain("<b>'Cups' & \"bowls\""), "&lt;b&gt;&#39;Cups&#39; &amp; &quot;bowls&quot;");
    }
}
