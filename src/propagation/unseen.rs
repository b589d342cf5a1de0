//! What a set of readings has not looked at: hollows that could lie there and would not show.

use super::{
    check_experiment::CheckExperiment,
    completion::{Plate, Scratch},
    likelihood::{Heights, Observation, ReadingModel, Unreadable, factorise, solve_lower},
    posterior::{CannotJudge, Posterior},
};
use crate::{
    quantity::student::normal_quantile,
    shop::{check::ShopCheck, form::Bump, grid::Grid},
};
use rayon::prelude::*;

/// What a set of readings would notice: the readings' linear effects, and the covariance of their noise.
#[derive(Debug, Clone)]
pub struct Sight {
    model: ReadingModel,
    /// Packed Cholesky factor of the noise, without grains: a hollow under a foot may still be taken for one.
    factor: Vec<f64>,
}

/// Probability with which a hollow of the detectable depth shows, and with which an untouched plate
/// does not show one.
const SURE: f64 = 0.95;

impl Sight {
    /// What these readings of a check would notice, whatever values were read.
    ///
    /// # Errors
    ///
    /// Where an observation cannot be used.
    pub fn new(experiment: &CheckExperiment, observations: &[Observation]) -> Result<Self, Unreadable> {
        let model = ReadingModel::new(experiment, observations)?;
        let mut factor = model.typical_noise();
        factorise(&mut factor, model.n());
        Ok(Self { model, factor })
    }

    /// The smallest depth (µm) of a hollow at `centre` (mm), of one-sigma radii `sigma` (mm), that
    /// shows: it moves the readings so far that 95 of 100 such plates are told from 95 of 100 without
    /// it, all else being known. Infinite where it moves no reading.
    ///
    /// With effects `e` of 1 µm on the readings and their noise `Σ` that is
    /// `2 · 1.645 / √(eᵀ Σ⁻¹ e)`, the minimum detectable value of ISO 11843-1:1997. Since `Σ` holds
    /// what the seat of the feet does to all readings at once, a foot looks at its own spot less
    /// sharply than the block at a target.
    pub fn detectable_depth(&self, centre: [f64; 2], sigma: [f64; 2]) -> f64 {
        let mut effects = vec![0.0; self.model.n()];
        self.model.profile(&Bump { height: -1.0, centre, sigma }, &mut Heights::default(), &mut effects);
        solve_lower(&self.factor, &mut effects);
        2.0 * normal_quantile(SURE) / effects.iter().map(|e| e * e).sum::<f64>().sqrt()
    }
}

/// What readings have not looked at.
#[derive(Debug, Clone)]
pub struct Unseen {
    /// The depth (µm) that matters: the tolerance, or the estimated flatness deviation without one.
    pub depth: f64,
    /// Nodes over the working surface, evenly spread.
    pub grid: Grid,
    /// Round hollows of each size that was asked for, in that order.
    pub hollows: Vec<Hidden>,
    /// Share of the plates left by the readings that are out of tolerance, but would be within without
    /// the hollows whose centre, for a hollow of that size, was not looked at; `None` without a tolerance.
    pub turned: Option<f64>,
    /// Where to read so as to look at most of those hollows (mm), best first.
    pub places: Vec<[f64; 2]>,
}

/// Round hollows of one size.
#[derive(Debug, Clone, PartialEq)]
pub struct Hidden {
    /// One-sigma radius, in mm.
    pub radius: f64,
    /// Detectable depth (µm) at each node, in the order of [`Grid::points`].
    pub detectable: Vec<f64>,
    /// Share of the working surface in which one of depth [`Unseen::depth`] would not show.
    pub share: f64,
    /// Where it hides best, in mm.
    pub at: [f64; 2],
    /// Detectable depth there, in µm: the deepest that could lie on the plate unseen.
    pub deepest: f64,
}

/// How many places to read next are named.
const N_PLACES: usize = 3;
/// How many nodes stand along the plate's longer side.
const NODES: usize = 49;

impl Unseen {
    /// What these readings of a check have not looked at: hollows of the given one-sigma radii (mm),
    /// and what the plates of the posterior that the readings leave hold there.
    ///
    /// # Errors
    ///
    /// As for the posterior itself.
    pub fn of(
        check: &ShopCheck,
        observations: &[Observation],
        posterior: &Posterior,
        radii: &[f64],
        tolerance: Option<f64>,
    ) -> Result<Self, CannotJudge> {
        let experiment = CheckExperiment::new(check).map_err(CannotJudge::Check)?;
        let sight = Sight::new(&experiment, observations).map_err(CannotJudge::Readings)?;
        let mean = posterior.flatness.iter().sum::<f64>() / posterior.flatness.len() as f64;
        let depth = tolerance.unwrap_or(mean);
        let grid = even_grid(check.plate.working_surface());
        let looked = looked_at(check, observations);
        let hollows = radii.iter().map(|&radius| Hidden::of(&sight, &grid, &looked, radius, depth)).collect();
        let turning = tolerance.map(|tolerance| turning(&sight, posterior, tolerance));
        let places = turning.as_deref().map_or_else(Vec::new, |turning| places(check, &grid, turning));
        let turned = turning.map(|turning| turning.len() as f64 / posterior.plates.len().max(1) as f64);
        Ok(Self { depth, grid, hollows, turned, places })
    }

    /// The hollow to be named, and where it would lie: the widest that hides where it would turn the
    /// verdict most often, or else where it hides best. `None` where each would show wherever it lay.
    pub fn named(&self) -> Option<(&Hidden, [f64; 2], f64)> {
        let wide_first = || self.hollows.iter().rev().filter(|hollow| hollow.share > 0.0);
        let turning = wide_first().find_map(|hollow| {
            let at = self.places.first()?;
            let node = self.nearest_node(*at);
            (hollow.detectable[node] > self.depth).then(|| (hollow, *at, hollow.detectable[node]))
        });
        turning.or_else(|| {
            // A strip no wider than a pencil is not worth a sentence if a smaller hollow has more room.
            let found = wide_first().find(|hollow| hollow.share > 0.02).or_else(|| wide_first().next());
            found.map(|hollow| (hollow, hollow.at, hollow.deepest))
        })
    }

    fn nearest_node(&self, at: [f64; 2]) -> usize {
        let nearest = |nodes: &[f64], v: f64| {
            let distance = |i: &usize| (nodes[*i] - v).abs();
            (0..nodes.len()).min_by(|a, b| distance(a).total_cmp(&distance(b))).unwrap_or(0)
        };
        nearest(&self.grid.y, at[1]) * self.grid.x.len() + nearest(&self.grid.x, at[0])
    }
}

impl Hidden {
    fn of(sight: &Sight, grid: &Grid, looked: &[[f64; 2]], radius: f64, depth: f64) -> Self {
        let points = grid.points();
        let detectable: Vec<f64> =
            points.par_iter().map(|&at| sight.detectable_depth(at, [radius; 2])).collect();
        let weight = |i: usize, n: usize| if i == 0 || i + 1 == n { 0.5 } else { 1.0 };
        let (n_x, n_y) = (grid.x.len(), grid.y.len());
        let (mut hidden, mut all) = (0.0, 0.0);
        for (i, &detectable) in detectable.iter().enumerate() {
            let weight = weight(i % n_x, n_x) * weight(i / n_x, n_y);
            all += weight;
            hidden += if detectable > depth { weight } else { 0.0 };
        }
        // Far from all readings every depth is hidden: then the farthest place.
        let away =
            |i: usize| looked.iter().map(|spot| distance(points[i], *spot)).fold(f64::INFINITY, f64::min);
        let far = (0..points.len()).max_by(|&a, &b| {
            let beyond = |i: usize| detectable[i].min(1000.0 * depth);
            beyond(a).total_cmp(&beyond(b)).then(away(a).total_cmp(&away(b)))
        });
        let far = far.unwrap_or(0);
        Self { radius, share: hidden / all, at: points[far], deepest: detectable[far], detectable }
    }
}

/// Hollows that turn a plate, plate by plate: those of a plate that is out with them and within without.
fn turning(sight: &Sight, posterior: &Posterior, tolerance: f64) -> Vec<Vec<Bump>> {
    let plates = posterior.plates.par_iter().zip(&posterior.plate_flatness);
    let out = plates.filter(|(_, flatness)| **flatness > tolerance).map(|(plate, _)| plate);
    out.map_init(
        || Scratch::new(&sight.model),
        |scratch, plate| {
            let is_hidden = |bump: &Bump| -> bool {
                bump.height < 0.0 && sight.detectable_depth(bump.centre, bump.sigma) > tolerance
            };
            let (hidden, seen): (Vec<Bump>, Vec<Bump>) = plate.bumps.iter().copied().partition(is_hidden);
            if hidden.is_empty() {
                return None;
            }
            let without = Plate { bumps: seen, ..plate.clone() };
            (without.lay_out(&sight.model, scratch) <= tolerance).then_some(hidden)
        },
    )
    .flatten()
    .collect()
}

/// The places from which most turning hollows lie no farther than their own radius, one after the
/// other, each counting the plates that those before it leave.
fn places(check: &ShopCheck, grid: &Grid, turning: &[Vec<Bump>]) -> Vec<[f64; 2]> {
    let clearance = check.gauge_block.face[0].max(check.gauge_block.face[1]) / 2.0;
    let open: Vec<[f64; 2]> =
        grid.points().into_iter().filter(|&at| check.plate.holds(at, clearance)).collect();
    let looks_at = |at: [f64; 2], bumps: &[Bump]| {
        bumps.iter().any(|bump| {
            let [u, v] = [0, 1].map(|axis| (at[axis] - bump.centre[axis]) / bump.sigma[axis]);
            u * u + v * v <= 1.0
        })
    };
    let mut left: Vec<&[Bump]> = turning.iter().map(Vec::as_slice).collect();
    let mut chosen = Vec::new();
    while chosen.len() < N_PLACES {
        let found = open
            .par_iter()
            .map(|&at| (left.iter().filter(|bumps| looks_at(at, bumps)).count(), at))
            .collect::<Vec<_>>();
        // The first of equals, so that threads do not matter.
        let best = found.into_iter().rev().max_by_key(|(count, _)| *count);
        let Some((count, at)) = best else { break };
        // A place that would look at fewer than one in twenty of them is not worth a walk.
        if count == 0 || 20 * count < turning.len() {
            break;
        }
        left.retain(|bumps| !looks_at(at, bumps));
        chosen.push(at);
    }
    chosen
}

/// Every spot that was under the block or a foot.
fn looked_at(check: &ShopCheck, observations: &[Observation]) -> Vec<[f64; 2]> {
    let readings = observations.iter().filter_map(|o| check.survey.readings.get(o.reading));
    readings.flat_map(|reading| reading.feet.into_iter().chain([reading.target])).collect()
}

fn distance(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(a[0] - b[0], a[1] - b[1])
}

fn even_grid(surface: [[f64; 2]; 2]) -> Grid {
    let sides = surface.map(|[low, high]| high - low);
    let step = sides[0].max(sides[1]) / (NODES - 1) as f64;
    let [x, y] = [0, 1].map(|axis| {
        let n = (sides[axis] / step).round().max(2.0) as usize;
        (0..=n).map(|i| surface[axis][0] + sides[axis] * i as f64 / n as f64).collect::<Vec<f64>>()
    });
    Grid { x, y }
}
