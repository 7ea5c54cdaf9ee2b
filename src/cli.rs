//! Argument types: what a person types after `tarebell`.
//!
//! Never opens anything; a `target` typed as flags becomes the same request the page sends.

mod calibrate;
mod target;

pub use calibrate::CalibrateArgs;
pub use target::{List, PlainTarget, Profile, TargetArgs, Vessel};

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
    /// Calibrate the scale against reference masses, or check it with one, step by step
    ///
    /// Goes on by what the scale shows; the page's place Scale leads through the same steps. A studio's own check, no legal
    /// verification. Exit code 0: kept, 1: not.
    Calibrate(CalibrateArgs),
    /// Work out the grams for a piece, every step shown
    Target(Box<TargetArgs>),
    /// Say how even a batch was, and which pieces to look at
    ///
    /// Works beside a running daemon.
    Review(ReviewArgs),
    /// Print the whole log as a table (CSV), or as JSON
    ///
    /// Works beside a running daemon.
    Export(ExportArgs),
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
    /// Folder that keeps the invented batch, to be reviewed; it must hold no log yet. With --tour, folder of its settings
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
}

/// `scales`.
#[derive(Args, Debug)]
pub struct ScalesArgs {
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// `review`.
#[derive(Args, Debug)]
pub struct ReviewArgs {
    /// Id or name of the batch [default: the newest that was begun]
    pub batch: Option<String>,
    /// Run rules to look for, apart by commas, or none [default: beyond-3-sigma,eight-one-side]
    #[arg(long, value_name = "WORDS")]
    pub rules: Option<String>,
    /// Folder of the log
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// `export`.
#[derive(Args, Debug)]
pub struct ExportArgs {
    /// Only this batch, by id or name
    #[arg(long, value_name = "BATCH")]
    pub batch: Option<String>,
    /// Folder of the log
    #[arg(long, value_name = "DIR")]
    pub data: Option<PathBuf>,
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::batch::Refused;
    use crate::batch::request::{TargetRequest, ToleranceRequest};
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
    fn every_flag_of_a_target_is_the_member_of_the_request_it_names() {
        let all = "--mix-dry-g 1500 --mix-water-g 1400 --vessel 82:182,181.8:227 --dried-wet-g 30 --dried-dry-g 15 \
                   --wanted-sg 1.5 --bucket-ml 4000 --square 70x80x90 --corner-mm 5 --bare-rim-mm 4 --shrinkage-percent 6 \
                   --fired-water-g 400 --fired-shrinkage-percent 5 --like-tile 50:120.4:123.4 --ware outside \
                   --soaked 300:333 --outside-slop-g 20 --sponged-g 1 --pieces 10 --at-hand-g 400 --left-in-jug-g 30 \
                   --loss-g 0.5 --ladder 23:35:5 --of-each 2 --seed 7 --u-specific-gravity 0.004 --u-powder-density 0.1 \
                   --u-area-percent 2 --u-piece-g 0.1";
        let json = r#"{"glaze":{"by":"several","measures":[
              {"by":"vessel","empty_g":82,"water_g":[182,181.8],"slop_g":[227]},
              {"by":"mix","dry_g":1500,"water_g":1400},{"by":"drying","wet_g":30,"dry_g":15}]},
            "wanted":{"specific_gravity":1.5,"slop_ml":4000},
            "form":{"by":"square","width_mm":70,"length_mm":80,"height_mm":90,"corner_mm":5,"bare_rim_mm":4,
              "shrinkage_percent":6,"fired_water_g":400,"fired_shrinkage_percent":5,"u_area_percent":2},
            "coat":{"by":"tile","area_cm2":50,"before_g":120.4,"after_g":123.4},
            "ware":{"state":"outside","dry_g":300,"soaked_g":333,"outside_slop_g":20,"sponged_g":1},
            "supply":{"pieces":10,"slop_g":400,"left_in_jug_g":30,"loss_g_per_piece":0.5},
            "ladder":{"low_g":23,"high_g":35,"steps":5,"of_each":2,"seed":7},
            "u_specific_gravity":0.004,"u_powder_density_g_ml":0.1,"u_piece_g":0.1}"#;
        let words: Vec<&str> = all.split_whitespace().collect();
        assert_eq!(typed(&words.join(" ")).unwrap(), crate::batch::from_json(json).unwrap());
        for (flags, json) in [
            (
                "--ounces-per-pint 29 --powder-density 2.5 --oval 100x70x60 --like-piece 29:1.45",
                r#"{"glaze":{"by":"volume","ounces_per_pint":29,"powder_density_g_ml":2.5},
                "form":{"by":"oval","length_mm":100,"width_mm":70,"height_mm":60},
                "coat":{"by":"piece","slop_g":29,"specific_gravity":1.45}}"#,
            ),
            (
                "--mix-dry-g 1500 --mix-water-g 1400 --powder-density 2.5 --like-piece 29:1.45:250",
                r#"{"glaze":{"by":"several","measures":[{"by":"mix","dry_g":1500,"water_g":1400}],
                "powder_density_g_ml":2.5},
                "coat":{"by":"piece","slop_g":29,"specific_gravity":1.45,"area_cm2":250}}"#,
            ),
            (
                "--slop-g 29 --ware dry --absorption-percent 11 --piece-g 300",
                r#"{"coat":{"by":"direct","slop_g":29},
                "ware":{"state":"dry","absorption_percent":11,"piece_g":300}}"#,
            ),
        ] {
            assert_eq!(typed(flags).unwrap(), crate::batch::from_json(json).unwrap());
        }
    }

    #[test]
    fn lists_of_another_length_and_sizes_without_a_form_are_refused_by_name() {
        for (flags, field) in [
            ("--like-piece 29", "coat"),
            ("--like-tile 50:120.4", "coat"),
            ("--slop-g 29 --ladder 23:35", "ladder.steps"),
            ("--slop-g 29 --ladder 23:35:2.5", "ladder.steps"),
            ("--slop-g 29 --ware dry --soaked 300", "ware.dry_g"),
            ("--slop-g 29 --bare-rim-mm 5", "form"),
            ("--slop-g 29 --bowl 150x60 --corner-mm 5", "form.corner_mm"),
        ] {
            assert_eq!(typed(flags).unwrap_err().field, field, "{flags}");
        }
    }

    #[test]
    fn each_command_says_what_it_is_for() {
        let wanted = [
            "Run beside",
            "Run with a simulated",
            "List the scales",
            "Calibrate the scale",
            "Work out",
            "Say how even",
            "Print the whole log",
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
    fn a_comma_stands_for_a_point_where_one_number_is_asked_for() {
        let point = "--specific-gravity 1.45 --powder-density 2.5 --cylinder 80.5x90 --coat-g-per-cm2 0.06";
        assert_eq!(typed(&point.replace('.', ",")).unwrap(), typed(point).unwrap());
        let words = "tarebell target --slop-g 1,234.5".split(' ');
        assert!(Cli::try_parse_from(words).is_err(), "not guessed at");
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
