//! The part `[pour]`: how pieces are told and poured, and what is said between two of them.

use super::SettingsError;
use super::fault::Source;
use crate::pour::PourSettings;
use crate::pour::finish::Finish;
use crate::pour::guidance::Guidance;
use crate::pour::vessel::Vessel;
use crate::time::Duration;
use crate::units::Mass;
use serde::Deserialize;
use toml::Spanned;

/// When something is to be said between two pieces; none: never.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Reminding {
    /// The bucket wants a stir after so many pieces,
    pub stir_every_pieces: Option<u32>,
    /// or after so long.
    pub stir_every: Option<Duration>,
    /// The bucket is to be measured again after so long.
    pub measure_after: Option<Duration>,
}

impl Default for Reminding {
    fn default() -> Self {
        // Slop settles within a quarter of an hour, and water goes with every piece of bisque and into the
        // air: half a working day (common practice, no source).
        Self {
            stir_every_pieces: Some(8),
            stir_every: Some(MINUTE * 15),
            measure_after: Some(MINUTE * 60 * 4),
        }
    }
}

const MINUTE: Duration = Duration::from_secs(60);

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PourText {
    min_piece_g: Option<Spanned<f64>>,
    approach_ms: Option<Spanned<u64>>,
    guidance: Option<Spanned<String>>,
    vessel: Option<Spanned<String>>,
    finish: Option<Spanned<String>>,
    contact_s: Option<Spanned<u64>>,
    stir_every_pieces: Option<Spanned<u32>>,
    stir_every_min: Option<Spanned<u32>>,
    measure_after_h: Option<Spanned<u32>>,
}

pub(super) fn pour(source: &Source<'_>, t: &PourText) -> Result<PourSettings, SettingsError> {
    let d = PourSettings::default();
    let min_g =
        source.number("pour.min_piece_g", t.min_piece_g.as_ref(), d.min_piece.g(), 1.0..=5000.0, "g")?;
    let approach_ms = d.approach.as_millis() as u64;
    let approach =
        source.number("pour.approach_ms", t.approach_ms.as_ref(), approach_ms, 400..=5000, "ms")?;
    let vessel = match &t.vessel {
        None => d.vessel,
        Some(word) => Vessel::from_word(word.get_ref()).ok_or_else(|| {
            let words = Vessel::ALL.map(|v| format!("\"{}\"", v.word())).join(", ");
            source.wrong("pour.vessel", word, format!("expected one of {words}"))
        })?,
    };
    let finish = match &t.finish {
        None => d.finish,
        Some(word) => Finish::from_word(word.get_ref()).ok_or_else(|| {
            let words = Finish::ALL.map(|f| format!("\"{}\"", f.word())).join(", ");
            source.wrong("pour.finish", word, format!("expected one of {words}"))
        })?,
    };
    let guidance = match &t.guidance {
        None => d.guidance,
        Some(word) => Guidance::from_word(word.get_ref()).ok_or_else(|| {
            let words = Guidance::ALL.map(|g| format!("\"{}\"", g.word())).join(", ");
            source.wrong("pour.guidance", word, format!("expected one of {words}"))
        })?,
    };
    let contact_s = d.contact_limit.as_millis() as u64 / 1000;
    let contact_s = source.number("pour.contact_s", t.contact_s.as_ref(), contact_s, 2..=600, "s")?;
    Ok(PourSettings {
        min_piece: Mass::saturating(min_g),
        approach: Duration::from_millis(approach),
        guidance,
        vessel,
        finish,
        contact_limit: Duration::from_secs(contact_s),
    })
}

pub(super) fn reminding(source: &Source<'_>, t: &PourText) -> Result<Reminding, SettingsError> {
    let off = "; 0: never";
    let pieces = source.number(
        "pour.stir_every_pieces",
        t.stir_every_pieces.as_ref(),
        8,
        0..=1000,
        &format!("pieces{off}"),
    )?;
    let minutes = source.number(
        "pour.stir_every_min",
        t.stir_every_min.as_ref(),
        15,
        0..=1440,
        &format!("minutes{off}"),
    )?;
    let hours = source.number(
        "pour.measure_after_h",
        t.measure_after_h.as_ref(),
        4,
        0..=720,
        &format!("hours{off}"),
    )?;
    let span = |n: u32, of: Duration| (n > 0).then(|| of * n);
    Ok(Reminding {
        stir_every_pieces: (pieces > 0).then_some(pieces),
        stir_every: span(minutes, MINUTE),
        measure_after: span(hours, MINUTE * 60),
    })
}

/// No default: a wrong one would warn of pieces that fit, or of none.
pub(super) fn capacity(
    source: &Source<'_>,
    told: Option<&Spanned<f64>>,
    min_piece: Mass,
) -> Result<Option<Mass>, SettingsError> {
    let Some(told) = told else { return Ok(None) };
    let most = source.number("scale.capacity_g", Some(told), 0.0, 10.0..=500_000.0, "g")?;
    if most <= min_piece.g() {
        let least = min_piece.g();
        let why = format!(
            "{most} is not above [pour] min_piece_g, {least}: no piece could be weighed; set one of them anew"
        );
        return Err(source.wrong("scale.capacity_g", told, why));
    }
    Ok(Some(Mass::saturating(most)))
}
