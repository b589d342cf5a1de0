//! What certificates, shop checks and resurfacings say of how a plate wears.
//!
//! The state of a plate is its flatness deviation, on a grid, and the class of its form (see
//! [`SpreadLaw`]). It moves by the gamma process of [`WearProcess`] between dates and is weighted by
//! the likelihood of what was found at each: an exact filter and smoother on a grid (the forward-backward
//! recursions of a hidden Markov model: Rabiner, Proc. IEEE 77, 1989, 257-286), run once for each of a grid of
//! rates and of unevennesses, which are weighted by how well they predict the history. Nothing is drawn at random.

use super::spread_law::{N_CLASSES, SpreadLaw};
use crate::{
    quantity::student::{normal_cumulative, normal_quantile},
    shop::wear_over_time::WearProcess,
};
use libm::{exp, log, sqrt};
use rayon::prelude::*;
use std::f64::consts::PI;

/// Something found or done on a date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// When, in years from a date common to all plates.
    pub years: f64,
    /// What.
    pub evidence: Evidence,
}

/// What was found or done. Heights in µm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Evidence {
    /// A calibration certificate's flatness deviation, independent of all other evidence.
    Certificate(Known),
    /// A flatness deviation inferred from the readings of a shop check: its likelihood, without the setup's
    /// own expectation. Half of its variance is taken to be form that no reading sees, which stays the
    /// same from check to check until the plate is resurfaced (an assumption).
    Judged(Known),
    /// The spread of a shop check.
    Spread(f64),
    /// A resurfacing, and the flatness deviation it left.
    Resurfaced(Known),
}

/// What is known of a flatness deviation at one date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Known {
    /// Normal.
    Normal {
        /// The estimate, in µm.
        estimate: f64,
        /// Its standard uncertainty, in µm.
        standard_uncertainty: f64,
    },
    /// Between two limits (µm) and nothing more.
    Rectangular {
        /// The lower; may be below 0 where U exceeds the value, since it is also where findings lie.
        low: f64,
        /// The upper.
        high: f64,
    },
}

/// What is assumed of wear before any history is seen.
#[derive(Debug, Clone, PartialEq)]
pub struct WearPrior {
    /// Median rate of all shops' plates, in µm a year.
    pub median_rate: f64,
    /// Standard deviation of the logarithm of the shop's own median rate about that.
    pub between_shops: f64,
    /// Standard deviation of the logarithm of a plate's rate about its shop's.
    pub between_plates: f64,
    /// Unevennesses (µm), each as probable as the others.
    pub unevenness: Vec<f64>,
}

impl WearPrior {
    /// Standard deviation of the logarithm of a plate's rate where nothing is known of its shop.
    fn deviation(&self) -> f64 {
        sqrt(square(self.between_shops) + square(self.between_plates))
    }
}

impl Default for WearPrior {
    /// Half a micrometre a year, within a factor of three (one standard deviation) from shop to shop and plate
    /// to plate: an inch plate of grade A then wears through half its tolerance in five years. Common practice, no
    /// source.
    fn default() -> Self {
        Self { median_rate: 0.5, between_shops: 0.9, between_plates: 0.6, unevenness: vec![0.02, 0.1, 0.5] }
    }
}

/// Plates that one setup describes, with all that is known of them.
#[derive(Debug, Clone)]
pub struct History<'a> {
    /// Each plate's events, in order of time.
    pub plates: Vec<Vec<Event>>,
    /// How much each plate is used, over the usual; usual where the list ends. Wear goes with use.
    pub usage: Vec<f64>,
    /// Today, in the events' years; not before any of them.
    pub today: f64,
    /// What spreads mean; needed where there is one.
    pub law: Option<&'a SpreadLaw>,
    /// Flatness deviations (µm) that plates of the setup have, at the first date of a plate.
    pub population: &'a [f64],
    /// Largest flatness deviation of interest, in µm, such as twice the tolerance: how far the grid reaches at
    /// first. It is made wider where a history needs it, and no answer depends on it.
    pub highest: f64,
    /// The rest.
    pub prior: WearPrior,
}

/// What a plate's history leaves open.
#[derive(Debug, Clone)]
pub struct PlateWear {
    /// Distance of the nodes of flatness, in µm; node i stands for i times this, the last for all that is more.
    pub spacing: f64,
    /// How the plate may wear, with the state it then is in today.
    pub hypotheses: Vec<Hypothesis>,
    /// Mean and 95 % interval of the rate, in µm a year.
    pub rate: Interval,
    /// The flatness deviation today, in µm.
    pub today: Interval,
    /// Each event's own word, and what all of the history together says of that date.
    pub events: Vec<EventFit>,
    /// Years from the last event to today.
    since: f64,
    /// Whether the states' classes are those of spreads (they run fastest).
    tells_spread_classes: bool,
}

/// One way in which the plate may wear.
#[derive(Debug, Clone)]
pub struct Hypothesis {
    /// The process.
    pub process: WearProcess,
    /// Its probability, given the history.
    pub probability: f64,
    /// Probabilities of flatness and class today, `[class][node]`, flat; they add up to 1.
    pub state: Vec<f64>,
    /// Probabilities of the flatness on the nodes after the last event.
    last: Vec<f64>,
}

/// Mean and 95 % interval (probabilistically symmetric).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// The estimate.
    pub mean: f64,
    /// Lower and upper end.
    pub ends: [f64; 2],
}

/// An event beside the rest of the history. Heights in µm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EventFit {
    /// The flatness deviation by this event alone.
    pub alone: Interval,
    /// The flatness deviation at this date by all of the history, after a resurfacing if this is one.
    pub fitted: Interval,
    /// Probability of a finding at least as far from what the history before it predicts; `None` for a
    /// resurfacing.
    pub p_value: Option<f64>,
}

/// A finding less likely than this in view of those before it contradicts them.
const CONTRADICTORY: f64 = 1e-6;
/// One less likely than this is not averaged with them: each may be the wrong one. Where all are right, one finding in a
/// thousand is so.
pub const DOUBTFUL: f64 = 1e-3;
/// Most ways to read a history that contradicts itself.
const MOST_READINGS: usize = 8;

/// Nodes of flatness.
const N_NODES: usize = 240;
/// Rates that are tried first, to see where the history allows any, and then.
const COARSE: usize = 15;
const FINE: usize = 23;
/// The rates tried first reach so many standard deviations either way.
const REACH: f64 = 3.3;
/// Shops' median rates.
const N_PACES: usize = 31;
/// Probability of a plate unlike all that the setup describes: no certificate may count as impossible.
pub const UNFORESEEN: f64 = 0.05;
/// Mean flatness deviation of such plates, over that of the described ones.
pub const UNFORESEEN_MEAN: f64 = 2.0;
/// Less than this of a state or a hypothesis is left out.
const NEGLIGIBLE: f64 = 1e-12;
/// Ways of wearing that are less likely than this are left out; all of them together hold less than 1e-4.
const UNLIKELY: f64 = 1e-6;
/// Probability at the last node, after any event, from which on the grid is made twice as wide, and how often.
const TOO_HIGH: f64 = 1e-3;
const N_WIDER: usize = 6;
/// How often the rates are set closer.
const N_CLOSER: usize = 3;
/// Coverage probability of all intervals.
const COVERAGE: f64 = 0.95;

/// Fits every plate's wear to its history, and the shop's pace to all.
///
/// The result is the same for any number of threads. Spreads are passed over where no law is given.
pub fn fit(history: &History) -> Vec<PlateWear> {
    let shop = Shop::new(std::slice::from_ref(history));
    (0..shop.n_plates()).into_par_iter().map(|plate| shop.fit(plate)).collect()
}

/// All plates of a shop together, whatever their setups, and what they say of its pace.
pub struct Shop<'a> {
    plates: Vec<ShopPlate<'a>>,
    paces: Paces,
}

/// One plate of a shop.
struct ShopPlate<'a> {
    history: &'a History<'a>,
    events: &'a [Event],
    /// Logarithm of how much it is used, over the usual.
    log_usage: f64,
    grid: Grid,
    /// The evidence on the grid for each of the [`coarse_rates`].
    evidence: Vec<f64>,
}

/// Logarithms of the rates that are tried first on a plate that is used so much.
fn coarse_rates(prior: &WearPrior, log_usage: f64) -> Vec<f64> {
    let (centre, reach) = (log(prior.median_rate) + log_usage, REACH * prior.deviation());
    spaced(centre - reach, centre + reach, COARSE)
}

impl<'a> Shop<'a> {
    /// Goes once through every plate's history. Plates are counted through the histories, which share the first one's
    /// prior.
    pub fn new(histories: &'a [History<'a>]) -> Self {
        let plate = |history: &'a History<'a>, index: usize| {
            let log_usage = history.usage.get(index).map_or(0.0, |usage| log(*usage));
            let events = &history.plates[index][..];
            let (grid, evidence) = wide_enough(history, events, log_usage);
            ShopPlate { history, events, log_usage, grid, evidence }
        };
        let all: Vec<(&History, usize)> = histories
            .iter()
            .flat_map(|history| (0..history.plates.len()).map(move |index| (history, index)))
            .collect();
        let plates: Vec<ShopPlate> =
            all.into_par_iter().map(|(history, index)| plate(history, index)).collect();
        let evidence: Vec<&[f64]> = plates.iter().map(|plate| plate.evidence.as_slice()).collect();
        let prior = histories.first().map_or_else(WearPrior::default, |history| history.prior.clone());
        let paces = Paces::new(&prior, &coarse_rates(&prior, 0.0), &evidence);
        Self { plates, paces }
    }

    /// How many plates there are.
    pub fn n_plates(&self) -> usize {
        self.plates.len()
    }

    /// A plate's events.
    pub fn events(&self, plate: usize) -> &'a [Event] {
        self.plates[plate].events
    }

    /// Fits a plate's wear to its history.
    pub fn fit(&self, plate: usize) -> PlateWear {
        let ShopPlate { events, grid, evidence, .. } = &self.plates[plate];
        self.fit_on(plate, events, grid, evidence)
    }

    /// The same with other events in place of the plate's own; the other plates say what they said.
    fn fit_otherwise(&self, plate: usize, events: &[Event]) -> PlateWear {
        let of = &self.plates[plate];
        let (grid, evidence) = wide_enough(of.history, events, of.log_usage);
        self.fit_on(plate, events, &grid, &evidence)
    }

    fn fit_on(&self, plate: usize, events: &[Event], grid: &Grid, evidence: &[f64]) -> PlateWear {
        let of = &self.plates[plate];
        let coarse = coarse_rates(&of.history.prior, of.log_usage);
        let log_prior = |log_rate: f64| self.paces.log_density(plate, log_rate - of.log_usage);
        let support = support(&coarse, evidence, &log_prior);
        let plate = Plate::new(of.history, events, grid);
        let mut rates = spaced(support[0], support[1], FINE);
        if support[1] - support[0] < 5.0 * (coarse[1] - coarse[0]) {
            // A history that says much: where few rates are left, closer ones.
            for _ in 0..N_CLOSER {
                let fine: Vec<f64> = rates.iter().map(|&log_rate| plate.log_evidence(log_rate)).collect();
                let [low, high] = self::support(&rates, &fine, &log_prior);
                if high - low > 0.6 * (rates[FINE - 1] - rates[0]) {
                    break;
                }
                rates = spaced(low, high, FINE);
            }
        }
        plate.fit(&rates, &log_prior)
    }

    /// The ways in which a plate's history can be read without a contradiction, each with as many of its findings as
    /// go together; one with all of them where none contradicts those before it.
    ///
    /// `None` where there are more than [`MOST_READINGS`] such ways, or not one.
    pub fn readings(&self, plate: usize, whole: PlateWear) -> Option<Vec<Reading>> {
        let mut open = vec![Reading { left_out: Vec::new(), wear: whole }];
        let mut sound: Vec<Reading> = Vec::new();
        let mut tried: Vec<Vec<usize>> = Vec::new();
        let ShopPlate { events, history, .. } = &self.plates[plate];
        while let Some(reading) = open.pop() {
            let Some(finding) = doubtful(events, &reading) else {
                sound.push(reading);
                continue;
            };
            for more in [vec![finding], self.contradicted_by(plate, finding, &reading.left_out)] {
                let mut left_out = [reading.left_out.as_slice(), &more].concat();
                left_out.sort_unstable();
                if !more.is_empty() && !tried.contains(&left_out) {
                    tried.push(left_out.clone());
                    let wear = self.fit_otherwise(plate, &kept(events, &left_out, history.highest));
                    open.push(Reading { wear, left_out });
                }
            }
            if open.len() + sound.len() > MOST_READINGS {
                return None;
            }
        }
        // One that holds all that another holds, and more, makes that one needless.
        let all: Vec<Vec<usize>> = sound.iter().map(|reading| reading.left_out.clone()).collect();
        let holds_more = |a: &[usize], b: &[usize]| a.len() < b.len() && a.iter().all(|k| b.contains(k));
        sound.retain(|reading| !all.iter().any(|other| holds_more(other, &reading.left_out)));
        sound.sort_by(|a, b| a.left_out.cmp(&b.left_out));
        (!sound.is_empty()).then_some(sound)
    }

    /// Which earlier events have to go (beside those that are left out) for one to be likely: the one whose going helps most, or all of them since the
    /// last resurfacing, where no single one is enough.
    pub fn contradicted_by(&self, plate: usize, finding: usize, left_out: &[usize]) -> Vec<usize> {
        let ShopPlate { events, history, .. } = &self.plates[plate];
        let is_resurfacing = |k: &usize| matches!(events[*k].evidence, Evidence::Resurfaced(_));
        let since = (0..finding).rfind(is_resurfacing).unwrap_or(0);
        let earlier: Vec<usize> = (since..finding)
            .filter(|k| !left_out.contains(k) && events[*k].evidence.states_flatness())
            .collect();
        let p_without = |&other: &usize| {
            let out = [left_out, &[other]].concat();
            let wear = self.fit_otherwise(plate, &kept(events, &out, history.highest));
            p_value_of(events, &out, &wear, finding)
        };
        let best = earlier.iter().map(|k| (p_without(k), *k)).max_by(|a, b| a.0.total_cmp(&b.0));
        match best {
            Some((p, k)) if p >= DOUBTFUL => vec![k],
            _ => earlier,
        }
    }
}

/// One way to read a history that contradicts itself.
#[derive(Debug, Clone)]
pub struct Reading {
    /// The events that are left out; of a resurfacing only the flatness deviation that it is said to have left.
    pub left_out: Vec<usize>,
    /// The fit to all others.
    pub wear: PlateWear,
}

impl Evidence {
    /// Whether it speaks of the flatness deviation itself, so that two can contradict each other. A spread never does:
    /// however large, there may have been a grain under a foot.
    fn states_flatness(&self) -> bool {
        !matches!(self, Self::Spread(_))
    }
}

/// What is left of events: of a resurfacing that it was one, with any flatness deviation up to the `highest` (µm).
fn kept(events: &[Event], left_out: &[usize], highest: f64) -> Vec<Event> {
    let anything = Evidence::Resurfaced(Known::Rectangular { low: 0.0, high: highest });
    let kept = events.iter().enumerate().filter_map(|(k, event)| match event.evidence {
        _ if !left_out.contains(&k) => Some(*event),
        Evidence::Resurfaced(_) => Some(Event { evidence: anything, ..*event }),
        _ => None,
    });
    kept.collect()
}

/// Place of an event among those that are [`kept`].
fn place_among_kept(events: &[Event], left_out: &[usize], event: usize) -> usize {
    let is_kept = |k: &usize| !left_out.contains(k) || matches!(events[*k].evidence, Evidence::Resurfaced(_));
    (0..event).filter(is_kept).count()
}

/// The p-value of an event that is kept, 0 where the history before it is impossible.
fn p_value_of(events: &[Event], left_out: &[usize], wear: &PlateWear, event: usize) -> f64 {
    let fit = wear.events[place_among_kept(events, left_out, event)];
    fit.p_value.filter(|p| !p.is_nan()).unwrap_or(0.0)
}

impl Reading {
    /// Each of the history's events beside the fit; `None` for one that is left out.
    pub fn fits(&self, events: &[Event]) -> Vec<Option<EventFit>> {
        let fit = |k: usize| {
            let is_left_out = self.left_out.contains(&k);
            (!is_left_out).then(|| self.wear.events[place_among_kept(events, &self.left_out, k)])
        };
        (0..events.len()).map(fit).collect()
    }
}

/// The finding that goes least with those before it, where its p-value is below [`DOUBTFUL`].
fn doubtful(events: &[Event], reading: &Reading) -> Option<usize> {
    let left_out = &reading.left_out;
    let counts = |k: &usize| !left_out.contains(k) && events[*k].evidence.states_flatness();
    let findings = (0..events.len()).filter(counts).filter(|&k| {
        // The first of them has nothing to contradict but the setup.
        let is_finding = !matches!(events[k].evidence, Evidence::Resurfaced(_));
        is_finding && (0..k).any(|before| counts(&before))
    });
    findings
        .map(|k| (p_value_of(events, left_out, &reading.wear, k), k))
        .filter(|(p, _)| *p < DOUBTFUL)
        .min_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// A grid that holds all flatnesses that a history leaves open, and the evidence on it for each of the
/// [`coarse_rates`].
fn wide_enough(history: &History, events: &[Event], log_usage: f64) -> (Grid, Vec<f64>) {
    let (centre, deviation) = (log(history.prior.median_rate) + log_usage, history.prior.deviation());
    let log_rates = coarse_rates(&history.prior, log_usage);
    let mut grid = Grid::for_plate(history, events);
    for widened in 0.. {
        let plate = Plate::new(history, events, &grid);
        let passes: Vec<(f64, f64)> =
            log_rates.iter().map(|&log_rate| plate.evidence_and_top(log_rate)).collect();
        let weights: Vec<f64> = log_rates
            .iter()
            .zip(&passes)
            .map(|(log_rate, (evidence, _))| evidence - 0.5 * square((log_rate - centre) / deviation))
            .collect();
        let whole = log_sum(&weights);
        let at_top: f64 =
            weights.iter().zip(&passes).map(|(weight, (_, top))| exp(weight - whole) * top).sum();
        // Where the whole history is impossible on this grid it may be possible on a wider one.
        if widened == N_WIDER || at_top < TOO_HIGH {
            return (grid, passes.into_iter().map(|(evidence, _)| evidence).collect());
        }
        grid = grid.wider(history.population);
    }
    unreachable!("the loop ends")
}

fn square(x: f64) -> f64 {
    x * x
}

fn spaced(low: f64, high: f64, n: usize) -> Vec<f64> {
    (0..n).map(|k| low + (high - low) * k as f64 / (n - 1) as f64).collect()
}

/// Where the rates lie that a history does not rule out.
fn support(rates: &[f64], evidence: &[f64], log_prior: &dyn Fn(f64) -> f64) -> [f64; 2] {
    let weights: Vec<f64> = rates.iter().zip(evidence).map(|(&r, e)| log_prior(r) + e).collect();
    let most = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let counts = |weight: &f64| *weight > most - 12.0;
    let first = weights.iter().position(counts).unwrap_or(0).saturating_sub(1);
    let last = weights.iter().rposition(counts).map_or(rates.len() - 1, |k| (k + 1).min(rates.len() - 1));
    [rates[first], rates[last]]
}

/// What the histories of all plates say of the shop's median rate.
struct Paces {
    /// Logarithms of the shop's median rate.
    paces: Vec<f64>,
    between_plates: f64,
    /// For each plate the logarithm of each pace's probability, given the other plates' histories.
    log_weights: Vec<Vec<f64>>,
}

impl Paces {
    fn new(prior: &WearPrior, rates: &[f64], evidence: &[&[f64]]) -> Self {
        let centre = log(prior.median_rate);
        let paces = spaced(centre - 3.0 * prior.between_shops, centre + 3.0 * prior.between_shops, N_PACES);
        let normal = |x: f64, deviation: f64| -0.5 * square(x / deviation);
        // Of each plate, how well each pace predicts it.
        let of_plates: Vec<Vec<f64>> = evidence
            .iter()
            .map(|evidence| {
                let of_pace = |&pace: &f64| {
                    // Normalised over the rates that are tried, so that none gains by its place.
                    let weights: Vec<f64> =
                        rates.iter().map(|&r| normal(r - pace, prior.between_plates)).collect();
                    let both: Vec<f64> = weights.iter().zip(*evidence).map(|(w, e)| w + e).collect();
                    log_sum(&both) - log_sum(&weights)
                };
                paces.iter().map(of_pace).collect()
            })
            .collect();
        let all: Vec<f64> = (0..N_PACES)
            .map(|k| {
                normal(paces[k] - centre, prior.between_shops)
                    + of_plates.iter().map(|plate| plate[k]).sum::<f64>()
            })
            .collect();
        let log_weights = of_plates
            .iter()
            .map(|own| {
                let others: Vec<f64> = all.iter().zip(own).map(|(all, own)| all - own).collect();
                let whole = log_sum(&others);
                others.iter().map(|other| other - whole).collect()
            })
            .collect();
        Self { paces, between_plates: prior.between_plates, log_weights }
    }

    /// Logarithm of the density of the logarithm of a plate's rate, before its own history.
    fn log_density(&self, plate: usize, log_rate: f64) -> f64 {
        let terms: Vec<f64> = self
            .paces
            .iter()
            .zip(&self.log_weights[plate])
            .map(|(pace, weight)| weight - 0.5 * square((log_rate - pace) / self.between_plates))
            .collect();
        log_sum(&terms)
    }
}

/// Logarithm of the sum of exponentials.
fn log_sum(terms: &[f64]) -> f64 {
    let most = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + log(terms.iter().map(|term| exp(term - most)).sum::<f64>())
}

/// The nodes of flatness of one plate, and its density before any evidence.
#[derive(Debug, Clone)]
struct Grid {
    spacing: f64,
    first: Vec<f64>,
    /// Mean flatness deviation (µm) of plates unlike the described ones.
    unforeseen: f64,
}

impl Grid {
    fn for_plate(history: &History, events: &[Event]) -> Self {
        let top = events.iter().fold(history.highest, |top, event| match event.evidence {
            Evidence::Certificate(known) | Evidence::Judged(known) | Evidence::Resurfaced(known) => {
                top.max(1.25 * known.top())
            }
            Evidence::Spread(_) => top,
        });
        let n = history.population.len();
        let mean = history.population.iter().sum::<f64>() / n.max(1) as f64;
        Self::new(top, history.population, UNFORESEEN_MEAN * if mean > 0.0 { mean } else { history.highest })
    }

    fn new(top: f64, population: &[f64], unforeseen: f64) -> Self {
        let spacing = top / (N_NODES - 1) as f64;
        Self { spacing, first: first_density(spacing, population, unforeseen), unforeseen }
    }

    fn wider(&self, population: &[f64]) -> Self {
        Self::new(2.0 * self.spacing * (N_NODES - 1) as f64, population, self.unforeseen)
    }
}

/// The setup's population on the nodes, as a density by kernels (Silverman's width), and a share of plates unlike it.
///
/// That share has the density `2 m² / (m + z)³` of mean m: Lomax's, with a tail so heavy that a certificate outweighs it.
/// Neither depends on the grid but for what a node stands for.
fn first_density(spacing: f64, population: &[f64], unforeseen: f64) -> Vec<f64> {
    let n = population.len() as f64;
    let mut counts = vec![0.0; N_NODES];
    for flatness in population {
        let place = (flatness / spacing).clamp(0.0, (N_NODES - 1) as f64);
        let below = (place as usize).min(N_NODES - 2);
        counts[below] += 1.0 - (place - below as f64);
        counts[below + 1] += place - below as f64;
    }
    let known =
        if population.is_empty() { counts } else { smooth(&counts, kernel_width(population) / spacing) };
    let share = if population.is_empty() { 1.0 } else { UNFORESEEN };
    let beyond = |place: f64| square(unforeseen / (unforeseen + spacing * place.max(0.0)));
    let of_node = |node: usize| {
        let above = if node + 1 < N_NODES { beyond(node as f64 + 0.5) } else { 0.0 };
        beyond(node as f64 - 0.5) - above
    };
    (0..N_NODES).map(|node| (1.0 - share) * known[node] / n.max(1.0) + share * of_node(node)).collect()
}

/// Silverman's rule, `0.9 s n^(−1/5)`, in the sample's unit.
fn kernel_width(sample: &[f64]) -> f64 {
    let n = sample.len() as f64;
    let mean = sample.iter().sum::<f64>() / n;
    let variance = sample.iter().map(|x| square(x - mean)).sum::<f64>() / n;
    0.9 * sqrt(variance) * libm::pow(n, -0.2)
}

/// Counts spread by a normal kernel of a width in nodes; what would leave the grid is given to its ends.
fn smooth(counts: &[f64], width: f64) -> Vec<f64> {
    if width < 0.1 {
        return counts.to_vec();
    }
    let reach = libm::ceil(4.0 * width) as i64;
    let kernel: Vec<f64> = (-reach..=reach).map(|k| exp(-0.5 * square(k as f64 / width))).collect();
    let whole: f64 = kernel.iter().sum();
    let mut out = vec![0.0; counts.len()];
    for (node, count) in counts.iter().enumerate().filter(|(_, count)| **count > 0.0) {
        for (k, weight) in kernel.iter().enumerate() {
            let to = (node as i64 + k as i64 - reach).clamp(0, counts.len() as i64 - 1);
            out[to as usize] += count * weight / whole;
        }
    }
    out
}

impl Known {
    fn top(self) -> f64 {
        match self {
            Self::Normal { estimate, standard_uncertainty } => estimate + 5.0 * standard_uncertainty,
            Self::Rectangular { high, .. } => high,
        }
    }

    /// The likelihood of a node: the mean of the density over the hat that the node stands for.
    fn likelihood(self, flatness: f64, spacing: f64) -> f64 {
        let second_difference = |integral: &dyn Fn(f64) -> f64, at: f64| {
            (integral(at + spacing) - 2.0 * integral(at) + integral(at - spacing)) / square(spacing)
        };
        match self {
            Self::Normal { estimate, standard_uncertainty: u } => {
                // Smooth over a node: the density itself, without the difference's rounding.
                if u > 4.0 * spacing {
                    return normal_density((flatness - estimate) / u) / u;
                }
                let twice = |x: f64| {
                    let z = x / u;
                    if u > 0.0 { u * (z * normal_cumulative(z) + normal_density(z)) } else { x.max(0.0) }
                };
                second_difference(&twice, flatness - estimate).max(0.0)
            }
            Self::Rectangular { low, high } => {
                let half_square = |x: f64| 0.5 * square(x.max(0.0));
                let twice = |x: f64| half_square(x - low) - half_square(x - high);
                let rest = if high > low {
                    high - low
                } else {
                    return Self::exactly(low).likelihood(flatness, spacing);
                };
                (second_difference(&twice, flatness) / rest).max(0.0)
            }
        }
    }

    /// Its standard uncertainty, in µm.
    pub fn standard_uncertainty(self) -> f64 {
        match self {
            Self::Normal { standard_uncertainty, .. } => standard_uncertainty,
            Self::Rectangular { low, high } => (high - low) / sqrt(12.0),
        }
    }

    fn exactly(value: f64) -> Self {
        Self::Normal { estimate: value, standard_uncertainty: 0.0 }
    }

    /// Probability of a finding at or below this one on a plate of a certain flatness.
    fn probability_below(self, flatness: f64) -> f64 {
        match self {
            Self::Normal { estimate, standard_uncertainty: u } if u > 0.0 => {
                normal_cumulative((estimate - flatness) / u)
            }
            Self::Normal { estimate, .. } => f64::from(u8::from(flatness <= estimate)),
            Self::Rectangular { low, high } => ((high - flatness) / (high - low)).clamp(0.0, 1.0),
        }
    }

    /// The same in one class of the part that stays from check to check: shifted by the class's mean, and with the class's
    /// own variance beside the part that is new each time. Over the classes the variance is the whole one.
    fn shifted(self, class: usize) -> Self {
        match self {
            Self::Normal { estimate, standard_uncertainty } => {
                let part = standard_uncertainty * sqrt(0.5);
                let (mean, variance) = class_moments(class);
                Self::Normal {
                    estimate: estimate - part * mean,
                    standard_uncertainty: part * sqrt(1.0 + variance),
                }
            }
            rectangular => rectangular,
        }
    }
}

fn normal_density(z: f64) -> f64 {
    exp(-0.5 * z * z) / sqrt(2.0 * PI)
}

/// Mean and variance of each class's part of a standard normal quantity (a normal law cut off at both ends).
fn class_moments(class: usize) -> (f64, f64) {
    let n = N_CLASSES as f64;
    // Density at an end, and that times the end: both 0 at infinity.
    let at = |k: usize| match k {
        0 | N_CLASSES => (0.0, 0.0),
        k => {
            let end = normal_quantile(k as f64 / n);
            (normal_density(end), end * normal_density(end))
        }
    };
    let (low, high) = (at(class), at(class + 1));
    let mean = n * (low.0 - high.0);
    (mean, 1.0 + n * (low.1 - high.1) - square(mean))
}

/// One plate, ready to be filtered.
struct Plate<'a> {
    grid: &'a Grid,
    events: &'a [Event],
    unevenness: &'a [f64],
    /// Classes of form that the events tell apart: for spreads, and for judged readings.
    classes: [usize; 2],
    /// For each event the likelihood, `[class][node]`, flat.
    likelihoods: Vec<Vec<f64>>,
    /// For each event the probability of a finding at or below it, likewise; empty for a resurfacing.
    below: Vec<Vec<f64>>,
    /// Years from each event to the next, and from the last to today.
    gaps: Vec<f64>,
}

/// What one run through the history gives.
struct Pass {
    log_evidence: f64,
    /// The state after each event and the gap before the next; the last is today's.
    states: Vec<Vec<f64>>,
    /// For each event the probability, before it, of a finding at or below it; not a number for a resurfacing.
    p_below: Vec<f64>,
    /// Logarithm of the evidence before each event.
    before: Vec<f64>,
    /// The most that the last node holds after any event, or at the start where there is none.
    top: f64,
}

impl<'a> Plate<'a> {
    fn new(history: &'a History, events: &'a [Event], grid: &'a Grid) -> Self {
        let has = |kind: fn(&Evidence) -> bool| events.iter().any(|event| kind(&event.evidence));
        let spreads = has(|evidence| matches!(evidence, Evidence::Spread(_))) && history.law.is_some();
        let judged = has(|evidence| matches!(evidence, Evidence::Judged(_)));
        let classes = [spreads, judged].map(|there| if there { N_CLASSES } else { 1 });
        let gaps = events
            .iter()
            .enumerate()
            .map(|(k, event)| events.get(k + 1).map_or(history.today, |next| next.years) - event.years)
            .collect();
        let mut plate = Self {
            grid,
            events,
            unevenness: &history.prior.unevenness,
            classes,
            likelihoods: Vec::new(),
            below: Vec::new(),
            gaps,
        };
        for event in events {
            let resurfaced = matches!(event.evidence, Evidence::Resurfaced(_));
            plate.likelihoods.push(plate.table(|node, [a, b]| {
                let (flatness, spacing) = (node as f64 * grid.spacing, grid.spacing);
                match (event.evidence, history.law) {
                    (Evidence::Certificate(known) | Evidence::Resurfaced(known), _) => {
                        known.likelihood(flatness, spacing)
                    }
                    (Evidence::Judged(known), _) => known.shifted(b).likelihood(flatness, spacing),
                    (Evidence::Spread(spread), Some(law)) => law.density(spread, flatness, a),
                    (Evidence::Spread(_), None) => 1.0,
                }
            }));
            plate.below.push(if resurfaced {
                Vec::new()
            } else {
                plate.table(|node, [a, b]| {
                    let flatness = node as f64 * grid.spacing;
                    match (event.evidence, history.law) {
                        (Evidence::Certificate(known) | Evidence::Resurfaced(known), _) => {
                            known.probability_below(flatness)
                        }
                        (Evidence::Judged(known), _) => known.shifted(b).probability_below(flatness),
                        (Evidence::Spread(spread), Some(law)) => law.cumulative(spread, flatness, a),
                        (Evidence::Spread(_), None) => 0.5,
                    }
                })
            });
        }
        plate
    }

    fn n_classes(&self) -> usize {
        self.classes[0] * self.classes[1]
    }

    /// A number for every class and node.
    fn table(&self, of: impl Fn(usize, [usize; 2]) -> f64) -> Vec<f64> {
        let classes = (0..self.n_classes()).map(|class| [class % self.classes[0], class / self.classes[0]]);
        let mut table = Vec::with_capacity(self.n_classes() * N_NODES);
        for class in classes {
            table.extend((0..N_NODES).map(|node| of(node, class)));
        }
        table
    }

    /// Logarithm of the probability of the history at a rate, over all unevennesses.
    fn log_evidence(&self, log_rate: f64) -> f64 {
        self.evidence_and_top(log_rate).0
    }

    /// The same, and the most that the last node of the grid holds after any event.
    fn evidence_and_top(&self, log_rate: f64) -> (f64, f64) {
        let passes = self.unevenness.iter().map(|&unevenness| {
            let pass = self.forward(&WearProcess { rate: exp(log_rate), unevenness }, false);
            (pass.log_evidence, pass.top)
        });
        let (each, tops): (Vec<f64>, Vec<f64>) = passes.unzip();
        let evidence = log_sum(&each);
        if evidence == f64::NEG_INFINITY {
            return (evidence, tops.into_iter().fold(0.0, f64::max));
        }
        let top = each.iter().zip(&tops).map(|(e, top)| exp(e - evidence) * top).sum();
        (evidence - log(each.len() as f64), top)
    }

    /// The growth over each gap; gaps of one length share theirs.
    fn growths(&self, process: &WearProcess) -> Vec<Vec<f64>> {
        let mut growths: Vec<Vec<f64>> = Vec::with_capacity(self.gaps.len());
        for (k, gap) in self.gaps.iter().enumerate() {
            let same = self.gaps[..k].iter().position(|other| other == gap);
            let growth = match same {
                Some(same) => growths[same].clone(),
                None => process.growth(*gap, self.grid.spacing, N_NODES),
            };
            growths.push(growth);
        }
        growths
    }

    /// Through the history from its start.
    fn forward(&self, process: &WearProcess, keep: bool) -> Pass {
        let growths = self.growths(process);
        let per_class = 1.0 / self.n_classes() as f64;
        let mut state: Vec<f64> = self.table(|node, _| self.grid.first[node] * per_class);
        let mut pass =
            Pass { log_evidence: 0.0, states: Vec::new(), p_below: Vec::new(), before: Vec::new(), top: 0.0 };
        for (k, event) in self.events.iter().enumerate() {
            pass.before.push(pass.log_evidence);
            let likelihood = &self.likelihoods[k];
            if matches!(event.evidence, Evidence::Resurfaced(_)) {
                // What was there before is gone; the surface and its class are new.
                pass.p_below.push(f64::NAN);
                state.iter_mut().zip(likelihood).for_each(|(p, l)| *p = l * per_class);
                let sum: f64 = state.iter().sum();
                state.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
            } else {
                if keep {
                    pass.p_below.push(state.iter().zip(&self.below[k]).map(|(p, below)| p * below).sum());
                }
                state.iter_mut().zip(likelihood).for_each(|(p, l)| *p *= l);
                let sum: f64 = state.iter().sum();
                if sum < 1e-280 {
                    pass.log_evidence = f64::NEG_INFINITY;
                    pass.top = 1.0;
                    return pass;
                }
                state.iter_mut().for_each(|p| *p /= sum);
                pass.log_evidence += log(sum);
            }
            let at_top: f64 = state.chunks_exact(N_NODES).map(|class| class[N_NODES - 1]).sum();
            pass.top = pass.top.max(at_top);
            if keep {
                pass.states.push(state.clone());
            }
            state = grown(&state, &growths[k]);
        }
        if self.events.is_empty() {
            pass.top = self.grid.first[N_NODES - 1];
        }
        pass.states.push(state);
        pass
    }

    /// What is likely of each event's state in view of all that comes after it: `[event][class and node]`.
    fn smoothed(&self, process: &WearProcess, pass: &Pass) -> Vec<Vec<f64>> {
        let growths = self.growths(process);
        let mut after = vec![1.0; self.n_classes() * N_NODES];
        let mut smoothed = Vec::with_capacity(self.events.len());
        for k in (0..self.events.len()).rev() {
            let ahead = foreseen(&after, &growths[k]);
            let mut state: Vec<f64> = pass.states[k].iter().zip(&ahead).map(|(p, a)| p * a).collect();
            let sum: f64 = state.iter().sum();
            state.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
            smoothed.push(state);
            after = if matches!(self.events[k].evidence, Evidence::Resurfaced(_)) {
                vec![1.0; ahead.len()]
            } else {
                let most = ahead.iter().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
                ahead.iter().zip(&self.likelihoods[k]).map(|(a, l)| a / most * l).collect()
            };
        }
        smoothed.reverse();
        smoothed
    }

    /// The whole fit, with these logarithms of rates as hypotheses.
    fn fit(&self, log_rates: &[f64], log_prior: &dyn Fn(f64) -> f64) -> PlateWear {
        let processes: Vec<(WearProcess, f64)> = log_rates
            .iter()
            .flat_map(|&log_rate| {
                let prior = log_prior(log_rate);
                self.unevenness
                    .iter()
                    .map(move |&unevenness| (WearProcess { rate: exp(log_rate), unevenness }, prior))
            })
            .collect();
        let passes: Vec<Pass> = processes.iter().map(|(process, _)| self.forward(process, true)).collect();
        let log_weights: Vec<f64> =
            processes.iter().zip(&passes).map(|((_, prior), pass)| prior + pass.log_evidence).collect();
        let whole = log_sum(&log_weights);
        let mut events = vec![vec![0.0; N_NODES]; self.events.len()];
        let mut hypotheses = Vec::new();
        for ((process, _), (pass, log_weight)) in processes.iter().zip(passes.iter().zip(&log_weights)) {
            let probability = exp(log_weight - whole);
            if probability.is_nan() || probability < UNLIKELY {
                continue;
            }
            for (sum, state) in events.iter_mut().zip(self.smoothed(process, pass)) {
                for class in state.chunks_exact(N_NODES) {
                    sum.iter_mut().zip(class).for_each(|(sum, p)| *sum += probability * p);
                }
            }
            let state = pass.states.last().cloned().unwrap_or_default();
            let last = over_classes(&pass.states[pass.states.len().saturating_sub(2)]);
            hypotheses.push(Hypothesis { process: *process, probability, state, last });
        }
        let total: f64 = hypotheses.iter().map(|h| h.probability).sum();
        hypotheses.iter_mut().for_each(|h| h.probability /= total);
        let p_below = |k: usize| {
            let weights: Vec<f64> = processes
                .iter()
                .zip(&passes)
                .map(|((_, prior), pass)| {
                    pass.before.get(k).map_or(f64::NEG_INFINITY, |before| prior + before)
                })
                .collect();
            let whole = log_sum(&weights);
            let terms = weights.iter().zip(&passes).map(|(weight, pass)| {
                let weight = exp(weight - whole);
                if weight > 0.0 { weight * pass.p_below.get(k).copied().unwrap_or(0.5) } else { 0.0 }
            });
            terms.sum::<f64>()
        };
        let fitted = events.iter().enumerate().map(|(k, marginal)| EventFit {
            alone: self.alone(k),
            fitted: interval(marginal, self.grid.spacing),
            p_value: (!self.below[k].is_empty()).then(|| {
                let p = p_below(k).clamp(0.0, 1.0);
                2.0 * p.min(1.0 - p)
            }),
        });
        let events: Vec<EventFit> = fitted.collect();
        let rate = rate_interval(&hypotheses);
        let tells_spread_classes = self.classes[0] > 1;
        let spacing = self.grid.spacing;
        let since = self.gaps.last().copied().unwrap_or(0.0);
        let mut plate =
            PlateWear { spacing, hypotheses, rate, today: rate, events, since, tells_spread_classes };
        plate.today = plate.after(0.0);
        plate
    }

    /// The flatness that one event speaks for, whatever is known besides.
    fn alone(&self, event: usize) -> Interval {
        let mut marginal = vec![0.0; N_NODES];
        for class in self.likelihoods[event].chunks_exact(N_NODES) {
            marginal.iter_mut().zip(class).for_each(|(sum, l)| *sum += l);
        }
        match self.events[event].evidence {
            Evidence::Certificate(known) | Evidence::Judged(known) | Evidence::Resurfaced(known) => {
                match known {
                    Known::Normal { estimate, standard_uncertainty } => {
                        let reach = normal_quantile(0.5 + 0.5 * COVERAGE) * standard_uncertainty;
                        Interval { mean: estimate, ends: [(estimate - reach).max(0.0), estimate + reach] }
                    }
                    Known::Rectangular { low, high } => {
                        let low = low.max(0.0);
                        let reach = 0.5 * COVERAGE * (high - low);
                        let mean = 0.5 * (low + high);
                        Interval { mean, ends: [mean - reach, mean + reach] }
                    }
                }
            }
            Evidence::Spread(_) => interval(&marginal, self.grid.spacing),
        }
    }
}

/// A state after some growth: what would leave the grid stays at its last node.
fn grown(state: &[f64], growth: &[f64]) -> Vec<f64> {
    if growth.len() == 1 && growth[0] == 1.0 {
        return state.to_vec();
    }
    let mut out = vec![0.0; state.len()];
    for (from, to) in state.chunks_exact(N_NODES).zip(out.chunks_exact_mut(N_NODES)) {
        let total: f64 = from.iter().sum();
        for (i, &p) in from.iter().enumerate().filter(|(_, p)| **p > NEGLIGIBLE) {
            for (sum, share) in to[i..].iter_mut().zip(growth) {
                *sum += p * share;
            }
        }
        let inside: f64 = to[..N_NODES - 1].iter().sum();
        to[N_NODES - 1] = (total - inside).max(0.0);
    }
    out
}

/// A state on nodes twice as far apart; each odd node is shared by those beside it, so that the mean is kept.
fn coarser(state: &[f64]) -> Vec<f64> {
    let mut out = vec![0.0; state.len()];
    for (node, p) in state.iter().enumerate() {
        out[node / 2] += 0.5 * p;
        out[node.div_ceil(2)] += 0.5 * p;
    }
    out
}

/// The expectation, before some growth, of what depends on the state after it.
fn foreseen(after: &[f64], growth: &[f64]) -> Vec<f64> {
    if growth.len() == 1 && growth[0] == 1.0 {
        return after.to_vec();
    }
    let mut out = vec![0.0; after.len()];
    for (later, sooner) in after.chunks_exact(N_NODES).zip(out.chunks_exact_mut(N_NODES)) {
        let last = later[N_NODES - 1];
        for (i, sum) in sooner.iter_mut().enumerate() {
            let reached = &later[i..N_NODES];
            let (mut value, mut inside) = (0.0, 0.0);
            for (value_there, share) in reached[..reached.len() - 1].iter().zip(growth) {
                value += value_there * share;
                inside += share;
            }
            *sum = value + (1.0 - inside).max(0.0) * last;
        }
    }
    out
}

/// Mean and interval of a distribution on the nodes.
fn interval(marginal: &[f64], spacing: f64) -> Interval {
    let total: f64 = marginal.iter().sum();
    let mean = marginal.iter().enumerate().map(|(i, p)| i as f64 * spacing * p).sum::<f64>() / total;
    Interval {
        mean,
        ends: [0.5 - 0.5 * COVERAGE, 0.5 + 0.5 * COVERAGE].map(|p| quantile(marginal, spacing, p)),
    }
}

/// The flatness (µm) not exceeded with a probability: nodes stand for the half spacings on either side of them.
pub fn quantile(marginal: &[f64], spacing: f64, probability: f64) -> f64 {
    let aim = probability * marginal.iter().sum::<f64>();
    let mut sum = 0.0;
    for (i, p) in marginal.iter().enumerate() {
        if sum + p >= aim && *p > 0.0 {
            return ((i as f64 - 0.5 + (aim - sum) / p) * spacing).max(0.0);
        }
        sum += p;
    }
    spacing * (marginal.len().saturating_sub(1)) as f64
}

fn rate_interval(hypotheses: &[Hypothesis]) -> Interval {
    let mean = hypotheses.iter().map(|h| h.process.rate * h.probability).sum();
    let mut rates: Vec<(f64, f64)> = Vec::new();
    for hypothesis in hypotheses {
        match rates.last_mut() {
            Some((rate, p)) if *rate == hypothesis.process.rate => *p += hypothesis.probability,
            _ => rates.push((hypothesis.process.rate, hypothesis.probability)),
        }
    }
    // Each rate stands for the range halfway to its neighbours, on the scale of logarithms.
    let at = |probability: f64| {
        let mut sum = 0.0;
        for (k, (rate, p)) in rates.iter().enumerate() {
            if sum + p >= probability {
                let neighbour =
                    |other: Option<&(f64, f64)>| other.map_or(*rate, |(other, _)| sqrt(rate * other));
                let [low, high] =
                    [neighbour(k.checked_sub(1).and_then(|k| rates.get(k))), neighbour(rates.get(k + 1))];
                return low * libm::pow(high / low, (probability - sum) / p);
            }
            sum += p;
        }
        rates.last().map_or(f64::NAN, |(rate, _)| *rate)
    };
    Interval { mean, ends: [0.5 - 0.5 * COVERAGE, 0.5 + 0.5 * COVERAGE].map(at) }
}

impl PlateWear {
    /// The first event that cannot be true together with those before it: a certificate, or readings, so far from what
    /// these predict that no wear leads from one to the other. Nothing can be said of such a history.
    ///
    /// A spread is never one: however large, there may have been a grain under a foot.
    pub fn contradiction(&self, events: &[Event]) -> Option<usize> {
        events
            .iter()
            .zip(&self.events)
            .skip(1)
            .position(|(event, fit)| {
                let states_flatness =
                    matches!(event.evidence, Evidence::Certificate(_) | Evidence::Judged(_));
                states_flatness && fit.p_value.is_some_and(|p| p.is_nan() || p < CONTRADICTORY)
            })
            .map(|index| index + 1)
    }

    /// Distribution of the flatness deviation on the nodes, so many years from today.
    pub fn distribution_after(&self, years: f64) -> Vec<f64> {
        self.distribution(years, 0)
    }

    /// The same on a grid of nodes `2^doublings` as far apart.
    fn distribution(&self, years: f64, doublings: usize) -> Vec<f64> {
        let spacing = self.spacing * f64::from(1_u32 << doublings);
        let mut sum = vec![0.0; N_NODES];
        for hypothesis in &self.hypotheses {
            let last = (0..doublings).fold(hypothesis.last.clone(), |state, _| coarser(&state));
            let growth = hypothesis.process.growth(self.since + years, spacing, N_NODES);
            sum.iter_mut()
                .zip(&grown(&last, &growth))
                .for_each(|(sum, p)| *sum += hypothesis.probability * p);
        }
        sum
    }

    /// The flatness deviation so many years from today, on grids that are wide enough for it: each end by the finest
    /// that holds it.
    pub fn after(&self, years: f64) -> Interval {
        const WIDEST: usize = 16;
        let mut ends = [None; 2];
        for doublings in 0..=WIDEST {
            let distribution = self.distribution(years, doublings);
            let spacing = self.spacing * f64::from(1_u32 << doublings);
            let found = interval(&distribution, spacing);
            for (end, here) in ends.iter_mut().zip(found.ends) {
                if here < spacing * (N_NODES as f64 - 1.5) {
                    end.get_or_insert(here);
                }
            }
            if distribution[N_NODES - 1] < TOO_HIGH || doublings == WIDEST {
                let [low, high] = found.ends;
                return Interval { ends: [ends[0].unwrap_or(low), ends[1].unwrap_or(high)], ..found };
            }
        }
        self.today
    }

    /// Probability that the flatness deviation exceeds `limit` (µm) so many years from today.
    pub fn exceeding(&self, limit: f64, years: f64) -> f64 {
        above(&self.distribution_after(years), limit / self.spacing)
    }

    /// The same today and after each of `n_steps` steps (years), for a plate that is resurfaced today and
    /// wears as this one does.
    pub fn exceeding_when_new(&self, new: Known, limit: f64, step: f64, n_steps: usize) -> Vec<f64> {
        let mut flatness: Vec<f64> =
            (0..N_NODES).map(|node| new.likelihood(node as f64 * self.spacing, self.spacing)).collect();
        let sum: f64 = flatness.iter().sum();
        flatness.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
        let mut sums = vec![0.0; n_steps + 1];
        for hypothesis in &self.hypotheses {
            self.each_tail(&hypothesis.process, limit, step, n_steps, |k, tail| {
                sums[k] += hypothesis.probability * dot(&flatness, tail);
            });
        }
        sums
    }

    /// Today and after each of `n_steps` steps (years), the probability of each class and node of today's state
    /// together with a flatness above `limit` (µm) then: `[step][class and node]`. The last list holds
    /// the states' own probabilities.
    pub fn exceeding_by_state(&self, limit: f64, step: f64, n_steps: usize) -> Vec<Vec<f64>> {
        let n_states = self.hypotheses.first().map_or(0, |h| h.state.len());
        let mut sums = vec![vec![0.0; n_states]; n_steps + 2];
        for hypothesis in &self.hypotheses {
            let weigh = |sums: &mut [f64], tail: Option<&[f64]>| {
                for (sums, state) in
                    sums.chunks_exact_mut(N_NODES).zip(hypothesis.state.chunks_exact(N_NODES))
                {
                    for (node, (sum, p)) in sums.iter_mut().zip(state).enumerate() {
                        *sum += hypothesis.probability * p * tail.map_or(1.0, |tail| tail[node]);
                    }
                }
            };
            self.each_tail(&hypothesis.process, limit, step, n_steps, |k, tail| {
                weigh(&mut sums[k], Some(tail))
            });
            weigh(&mut sums[n_steps + 1], None);
        }
        sums
    }

    /// Tells, for each step, the probability of a flatness above the limit by today's node.
    fn each_tail(
        &self,
        process: &WearProcess,
        limit: f64,
        step: f64,
        n_steps: usize,
        mut tell: impl FnMut(usize, &[f64]),
    ) {
        let after = |k: usize| process.growth(step * k as f64, self.spacing, N_NODES);
        // Each growth is spread over the nodes beside it, so that many small ones would add up to an unevenness of
        // their own: no more than two are joined.
        const LEAP: usize = 16;
        let short: Vec<Vec<f64>> = (0..LEAP.min(n_steps + 1)).map(after).collect();
        let mut none = vec![0.0; N_NODES];
        none[0] = 1.0;
        let mut leapt = none.clone();
        let limit = limit / self.spacing;
        for k in 0..=n_steps {
            if k % LEAP == 0 && k > 0 {
                leapt = grown(&none, &after(k));
            }
            tell(k, &tails(&grown(&leapt, &short[k % LEAP]), limit));
        }
    }

    /// Likelihoods of the outcomes of a check made today, `[outcome][class and node]`; for every state they add up to 1.
    pub fn outcomes(&self, check: &ForeseenCheck) -> Vec<Vec<f64>> {
        let n_states = self.hypotheses.first().map_or(0, |h| h.state.len());
        let node = |state: usize| state % N_NODES;
        match check {
            ForeseenCheck::Perfect => (0..N_NODES)
                .map(|outcome| {
                    (0..n_states).map(|state| f64::from(u8::from(node(state) == outcome))).collect()
                })
                .collect(),
            ForeseenCheck::Measured { standard_uncertainty } => {
                let marks = spaced(0.0, self.spacing * N_NODES as f64, N_OUTCOMES);
                let below = |mark: f64, state: usize| {
                    normal_cumulative((mark - node(state) as f64 * self.spacing) / standard_uncertainty)
                };
                between_marks(&marks, n_states, below)
            }
            ForeseenCheck::Spread(law) => {
                let [mean, deviation] = [|m: (f64, f64)| m.0, |m: (f64, f64)| m.1]
                    .map(|part| part(law.moments(self.today.ends[1].max(self.spacing))));
                let marks = spaced(0.0, mean + 5.0 * deviation, N_OUTCOMES);
                let tells_classes = n_states > N_NODES && self.tells_spread_classes;
                // The same for all states that differ in what a spread does not depend on.
                let table: Vec<Vec<f64>> = marks
                    .iter()
                    .map(|&mark| {
                        (0..N_CLASSES * N_NODES)
                            .map(|k| law.cumulative(mark, (k % N_NODES) as f64 * self.spacing, k / N_NODES))
                            .collect()
                    })
                    .collect();
                let below = |index: usize, state: usize| {
                    if tells_classes {
                        let class = state / N_NODES % N_CLASSES;
                        table[index][class * N_NODES + node(state)]
                    } else {
                        let each = (0..N_CLASSES).map(|class| table[index][class * N_NODES + node(state)]);
                        each.sum::<f64>() / N_CLASSES as f64
                    }
                };
                let indices: Vec<usize> = (0..marks.len()).collect();
                between_marks(&indices, n_states, below)
            }
        }
    }
}

/// Outcomes of a check that are told apart.
const N_OUTCOMES: usize = 61;

/// Probabilities of an outcome between each two marks, below the first and above the last.
fn between_marks<M: Copy>(marks: &[M], n_states: usize, below: impl Fn(M, usize) -> f64) -> Vec<Vec<f64>> {
    let mut last = vec![0.0; n_states];
    let mut outcomes = Vec::with_capacity(marks.len() + 1);
    for mark in marks.iter().copied().map(Some).chain([None]) {
        let here: Vec<f64> = (0..n_states).map(|state| mark.map_or(1.0, |mark| below(mark, state))).collect();
        outcomes.push(here.iter().zip(&last).map(|(here, last)| here - last).collect());
        last = here;
    }
    outcomes
}

/// A check that might be made today.
#[derive(Debug, Clone, Copy)]
pub enum ForeseenCheck<'a> {
    /// One more shop check, of which the spread is taken.
    Spread(&'a SpreadLaw),
    /// A flatness deviation with a normal error.
    Measured {
        /// Its standard uncertainty, in µm.
        standard_uncertainty: f64,
    },
    /// The flatness deviation itself: no check can be worth more.
    Perfect,
}

fn dot(a: &[f64], b: &[f64]) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

/// Probability above a place counted in nodes; a node's share lies evenly half a node to either side.
fn above(distribution: &[f64], place: f64) -> f64 {
    let first = libm::floor(place + 0.5);
    if first < 0.0 {
        return distribution.iter().sum();
    }
    let node = first as usize;
    let part = distribution.get(node).map_or(0.0, |p| p * (first + 0.5 - place));
    part + distribution.iter().skip(node + 1).sum::<f64>()
}

/// For every node, the probability that what is grown on it lies above a place counted in nodes: [`above`] of the
/// place less the node.
fn tails(growth: &[f64], place: f64) -> Vec<f64> {
    let mut sums = vec![0.0; growth.len() + 1];
    for (k, p) in growth.iter().enumerate().rev() {
        sums[k] = sums[k + 1] + p;
    }
    let first = libm::floor(place + 0.5);
    let part = first + 0.5 - place;
    (0..growth.len())
        .map(|node| match first - node as f64 {
            below if below < 0.0 => sums[0],
            first => {
                let first = first as usize;
                part * growth.get(first).copied().unwrap_or(0.0) + sums.get(first + 1).copied().unwrap_or(0.0)
            }
        })
        .collect()
}

/// Distribution of the flatness on the nodes, over all classes.
fn over_classes(state: &[f64]) -> Vec<f64> {
    let mut sum = vec![0.0; N_NODES];
    for class in state.chunks_exact(N_NODES) {
        sum.iter_mut().zip(class).for_each(|(sum, p)| *sum += p);
    }
    sum
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Law of total variance: the classes' means and variances make up the standard normal quantity again.
    #[test]
    fn classes_carry_their_own_variance() {
        let n = N_CLASSES as f64;
        let moments: Vec<(f64, f64)> = (0..N_CLASSES).map(class_moments).collect();
        let mean: f64 = moments.iter().map(|m| m.0).sum::<f64>() / n;
        let whole: f64 = moments.iter().map(|m| square(m.0) + m.1).sum::<f64>() / n;
        assert!(mean.abs() < 1e-12 && (whole - 1.0).abs() < 1e-9, "{mean} {whole}");
        // So a judged flatness keeps its estimate and its standard uncertainty.
        let known = Known::Normal { estimate: 5.0, standard_uncertainty: 0.8 };
        let each: Vec<(f64, f64)> = (0..N_CLASSES)
            .map(|class| match known.shifted(class) {
                Known::Normal { estimate, standard_uncertainty } => (estimate, standard_uncertainty),
                Known::Rectangular { .. } => (f64::NAN, f64::NAN),
            })
            .collect();
        let mean: f64 = each.iter().map(|(e, _)| e).sum::<f64>() / n;
        let variance: f64 = each.iter().map(|(e, u)| square(e - mean) + square(*u)).sum::<f64>() / n;
        assert!((mean - 5.0).abs() < 1e-9 && (sqrt(variance) - 0.8).abs() < 1e-9, "{mean} {variance}");
    }

    /// A finding X lies evenly within U of the truth, so P(X <= x) = (x + U - truth) / 2U, also where x < U.
    #[test]
    fn limits_that_reach_below_zero_keep_their_probabilities() {
        let (value, u) = (0.5, 2.0);
        let known = Known::Rectangular { low: value - u, high: value + u };
        for truth in [0.0, 0.4, 1.7, 2.5, 4.0] {
            let expected = ((value + u - truth) / (2.0 * u)).clamp(0.0, 1.0);
            assert!((known.probability_below(truth) - expected).abs() < 1e-12, "{truth}");
        }
    }

    /// What a certificate and years without one say does not depend on how far the grid reaches.
    #[test]
    fn halving_and_doubling_the_grid_changes_nothing() {
        let population: Vec<f64> = (0..400).map(|i| 1.0 + f64::from(i) / 200.0).collect();
        let certificate = |years: f64, estimate: f64| Event {
            years,
            evidence: Evidence::Certificate(Known::Normal { estimate, standard_uncertainty: 1.0 }),
        };
        for events in
            [Vec::new(), vec![certificate(-6.0, 2.0)], vec![certificate(-3.0, 4.0), certificate(-1.0, 9.0)]]
        {
            let fitted = |highest: f64| {
                fit(&History {
                    plates: vec![events.clone()],
                    today: 0.0,
                    usage: Vec::new(),
                    law: None,
                    population: &population,
                    highest,
                    prior: WearPrior::default(),
                })
                .remove(0)
            };
            let [a, b, c] = [6.0, 12.0, 24.0].map(fitted);
            for other in [&a, &c] {
                for years in [0.0, 1.0, 5.0, 20.0] {
                    let [p, q] = [&b, other].map(|wear| wear.exceeding(5.0, years));
                    assert!((p - q).abs() < 0.01, "{} events: out with {p} or {q}", events.len());
                    let [x, y] = [&b, other].map(|wear| wear.after(years));
                    for (x, y) in [(x.mean, y.mean), (x.ends[0], y.ends[0]), (x.ends[1], y.ends[1])] {
                        assert!((x - y).abs() < 0.06 + 0.01 * x, "{x} or {y} after {years} years");
                    }
                }
                // No end sticks at an edge.
                let ends = [5.0, 10.0, 20.0, 40.0].map(|years| other.after(years).ends[1]);
                assert!(ends.windows(2).all(|pair| pair[1] > pair[0] + 0.5), "{ends:?}");
            }
        }
    }
}
