//! What certificates, shop checks and resurfacings say of how a plate wears.
//!
//! The state of a plate is its flatness deviation, on a grid, and the class of its form (see
//! [`SpreadLaw`]). It moves by the gamma process of [`WearProcess`] between dates and is weighted by
//! the likelihood of what was found at each: an exact filter and smoother on a grid (the forward-backward
//! recursions of a hidden Markov model: Rabiner, Proc. IEEE 77, 1989, 257-286), run once for each of a grid of
//! rates and of unevennesses, which are weighted by how well they predict the history. Nothing is drawn at random.

mod evidence;
mod filter;
mod fitted;
mod forecast;
mod grid;
mod outcomes;
mod rates;
mod readings;
mod shop;

pub use grid::{UNFORESEEN, UNFORESEEN_MEAN, quantile};
pub use outcomes::ForeseenCheck;
pub use readings::{DOUBTFUL, Reading};
pub use shop::{Shop, fit};

use super::spread_law::SpreadLaw;
use crate::shop::wear_over_time::WearProcess;
use libm::{exp, log, sqrt};

/// Something found or done on a date.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Event {
    /// When, in years from a date common to all plates.
    pub years: f64,
    /// What was found or done.
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
    /// A normal quantity.
    Normal {
        /// The estimate, in µm.
        estimate: f64,
        /// Its standard uncertainty, in µm.
        standard_uncertainty: f64,
    },
    /// Between two limits (µm) and nothing more.
    Rectangular {
        /// Lower limit, in µm; may be below 0 where U exceeds the value, since it is also where findings lie.
        low: f64,
        /// Upper limit, in µm.
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
    /// What is assumed of wear before any history is seen.
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

/// Nodes of flatness.
const N_NODES: usize = 240;

/// Probability at the last node, after any event, from which on the grid is made twice as wide, and how often.
const TOO_HIGH: f64 = 1e-3;

/// Coverage probability of all intervals.
const COVERAGE: f64 = 0.95;

fn square(x: f64) -> f64 {
    x * x
}

fn spaced(low: f64, high: f64, n: usize) -> Vec<f64> {
    (0..n).map(|k| low + (high - low) * k as f64 / (n - 1) as f64).collect()
}

/// Logarithm of the sum of exponentials.
fn log_sum(terms: &[f64]) -> f64 {
    let most = terms.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    if most == f64::NEG_INFINITY {
        return most;
    }
    most + log(terms.iter().map(|term| exp(term - most)).sum::<f64>())
}
