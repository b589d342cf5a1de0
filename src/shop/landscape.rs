//! A plate's surface, prepared once so that it can be drawn a million times.

use super::{
    field::FieldBasis,
    form::Bump,
    grid::Grid,
    plate::Plate,
    spline::SurfaceSpline,
    wear::{Surface, Waves, Wear},
};
use crate::quantity::draw::StandardNormal;
use crate::quantity::{
    distribution::Distribution,
    stream::{Draws, Source, Streams},
};
use rand::RngExt;
use rand_distr::Distribution as _;
use std::ops::Range;

/// A place whose height is wanted, and the footprint over which it is averaged.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Place {
    /// Where, `[x, y]` in mm.
    pub at: [f64; 2],
    /// Second moment of the footprint along each axis, in mm².
    pub variance: f64,
}

/// What a surface is made of that is drawn on its own: names as reports show them.
pub mod source {
    /// How worn the plate is at large.
    pub const AMOUNT: &str = "amount of wear";
    /// The dish in the middle.
    pub const MIDDLE: &str = "middle wear";
    /// The band along the front.
    pub const FRONT_EDGE: &str = "front-edge wear";
    /// The dips, wherever they lie.
    pub const DIPS: &str = "dips";
    /// The twist.
    pub const TWIST: &str = "twist";
    /// The long waves.
    pub const LONG_WAVES: &str = "long waves";
    /// The short waves.
    pub const WAVINESS: &str = "waviness";
    /// The uncertainty of a measured map.
    pub const MAP: &str = "map";
}

/// A surface prepared: everything that does not change from draw to draw is computed.
#[derive(Debug, Clone)]
pub struct Landscape {
    size: [f64; 2],
    grid: Grid,
    places: Vec<Place>,
    /// Runs of places that have one footprint: its variance (mm²) and the places.
    footprints: Vec<(f64, Range<usize>)>,
    wear: Option<Wear>,
    map: Option<PreparedMap>,
    waves: Vec<PreparedWaves>,
}

/// One field of waves: its basis, at the grid's nodes and at the places.
#[derive(Debug, Clone)]
pub struct PreparedWaves {
    source: &'static str,
    waves: Waves,
    basis: FieldBasis,
    /// Cosines at the grid's nodes along x, `[wave number][node]`, and along y.
    on_x: Vec<Vec<f64>>,
    on_y: Vec<Vec<f64>>,
    /// Every mode's value at every place, `[mode][place]`, flat.
    at_places: Vec<f64>,
}

/// A measured map: the weight of every point at the grid's nodes and at the places.
#[derive(Debug, Clone)]
pub struct PreparedMap {
    heights: Vec<f64>,
    standard_uncertainty: f64,
    /// Weight of every point at every node, `[point][node]`, flat; and at every place.
    on_grid: Vec<f64>,
    at_places: Vec<f64>,
}

/// The streams of a landscape's sources, opened once for many trials.
#[derive(Debug, Clone)]
pub struct LandscapeSources {
    amount: Source,
    middle: Source,
    front_edge: Source,
    dips: Source,
    twist: Source,
    map: Source,
    waves: Vec<Source>,
}

/// One drawn surface, and the memory it is drawn into.
#[derive(Debug, Clone)]
pub struct Drawn {
    /// Heights on the grid, in µm; x runs fastest.
    pub on_grid: Vec<f64>,
    /// Heights at the places, in µm.
    pub at_places: Vec<f64>,
    /// The dips and humps that these heights hold.
    pub bumps: Vec<Bump>,
    /// Profiles along x and along y whose products add up to the form, flat rows.
    profiles_x: Vec<f64>,
    profiles_y: Vec<f64>,
    amplitudes: [Vec<f64>; 2],
    coefficients: Vec<f64>,
}

impl Landscape {
    /// Prepares a surface over a plate for its heights on a grid and at places.
    ///
    /// `None` where a measured map determines no surface (see [`SurfaceSpline::new`]).
    pub fn new(plate: &Plate, surface: &Surface, grid: Grid, places: Vec<Place>) -> Option<Self> {
        let size = [plate.length, plate.width];
        let mut footprints = Vec::new();
        for run in places.chunk_by(|a, b| a.variance == b.variance) {
            let start = footprints.last().map_or(0, |(_, places): &(f64, Range<usize>)| places.end);
            footprints.push((run[0].variance, start..start + run.len()));
        }
        let prepare = |source, waves: &Waves| PreparedWaves::new(source, waves, size, &grid, &places);
        let (wear, map, waves) = match surface {
            Surface::Worn(wear) => {
                let waves = [(source::LONG_WAVES, &wear.long_wave), (source::WAVINESS, &wear.waviness)];
                (
                    Some(wear.clone()),
                    None,
                    waves.map(|(name, waves)| prepare(name, waves)).into_iter().flatten().collect(),
                )
            }
            Surface::Measured(map) => {
                let points: Vec<_> = map.points.iter().map(|&[x, y, _]| [x, y]).collect();
                let spline = SurfaceSpline::new(&points)?;
                let weights = |all: &mut dyn Iterator<Item = [f64; 2]>| {
                    transposed(&all.map(|at| spline.weights(at)).collect::<Vec<_>>())
                };
                let prepared = PreparedMap {
                    heights: map.points.iter().map(|&[_, _, height]| height).collect(),
                    standard_uncertainty: map.standard_uncertainty,
                    on_grid: weights(&mut grid.points().into_iter()),
                    at_places: weights(&mut places.iter().map(|place| place.at)),
                };
                (None, Some(prepared), prepare(source::WAVINESS, &map.waviness).into_iter().collect())
            }
        };
        Some(Self { size, grid, places, footprints, wear, map, waves })
    }

    /// The same surface, drawn at its places only.
    pub fn without_grid(&self) -> Self {
        let mut only = self.clone();
        only.grid = Grid { x: Vec::new(), y: Vec::new() };
        for waves in &mut only.waves {
            waves.on_x.iter_mut().chain(&mut waves.on_y).for_each(Vec::clear);
        }
        if let Some(map) = &mut only.map {
            map.on_grid.clear();
        }
        only
    }

    /// The grid whose heights are drawn.
    pub fn grid(&self) -> &Grid {
        &self.grid
    }

    /// The places whose heights are drawn.
    pub fn places(&self) -> &[Place] {
        &self.places
    }

    /// The names of all sources this surface draws from, in the order reports list them.
    pub fn sources(&self) -> Vec<&'static str> {
        let mut names = Vec::new();
        if self.wear.is_some() {
            names.extend([source::AMOUNT, source::MIDDLE, source::FRONT_EDGE, source::DIPS, source::TWIST]);
        }
        if self.map.is_some() {
            names.push(source::MAP);
        }
        names.extend(self.waves.iter().map(|waves| waves.source));
        names
    }

    /// Opens the streams of all sources.
    pub fn open(&self, streams: &Streams) -> LandscapeSources {
        LandscapeSources {
            amount: streams.source(source::AMOUNT),
            middle: streams.source(source::MIDDLE),
            front_edge: streams.source(source::FRONT_EDGE),
            dips: streams.source(source::DIPS),
            twist: streams.source(source::TWIST),
            map: streams.source(source::MAP),
            waves: self.waves.iter().map(|waves| streams.source(waves.source)).collect(),
        }
    }

    /// The plate's length and width, in mm.
    pub fn size(&self) -> [f64; 2] {
        self.size
    }

    /// The wear it is drawn from, where it is not a measured map.
    pub fn wear(&self) -> Option<&Wear> {
        self.wear.as_ref()
    }

    /// The measured map, where it is one.
    pub fn map(&self) -> Option<&PreparedMap> {
        self.map.as_ref()
    }

    /// The fields of waves, in the order they are drawn.
    pub fn waves(&self) -> &[PreparedWaves] {
        &self.waves
    }

    /// The heights of a surface that is given, not drawn, on the grid and at the places.
    ///
    /// `bumps` as they lie, `twist` in µm at the corners, `coefficients` of all cosines in µm (field
    /// after field, each in its basis's order), then the heights of the map's points where there is
    /// a map.
    pub fn compose(&self, bumps: &[Bump], twist: f64, coefficients: &[f64], into: &mut Drawn) {
        into.profiles_x.clear();
        into.profiles_y.clear();
        into.at_places.fill(0.0);
        into.bumps.clear();
        into.bumps.extend_from_slice(bumps);
        self.add_bumps(into);
        if twist != 0.0 {
            self.add_twist(twist, into);
        }
        let mut rest = coefficients;
        for waves in &self.waves {
            let (of_field, after) = rest.split_at(waves.basis.n_modes());
            waves.add(of_field, into);
            rest = after;
        }
        let Drawn { on_grid, profiles_x, profiles_y, .. } = into;
        sum_of_products(profiles_x, profiles_y, self.grid.x.len(), on_grid);
        if let Some(map) = &self.map {
            map.add(rest, into);
        }
    }

    /// Memory to draw into.
    pub fn scratch(&self) -> Drawn {
        let largest =
            |axis: usize| self.waves.iter().map(|w| w.basis.n_wave_numbers()[axis]).max().unwrap_or(0);
        Drawn {
            on_grid: vec![0.0; self.grid.n_nodes()],
            at_places: vec![0.0; self.places.len()],
            bumps: Vec::new(),
            profiles_x: Vec::new(),
            profiles_y: Vec::new(),
            amplitudes: [vec![0.0; largest(0)], vec![0.0; largest(1)]],
            coefficients: Vec::new(),
        }
    }

    /// Draws the surface of one trial.
    pub fn draw(&self, sources: &LandscapeSources, trial: u64, into: &mut Drawn) {
        into.profiles_x.clear();
        into.profiles_y.clear();
        into.at_places.fill(0.0);
        let mut amount = 1.0;
        if let Some(wear) = &self.wear {
            amount = wear.amount.draw(&mut sources.amount.trial(trial));
            let twist = self.draw_wear(wear, amount, sources, trial, &mut into.bumps);
            self.add_bumps(into);
            self.add_twist(twist, into);
        }
        for (waves, source) in self.waves.iter().zip(&sources.waves) {
            waves.draw(if waves.is_wear() { amount } else { 1.0 }, &mut source.trial(trial), into);
        }
        let Drawn { on_grid, profiles_x, profiles_y, .. } = into;
        sum_of_products(profiles_x, profiles_y, self.grid.x.len(), on_grid);
        if let Some(map) = &self.map {
            map.draw(&mut sources.map.trial(trial), into);
        }
    }

    /// Draws dips into `bumps` and returns the twist, in µm at the corners.
    fn draw_wear(
        &self,
        wear: &Wear,
        amount: f64,
        sources: &LandscapeSources,
        trial: u64,
        bumps: &mut Vec<Bump>,
    ) -> f64 {
        bumps.clear();
        let draws = &mut sources.middle.trial(trial);
        let middle = &wear.middle;
        bumps.push(Bump {
            height: -amount * middle.depth.draw(draws),
            centre: [middle.x.draw(draws), middle.y.draw(draws)],
            sigma: [middle.half_length.draw(draws), middle.half_width.draw(draws)],
        });
        let draws = &mut sources.front_edge.trial(trial);
        let front = &wear.front_edge;
        bumps.push(Bump {
            height: -amount * front.depth.draw(draws),
            centre: [front.x.draw(draws), 0.0],
            sigma: [front.half_length.draw(draws), front.reach.draw(draws)],
        });
        let draws = &mut sources.dips.trial(trial);
        for dip in wear.dips.iter().filter(|dip| dip.place.n_spots() > 0) {
            let there = draws.random::<f64>() < dip.chance;
            let spot = draws.random_range(0..dip.place.n_spots());
            let depth = dip.depth.draw(draws);
            let radius = dip.radius.draw(draws);
            let distances = dip.place.distances().map(|distance| distance.draw(draws));
            if there {
                let centre = dip.place.centre(spot, distances, self.size);
                bumps.push(Bump { height: -depth, centre, sigma: [radius, radius] });
            }
        }
        bumps.retain(|bump| bump.height != 0.0);
        amount * wear.twist.draw(&mut sources.twist.trial(trial))
    }

    fn add_bumps(&self, into: &mut Drawn) {
        for bump in &into.bumps {
            let profile = |axis: usize| {
                let (centre, factor) = (bump.centre[axis], -0.5 / (bump.sigma[axis] * bump.sigma[axis]));
                move |v: &f64| {
                    let distance = v - centre;
                    libm::exp(factor * distance * distance)
                }
            };
            into.profiles_x.extend(self.grid.x.iter().map(profile(0)).map(|value| bump.height * value));
            into.profiles_y.extend(self.grid.y.iter().map(profile(1)));
            for (variance, run) in &self.footprints {
                let seen = bump.widened(*variance);
                let factors = seen.sigma.map(|sigma| -0.5 / (sigma * sigma));
                for (place, height) in self.places[run.clone()].iter().zip(&mut into.at_places[run.clone()]) {
                    let [u, v] = [place.at[0] - seen.centre[0], place.at[1] - seen.centre[1]];
                    *height += seen.height * libm::exp(factors[0] * u * u + factors[1] * v * v);
                }
            }
        }
    }

    fn add_twist(&self, corner_height: f64, into: &mut Drawn) {
        // z = twist · 4 (x/L − ½)(y/W − ½)
        let [length, width] = self.size;
        let x = |x: f64| 2.0 * corner_height * (x / length - 0.5);
        let y = |y: f64| 2.0 * (y / width - 0.5);
        into.profiles_x.extend(self.grid.x.iter().map(|&v| x(v)));
        into.profiles_y.extend(self.grid.y.iter().map(|&v| y(v)));
        for (place, height) in self.places.iter().zip(&mut into.at_places) {
            *height += x(place.at[0]) * y(place.at[1]);
        }
    }
}

impl Drawn {
    /// Makes every height so many times as high.
    pub fn scale(&mut self, factor: f64) {
        let bumps = self.bumps.iter_mut().map(|bump| &mut bump.height);
        self.on_grid.iter_mut().chain(&mut self.at_places).chain(bumps).for_each(|height| *height *= factor);
    }
}

impl PreparedWaves {
    /// `None` where the field is nothing.
    fn new(
        source: &'static str,
        waves: &Waves,
        size: [f64; 2],
        grid: &Grid,
        places: &[Place],
    ) -> Option<Self> {
        if waves.standard_deviation == (Distribution::Constant { value: 0.0 }) {
            return None;
        }
        let basis = FieldBasis::new(size, waves);
        let along = |axis: usize, nodes: &[f64]| {
            let at_nodes: Vec<_> = nodes.iter().map(|&v| basis.axis_values(axis, v, 0.0)).collect();
            let rows = 0..basis.n_wave_numbers()[axis];
            rows.map(|k| at_nodes.iter().map(|values| values[k]).collect()).collect()
        };
        let (on_x, on_y) = (along(0, &grid.x), along(1, &grid.y));
        let at_places =
            transposed(&places.iter().map(|p| basis.values(p.at, p.variance)).collect::<Vec<_>>());
        Some(Self { source, waves: waves.clone(), basis, on_x, on_y, at_places })
    }

    /// What is known of the field.
    pub fn waves(&self) -> &Waves {
        &self.waves
    }

    /// The cosines it is made of.
    pub fn basis(&self) -> &FieldBasis {
        &self.basis
    }

    /// Every mode's value at every place, footprints averaged: `[mode][place]`, flat.
    pub fn at_places(&self) -> &[f64] {
        &self.at_places
    }

    /// Whether it grows with the amount of wear, as waviness from lapping and scraping does not.
    pub fn is_wear(&self) -> bool {
        self.source == source::LONG_WAVES
    }

    fn draw(&self, factor: f64, draws: &mut Draws, into: &mut Drawn) {
        let standard_deviation = factor * self.waves.standard_deviation.draw(draws);
        let length = self.waves.correlation_length.draw(draws);
        let [n_x, n_y] = self.basis.n_wave_numbers();
        let [along_x, along_y] = &mut into.amplitudes;
        self.basis.axis_amplitudes(0, length, &mut along_x[..n_x]);
        self.basis.axis_amplitudes(1, length, &mut along_y[..n_y]);
        into.coefficients.clear();
        into.coefficients.extend(self.basis.modes().iter().map(|&[i, j]| {
            let deviate: f64 = StandardNormal.sample(draws);
            standard_deviation * along_x[i] * along_y[j] * deviate
        }));
        let coefficients = std::mem::take(&mut into.coefficients);
        self.add(&coefficients, into);
        into.coefficients = coefficients;
    }

    /// Adds the field of the given coefficients (µm): its heights at the places, its profiles.
    fn add(&self, coefficients: &[f64], into: &mut Drawn) {
        add_weighted(coefficients, &self.at_places, &mut into.at_places);
        // Modes are sorted by their wave number along y: one profile along x for each of these.
        let nodes = self.on_x.first().map_or(0, Vec::len);
        let modes = self.basis.modes();
        let mut rest = coefficients;
        for run in modes.chunk_by(|a, b| a[1] == b[1]) {
            let (of_run, after) = rest.split_at(run.len());
            let start = into.profiles_x.len();
            into.profiles_x.resize(start + nodes, 0.0);
            let rows = run.iter().map(|&[i, _]| self.on_x[i].as_slice());
            add_weighted_rows(of_run, rows, &mut into.profiles_x[start..]);
            into.profiles_y.extend_from_slice(&self.on_y[run[0][1]]);
            rest = after;
        }
    }
}

impl PreparedMap {
    /// Measured heights of its points, in µm.
    pub fn heights(&self) -> &[f64] {
        &self.heights
    }

    /// Standard uncertainty of each, in µm.
    pub fn standard_uncertainty(&self) -> f64 {
        self.standard_uncertainty
    }

    /// Weight of every point's height at every place: `[point][place]`, flat.
    pub fn at_places(&self) -> &[f64] {
        &self.at_places
    }

    fn draw(&self, draws: &mut Draws, into: &mut Drawn) {
        into.coefficients.clear();
        into.coefficients.extend(self.heights.iter().map(|height| {
            let deviate: f64 = StandardNormal.sample(draws);
            height + self.standard_uncertainty * deviate
        }));
        let coefficients = std::mem::take(&mut into.coefficients);
        self.add(&coefficients, into);
        into.coefficients = coefficients;
    }

    /// Adds the surface through points of the given heights (µm).
    fn add(&self, heights: &[f64], into: &mut Drawn) {
        add_weighted(heights, &self.on_grid, &mut into.on_grid);
        add_weighted(heights, &self.at_places, &mut into.at_places);
    }
}

/// `[place][term]` to `[term][place]`, flat.
fn transposed(rows: &[Vec<f64>]) -> Vec<f64> {
    let n_terms = rows.first().map_or(0, Vec::len);
    (0..n_terms).flat_map(|term| rows.iter().map(move |row| row[term])).collect()
}

/// `sums += Σ_k weights[k] rows[k]`, rows flat.
fn add_weighted(weights: &[f64], rows: &[f64], sums: &mut [f64]) {
    if !sums.is_empty() {
        add_weighted_rows(weights, rows.chunks_exact(sums.len()), sums);
    }
}

/// `sums += Σ_k weights[k] rows[k]`, term after term; the sums of a tile stay in registers the while.
fn add_weighted_rows<'a>(weights: &[f64], rows: impl Iterator<Item = &'a [f64]> + Clone, sums: &mut [f64]) {
    let (tiles, rest) = sums.as_chunks_mut::<TILE>();
    let after = tiles.len() * TILE;
    for (tile, kept) in tiles.iter_mut().enumerate() {
        let mut sums = *kept;
        for (weight, row) in weights.iter().zip(rows.clone()) {
            for (sum, value) in sums.iter_mut().zip(&row[tile * TILE..][..TILE]) {
                *sum += weight * value;
            }
        }
        *kept = sums;
    }
    if rest.is_empty() {
        return;
    }
    for (weight, row) in weights.iter().zip(rows) {
        for (sum, value) in rest.iter_mut().zip(&row[after..]) {
            *sum += weight * value;
        }
    }
}

/// `heights[b][a] = Σ_k x[k][a] · y[k][b]`, all flat, `n_x` nodes along x.
///
/// The sums of a tile of nodes stay in registers while all products are added to them; the last
/// tile of a row may overlap the one before, which computes the same sums again.
fn sum_of_products(x: &[f64], y: &[f64], n_x: usize, heights: &mut [f64]) {
    if heights.is_empty() {
        return;
    }
    let n_y = heights.len() / n_x;
    for (b, row) in heights.chunks_exact_mut(n_x).enumerate() {
        if n_x < TILE {
            for (a, height) in row.iter_mut().enumerate() {
                let products = x.chunks_exact(n_x).zip(y.chunks_exact(n_y));
                *height = products.map(|(profile, along_y)| along_y[b] * profile[a]).sum();
            }
            continue;
        }
        for start in (0..n_x).step_by(TILE).map(|start| start.min(n_x - TILE)) {
            let mut sums = [0.0; TILE];
            for (profile, along_y) in x.chunks_exact(n_x).zip(y.chunks_exact(n_y)) {
                let factor = along_y[b];
                for (sum, value) in sums.iter_mut().zip(&profile[start..start + TILE]) {
                    *sum += factor * value;
                }
            }
            row[start..start + TILE].copy_from_slice(&sums);
        }
    }
}

/// Nodes whose sums are kept in registers at a time.
const TILE: usize = 8;
