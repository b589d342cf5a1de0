//! Rates of wear: which are tried, and what the plates of a shop say of its median rate together.

use super::filter::Plate;
use super::grid::Grid;
use super::{COVERAGE, Event, History, Hypothesis, Interval, TOO_HIGH, WearPrior, log_sum, spaced, square};
use libm::{exp, log, sqrt};

/// Rates that are tried first, to see where the history allows any, and then.
const COARSE: usize = 15;

pub(super) const FINE: usize = 23;

/// The rates tried first reach so many standard deviations either way.
const REACH: f64 = 3.3;

/// Shops' median rates.
const N_PACES: usize = 31;

const N_WIDER: usize = 6;

/// How often the rates are set closer.
pub(super) const N_CLOSER: usize = 3;

/// Logarithms of the rates that are tried first on a plate that is used so much.
pub(super) fn coarse_rates(prior: &WearPrior, log_usage: f64) -> Vec<f64> {
    let (centre, reach) = (log(prior.median_rate) + log_usage, REACH * prior.deviation());
    spaced(centre - reach, centre + reach, COARSE)
}

/// A grid that holds all flatnesses that a history leaves open, and the evidence on it for each of the
/// [`coarse_rates`].
pub(super) fn wide_enough(history: &History, events: &[Event], log_usage: f64) -> (Grid, Vec<f64>) {
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

/// Where the rates lie that a history does not rule out.
pub(super) fn support(rates: &[f64], evidence: &[f64], log_prior: &dyn Fn(f64) -> f64) -> [f64; 2] {
    let weights: Vec<f64> = rates.iter().zip(evidence).map(|(&r, e)| log_prior(r) + e).collect();
    let most = weights.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let counts = |weight: &f64| *weight > most - 12.0;
    let first = weights.iter().position(counts).unwrap_or(0).saturating_sub(1);
    let last = weights.iter().rposition(counts).map_or(rates.len() - 1, |k| (k + 1).min(rates.len() - 1));
    [rates[first], rates[last]]
}

/// What the histories of all plates say of the shop's median rate.
pub(super) struct Paces {
    /// Logarithms of the shop's median rate.
    paces: Vec<f64>,
    between_plates: f64,
    /// For each plate the logarithm of each pace's probability, given the other plates' histories.
    log_weights: Vec<Vec<f64>>,
}

impl Paces {
    pub(super) fn new(prior: &WearPrior, rates: &[f64], evidence: &[&[f64]]) -> Self {
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
    pub(super) fn log_density(&self, plate: usize, log_rate: f64) -> f64 {
        let terms: Vec<f64> = self
            .paces
            .iter()
            .zip(&self.log_weights[plate])
            .map(|(pace, weight)| weight - 0.5 * square((log_rate - pace) / self.between_plates))
            .collect();
        log_sum(&terms)
    }
}

pub(super) fn rate_interval(hypotheses: &[Hypothesis]) -> Interval {
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
