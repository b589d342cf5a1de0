//! The shop check as an experiment: one trial draws a plate and all disturbances, and reads it.

use super::trials::Experiment;
use crate::quantity::draw::StandardNormal;
use crate::{
    quantity::{
        distribution::deviation_over_estimate,
        sample::range,
        stream::{Draws, Source, Streams},
    },
    shop::{
        check::ShopCheck,
        cleanliness::Cleanliness,
        flatness::MinimumZone,
        form::{face_variance, pad_variance},
        grid::{DEFAULT_NODES, Grid},
        landscape::{Drawn, Landscape, LandscapeSources, Place},
        levelling::Levelling,
        plate::bow_curvature,
        smooth_zone::{self, SmoothZone},
        survey::Survey,
        wear::Surface,
    },
};
use rand::RngExt;
use rand_distr::Distribution as _;
use rayon::prelude::*;
use std::{fmt, ops::Range, sync::Arc};

/// Sources of disturbance, by the names reports show; those of the surface are
/// [`crate::shop::landscape::source`].
pub mod source {
    /// Top-to-bottom temperature difference and the plate's expansion.
    pub const BOW: &str = "bow by heat";
    /// Film and grains under the feet.
    pub const FEET: &str = "seat of the feet";
    /// Film and grains under the block.
    pub const BLOCK_SEAT: &str = "seat of the block";
    /// Variation in length over the block's face.
    pub const BLOCK_LENGTH: &str = "block's variation in length";
    /// Hand warmth in block and column.
    pub const HANDLING: &str = "warmth of the hand";
    /// Drift of the zero.
    pub const DRIFT: &str = "drift of the zero";
    /// Shift of the zero when the stand is put down.
    pub const ZERO_SHIFT: &str = "shift of the zero";
    /// Error of indication.
    pub const INDICATION: &str = "indicator's error";
    /// Hysteresis.
    pub const HYSTERESIS: &str = "hysteresis";
    /// Repeatability.
    pub const REPEATABILITY: &str = "repeatability";
    /// Contact angle.
    pub const ANGLE: &str = "contact angle";
    /// Setting the zero within the step that is read; with it goes the rounding of readings.
    pub const SCALE: &str = "reading the scale";

    /// All of them, in the order reports list them.
    pub const ALL: [&str; 12] = [
        BOW,
        FEET,
        BLOCK_SEAT,
        BLOCK_LENGTH,
        HANDLING,
        DRIFT,
        ZERO_SHIFT,
        INDICATION,
        HYSTERESIS,
        REPEATABILITY,
        ANGLE,
        SCALE,
    ];
}

/// What one trial gives, in the order of [`Experiment::run_block`]'s outputs; all in µm.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Output {
    /// The flatness deviation of the working surface: the truth.
    Flatness = 0,
    /// Largest minus smallest reading, as the shop has it.
    Spread = 1,
    /// The spread of what is left of the readings after their best-fit plane.
    Levelled = 2,
    /// The spread that the same form would give without any disturbance, unrounded.
    IdealSpread = 3,
}

/// A shop check prepared for being tried a million times.
#[derive(Debug, Clone)]
pub struct CheckExperiment {
    check: ShopCheck,
    landscape: Landscape,
    readings: Vec<Prepared>,
    zone: SmoothZone,
    /// A measured map's points on the working surface, which are judged too.
    mapped: Option<MappedPoints>,
    levelling: Option<Levelling>,
    /// Half the squared distance from the plate's middle, with the footprint: bow per curvature.
    bow_on_grid: Vec<f64>,
    bow_at_places: Vec<f64>,
    n_spots: usize,
    plates: Option<Arc<Plates>>,
}

/// Most heights of plates that are drawn at once to be kept: 128 MB.
const MOST_HEIGHTS: usize = 1 << 24;

/// Plates that were drawn once, to be checked many times.
#[derive(Debug)]
pub struct Plates {
    /// The true flatness of each trial's, in µm.
    flatness: Vec<f64>,
    /// Its heights (µm) under feet and block, `[trial][place]`, flat.
    at_places: Vec<f64>,
}

impl Plates {
    /// How many there are.
    pub fn n(&self) -> usize {
        self.flatness.len()
    }

    /// How many heights are kept.
    pub fn n_heights(&self) -> usize {
        self.at_places.len()
    }
}

/// Points of a map on the working surface: the last of the landscape's places, and the minimum zone over them.
///
/// They may lie between the nodes of the grid, where a plate that they prove to be out would escape it.
#[derive(Debug, Clone)]
struct MappedPoints {
    first: usize,
    zone: MinimumZone,
}

impl MappedPoints {
    /// Adds a map's points to `places`; `None` where there is no map, or too few points of it to tell flatness.
    fn join(check: &ShopCheck, places: &mut Vec<Place>) -> Option<Self> {
        let Surface::Measured(map) = &check.surface else { return None };
        let [x, y] = check.plate.working_surface();
        let is_judged = |at: &[f64; 2]| (x[0]..=x[1]).contains(&at[0]) && (y[0]..=y[1]).contains(&at[1]);
        let points: Vec<[f64; 2]> = map.points.iter().map(|&[x, y, _]| [x, y]).filter(is_judged).collect();
        let zone = MinimumZone::new(&points).ok()?;
        let first = places.len();
        places.extend(points.into_iter().map(|at| Place { at, variance: 0.0 }));
        Some(Self { first, zone })
    }
}

/// One reading, with indices into the landscape's places.
#[derive(Debug, Clone)]
struct Prepared {
    feet: [usize; 3],
    block: usize,
    weights: [f64; 3],
    /// Share of the hand's warmth that is left.
    warm: f64,
}

/// Why a check cannot be simulated although every field of it is sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CannotSimulate {
    /// The measured map's points lie on a line, coincide, or are fewer than three.
    MapDeterminesNoSurface,
    /// The working surface is empty: the margins meet.
    NoWorkingSurface,
}

impl fmt::Display for CannotSimulate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::MapDeterminesNoSurface => {
                "the map's points determine no surface; give at least three that are not on one line, each once"
            }
            Self::NoWorkingSurface => "the margins leave no working surface; make plate.margin smaller",
        })
    }
}

impl std::error::Error for CannotSimulate {}

/// Working memory of one thread.
pub struct Scratch {
    surface: Drawn,
    zone: smooth_zone::Scratch,
    heights: Vec<f64>,
    readings: Vec<f64>,
    /// The readings as they are written down: rounded, and no drift taken off.
    written: Vec<f64>,
    spots: Vec<f64>,
    group: Vec<f64>,
    seats: Vec<[f64; 3]>,
    shifts: Vec<f64>,
}

/// Streams of all sources.
struct Sources {
    surface: LandscapeSources,
    bow: Source,
    feet: Source,
    block_seat: Source,
    block_length: Source,
    handling: Source,
    drift: Source,
    zero_shift: Source,
    indication: Source,
    hysteresis: Source,
    repeatability: Source,
    angle: Source,
    scale: Source,
}

impl CheckExperiment {
    /// The same check with feet and block as clean as this.
    pub fn with_cleanliness(&self, cleanliness: Cleanliness) -> Self {
        Self { check: ShopCheck { cleanliness, ..self.check.clone() }, ..self.clone() }
    }

    /// Prepares a check, judging flatness on the default grid.
    pub fn new(check: &ShopCheck) -> Result<Self, CannotSimulate> {
        let surface = check.plate.working_surface();
        if surface.iter().any(|[low, high]| low >= high) {
            return Err(CannotSimulate::NoWorkingSurface);
        }
        Self::on_grid(check, Grid::over(surface, DEFAULT_NODES))
    }

    /// Prepares a check, judging flatness on a grid of the caller's.
    pub fn on_grid(check: &ShopCheck, grid: Grid) -> Result<Self, CannotSimulate> {
        let (mut places, readings) = places(check);
        let mapped = MappedPoints::join(check, &mut places);
        let points = grid.points();
        let zone = SmoothZone::new(&grid).map_err(|_| CannotSimulate::NoWorkingSurface)?;
        let bow_on_grid = points.iter().map(|&at| check.plate.fall_per_curvature(at, 0.0)).collect();
        let bow_at_places =
            places.iter().map(|place| check.plate.fall_per_curvature(place.at, place.variance)).collect();
        let landscape = Landscape::new(&check.plate, &check.surface, grid, places)
            .ok_or(CannotSimulate::MapDeterminesNoSurface)?;
        Ok(Self {
            levelling: Levelling::new(&check.survey),
            n_spots: check.survey.spots.len(),
            check: check.clone(),
            landscape,
            readings,
            zone,
            mapped,
            bow_on_grid,
            bow_at_places,
            plates: None,
        })
    }

    /// Draws the plates of the first trials, whose flatness (µm) is known already.
    ///
    /// `None` where they are too many to be kept, and where their flatness holds the bow: heat, which is drawn with each
    /// check, changes it.
    pub fn draw_plates(&self, streams: &Streams, flatness: &[f64]) -> Option<Arc<Plates>> {
        let n_places = self.n_read();
        if self.check.plate.flatness_holds_bow || flatness.len() * n_places > MOST_HEIGHTS {
            return None;
        }
        let landscape = self.landscape.without_grid();
        let sources = landscape.open(streams);
        let mut at_places = vec![0.0; flatness.len() * n_places];
        at_places.par_chunks_mut(n_places.max(1)).enumerate().for_each_init(
            || landscape.scratch(),
            |drawn, (trial, heights)| {
                landscape.draw(&sources, trial as u64, drawn);
                heights.copy_from_slice(&drawn.at_places[..n_places]);
            },
        );
        Some(Arc::new(Plates { flatness: flatness.to_vec(), at_places }))
    }

    /// How many places are under feet and block; a measured map's points come after them.
    fn n_read(&self) -> usize {
        self.mapped.as_ref().map_or(self.landscape.places().len(), |mapped| mapped.first)
    }

    /// The same check of plates that [`Self::draw_plates`] drew for its places: as many trials as there are plates, the same
    /// numbers as if they were drawn anew.
    pub fn with_plates(self, plates: Arc<Plates>) -> Self {
        Self { plates: Some(plates), ..self }
    }

    /// The check that is tried.
    pub fn check(&self) -> &ShopCheck {
        &self.check
    }

    /// The prepared surface.
    pub fn landscape(&self) -> &Landscape {
        &self.landscape
    }

    /// Each reading's places, as indices into those of [`Self::landscape`]: the three feet and the
    /// block.
    pub fn places_of(&self, reading: usize) -> ([usize; 3], usize) {
        (self.readings[reading].feet, self.readings[reading].block)
    }

    /// Working memory for [`Self::flatness`].
    pub fn zone_scratch(&self) -> smooth_zone::Scratch {
        self.zone.scratch()
    }

    /// The flatness deviation (µm) of a surface with these heights (µm) on the grid and at the places of
    /// [`Self::landscape`]: of the smooth surface through the grid, and never less than a measured map's own points
    /// prove.
    pub fn flatness(&self, surface: &Drawn, scratch: &mut smooth_zone::Scratch) -> f64 {
        let smooth = self.zone.flatness(&surface.on_grid, &surface.bumps, scratch);
        self.mapped.as_ref().map_or(smooth, |mapped| {
            smooth.max(mapped.zone.solve(&surface.at_places[mapped.first..], &mut scratch.nodes).flatness)
        })
    }

    /// What a curvature of 1 µm/mm² (crowned) takes off the heights on the grid, and at the places,
    /// in µm.
    pub fn bow_profiles(&self) -> [&[f64]; 2] {
        [&self.bow_on_grid, &self.bow_at_places]
    }

    /// Whether the readings can be levelled: every zero group has more spots than a plane needs.
    pub fn can_level(&self) -> bool {
        self.levelling.is_some()
    }

    /// All sources that a trial draws from, in the order reports list them.
    pub fn sources(&self) -> Vec<&'static str> {
        let mut names = self.landscape.sources();
        names.extend(source::ALL);
        names
    }

    fn open(&self, streams: &Streams) -> Sources {
        Sources {
            surface: self.landscape.open(streams),
            bow: streams.source(source::BOW),
            feet: streams.source(source::FEET),
            block_seat: streams.source(source::BLOCK_SEAT),
            block_length: streams.source(source::BLOCK_LENGTH),
            handling: streams.source(source::HANDLING),
            drift: streams.source(source::DRIFT),
            zero_shift: streams.source(source::ZERO_SHIFT),
            indication: streams.source(source::INDICATION),
            hysteresis: streams.source(source::HYSTERESIS),
            repeatability: streams.source(source::REPEATABILITY),
            angle: streams.source(source::ANGLE),
            scale: streams.source(source::SCALE),
        }
    }

    /// The true flatness (µm) of one trial's plate, and what is written down of it: one value (µm) for each reading
    /// of the survey, zeros as 0, rounded, before any correction for drift.
    pub fn written(&self, streams: &Streams, trial: u64, scratch: &mut Scratch) -> (f64, Vec<f64>) {
        let [flatness, ..] = self.trial(&self.open(streams), trial, scratch);
        (flatness, scratch.written.clone())
    }

    /// [`Self::written`] for a plate that is given, over [`Self::landscape`]. Everything else is drawn.
    pub fn written_of(
        &self,
        surface: &Drawn,
        streams: &Streams,
        trial: u64,
        scratch: &mut Scratch,
    ) -> (f64, Vec<f64>) {
        let [flatness, ..] = self.outputs_of(surface, streams, trial, scratch);
        (flatness, scratch.written.clone())
    }

    /// The outputs of a trial, in the order of [`Output`], on a plate that is given as for [`Self::written_of`].
    pub fn outputs_of(
        &self,
        surface: &Drawn,
        streams: &Streams,
        trial: u64,
        scratch: &mut Scratch,
    ) -> [f64; 4] {
        scratch.surface.clone_from(surface);
        self.survey_surface(&self.open(streams), trial, None, scratch)
    }

    /// One trial: flatness, spread, levelled spread, ideal spread.
    fn trial(&self, sources: &Sources, trial: u64, scratch: &mut Scratch) -> [f64; 4] {
        let mut flatness = None;
        if let Some(plates) = &self.plates {
            let n_places = self.n_read();
            let start = trial as usize * n_places;
            let heights = &plates.at_places[start..start + n_places];
            scratch.surface.at_places[..n_places].copy_from_slice(heights);
            flatness = Some(plates.flatness[trial as usize]);
        } else {
            self.landscape.draw(&sources.surface, trial, &mut scratch.surface);
        }
        self.survey_surface(sources, trial, flatness, scratch)
    }

    /// The trial's disturbances and readings, for the surface that lies in `scratch`, whose flatness (µm) may be known.
    fn survey_surface(
        &self,
        sources: &Sources,
        trial: u64,
        known: Option<f64>,
        scratch: &mut Scratch,
    ) -> [f64; 4] {
        let curvature = self.draw_curvature(&mut sources.bow.trial(trial));
        let holds_bow = self.check.plate.flatness_holds_bow;
        let mut flatness = match known {
            Some(flatness) => flatness,
            None if holds_bow => 0.0,
            None => self.flatness_drawn(scratch),
        };
        self.datum_free_heights(scratch);
        let ideal = self.ideal_spread(scratch);
        for (height, bow) in scratch.surface.at_places.iter_mut().zip(&self.bow_at_places) {
            *height -= curvature * bow;
        }
        if holds_bow {
            for (height, bow) in scratch.surface.on_grid.iter_mut().zip(&self.bow_on_grid) {
                *height -= curvature * bow;
            }
            flatness = self.flatness_drawn(scratch);
        }
        self.datum_free_heights(scratch);
        self.disturb(sources, trial, scratch);
        self.read(sources, trial, scratch);
        let spread = settled(range(&scratch.spots));
        let levelled = self.levelling.as_ref().map_or(0.0, |l| l.spread(&scratch.spots, &mut scratch.group));
        let levelled = settled(levelled);
        [flatness, spread, levelled, ideal]
    }

    fn flatness_drawn(&self, scratch: &mut Scratch) -> f64 {
        self.flatness(&scratch.surface, &mut scratch.zone)
    }

    /// The curvature (µm/mm², crowned) that the plate has from heat in one trial.
    pub(super) fn draw_curvature(&self, draws: &mut Draws) -> f64 {
        let difference = self.check.temperature.top_to_bottom.draw(draws);
        bow_curvature(self.check.plate.expansion.draw(draws), difference, self.check.plate.thickness)
    }

    /// `d = b(p) − Σ w s(F)` of every reading, from the surface's heights at the places.
    fn datum_free_heights(&self, scratch: &mut Scratch) {
        let at = &scratch.surface.at_places;
        for (height, reading) in scratch.heights.iter_mut().zip(&self.readings) {
            let datum: f64 =
                reading.feet.iter().zip(&reading.weights).map(|(&foot, weight)| weight * at[foot]).sum();
            *height = at[reading.block] - datum;
        }
    }

    /// The spread of readings that are nothing but form.
    fn ideal_spread(&self, scratch: &mut Scratch) -> f64 {
        let Scratch { heights, readings, spots, .. } = scratch;
        self.survey().against_zeros(heights, readings);
        self.survey().spot_means(readings, spots);
        range(spots)
    }

    fn survey(&self) -> &Survey {
        &self.check.survey
    }

    /// Adds to the heights all that comes between surface and tip, in µm.
    fn disturb(&self, sources: &Sources, trial: u64, scratch: &mut Scratch) {
        let ShopCheck { gauge_block: block, temperature, cleanliness, stand, indicator, .. } = &self.check;
        let mut draws = sources.feet.trial(trial);
        for seat in &mut scratch.seats {
            *seat = std::array::from_fn(|_| self.seat(&mut draws));
        }
        let mut draws = sources.zero_shift.trial(trial);
        let mut walked = 0.0;
        for shift in &mut scratch.shifts {
            let deviate: f64 = StandardNormal.sample(&mut draws);
            walked += indicator.zero_shift * deviate;
            *shift = walked;
        }
        let draws = &mut sources.drift.trial(trial);
        // A column that grows lifts the indicator off the block: readings fall. Per minute.
        let column = stand.column_expansion.draw(draws) * stand.height * 1000.0;
        let drift =
            (temperature.zero_drift.draw(draws) - column * temperature.column_rate.draw(draws)) / 60.0;
        let draws = &mut sources.handling.trial(trial);
        let block_growth =
            block.expansion.draw(draws) * block.length * 1000.0 * temperature.handling.draw(draws);
        let warmth = block_growth - column * temperature.handling.draw(draws);
        let mut block_seat = sources.block_seat.trial(trial);
        let mut block_length = sources.block_length.trial(trial);
        let dirty = cleanliness.film > 0.0 || cleanliness.grain_chance > 0.0;
        for ((height, prepared), reading) in
            scratch.heights.iter_mut().zip(&self.readings).zip(&self.survey().readings)
        {
            let seat = &scratch.seats[reading.seating];
            let tilt: f64 = prepared.weights.iter().zip(seat).map(|(weight, lift)| weight * lift).sum();
            *height -= tilt;
            if dirty {
                *height += self.seat(&mut block_seat);
            }
            *height += block.length_variation * (block_length.random::<f64>() - 0.5);
            *height += drift * reading.minutes + scratch.shifts[reading.seating];
            *height += warmth * prepared.warm;
        }
    }

    /// How high one foot, or the block, sits this time, in µm.
    #[inline]
    fn seat(&self, draws: &mut Draws) -> f64 {
        let dirt = &self.check.cleanliness;
        let deviate: f64 = StandardNormal.sample(draws);
        let grain = if dirt.grain_chance > 0.0 && draws.random::<f64>() < dirt.grain_chance {
            dirt.grain.draw(draws)
        } else {
            0.0
        };
        dirt.film * deviate + grain
    }

    /// Turns heights into what is written down, spot by spot, in µm.
    fn read(&self, sources: &Sources, trial: u64, scratch: &mut Scratch) {
        let indicator = &self.check.indicator;
        let gain = indicator.gain(indicator.contact_angle.draw(&mut sources.angle.trial(trial)));
        let error = ErrorOfIndication::draw(
            indicator.error_limit,
            indicator.error_travel,
            &mut sources.indication.trial(trial),
        );
        let mut draws = sources.hysteresis.trial(trial);
        let half_hysteresis =
            if indicator.one_sided_approach { 0.0 } else { indicator.hysteresis.draw(&mut draws) / 2.0 };
        let mut repeat = sources.repeatability.trial(trial);
        let repeatability =
            indicator.repeatability * deviation_over_estimate(indicator.repeatability_dof, &mut repeat);
        let mut setting = sources.scale.trial(trial);
        let Scratch { heights, readings, written, .. } = scratch;
        // What the pointer does at each reading, against an arbitrary start.
        for (pointer, height) in readings.iter_mut().zip(heights.iter()) {
            let true_travel = gain * height;
            let deviate: f64 = StandardNormal.sample(&mut repeat);
            let side = if half_hysteresis == 0.0 || draws.random::<bool>() {
                half_hysteresis
            } else {
                -half_hysteresis
            };
            *pointer = true_travel + error.at(true_travel) + side + repeatability * deviate;
        }
        let step = indicator.read_step;
        for (round, &zero) in self.survey().zeros.iter().enumerate() {
            // The zero is set by eye, to within the step that can be told apart.
            let zero_pointer = readings[zero] + step * (setting.random::<f64>() - 0.5);
            let span = self.survey().round(round);
            for value in &mut readings[span.clone()] {
                *value = round_to(*value - zero_pointer, step);
            }
            readings[zero] = 0.0;
            written[span.clone()].copy_from_slice(&readings[span.clone()]);
            if let (true, Some(closing)) = (self.survey().drift_corrected, self.survey().closings[round]) {
                let taken = &self.survey().readings;
                let (start, drifted) = (taken[zero].minutes, readings[closing]);
                let rate = drifted / (taken[closing].minutes - start);
                for index in span {
                    readings[index] -= rate * (taken[index].minutes - start);
                }
            }
        }
        self.survey().spot_means(&scratch.readings, &mut scratch.spots);
    }
}

impl Experiment for CheckExperiment {
    type Scratch = Scratch;

    fn n_outputs(&self) -> usize {
        4
    }

    fn scratch(&self) -> Scratch {
        let n_readings = self.readings.len();
        Scratch {
            surface: self.landscape.scratch(),
            zone: self.zone.scratch(),
            heights: vec![0.0; n_readings],
            readings: vec![0.0; n_readings],
            written: vec![0.0; n_readings],
            spots: vec![0.0; self.n_spots],
            group: Vec::with_capacity(self.n_spots),
            seats: vec![[0.0; 3]; self.survey().n_seatings],
            shifts: vec![0.0; self.survey().n_seatings],
        }
    }

    fn run_block(
        &self,
        streams: &Streams,
        trials: Range<u64>,
        out: &mut [&mut [f64]],
        scratch: &mut Scratch,
    ) {
        let sources = self.open(streams);
        for (place, trial) in trials.enumerate() {
            for (output, value) in out.iter_mut().zip(self.trial(&sources, trial, scratch)) {
                output[place] = value;
            }
        }
    }
}

/// The places whose heights the readings need, each once, feet before blocks.
fn places(check: &ShopCheck) -> (Vec<Place>, Vec<Prepared>) {
    let pad = pad_variance(check.stand.pad_diameter);
    let face = face_variance(check.gauge_block.face);
    let mut places: Vec<Place> = Vec::new();
    let mut index = |at, variance| {
        let place = Place { at, variance };
        places.iter().position(|known| *known == place).unwrap_or_else(|| {
            places.push(place);
            places.len() - 1
        })
    };
    let readings = &check.survey.readings;
    let feet: Vec<[usize; 3]> =
        readings.iter().map(|reading| reading.feet.map(|foot| index(foot, pad))).collect();
    let prepared = readings
        .iter()
        .zip(feet)
        .map(|(reading, feet)| Prepared {
            feet,
            block: index(reading.target, face),
            weights: reading.weights,
            warm: libm::exp(-reading.minutes / check.temperature.fading),
        })
        .collect();
    (places, prepared)
}

/// One indicator's error of indication: a swing along its travel, of unknown size and phase.
struct ErrorOfIndication {
    amplitude: f64,
    wave_number: f64,
    phase: f64,
}

impl ErrorOfIndication {
    fn draw(limit: f64, travel: f64, draws: &mut Draws) -> Self {
        let amplitude = limit * draws.random::<f64>();
        let phase = std::f64::consts::TAU * draws.random::<f64>();
        Self { amplitude, wave_number: std::f64::consts::TAU / travel, phase }
    }

    fn at(&self, travel: f64) -> f64 {
        if self.amplitude == 0.0 {
            0.0
        } else {
            self.amplitude * libm::sin(self.wave_number * travel + self.phase)
        }
    }
}

/// A spread (µm) without what arithmetic adds to it: to a billionth of a micrometre, so that spreads of readings with
/// the same last digit are one and the same.
fn settled(spread: f64) -> f64 {
    (spread * 1e9).round() / 1e9
}

fn round_to(value: f64, step: f64) -> f64 {
    if step > 0.0 { (value / step).round() * step } else { value }
}
