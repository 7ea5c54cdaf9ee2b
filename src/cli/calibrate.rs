//! `calibrate` as it is typed: masses, parts of the routine, the pour it is judged for.

use super::PlaceArgs;
use super::target::grams;
use crate::calibration::masses::MassRequest;
use crate::guide::calibrate::Parts;
use clap::Args;

/// `calibrate`.
#[derive(Args, Debug)]
pub struct CalibrateArgs {
    /// Where settings and log are.
    #[command(flatten)]
    pub place: PlaceArgs,
    /// A mass at hand: grams, and its class or its limit of error, such as 50:M1 or 50:3mg; coins as 40x5 (forty of 5 g); or with its unit,
    /// such as "2 oz:5mg"
    ///
    /// Again for each mass; kept as your own. Left out: those that are kept.
    #[arg(long = "mass", value_name = "G:CLASS", value_parser = mass)]
    pub masses: Vec<MassRequest>,
    /// Also this part: many, on-piece, creep, warm-up or lag; corners are tried unless --only-series is given
    #[arg(long = "with", value_name = "PART", value_parser = Parts::WORDS)]
    pub with: Vec<String>,
    /// All parts: half an hour
    #[arg(long, conflicts_with_all = ["with", "only_series", "check"])]
    pub all: bool,
    /// Series and placements alone
    #[arg(long)]
    pub only_series: bool,
    /// The daily check: the heaviest mass, ten seconds
    #[arg(long, conflicts_with_all = ["with", "only_series"])]
    pub check: bool,
    /// Pour that the scale is judged for [default: 29]
    #[arg(long, value_name = "GRAMS", value_parser = grams)]
    pub net_g: Option<f64>,
    /// How far that may be off either way [default: 5 percent of it]
    #[arg(long, value_name = "GRAMS", value_parser = grams)]
    pub tolerance_g: Option<f64>,
    /// Temperature of the room, degrees Celsius
    #[arg(long, value_name = "C", allow_negative_numbers = true)]
    pub room_c: Option<f64>,
    /// Who does it, for the record
    #[arg(long, value_name = "NAME")]
    pub operator: Option<String>,
    /// Say the steps without a sound
    #[arg(long)]
    pub no_sound: bool,
    /// Print what came of it as JSON; the steps go to the error stream
    #[arg(long)]
    pub json: bool,
}

impl CalibrateArgs {
    /// What of the routine is wished.
    pub fn parts(&self) -> Parts {
        let first = match (self.all, self.only_series) {
            (true, _) => Parts::ALL,
            (false, true) => Parts::default(),
            (false, false) => Parts::SHORT,
        };
        // Other words were refused as they were typed.
        self.with.iter().fold(first, |parts, word| parts.with(word).unwrap_or(parts))
    }
}

/// What is told with its unit is called so.
fn called(told: &str) -> Option<String> {
    told.trim().ends_with(|c: char| c.is_alphabetic()).then(|| told.trim().to_owned())
}

/// `50:M1`, `50:3mg`, `2 oz:5mg`, `40x5`.
fn mass(text: &str) -> Result<MassRequest, String> {
    let number = |text: &str| {
        text.trim()
            .replace(',', ".")
            .parse::<f64>()
            .map_err(|_| format!("'{text}' is no number of milligrams"))
    };
    if let Some((coins, each)) = text.split_once(['x', '×']) {
        let coins: u32 = coins.trim().parse().map_err(|_| format!("'{coins}' is no number of coins"))?;
        return Ok(MassRequest {
            name: called(each).map(|each| format!("{coins} × {each}")),
            nominal_g: Some(grams(each)?),
            coins: Some(coins),
            ..MassRequest::default()
        });
    }
    let Some((worth, how)) = text.split_once(':') else {
        return Err(
            "how well is it known? Write its class or limit of error too, such as 50:M1 or 50:3mg".to_owned()
        );
    };
    let told = MassRequest { name: called(worth), nominal_g: Some(grams(worth)?), ..MassRequest::default() };
    Ok(match how.trim().strip_suffix("mg") {
        Some(mg) => MassRequest { mpe_mg: Some(number(mg)?), ..told },
        None => MassRequest { class: Some(how.trim().to_owned()), ..told },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn masses_are_typed_with_what_is_known_of_them() {
        let (m1, limit, coins) = (mass("50:M1").unwrap(), mass("100 : 30mg").unwrap(), mass("40x5").unwrap());
        assert_eq!((m1.nominal_g, m1.class.as_deref()), (Some(50.0), Some("M1")));
        assert_eq!((limit.nominal_g, limit.mpe_mg), (Some(100.0), Some(30.0)));
        assert_eq!((coins.nominal_g, coins.coins), (Some(5.0), Some(40)));
        let (ounces, coins) = (mass("2 oz:5mg").unwrap(), mass("40x0.2 oz").unwrap());
        assert_eq!((ounces.nominal_g, ounces.name.as_deref()), (Some(2.0 * 28.349_523_125), Some("2 oz")));
        assert_eq!(
            (coins.nominal_g, coins.name.as_deref()),
            (Some(0.2 * 28.349_523_125), Some("40 × 0.2 oz"))
        );
        let limit = &ounces;
        assert!(limit.mpe_mg == Some(5.0) && crate::calibration::masses::OwnMass::of(limit, "mass").is_ok());
        assert!(mass("2 pints:M1").unwrap_err().contains("no weight") && m1.name.is_none());
        assert!(
            mass("50").unwrap_err().contains("how well") && mass("a:M1").is_err() && mass("ax5").is_err()
        );
    }
}
