//! From what is wished to the row of steps.

use super::step::{Ask, Load, Place, Step};
use crate::batch::Refused;
use crate::calibration::masses::OwnMass;
use crate::time::Duration;

/// How long a load is left lying for creep (own choice: a long pour and more; OIML R 76 waits for 30 minutes).
const CREEP: Duration = Duration::from_secs(300);
/// Between two rounds of the warm-up (own choice).
const WARM_UP: Duration = Duration::from_secs(60);
/// A daily check takes so long (own choice).
const CHECK: Duration = Duration::from_secs(10);
/// A piece, or anything of such a weight, g (own choice: from a cup to a large bowl).
const PIECE_G: (f64, f64) = (100.0, 1500.0);
/// The mass on top of it is set on so often.
const ON_TOP: usize = 3;
/// Separate placements of the short routine; ten are usual (EURAMET cg-18, from memory).
pub(super) const FEW: usize = 3;

/// What of the routine is wished; the series and a few placements always are.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Parts {
    /// Zero and span are watched until they are steady.
    pub warm_up: bool,
    /// Ten placements in place of three.
    pub many: bool,
    /// Off the centre.
    pub corners: bool,
    /// A small mass on top of a piece.
    pub on_piece: bool,
    /// A load left lying for five minutes.
    pub creep: bool,
    /// How late the scale shows.
    pub lag: bool,
}

impl Parts {
    /// All by their words.
    pub const WORDS: [&str; 6] = ["warm-up", "many", "corners", "on-piece", "creep", "lag"];
    /// The routine of two minutes.
    pub const SHORT: Self =
        Self { warm_up: false, many: false, corners: true, on_piece: false, creep: false, lag: false };
    /// All of it.
    pub const ALL: Self =
        Self { warm_up: true, many: true, corners: true, on_piece: true, creep: true, lag: true };

    /// With the part of this word; `None` for any other word.
    #[must_use]
    pub fn with(self, word: &str) -> Option<Self> {
        Some(match word {
            "warm-up" => Self { warm_up: true, ..self },
            "many" => Self { many: true, ..self },
            "corners" => Self { corners: true, ..self },
            "on-piece" => Self { on_piece: true, ..self },
            "creep" => Self { creep: true, ..self },
            "lag" => Self { lag: true, ..self },
            _ => return None,
        })
    }
}

/// What is wished of a routine.
#[derive(Clone, Debug, PartialEq)]
pub struct Wish {
    /// The masses at hand, the lightest first.
    pub masses: Vec<OwnMass>,
    /// What of it.
    pub parts: Parts,
    /// Step of the display, g.
    pub division_g: f64,
    /// The most that the scale carries, g, where told.
    pub capacity_g: Option<f64>,
    /// The pour that it is judged for, and how far that may be off, g; none: the usual one.
    pub pour_g: Option<(f64, f64)>,
    /// How far the scale drifts between calibrations, over the load, where that is known.
    pub drift_share: Option<f64>,
    /// What the latest pieces weighed bare, g, where there were some.
    pub piece_g: Option<f64>,
    /// Temperature of the room, degrees Celsius.
    pub room_c: Option<f64>,
    /// Who does it.
    pub operator: Option<String>,
}

/// What a group of steps is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Empty,
    WarmUp,
    Series,
    Repeat,
    Corners,
    OnPiece,
    Creep,
    Check,
}

/// Steps that begin and end with a bare pan.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Group {
    pub(super) kind: Kind,
    pub(super) steps: Vec<Step>,
}

fn step(ask: Ask, mass: Option<usize>, load: Load) -> Step {
    Step { ask, mass, load, lasts: None }
}

fn off(mass: usize) -> Step {
    step(Ask::Off, Some(mass), Load::Bare)
}

fn empty() -> Group {
    Group { kind: Kind::Empty, steps: vec![step(Ask::Empty, None, Load::Bare)] }
}

fn mass_g(wish: &Wish, mass: usize) -> f64 {
    wish.masses.get(mass).map_or(0.0, |m| m.reference.mass_g)
}

fn put(wish: &Wish, mass: usize) -> Step {
    step(Ask::Put, Some(mass), Load::About(mass_g(wish, mass)))
}

/// The masses are there, and the scale carries each.
fn usable(wish: &Wish) -> Result<usize, Refused> {
    let Some(heaviest) = wish.masses.len().checked_sub(1) else {
        return Err(Refused::new("masses", "give at least one mass"));
    };
    let least_g = 10.0 * wish.division_g;
    if let Some((n, light)) = wish.masses.iter().enumerate().find(|(_, m)| m.reference.mass_g < least_g) {
        let why = format!("{} is under ten steps of the display: take a heavier mass", light.name);
        return Err(Refused::new(format!("masses[{n}].nominal_g"), why));
    }
    match (wish.capacity_g, wish.masses.get(heaviest)) {
        (Some(most_g), Some(mass)) if mass.reference.mass_g > most_g => {
            let why =
                format!("{} is more than the {most_g} g that the scale carries: leave it out", mass.name);
            Err(Refused::new(format!("masses[{heaviest}].nominal_g"), why))
        }
        (_, _) => Ok(heaviest),
    }
}

/// The whole routine.
pub(super) fn calibration(wish: &Wish) -> Result<Vec<Group>, Refused> {
    let heaviest = usable(wish)?;
    let mut groups = vec![empty()];
    if wish.parts.warm_up {
        let wait = Step { lasts: Some(WARM_UP), ..step(Ask::Wait, Some(heaviest), Load::Bare) };
        groups.push(Group { kind: Kind::WarmUp, steps: vec![put(wish, heaviest), off(heaviest), wait] });
    }
    groups.push(series(wish));
    let times = if wish.parts.many { 10 } else { FEW };
    let once = Group { kind: Kind::Repeat, steps: vec![put(wish, heaviest), off(heaviest)] };
    groups.extend(std::iter::repeat_n(once, times));
    if wish.parts.corners {
        groups.push(corners(wish, heaviest));
    }
    if wish.parts.on_piece {
        groups.push(on_piece(wish));
    }
    if wish.parts.creep {
        let stay = Step { ask: Ask::Stay, lasts: Some(CREEP), ..put(wish, heaviest) };
        groups.push(Group { kind: Kind::Creep, steps: vec![put(wish, heaviest), stay, off(heaviest)] });
    }
    Ok(groups)
}

/// One mass, that nearest to what a piece with its slop weighs.
pub(super) fn check(wish: &Wish) -> Result<Vec<Group>, Refused> {
    let heaviest = usable(wish)?;
    let stay = Step { ask: Ask::Stay, lasts: Some(CHECK), ..put(wish, heaviest) };
    let steps = vec![put(wish, heaviest), stay, off(heaviest)];
    Ok(vec![empty(), Group { kind: Kind::Check, steps }])
}

/// Up by adding one after the other, as far as the scale carries them, and down again.
fn series(wish: &Wish) -> Group {
    let (mut steps, mut total_g, mut on) = (Vec::new(), 0.0, Vec::new());
    for mass in 0..wish.masses.len() {
        let more_g = total_g + mass_g(wish, mass);
        if wish.capacity_g.is_some_and(|most_g| more_g > most_g) {
            break;
        }
        let ask = if on.is_empty() { Ask::Put } else { Ask::Add };
        steps.push(step(ask, Some(mass), Load::About(more_g)));
        total_g = more_g;
        on.push(mass);
    }
    while let Some(mass) = on.pop() {
        total_g -= mass_g(wish, mass);
        steps.push(match on.last() {
            None => off(mass),
            Some(_) => step(Ask::TakeOff, Some(mass), Load::About(total_g)),
        });
    }
    Group { kind: Kind::Series, steps }
}

fn corners(wish: &Wish, mass: usize) -> Group {
    let moved = |place| step(Ask::Move(place), Some(mass), Load::About(mass_g(wish, mass)));
    let mut steps = vec![step(Ask::Put, Some(mass), Load::About(mass_g(wish, mass)))];
    // Lifted between two places, so that each is a placement of its own.
    for place in Place::CORNERS {
        steps.extend([off(mass), moved(place)]);
    }
    steps.push(off(mass));
    Group { kind: Kind::Corners, steps }
}

/// The mass nearest to the pour on top of a piece, several times.
fn on_piece(wish: &Wish) -> Group {
    let net_g = wish.pour_g.map_or(29.0, |(net_g, _)| net_g);
    let off_g = |m: &usize| (mass_g(wish, *m) - net_g).abs();
    let mass = (0..wish.masses.len()).min_by(|a, b| off_g(a).total_cmp(&off_g(b))).unwrap_or(0);
    let mut steps = vec![step(Ask::Piece, None, Load::Between(PIECE_G.0, PIECE_G.1))];
    for _ in 0..ON_TOP {
        steps.push(step(Ask::OnTop, Some(mass), Load::OnPiece(mass_g(wish, mass))));
        steps.push(step(Ask::TakeOff, Some(mass), Load::OnPiece(0.0)));
    }
    steps.push(off(mass));
    Group { kind: Kind::OnPiece, steps }
}
