//! `target` typed as flags: the same request that the page sends.
//!
//! Never computes grams.

mod typed;

pub use typed::{List, Profile, Vessel};

use super::PlaceArgs;
use crate::batch::Refused;
use crate::batch::request::{
    CoatRequest, FormRequest, GlazeRequest, LadderRequest, ShapeRequest, SupplyRequest, TargetRequest,
    ToleranceRequest, WantedRequest, WareRequest, WareState,
};
use clap::{ArgGroup, Args};
use std::path::PathBuf;
pub(super) use typed::grams;
use typed::{list, number, one, profile, sizes, vessel, ware};

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
    /// Where the settings are: the units of what comes out.
    #[command(flatten)]
    pub place: PlaceArgs,
    /// Print JSON
    #[arg(long)]
    pub json: bool,
}

/// A target as flags: one form, one coat, and the bucket measured in one way or in several.
#[derive(Args, Clone, Debug, Default)]
#[command(group(ArgGroup::new("grains").args(["powder_density", "mix_dry_g", "dried_wet_g"]).multiple(true)))]
#[command(group(ArgGroup::new("volumes").args(["specific_gravity", "g_per_ml", "g_per_100_ml", "ounces_per_pint",
    "vessel", "mix_dry_g", "dried_wet_g"]).multiple(true)))]
pub struct PlainTarget {
    /// Bucket: slop over water, same volume, e.g. 1.45
    #[arg(long, value_name = "RATIO", requires = "grains", value_parser = number)]
    pub specific_gravity: Option<f64>,
    /// Bucket: weight of a volume of slop in g/mL, instead of the specific gravity
    #[arg(long, value_name = "G_PER_ML", requires = "grains", conflicts_with = "specific_gravity", value_parser = number)]
    pub g_per_ml: Option<f64>,
    /// Bucket: grams that 100 mL of slop weigh, instead of the specific gravity
    #[arg(long, value_name = "GRAMS", requires = "grains", conflicts_with_all = ["specific_gravity", "g_per_ml"], value_parser = grams)]
    pub g_per_100_ml: Option<f64>,
    /// Bucket: ounces that an imperial pint of slop weighs, instead of the specific gravity
    #[arg(long, value_name = "OUNCES", requires = "grains",
        conflicts_with_all = ["specific_gravity", "g_per_ml", "g_per_100_ml"], value_parser = number)]
    pub ounces_per_pint: Option<f64>,
    /// Bucket: one vessel weighed empty, with water to a mark, with slop to the same mark; several fillings with
    /// commas, e.g. 82.1:182.3,182.0:227.5,227.1
    #[arg(long, value_name = "EMPTY:WATER:SLOP", requires = "grains", value_parser = vessel)]
    pub vessel: Option<Vessel>,
    /// Bucket: density of the dry powder's grains in g/mL, mostly near 2.6; left out beside the weights of the mix it
    /// is estimated
    #[arg(long, value_name = "G_PER_ML", requires = "volumes", value_parser = number)]
    pub powder_density: Option<f64>,
    /// Bucket: dry powder that went in
    #[arg(long, value_name = "GRAMS", requires = "mix_water_g", value_parser = grams)]
    pub mix_dry_g: Option<f64>,
    /// Bucket: water that went in
    #[arg(long, value_name = "GRAMS", requires = "mix_dry_g", value_parser = grams)]
    pub mix_water_g: Option<f64>,
    /// Bucket: a sample before drying
    #[arg(long, value_name = "GRAMS", requires = "dried_dry_g", value_parser = grams)]
    pub dried_wet_g: Option<f64>,
    /// Bucket: the same sample bone dry
    #[arg(long, value_name = "GRAMS", requires = "dried_wet_g", value_parser = grams)]
    pub dried_dry_g: Option<f64>,
    /// Change the bucket: the specific gravity it should have
    #[arg(long, value_name = "RATIO", value_parser = number)]
    pub wanted_sg: Option<f64>,
    /// Change the bucket: slop in it
    #[arg(long, value_name = "GRAMS", requires = "wanted_sg", conflicts_with = "bucket_ml", value_parser = grams)]
    pub bucket_g: Option<f64>,
    /// Change the bucket: slop in it
    #[arg(long, value_name = "ML", requires = "wanted_sg", value_parser = number)]
    pub bucket_ml: Option<f64>,
    /// Piece: inside area, where known
    #[arg(long, value_name = "CM2", value_parser = number)]
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
    /// Piece: four straight walls and floor, inside mm, e.g. 70x70x90
    #[arg(long, value_name = "WIDTHxLENGTHxHEIGHT", value_parser = sizes::<3>)]
    pub square: Option<[f64; 3]>,
    /// Piece: straight wall over an ellipse and floor, inside mm, e.g. 100x70x60
    #[arg(long, value_name = "LENGTHxWIDTHxHEIGHT", value_parser = sizes::<3>)]
    pub oval: Option<[f64; 3]>,
    /// Piece: inside wall upwards as HEIGHT:RADIUS in mm, e.g. 0:0,0:30,90:40
    #[arg(long, value_name = "H:R,H:R,...", value_parser = profile)]
    pub profile: Option<Profile>,
    /// Piece: radius of the corner between floor and wall of a cylinder, or of the upright corners of a square
    #[arg(long, value_name = "MM", value_parser = number)]
    pub corner_mm: Option<f64>,
    /// Piece: height of the band below the rim, or of the lid's gallery, that stays bare
    #[arg(long, value_name = "MM", value_parser = number)]
    pub bare_rim_mm: Option<f64>,
    /// Piece: where the sizes are of leather-hard clay, how much it shrinks in length to bisque
    #[arg(long, value_name = "PERCENT", value_parser = number)]
    pub shrinkage_percent: Option<f64>,
    /// Piece: water that fills a fired one, to check the size (never bisque to be glazed today: its wall drinks it)
    #[arg(long, value_name = "GRAMS", value_parser = grams)]
    pub fired_water_g: Option<f64>,
    /// Piece: how much that fired one shrank in length from bisque [default: 0]
    #[arg(long, value_name = "PERCENT", requires = "fired_water_g", value_parser = number)]
    pub fired_shrinkage_percent: Option<f64>,
    /// Coat: dry powder per area, e.g. 0.06
    #[arg(long, value_name = "G_PER_CM2", value_parser = number)]
    pub coat_g_per_cm2: Option<f64>,
    /// Coat: thickness after the firing
    #[arg(long, value_name = "MM", requires = "fired_density", value_parser = number)]
    pub coat_fired_mm: Option<f64>,
    /// Coat: density of the fired glaze in g/mL
    #[arg(long, value_name = "G_PER_ML", requires = "coat_fired_mm", value_parser = number)]
    pub fired_density: Option<f64>,
    /// Coat: share of the dry mass lost in the fire, e.g. 0.08 [default: 0]
    #[arg(long, value_name = "SHARE", requires = "coat_fired_mm", value_parser = number)]
    pub loss_on_ignition: Option<f64>,
    /// Coat: how much lengths shrink from bisque to fired, e.g. 6 for stoneware [default: 0]
    #[arg(long, value_name = "PERCENT", requires = "coat_fired_mm", value_parser = number)]
    pub firing_shrinkage_percent: Option<f64>,
    /// Coat: as on a piece that came out right: its grams, its slop's specific gravity, its area in cm2 unless it is of
    /// the same form, e.g. 29:1.45:250
    #[arg(long, value_name = "SLOP:RATIO[:CM2]", value_parser = list)]
    pub like_piece: Option<List>,
    /// Coat: as on a test tile: its coated area in cm2, its dry grams bare and coated, e.g. 50:120.4:123.5
    #[arg(long, value_name = "CM2:BARE:COATED", value_parser = list)]
    pub like_tile: Option<List>,
    /// Coat: the slop itself, per piece; a weight may have its unit, e.g. "1.02 oz"
    #[arg(long, value_name = "GRAMS", value_parser = grams)]
    pub slop_g: Option<f64>,
    /// Ware: dry, sponged, outside (has its outside coat) or fired
    #[arg(long, value_name = "STATE", value_parser = ware)]
    pub ware: Option<WareState>,
    /// Ware: a piece weighed dry and soaked, e.g. 300:333
    #[arg(long, value_name = "DRY:SOAKED", value_parser = list, requires = "ware")]
    pub soaked: Option<List>,
    /// Ware: water that its wall takes up, in percent of its dry weight, where known
    #[arg(long, value_name = "PERCENT", requires = "piece_g", conflicts_with = "soaked", value_parser = number)]
    pub absorption_percent: Option<f64>,
    /// Ware: a dry piece of this batch [default: the dry one of --soaked]
    #[arg(long, value_name = "GRAMS", requires = "ware", value_parser = grams)]
    pub piece_g: Option<f64>,
    /// Ware: slop that went on its outside
    #[arg(long, value_name = "GRAMS", requires = "ware", value_parser = grams)]
    pub outside_slop_g: Option<f64>,
    /// Ware: water that sponging left in it
    #[arg(long, value_name = "GRAMS", requires = "ware", value_parser = grams)]
    pub sponged_g: Option<f64>,
    /// Supply: pieces to be poured
    #[arg(long, value_name = "N", requires = "at_hand_g")]
    pub pieces: Option<u32>,
    /// Supply: slop at hand
    #[arg(long, value_name = "GRAMS", requires = "pieces", value_parser = grams)]
    pub at_hand_g: Option<f64>,
    /// Supply: slop that can't be poured from the jug [default: 0]
    #[arg(long, value_name = "GRAMS", requires = "pieces", value_parser = grams)]
    pub left_in_jug_g: Option<f64>,
    /// Supply: slop that goes astray with each piece [default: 0]
    #[arg(long, value_name = "GRAMS", requires = "pieces", value_parser = grams)]
    pub loss_g: Option<f64>,
    /// Targets that differ: lowest, highest, how many, e.g. 23:35:5
    #[arg(long, value_name = "LOW:HIGH:STEPS", value_parser = list)]
    pub ladder: Option<List>,
    /// Pieces of each of those targets [default: 1]
    #[arg(long, value_name = "N", requires = "ladder")]
    pub of_each: Option<u32>,
    /// Shuffles those targets; the same number gives the same order again
    #[arg(long, value_name = "N", requires = "ladder")]
    pub seed: Option<u64>,
    /// Good within plus or minus this [default: 5 percent]
    #[arg(long, value_name = "PERCENT", conflicts_with = "tolerance_g", value_parser = number)]
    pub tolerance_percent: Option<f64>,
    /// Good within plus or minus this
    #[arg(long, value_name = "GRAMS", value_parser = grams)]
    pub tolerance_g: Option<f64>,
    /// Temperature of the water in degrees Celsius [default: water at 1.000 g/mL]
    #[arg(long, value_name = "CELSIUS", allow_negative_numbers = true, value_parser = number)]
    pub water_c: Option<f64>,
    /// Standard uncertainty of the specific gravity
    #[arg(long, value_name = "RATIO", value_parser = number)]
    pub u_specific_gravity: Option<f64>,
    /// Standard uncertainty of the powder's density
    #[arg(long, value_name = "G_PER_ML", value_parser = number)]
    pub u_powder_density: Option<f64>,
    /// Standard uncertainty of the area
    #[arg(long, value_name = "PERCENT", value_parser = number)]
    pub u_area_percent: Option<f64>,
    /// Standard uncertainty of one weighing of a piece
    #[arg(long, value_name = "GRAMS", value_parser = grams)]
    pub u_piece_g: Option<f64>,
}

impl TargetArgs {
    /// The request that the flags spell; with `--request` the caller reads that
    /// file and gives its text to [`crate::batch::from_json`] instead.
    pub fn request(&self) -> Result<TargetRequest, Refused> {
        self.plain.request()
    }
}

impl PlainTarget {
    fn request(&self) -> Result<TargetRequest, Refused> {
        let ways = "--coat-g-per-cm2, --coat-fired-mm, --like-piece, --like-tile or --slop-g";
        let coat = one("coat", ways, self.coats()?)?.ok_or_else(|| {
            Refused::new(
                "coat",
                "missing; give --coat-g-per-cm2, --coat-fired-mm with --fired-density, --like-piece, --like-tile, or \
                 --slop-g",
            )
        })?;
        let percent = self.tolerance_percent.map(ToleranceRequest::Percent);
        Ok(TargetRequest {
            glaze: self.glaze(),
            form: self.form()?,
            tolerance: self.tolerance_g.map(ToleranceRequest::Grams).or(percent),
            water_c: self.water_c,
            wanted: self.wanted_sg.map(|specific_gravity| WantedRequest {
                specific_gravity,
                slop_g: self.bucket_g,
                slop_ml: self.bucket_ml,
            }),
            ware: self.ware_request()?,
            supply: self.supply(),
            ladder: self.ladder_request()?,
            u_piece_g: self.u_piece_g,
            u_specific_gravity: self.u_specific_gravity,
            u_powder_density_g_ml: self.u_powder_density,
            ..TargetRequest::plain(coat)
        })
    }

    /// One measurement stands by itself; more, or weights with the powder's density, make a list.
    fn glaze(&self) -> Option<GlazeRequest> {
        let mut measures: Vec<GlazeRequest> = self.measures().into_iter().flatten().collect();
        match (measures.len(), self.powder_density) {
            (0, _) => None,
            (1, None) => measures.pop(),
            (1, Some(powder)) if self.mix_dry_g.is_none() && self.dried_wet_g.is_none() => {
                measures.pop().map(|measure| typed::of_powder(measure, powder))
            }
            (_, powder_density_g_ml) => {
                Some(GlazeRequest::Several { measures, powder_density_g_ml, u_powder_density_g_ml: None })
            }
        }
    }

    fn measures(&self) -> [Option<GlazeRequest>; 5] {
        let (g_per_ml, g_per_100_ml, ounces_per_pint) =
            (self.g_per_ml, self.g_per_100_ml, self.ounces_per_pint);
        let mix = self.mix_dry_g.zip(self.mix_water_g);
        let dried = self.dried_wet_g.zip(self.dried_dry_g);
        [
            self.specific_gravity.map(|specific_gravity| GlazeRequest::Density {
                specific_gravity,
                powder_density_g_ml: None,
                u_specific_gravity: None,
                u_powder_density_g_ml: None,
            }),
            g_per_ml.or(g_per_100_ml).or(ounces_per_pint).map(|_| GlazeRequest::Volume {
                g_per_ml,
                g_per_100_ml,
                ounces_per_pint,
                powder_density_g_ml: None,
                u_specific_gravity: None,
                u_powder_density_g_ml: None,
            }),
            self.vessel.clone().map(Vessel::request),
            mix.map(|(dry_g, water_g)| GlazeRequest::Mix { dry_g, water_g, u_dry_g: None, u_water_g: None }),
            dried.map(|(wet_g, dry_g)| GlazeRequest::Drying { wet_g, dry_g, u_dry_g: None }),
        ]
    }

    fn form(&self) -> Result<Option<FormRequest>, Refused> {
        let ways = "--area-cm2, --cylinder, --bowl, --cone, --square, --oval or --profile";
        let Some(shape) = one("form", ways, self.shapes())? else {
            let lone = [self.corner_mm, self.bare_rim_mm, self.shrinkage_percent, self.fired_water_g];
            return match lone.iter().any(Option::is_some) {
                true => Err(Refused::new("form", format!("missing; give one of {ways}"))),
                false => Ok(None),
            };
        };
        let rounded = matches!(shape, ShapeRequest::Cylinder { .. } | ShapeRequest::Square { .. });
        if self.corner_mm.is_some() && !rounded {
            return Err(Refused::new("form.corner_mm", "belongs to --cylinder or --square; leave it out"));
        }
        Ok(Some(FormRequest {
            bare_rim_mm: self.bare_rim_mm,
            shrinkage_percent: self.shrinkage_percent,
            fired_water_g: self.fired_water_g,
            fired_shrinkage_percent: self.fired_shrinkage_percent,
            u_area_percent: self.u_area_percent,
            ..FormRequest::plain(shape)
        }))
    }

    fn shapes(&self) -> [Option<ShapeRequest>; 7] {
        let corner_mm = self.corner_mm;
        [
            self.area_cm2.map(|area_cm2| ShapeRequest::Area { area_cm2 }),
            self.cylinder.map(|[diameter_mm, height_mm]| ShapeRequest::Cylinder {
                diameter_mm,
                height_mm,
                corner_mm,
            }),
            self.bowl.map(|[diameter_mm, depth_mm]| ShapeRequest::Bowl { diameter_mm, depth_mm }),
            self.cone.map(|[bottom_mm, top_mm, height_mm]| ShapeRequest::Cone {
                bottom_mm,
                top_mm,
                height_mm,
            }),
            self.square.map(|[width_mm, length_mm, height_mm]| ShapeRequest::Square {
                width_mm,
                length_mm: Some(length_mm),
                height_mm,
                corner_mm,
            }),
            self.oval.map(|[length_mm, width_mm, height_mm]| ShapeRequest::Oval {
                length_mm,
                width_mm,
                height_mm,
            }),
            self.profile.clone().map(|Profile(points_mm)| ShapeRequest::Profile { points_mm }),
        ]
    }

    fn coats(&self) -> Result<[Option<CoatRequest>; 5], Refused> {
        let fired = self.coat_fired_mm.zip(self.fired_density);
        Ok([
            self.coat_g_per_cm2.map(|dry_g_per_cm2| CoatRequest::Dry { dry_g_per_cm2 }),
            fired.map(|(thickness_mm, fired_density_g_ml)| CoatRequest::Fired {
                thickness_mm,
                fired_density_g_ml,
                loss_on_ignition: self.loss_on_ignition.unwrap_or(0.0),
                firing_shrinkage_percent: self.firing_shrinkage_percent,
            }),
            self.like_piece.as_ref().map(typed::like_piece).transpose()?,
            self.like_tile.as_ref().map(typed::like_tile).transpose()?,
            self.slop_g.map(|slop_g| CoatRequest::Direct { slop_g }),
        ])
    }

    fn ware_request(&self) -> Result<Option<WareRequest>, Refused> {
        let Some(state) = self.ware else { return Ok(None) };
        let soaked = match self.soaked.as_ref().map(|list| list.0.as_slice()) {
            None => None,
            Some([dry, soaked]) => Some((*dry, *soaked)),
            Some(_) => return Err(Refused::new("ware.dry_g", "--soaked takes two weights, e.g. 300:333")),
        };
        Ok(Some(WareRequest {
            state,
            bisque_cone: None,
            dry_g: soaked.map(|(dry, _)| dry),
            soaked_g: soaked.map(|(_, soaked)| soaked),
            absorption_percent: self.absorption_percent,
            piece_g: self.piece_g,
            outside_slop_g: self.outside_slop_g,
            outside_minutes: None,
            sponged_g: self.sponged_g,
        }))
    }

    fn supply(&self) -> Option<SupplyRequest> {
        self.pieces.zip(self.at_hand_g).map(|(pieces, slop_g)| SupplyRequest {
            pieces,
            slop_g,
            left_in_jug_g: self.left_in_jug_g,
            loss_g_per_piece: self.loss_g,
        })
    }

    fn ladder_request(&self) -> Result<Option<LadderRequest>, Refused> {
        let Some(list) = &self.ladder else { return Ok(None) };
        typed::ladder(list, self.of_each, self.seed).map(Some)
    }
}
