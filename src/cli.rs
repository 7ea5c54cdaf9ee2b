//! Argument types: what a person types after `tarebell`.
//!
//! Never opens anything; a `target` typed as flags becomes the same request the page sends.

use crate::batch::Refused;
use crate::batch::request::{CoatRequest, FormRequest, GlazeRequest, TargetRequest, ToleranceRequest};
use clap::{Args, Parser, Subcommand};
use std::net::SocketAddr;
use std::path::PathBuf;

/// Pours glaze by weight: reads a bench scale, tares by itself, calls the stop early enough, logs what each piece got.
#[derive(Debug, Parser)]
#[command(name = "tarebell", version, arg_required_else_help = true)]
pub struct Cli {
    /// What to do.
    #[command(subcommand)]
    pub command: Command,
}

/// What the program can do.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Run beside the bench: scale, sound, page, log
    Serve(ServeArgs),
    /// Run with a simulated scale and hand: no hardware needed, nothing kept
    Demo(DemoArgs),
    /// List the scales in reach
    Scales(ScalesArgs),
    /// Work out the grams for a piece, every step shown
    Target(Box<TargetArgs>),
    /// Run a recorded trace again and show what was cued, or play a scene
    ///
    /// A trace is what a pour's engine was given, in the log or as a file; a scene is an invented hand at a simulated
    /// table, in plain words, with the truth beside what is said.
    Replay(ReplayArgs),
    /// Check settings, scale, sound, disk and clock, and say what is missing
    ///
    /// Works beside a running daemon. Each line says ok, or -- and what to do. The loudspeaker is opened for
    /// half a second and plays nothing. Exit code 0: all in order, 1: something to do.
    Doctor(DoctorArgs),
}

/// Where settings and log are.
#[derive(Args, Debug)]
pub struct PlaceArgs {
    /// Settings file [default: tarebell.toml in the data folder]
    #[arg(long, value_name = "FILE")]
    pub config: Option<PathBuf>,
    /// Folder of log and settings
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
}

/// `serve`.
#[derive(Args, Debug)]
pub struct ServeArgs {
    /// Where settings and log are.
    #[command(flatten)]
    pub place: PlaceArgs,
    /// Address and port of the page
    #[arg(long, value_name = "ADDR:PORT")]
    pub listen: Option<SocketAddr>,
    /// Leave this computer's loudspeaker alone: cues go to the clients of the live stream only
    #[arg(long)]
    pub no_sound: bool,
}

/// `demo`.
#[derive(Args, Debug)]
pub struct DemoArgs {
    /// Pieces in the invented batch
    #[arg(long, value_name = "N", default_value_t = 6, value_parser = clap::value_parser!(u32).range(1..=10_000))]
    pub pieces: u32,
    /// Leave this computer's loudspeaker alone
    #[arg(long)]
    pub no_sound: bool,
    /// Play every cue once with its name, as the sound settings say, then each kind of trouble at a simulated table
    ///
    /// Without a loudspeaker, or with --no-sound, names and troubles are shown all the same, and that nothing is heard.
    #[arg(long, conflicts_with = "pieces")]
    pub tour: bool,
    /// Show the troubles of the tour on a page, as they happen: about three minutes
    #[arg(long, requires = "tour")]
    pub page: bool,
    /// Settings file of the tour [default: tarebell.toml in the data folder]
    #[arg(long, value_name = "FILE", requires = "tour")]
    pub config: Option<PathBuf>,
    /// Folder of the tour's settings
    #[arg(long, value_name = "DIR", requires = "tour")]
    pub data: Option<PathBuf>,
}

/// `scales`.
#[derive(Args, Debug)]
pub struct ScalesArgs {
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// `replay`.
#[derive(Args, Debug)]
pub struct ReplayArgs {
    /// A trace file, a scene (its name ends in .scene), or the id of a pour in the log
    pub trace: PathBuf,
    /// Folder of the log
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// `doctor`.
#[derive(Args, Debug)]
pub struct DoctorArgs {
    /// Where settings and log are.
    #[command(flatten)]
    pub place: PlaceArgs,
    /// Leave the loudspeaker alone, as with `serve --no-sound`
    #[arg(long)]
    pub no_sound: bool,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// `target`.
#[derive(Args, Debug)]
#[command(allow_negative_numbers = true)]
pub struct TargetArgs {
    /// The whole request as JSON; - reads it from standard input
    #[arg(long = "request", value_name = "FILE.json", conflicts_with = "PlainTarget")]
    pub request_file: Option<PathBuf>,
    /// The request as flags.
    #[command(flatten)]
    pub plain: PlainTarget,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// A target as flags: one way to measure the bucket, one form, one coat.
#[derive(Args, Clone, Debug, Default)]
pub struct PlainTarget {
    /// Bucket: slop over water, same volume, e.g. 1.45
    #[arg(long, value_name = "RATIO", requires = "powder_density")]
    pub specific_gravity: Option<f64>,
    /// Bucket: density of the dry powder's grains in g/mL, mostly near 2.6
    #[arg(long, value_name = "G_PER_ML", requires = "specific_gravity")]
    pub powder_density: Option<f64>,
    /// Bucket: dry powder that went in
    #[arg(long, value_name = "GRAMS", requires = "mix_water_g")]
    pub mix_dry_g: Option<f64>,
    /// Bucket: water that went in
    #[arg(long, value_name = "GRAMS", requires = "mix_dry_g")]
    pub mix_water_g: Option<f64>,
    /// Bucket: a sample before drying
    #[arg(long, value_name = "GRAMS", requires = "dried_dry_g")]
    pub dried_wet_g: Option<f64>,
    /// Bucket: the same sample bone dry
    #[arg(long, value_name = "GRAMS", requires = "dried_wet_g")]
    pub dried_dry_g: Option<f64>,
    /// Piece: inside area, where known
    #[arg(long, value_name = "CM2")]
    pub area_cm2: Option<f64>,
    /// Piece: straight wall and floor, inside mm, e.g. 80x90
    #[arg(long, value_name = "DIAMETERxHEIGHT", value_parser = sizes::<2>)]
    pub cylinder: Option<[f64; 2]>,
    /// Piece: part of a sphere, inside mm, e.g. 150x60
    #[arg(long, value_name = "DIAMETERxDEPTH", value_parser = sizes::<2>)]
    pub bowl: Option<[f64; 2]>,
    /// Piece: slanting wall and floor, inside mm, e.g. 60x80x90
    #[arg(long, value_name = "BOTTOMxTOPxHEIGHT", value_parser = sizes::<3>)]
    pub cone: Option<[f64; 3]>,
    /// Piece: inside wall upwards as HEIGHT:RADIUS in mm, e.g. 0:0,0:30,90:40
    #[arg(long, value_name = "H:R,H:R,...", value_parser = profile)]
    pub profile: Option<Profile>,
    /// Coat: dry powder per area, e.g. 0.06
    #[arg(long, value_name = "G_PER_CM2")]
    pub coat_g_per_cm2: Option<f64>,
    /// Coat: thickness after the firing
    #[arg(long, value_name = "MM", requires = "fired_density")]
    pub coat_fired_mm: Option<f64>,
    /// Coat: density of the fired glaze in g/mL
    #[arg(long, value_name = "G_PER_ML", requires = "coat_fired_mm")]
    pub fired_density: Option<f64>,
    /// Coat: share of the dry mass lost in the fire, e.g. 0.08 [default: 0]
    #[arg(long, value_name = "SHARE", requires = "coat_fired_mm")]
    pub loss_on_ignition: Option<f64>,
    /// Coat: the slop itself, per piece
    #[arg(long, value_name = "GRAMS")]
    pub slop_g: Option<f64>,
    /// Good within plus or minus this [default: 5 percent]
    #[arg(long, value_name = "PERCENT", conflicts_with = "tolerance_g")]
    pub tolerance_percent: Option<f64>,
    /// Good within plus or minus this
    #[arg(long, value_name = "GRAMS")]
    pub tolerance_g: Option<f64>,
    /// Temperature of the water in degrees Celsius [default: water at 1.000 g/mL]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true)]
    pub water_c: Option<f64>,
}

/// Points of `[height, radius]` in mm.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Profile(pub Vec<[f64; 2]>);

impl TargetArgs {
    /// The request that the flags spell; with `--request` the caller reads that
    /// file and gives its text to [`crate::batch::from_json`] instead.
    pub fn request(&self) -> Result<TargetRequest, Refused> {
        self.plain.request()
    }
}

impl PlainTarget {
    fn request(&self) -> Result<TargetRequest, Refused> {
        let coat = one("coat", "--coat-g-per-cm2, --coat-fired-mm or --slop-g", self.coats())?;
        let coat = coat.ok_or_else(|| {
            Refused::new(
                "coat",
                "missing; give --coat-g-per-cm2, --coat-fired-mm with --fired-density, or --slop-g",
            )
        })?;
        let percent = self.tolerance_percent.map(ToleranceRequest::Percent);
        Ok(TargetRequest {
            glaze: one("glaze", "--specific-gravity, --mix-dry-g or --dried-wet-g", self.glazes())?,
            form: one("form", "--area-cm2, --cylinder, --bowl, --cone or --profile", self.forms())?,
            coat,
            tolerance: self.tolerance_g.map(ToleranceRequest::Grams).or(percent),
            water_c: self.water_c,
            u_specific_gravity: None,
            u_powder_density_g_ml: None,
            u_area_percent: None,
            u_dry_g: None,
            u_water_g: None,
        })
    }

    fn glazes(&self) -> [Option<GlazeRequest>; 3] {
        let density = self.specific_gravity.zip(self.powder_density);
        let mix = self.mix_dry_g.zip(self.mix_water_g);
        let dried = self.dried_wet_g.zip(self.dried_dry_g);
        [
            density.map(|(specific_gravity, powder_density_g_ml)| GlazeRequest::Density {
                specific_gravity,
                powder_density_g_ml,
                u_specific_gravity: None,
                u_powder_density_g_ml: None,
            }),
            mix.map(|(dry_g, water_g)| GlazeRequest::Mix { dry_g, water_g, u_dry_g: None, u_water_g: None }),
            dried.map(|(wet_g, dry_g)| GlazeRequest::Drying { wet_g, dry_g, u_dry_g: None }),
        ]
    }

    fn forms(&self) -> [Option<FormRequest>; 5] {
        let u_area_percent = None;
        [
            self.area_cm2.map(|area_cm2| FormRequest::Area { area_cm2, u_area_percent }),
            self.cylinder.map(|[diameter_mm, height_mm]| FormRequest::Cylinder {
                diameter_mm,
                height_mm,
                u_area_percent,
            }),
            self.bowl.map(|[diameter_mm, depth_mm]| FormRequest::Bowl {
                diameter_mm,
                depth_mm,
                u_area_percent,
            }),
            self.cone.map(|[bottom_mm, top_mm, height_mm]| FormRequest::Cone {
                bottom_mm,
                top_mm,
                height_mm,
                u_area_percent,
            }),
            self.profile.clone().map(|Profile(points_mm)| FormRequest::Profile { points_mm, u_area_percent }),
        ]
    }

    fn coats(&self) -> [Option<CoatRequest>; 3] {
        let fired = self.coat_fired_mm.zip(self.fired_density);
        [
            self.coat_g_per_cm2.map(|dry_g_per_cm2| CoatRequest::Dry { dry_g_per_cm2 }),
            fired.map(|(thickness_mm, fired_density_g_ml)| CoatRequest::Fired {
                thickness_mm,
                fired_density_g_ml,
                loss_on_ignition: self.loss_on_ignition.unwrap_or(0.0),
                firing_shrinkage_percent: None,
            }),
            self.slop_g.map(|slop_g| CoatRequest::Direct { slop_g }),
        ]
    }
}

/// The one that was given, or none; two are refused.
fn one<T, const N: usize>(field: &str, flags: &str, ways: [Option<T>; N]) -> Result<Option<T>, Refused> {
    let mut given = ways.into_iter().flatten();
    let first = given.next();
    if given.next().is_some() {
        return Err(Refused::new(field, format!("told in more than one way; give only one of {flags}")));
    }
    Ok(first)
}

fn sizes<const N: usize>(text: &str) -> Result<[f64; N], String> {
    let numbers = text.split('x').map(number).collect::<Result<Vec<f64>, String>>()?;
    numbers.try_into().map_err(|_| format!("give {N} lengths in mm with x between them"))
}

fn profile(text: &str) -> Result<Profile, String> {
    let point = |pair: &str| {
        let (height, radius) =
            pair.split_once(':').ok_or_else(|| format!("`{pair}` is not HEIGHT:RADIUS in mm"))?;
        Ok([number(height)?, number(radius)?])
    };
    text.split(',').map(point).collect::<Result<Vec<_>, String>>().map(Profile)
}

fn number(text: &str) -> Result<f64, String> {
    text.trim().parse().map_err(|_| format!("`{text}` is not a number; write it like 80 or 80.5"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use clap::CommandFactory as _;

    fn typed(flags: &str) -> Result<TargetRequest, Refused> {
        let cli = Cli::try_parse_from(["tarebell", "target"].into_iter().chain(flags.split(' ')));
        let command = cli.unwrap().command;
        let Command::Target(args) = command else { panic!("{command:?}") };
        args.request()
    }

    #[test]
    fn the_argument_types_fit_together() {
        Cli::command().debug_assert();
    }

    #[test]
    fn flags_spell_the_same_request_as_json() {
        let flags =
            "--specific-gravity 1.45 --powder-density 2.5 --profile 0:0,0:30,90:40 --coat-g-per-cm2 0.06";
        let json = r#"{"glaze":{"by":"density","specific_gravity":1.45,"powder_density_g_ml":2.5},
            "form":{"by":"profile","points_mm":[[0,0],[0,30],[90,40]]},
            "coat":{"by":"dry","dry_g_per_cm2":0.06}}"#;
        assert_eq!(typed(flags).unwrap(), crate::batch::from_json(json).unwrap());
        let (flags, json) = (
            "--slop-g 29 --tolerance-percent 4",
            r#"{"coat":{"by":"direct","slop_g":29},"tolerance":{"percent":4}}"#,
        );
        assert_eq!(typed(flags).unwrap(), crate::batch::from_json(json).unwrap());
    }

    #[test]
    fn each_command_says_what_it_is_for() {
        let wanted = [
            "Run beside",
            "Run with a simulated",
            "List the scales",
            "Work out",
            "Run a recorded",
            "Check settings",
        ];
        let cli = Cli::command();
        assert_eq!(cli.get_subcommands().count(), wanted.len());
        for (command, start) in cli.get_subcommands().zip(wanted) {
            let about = command.get_about().unwrap().to_string();
            assert!(about.starts_with(start), "{}: {about}", command.get_name());
        }
    }

    #[test]
    fn the_help_names_the_tolerance_that_is_taken() {
        let help = Cli::command().find_subcommand_mut("target").unwrap().render_long_help().to_string();
        let wanted = format!("[default: {} percent]", ToleranceRequest::USUAL_PERCENT);
        assert!(help.contains(&wanted), "{help}");
    }

    #[test]
    fn two_forms_are_refused_by_name() {
        let refused = typed("--area-cm2 250 --cylinder 80x90 --slop-g 29").unwrap_err();
        assert_eq!(refused.field, "form");
    }

    #[test]
    fn half_a_bucket_or_a_file_beside_flags_is_wrong_usage() {
        for flags in
            ["--specific-gravity 1.45 --slop-g 29", "--request - --slop-g 29", "--cylinder 80 --slop-g 29"]
        {
            let words = ["tarebell", "target"].into_iter().chain(flags.split(' '));
            assert!(Cli::try_parse_from(words).is_err(), "{flags}");
        }
        assert!(Cli::try_parse_from(["tarebell", "target", "--request", "-", "--json"]).is_ok());
    }
}
