//! The same plates, surveyed by other methods of the trade: what would the proper method have given?

use super::{
    check_experiment::{CannotSimulate, CheckExperiment, Output, source},
    trials::{Experiment, run_trials},
};
use crate::quantity::draw::StandardNormal;
use crate::{
    quantity::{
        sample::Summary,
        stream::{Source, Streams},
    },
    shop::{
        check::ShopCheck,
        eight_lines::{EightLines, LineReading, Reduction},
        flatness::{self, MinimumZone},
        form::pad_variance,
        grid::{DEFAULT_NODES, Grid},
        landscape::{Drawn, Landscape, LandscapeSources, Place},
        smooth_zone::{self, SmoothZone},
        stand_room::{carried_room, spread_over},
        survey::{Effort, Plan, StandUse, Station, Survey, Target, Zeroing},
    },
};
use rand_distr::Distribution as _;
use std::ops::Range;

/// A method that can be set beside the shop check.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Method {
    /// A straightedge on two supports along each of the eight lines, the indicator run beneath it.
    Straightedge,
    /// An electronic level stepped along the eight lines.
    Level,
    /// An autocollimator and a mirror on a base stepped along the eight lines.
    Autocollimator,
    /// Stand and block carried together over rows and columns, the spread judged against the limit of local variation.
    RepeatReading,
}

/// What each method works with: common practice, no source. Standard uncertainties.
///
/// Level: 1 µm/m for one tilt, which is a resolution of 1 µm/m and a zero that walks by as much in the time of a line.
/// Autocollimator: 0.5 µm/m (0.1 arc second). Base of either: three pads of 10 mm, about 100 mm apart. Straightedge: as long
/// as the longest line, on supports at the points of least sag; what is left of sag and form is a bow of 1.5 µm and an S
/// of 0.75 µm per metre of its length, the same on every line.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Instruments {
    /// Of one tilt by the level, in µm/m.
    pub level: f64,
    /// Of one tilt by the autocollimator, in µm/m.
    pub autocollimator: f64,
    /// Length of their base, in mm; a line's step is the nearest that divides it evenly.
    pub base: f64,
    /// Diameter of the base's pads, in mm.
    pub pad: f64,
    /// Bow of the straightedge in its middle, in µm per metre of its length.
    pub straightedge_bow: f64,
    /// Height of its S, likewise.
    pub straightedge_s: f64,
}

impl Default for Instruments {
    fn default() -> Self {
        Self {
            level: 1.0,
            autocollimator: 0.5,
            base: 100.0,
            pad: 10.0,
            straightedge_bow: 1.5,
            straightedge_s: 0.75,
        }
    }
}

/// What a method gives on the plates of a setup, in µm.
#[derive(Debug, Clone, PartialEq)]
pub struct MethodError {
    /// The method.
    pub method: Method,
    /// What it takes: a level, or the mirror of an autocollimator, is put down for every reading, a straightedge for every
    /// line.
    pub effort: Effort,
    /// How many closures it has; none for a repeat reading.
    pub closures: usize,
    /// Its result minus the true flatness. The repeat reading's result is its spread.
    pub error: Summary,
    /// Its result, trial by trial.
    pub results: Vec<f64>,
}

/// Surveys the plates of a check by every method. Plates, bow by heat and film on the feet are those of the check's
/// own simulation with this seed, trial by trial.
///
/// Grains are left out of the methods that have closures: a grain shows in them, and the line is read again. The
/// repeat reading has nothing that would show one, so it has them. It is left out where a carried stand has no room.
pub fn other_methods(
    check: &ShopCheck,
    instruments: &Instruments,
    n_trials: u64,
    seed: u64,
    progress: &(dyn Fn(u64) + Sync),
) -> Result<Vec<MethodError>, CannotSimulate> {
    let streams = Streams::new(seed);
    let experiment = LineExperiment::new(check, instruments)?;
    let mut outputs = run_trials(&experiment, &streams, 0..n_trials, progress);
    let flatness = outputs.remove(0);
    let error = |results: &[f64]| {
        let errors: Vec<f64> = results.iter().zip(&flatness).map(|(result, truth)| result - truth).collect();
        Summary::of(&errors, 0.95)
    };
    let mut methods: Vec<MethodError> = experiment
        .methods
        .iter()
        .zip(outputs)
        .map(|(prepared, results)| MethodError {
            method: prepared.method,
            effort: {
                let indications = experiment.lines.n_readings(prepared.reading);
                let lines = prepared.reading == LineReading::HeightAgainstStraightedge;
                Effort { set_downs: if lines { 8 } else { indications }, indications }
            },
            closures: prepared.reduction.degrees_of_freedom(),
            error: error(&results),
            results,
        })
        .collect();
    if let Some(carried) = repeat_reading(check) {
        let effort = carried.survey.effort();
        let experiment = CheckExperiment::on_grid(&carried, Grid::over(check.plate.working_surface(), 9))?;
        let results =
            run_trials(&experiment, &streams, 0..n_trials, progress).swap_remove(Output::Spread as usize);
        methods.push(MethodError {
            method: Method::RepeatReading,
            effort,
            closures: 0,
            error: error(&results),
            results,
        });
    }
    Ok(methods)
}

/// The check with its stand and block carried over the plate in three rows of five, the tip 80 mm beyond the front feet or as
/// near to that as the stand can be set.
pub fn repeat_reading(check: &ShopCheck) -> Option<ShopCheck> {
    let front = check.stand.feet.iter().map(|foot| foot[0]).fold(f64::NEG_INFINITY, f64::max);
    let reach = (front + 80.0).clamp(check.stand.reach[0], check.stand.reach[1]);
    let room = carried_room(check, reach, 0.0)?;
    let columns = spread_over(room[0], 5);
    let targets = spread_over(room[1], 3)
        .into_iter()
        .flat_map(|y| columns.iter().map(move |&x| Target { name: String::new(), at: [x, y] }));
    let plan = Plan {
        stand_use: StandUse::Carried,
        stations: vec![Station {
            name: String::new(),
            at: check.plate.middle(),
            heading: 0.0,
            targets: targets.collect(),
        }],
        carried_reach: reach,
        passes: 1,
        lifted: false,
        zeroing: Zeroing::Once,
        closing_reading: false,
        drift_corrected: false,
        minutes_per_reading: 1.0,
        minutes_per_move: 0.0,
    };
    let survey = Survey::lay_out(&plan, &check.plate, &check.stand, &check.gauge_block).ok()?;
    Some(ShopCheck { survey, ..check.clone() })
}

/// The methods along the eight lines, tried on the plates of a check.
struct LineExperiment {
    check: CheckExperiment,
    landscape: Landscape,
    grid_zone: SmoothZone,
    bow_on_grid: Vec<f64>,
    bow_at_nodes: Vec<f64>,
    lines: EightLines,
    node_zone: MinimumZone,
    methods: Vec<PreparedMethod>,
    straightedge: [f64; 2],
    longest: f64,
}

struct PreparedMethod {
    method: Method,
    reading: LineReading,
    reduction: Reduction,
    /// Of each reading, in µm, film under pads or foot included.
    u: Vec<f64>,
    source: &'static str,
}

/// Working memory of one thread.
struct Scratch {
    surface: Drawn,
    grid_zone: smooth_zone::Scratch,
    node_zone: flatness::Scratch,
    readings: Vec<f64>,
}

impl LineExperiment {
    fn new(check: &ShopCheck, instruments: &Instruments) -> Result<Self, CannotSimulate> {
        let surface = check.plate.working_surface();
        let lines = EightLines::over(surface, instruments.base);
        let grid = Grid::over(surface, DEFAULT_NODES);
        let grid_zone = SmoothZone::new(&grid).map_err(|_| CannotSimulate::NoWorkingSurface)?;
        let node_zone = MinimumZone::new(&lines.nodes).map_err(|_| CannotSimulate::NoWorkingSurface)?;
        let variance = pad_variance(instruments.pad);
        let bow = |at: [f64; 2], variance: f64| check.plate.fall_per_curvature(at, variance);
        let film = check.cleanliness.film;
        let steps: Vec<f64> = {
            let of = lines.line_of_reading(LineReading::RiseAgainstLevel);
            of.into_iter().map(|line| lines.lines[line].step).collect()
        };
        // Two pads that are each put down anew make a step.
        let of_tilt = |u: f64| -> Vec<f64> {
            steps.iter().map(|step| libm::hypot(u * step / 1000.0, std::f64::consts::SQRT_2 * film)).collect()
        };
        let indicator = &check.indicator;
        // A swing of any size up to its limit and of any phase has a standard deviation of limit/√6.
        let of_height = (indicator.repeatability.powi(2)
            + indicator.error_limit.powi(2) / 6.0
            + indicator.read_step.powi(2) / 12.0
            + film * film)
            .sqrt();
        let n_heights = lines.n_readings(LineReading::HeightAgainstStraightedge);
        let prepare = |method, reading, u: Vec<f64>, source| {
            // What is known without any uncertainty counts as if it had a millionth of a micrometre.
            let u: Vec<f64> = u.into_iter().map(|u| u.max(1e-6)).collect();
            let reduction = Reduction::new(&lines, reading, &u).ok_or(CannotSimulate::NoWorkingSurface)?;
            Ok(PreparedMethod { method, reading, reduction, u, source })
        };
        let methods = vec![
            prepare(
                Method::Straightedge,
                LineReading::HeightAgainstStraightedge,
                vec![of_height; n_heights],
                "straightedge: readings",
            )?,
            prepare(
                Method::Level,
                LineReading::RiseAgainstLevel,
                of_tilt(instruments.level),
                "level: readings",
            )?,
            prepare(
                Method::Autocollimator,
                LineReading::RiseAgainstOwnDirection,
                of_tilt(instruments.autocollimator),
                "autocollimator: readings",
            )?,
        ];
        let longest = surface.map(|[low, high]| high - low);
        let longest = libm::hypot(longest[0], longest[1]);
        let places = lines.nodes.iter().map(|&at| Place { at, variance }).collect();
        Ok(Self {
            check: CheckExperiment::on_grid(check, Grid::over(surface, 9))?,
            bow_on_grid: grid.points().into_iter().map(|at| bow(at, 0.0)).collect(),
            bow_at_nodes: lines.nodes.iter().map(|&at| bow(at, variance)).collect(),
            landscape: Landscape::new(&check.plate, &check.surface, grid, places)
                .ok_or(CannotSimulate::MapDeterminesNoSurface)?,
            grid_zone,
            node_zone,
            methods,
            straightedge: [instruments.straightedge_bow, instruments.straightedge_s]
                .map(|per_metre| per_metre * longest / 1000.0),
            longest,
            lines,
        })
    }

    fn trial(&self, sources: &Sources, trial: u64, scratch: &mut Scratch) -> [f64; 4] {
        self.landscape.draw(&sources.surface, trial, &mut scratch.surface);
        let curvature = self.check.draw_curvature(&mut sources.bow.trial(trial));
        let bend = |heights: &mut [f64], profile: &[f64]| {
            heights.iter_mut().zip(profile).for_each(|(height, bow)| *height -= curvature * bow);
        };
        if self.check.check().plate.flatness_holds_bow {
            bend(&mut scratch.surface.on_grid, &self.bow_on_grid);
        }
        let mut found = [0.0; 4];
        found[0] =
            self.grid_zone.flatness(&scratch.surface.on_grid, &scratch.surface.bumps, &mut scratch.grid_zone);
        bend(&mut scratch.surface.at_places, &self.bow_at_nodes);
        for ((prepared, source), result) in self.methods.iter().zip(&sources.readings).zip(&mut found[1..]) {
            let draws = &mut source.trial(trial);
            self.lines.read(prepared.reading, &scratch.surface.at_places, &mut scratch.readings);
            if prepared.reading == LineReading::HeightAgainstStraightedge {
                let [bow, s] = self.straightedge.map(|size| size * normal(draws));
                self.lay_straightedge(bow, s, &mut scratch.readings);
            }
            for (reading, u) in scratch.readings.iter_mut().zip(&prepared.u) {
                *reading += u * normal(draws);
            }
            let heights = prepared.reduction.heights(&scratch.readings);
            *result = self.node_zone.solve(&heights, &mut scratch.node_zone).flatness;
        }
        found
    }

    /// Takes the form of the straightedge, laid with its middle on each line's, off the readings.
    fn lay_straightedge(&self, bow: f64, s: f64, readings: &mut [f64]) {
        let mut reading = readings.iter_mut();
        for line in &self.lines.lines {
            let middle = (line.nodes.len() - 1) as f64 / 2.0;
            for (place, value) in (0..line.nodes.len()).zip(&mut reading) {
                let along = 2.0 * (place as f64 - middle) * line.step / self.longest;
                *value -= bow * (1.0 - along * along) + s * libm::sin(std::f64::consts::PI * along);
            }
        }
    }
}

fn normal(draws: &mut crate::quantity::stream::Draws) -> f64 {
    StandardNormal.sample(draws)
}

/// Streams of all sources.
struct Sources {
    surface: LandscapeSources,
    bow: Source,
    readings: Vec<Source>,
}

impl Experiment for LineExperiment {
    type Scratch = Scratch;

    fn n_outputs(&self) -> usize {
        1 + self.methods.len()
    }

    fn scratch(&self) -> Scratch {
        Scratch {
            surface: self.landscape.scratch(),
            grid_zone: self.grid_zone.scratch(),
            node_zone: self.node_zone.scratch(),
            readings: Vec::new(),
        }
    }

    fn run_block(
        &self,
        streams: &Streams,
        trials: Range<u64>,
        out: &mut [&mut [f64]],
        scratch: &mut Scratch,
    ) {
        let sources = Sources {
            surface: self.landscape.open(streams),
            bow: streams.source(source::BOW),
            readings: self.methods.iter().map(|method| streams.source(method.source)).collect(),
        };
        for (place, trial) in trials.enumerate() {
            for (output, value) in out.iter_mut().zip(self.trial(&sources, trial, scratch)) {
                output[place] = value;
            }
        }
    }
}
