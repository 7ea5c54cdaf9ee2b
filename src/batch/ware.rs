//! The wall under the coat: how much water it can still take up.
//!
//! Never knows how fast ware dries: minutes are a note, grams are reckoned with.

use super::bounds::{Notes, Refused, within};
use super::request::{WareRequest, WareState};
use super::slurry::Slurry;
use crate::units::Mass;

/// Water taken up by bisque, percent of its dry weight, that draws no remark: stoneware bisqued to cones
/// 06 to 04 is mostly at 8 to 15. Common practice, no source.
const USUAL_PERCENT: (f64, f64) = (3.0, 25.0);
/// A coat that brings more than this share of what the wall can hold dries slowly. Own estimate.
const NEARLY_SOAKED: f64 = 0.7;

/// The wall of a piece as it is glazed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wall {
    /// What it is like.
    pub state: WareState,
    /// Water taken up by the dry wall until it is soaked, percent of its dry weight; 0 for fired ware.
    pub absorption_percent: Option<f64>,
    /// Water it can still take up.
    pub takes_up: Option<Mass>,
    /// Water that the coat brings.
    pub water_in_coat: Option<Mass>,
}

/// Water taken up, percent of the dry weight: 100 (M - D) / D, M soaked and wiped, D dry (ASTM C373-18;
/// ISO 10545-3:2018 calls them m2 and m1; both from memory). Soaking at home fills less of the pores than
/// their boiling or vacuum does.
pub fn absorption_percent(dry: Mass, soaked: Mass) -> f64 {
    100.0 * (soaked.g() - dry.g()) / dry.g()
}

/// What the ware does with the coat's water.
pub(super) fn wall(
    ware: &WareRequest,
    slurry: Option<&Slurry>,
    coat_water: Option<Mass>,
    notes: &mut Notes,
) -> Result<Wall, Refused> {
    if ware.state == WareState::Fired {
        fired(ware, notes);
        return Ok(Wall {
            state: ware.state,
            absorption_percent: Some(0.0),
            takes_up: Some(Mass::ZERO),
            water_in_coat: None,
        });
    }
    let percent = absorption(ware, notes)?;
    let taken = taken(ware, slurry, notes)?;
    let takes_up = percent.map(|percent| room(ware, percent, taken, notes)).transpose()?;
    match (takes_up, coat_water) {
        (Some(room), Some(water)) => compare(room, water, notes),
        (Some(_), None) => notes.warnings.push(
            "How much water the coat brings is not known without the bucket: it was not compared with the wall"
                .to_owned(),
        ),
        (None, _) => untold(ware, notes),
    }
    Ok(Wall { state: ware.state, absorption_percent: percent, takes_up, water_in_coat: coat_water })
}

fn fired(ware: &WareRequest, notes: &mut Notes) {
    notes.warnings.push(
        "Fired ware takes up no water, so what is poured in is not the coat: most of it runs out again. Pour in, pour out, \
         and weigh what stayed; keep what came of it apart from what came of bisque"
            .to_owned(),
    );
    if ware.dry_g.or(ware.soaked_g).or(ware.absorption_percent).is_some() {
        notes
            .warnings
            .push("The absorption told was left aside: fired ware is taken to have none".to_owned());
    }
}

fn absorption(ware: &WareRequest, notes: &mut Notes) -> Result<Option<f64>, Refused> {
    let percent = match (ware.dry_g, ware.soaked_g, ware.absorption_percent) {
        (Some(dry), Some(soaked), None) => {
            let dry = within("ware.dry_g", dry, 1.0, 1e5, "g")?;
            let soaked = within("ware.soaked_g", soaked, 1.0, 1e5, "g")?;
            if soaked < dry {
                let reason =
                    format!("{soaked} g soaked is less than {dry} g dry; were the two weights swapped?");
                return Err(Refused::new("ware.soaked_g", reason));
            }
            let percent = absorption_percent(Mass::saturating(dry), Mass::saturating(soaked));
            let working = format!("100 x ({soaked} g soaked - {dry} g dry) / {dry} g");
            notes.step("Water the wall takes up", working, format!("{percent:.2} % of its dry weight"));
            percent
        }
        (_, None, Some(percent)) => within("ware.absorption_percent", percent, 0.0, 100.0, "%")?,
        (_, None, None) => return Ok(None),
        (None, Some(_), _) => {
            return Err(Refused::new("ware.dry_g", "missing beside soaked_g: the same piece, dry"));
        }
        (Some(_), Some(_), Some(_)) => {
            let reason = "told beside dry_g and soaked_g, which give it; leave it out";
            return Err(Refused::new("ware.absorption_percent", reason));
        }
    };
    let (low, high) = USUAL_PERCENT;
    let try_this = "dried through, soaked until it weighs no more, and wiped?";
    notes.warn_outside("Water taken up in percent", percent, low, high, try_this);
    Ok(Some(percent))
}

/// Water that is in the wall already, g.
fn taken(ware: &WareRequest, slurry: Option<&Slurry>, notes: &mut Notes) -> Result<f64, Refused> {
    let sponged = within("ware.sponged_g", ware.sponged_g.unwrap_or(0.0), 0.0, 1e4, "g")?;
    let Some(slop) = ware.outside_slop_g else { return Ok(sponged) };
    let slop = within("ware.outside_slop_g", slop, 0.0, 1e4, "g")?;
    let slurry = slurry.ok_or_else(|| {
        Refused::new("glaze", "missing; how much water the outside coat brought follows from the bucket")
    })?;
    let wet = 1.0 - slurry.solids_fraction();
    let water = slop * wet;
    let working =
        format!("{slop} g of slop x {wet:.6} water, if it is of the same bucket and none dried off");
    notes.step("Water from the outside coat", working, format!("{water:.2} g"));
    Ok(sponged + water)
}

/// Water the wall can still take up.
fn room(ware: &WareRequest, percent: f64, taken: f64, notes: &mut Notes) -> Result<Mass, Refused> {
    let piece = ware.piece_g.or(ware.dry_g).ok_or_else(|| {
        Refused::new(
            "ware.piece_g",
            "missing; how much a dry piece weighs tells how much water its wall holds",
        )
    })?;
    let piece = within("ware.piece_g", piece, 1.0, 1e5, "g")?;
    let room = Mass::saturating((piece * percent / 100.0 - taken).max(0.0));
    let working = format!("{piece} g x {percent:.4} % - {taken:.3} g in it already");
    notes.step("Water the wall can still take up", working, format!("{:.2} g", room.g()));
    Ok(room)
}

fn compare(room: Mass, water: Mass, notes: &mut Notes) {
    let (room, water) = (room.g(), water.g());
    if room > 0.0 {
        let working = format!("100 x {water:.3} g / {room:.3} g that the wall can take up");
        notes.step("Water the coat brings", working, format!("{:.0} % of it", 100.0 * water / room));
    }
    if water > room {
        notes.warnings.push(format!(
            "Soaked wall: it can take up {room:.1} g of water and this coat brings {water:.1} g, so the coat stays wet, \
             runs to the floor and may crack or fall off. Let the ware dry first; if it was glazed outside, wait longer \
             before the inside"
        ));
    } else if water > NEARLY_SOAKED * room {
        notes.warnings.push(format!(
            "Nearly soaked: of {room:.1} g of water that the wall can take up this coat brings {water:.1} g; it will dry \
             slowly"
        ));
    }
}

/// Ware that is wet to an extent nobody measured.
fn untold(ware: &WareRequest, notes: &mut Notes) {
    let wet = match ware.state {
        WareState::Sponged => "sponging or rinsing",
        WareState::Outside => "the outside coat",
        WareState::Dry | WareState::Fired => return,
    };
    notes.warnings.push(format!(
        "The wall holds water from {wet}; whether it can take up the coat's is not known: weigh a piece dry and soaked, \
         or let the ware dry"
    ));
}
