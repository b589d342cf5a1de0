//! When a plate goes out: simulated histories whose truth is known, closed forms, limits, and the command.
//!
//! `HOWFLAT_HISTORIES` sets how many histories each kind gets (200 by default; the full size is 1000), `--nocapture`
//! shows the figures.
#![allow(clippy::print_stdout, reason = "the figures are for people to read")]

mod common;

use common::{between, check_with};
use howflat::{
    decision::recall::OutOfTolerance,
    propagation::{
        check_experiment::{CheckExperiment, Output},
        spread_law::{SpreadLaw, population},
        trials::Experiment,
        wear_history::{Event, Evidence, History, Known, PlateWear, WearPrior, fit},
    },
    quantity::{
        distribution::Distribution,
        stream::{Draws, Streams},
        student::normal_quantile,
    },
    shop::check::ShopCheck,
};
use rand::RngExt;
use rayon::prelude::*;

fn n_histories() -> usize {
    std::env::var("HOWFLAT_HISTORIES").ok().and_then(|n| n.parse().ok()).unwrap_or(200)
}

/// Tolerance of all simulated plates, in µm (US grade A, 24 x 36 in).
const TOLERANCE: f64 = 5.08;
const U_OF_CERTIFICATE: f64 = 0.3;

/// How a simulated plate wears.
#[derive(Clone, Copy)]
enum Wears {
    /// As the fit assumes: lognormal rates, gamma increments.
    AsAssumed,
    /// At a constant rate, drawn evenly: neither the rates nor the increments are of the assumed family.
    Steadily,
    /// In jumps: a tenth of a year's wear comes evenly, the rest in a few blows a year, each of the same size.
    InBlows,
}

/// A plate on its way through time.
struct Wearing {
    wears: Wears,
    flatness: f64,
    rate: f64,
    unevenness: f64,
}

fn draw(distribution: Distribution, draws: &mut Draws) -> f64 {
    distribution.draw(draws)
}

impl Wearing {
    fn new(wears: Wears, flatness: f64, draws: &mut Draws) -> Self {
        let prior = WearPrior::default();
        let spread = libm::hypot(prior.between_shops, prior.between_plates);
        let lognormal = Distribution::Lognormal { median: prior.median_rate, spread };
        let [rate, unevenness] = match wears {
            Wears::AsAssumed => {
                [draw(lognormal, draws), prior.unevenness[(3.0 * draws.random::<f64>()) as usize]]
            }
            Wears::Steadily | Wears::InBlows => [draw(between(0.1, 1.5), draws), 0.0],
        };
        Self { wears, flatness, rate, unevenness }
    }

    fn wear(&mut self, years: f64, draws: &mut Draws) {
        if years <= 0.0 {
            return;
        }
        self.flatness += match self.wears {
            Wears::AsAssumed => {
                let shape = self.rate * years / self.unevenness;
                draw(Distribution::Gamma { shape, scale: self.unevenness }, draws)
            }
            Wears::Steadily => self.rate * years,
            Wears::InBlows => {
                let per_year = 4.0;
                let mut blows = 0.0;
                let mut time = -libm::log(1.0 - draws.random::<f64>()) / per_year;
                while time < years {
                    blows += 1.0;
                    time -= libm::log(1.0 - draws.random::<f64>()) / per_year;
                }
                self.rate * (0.1 * years + 0.9 * blows / per_year)
            }
        };
    }
}

fn certificate(flatness: f64, draws: &mut Draws) -> Evidence {
    let u = U_OF_CERTIFICATE;
    let estimate = flatness + draw(Distribution::Normal { mean: 0.0, standard_deviation: u }, draws);
    Evidence::Certificate(Known::Normal { estimate, standard_uncertainty: u })
}

/// A plate population of 4000, as flat as a tenth to a half of the tolerance.
fn some_population() -> Vec<f64> {
    let law = Distribution::Lognormal { median: 1.5, spread: 0.4 };
    (0..4000).map(|i| law.quantile((f64::from(i) + 0.5) / 4000.0)).collect()
}

fn history_of<'a>(
    events: Vec<Event>,
    population: &'a [f64],
    law: Option<&'a SpreadLaw>,
    highest: f64,
) -> History<'a> {
    History { plates: vec![events], today: 0.0, law, population, highest, prior: WearPrior::default() }
}

/// Probability of being out of tolerance, from today on, in steps that reach far enough.
fn out_of(wear: &PlateWear) -> OutOfTolerance {
    let mut years = 1.0;
    while years < 64.0 && wear.exceeding(TOLERANCE, years) < 0.97 {
        years *= 2.0;
    }
    let step = years / 128.0;
    let mut states = wear.exceeding_by_state(TOLERANCE, step, 128);
    states.pop();
    OutOfTolerance {
        step,
        probability: states.iter().map(|states| states.iter().sum::<f64>().min(1.0)).collect(),
    }
}

/// What was foretold of one history, and what came.
struct Outcome {
    flatness_covered: bool,
    rate_covered: bool,
    /// Width of the interval of today's flatness, in µm.
    width: f64,
    /// For each of [`RISKS`], what the probability was said to be on the date at which it reaches it, and whether the
    /// plate was out then.
    dates: [(f64, bool); 4],
    p_values: Vec<f64>,
}

const RISKS: [f64; 4] = [0.05, 0.25, 0.5, 0.9];

fn compare(wear: &PlateWear, truth: &Wearing, draws: &mut Draws) -> Outcome {
    let covers = |[low, high]: [f64; 2], value: f64| (low..=high).contains(&value);
    let out = out_of(wear);
    let mut future = Wearing { ..*truth };
    let mut time = 0.0;
    let dates = RISKS.map(|risk| {
        // Where it is reached today the probability may be larger; where it never is, smaller.
        let date = out.first_at(risk).unwrap_or_else(|| out.horizon());
        future.wear(date - time, draws);
        time = date.max(time);
        (out.at(date), future.flatness > TOLERANCE)
    });
    Outcome {
        flatness_covered: covers(wear.today.ends, truth.flatness),
        rate_covered: covers(wear.rate.ends, truth.rate),
        width: wear.today.ends[1] - wear.today.ends[0],
        dates,
        p_values: wear.events.iter().filter_map(|event| event.p_value).collect(),
    }
}

/// How far a count of independent events may be from its expectation: met by chance 1 time in 5000 (normal
/// approximation), with half an event for the count being whole.
fn limit(probabilities: &[f64]) -> f64 {
    let variance: f64 = probabilities.iter().map(|p| p * (1.0 - p)).sum();
    normal_quantile(0.9999) * variance.sqrt() + 0.5
}

fn tell(name: &str, outcomes: &[Outcome]) {
    let n = outcomes.len() as f64;
    let share = |of: &dyn Fn(&Outcome) -> bool| outcomes.iter().filter(|o| of(o)).count() as f64 / n;
    let dates: Vec<String> = (0..RISKS.len())
        .map(|k| {
            let said: f64 = outcomes.iter().map(|o| o.dates[k].0).sum::<f64>() / n;
            format!("{said:.3} {:.3}", share(&|o| o.dates[k].1))
        })
        .collect();
    let all: Vec<f64> = outcomes.iter().flat_map(|o| o.p_values.iter().copied()).collect();
    let small = all.iter().filter(|p| **p < 0.05).count() as f64 / all.len() as f64;
    println!(
        "{name:<24} {n:>5} histories | 95 % intervals hold: flatness {:.3} (width {:.2} µm), rate {:.3} | out at dates, said and \
         found: {} | p < 0.05: {small:.3}",
        share(&|o| o.flatness_covered),
        outcomes.iter().map(|o| o.width).sum::<f64>() / n,
        share(&|o| o.rate_covered),
        dates.join("; ")
    );
}

/// Coverage within binomial limits; `allowed` is what may be missing for a family that is not assumed.
fn assert_calibrated(name: &str, outcomes: &[Outcome], allowed: f64) {
    tell(name, outcomes);
    let n = outcomes.len() as f64;
    let nominal = vec![0.95; outcomes.len()];
    // Half a percent for the grids.
    let slack = limit(&nominal) + (0.005 + allowed) * n;
    for (what, of) in [
        ("flatness", (|o: &Outcome| o.flatness_covered) as fn(&Outcome) -> bool),
        ("rate", |o: &Outcome| o.rate_covered),
    ] {
        let covered = outcomes.iter().filter(|o| of(o)).count() as f64;
        let low = covered < 0.95 * n - slack;
        let high = allowed == 0.0 && covered > 0.95 * n + slack;
        assert!(!low && !high, "{name}: {what} held {covered} times in {n}");
    }
    for (k, risk) in RISKS.into_iter().enumerate() {
        let said: Vec<f64> = outcomes.iter().map(|o| o.dates[k].0).collect();
        let found = outcomes.iter().filter(|o| o.dates[k].1).count() as f64;
        let slack = limit(&said) + (0.005 + allowed) * n;
        let expected: f64 = said.iter().sum();
        assert!((found - expected).abs() < slack, "{name}: out at {risk}: {found} times, not {expected}");
    }
}

/// Certificates once a year or so, each with its own uncertainty.
fn certified(wears: Wears, n: usize) -> Vec<Outcome> {
    let population = some_population();
    let source = Streams::new(611).source("histories");
    (0..n as u64)
        .into_par_iter()
        .map(|index| {
            let draws = &mut source.trial(index);
            let first = population[(draws.random::<f64>() * population.len() as f64) as usize];
            let mut plate = Wearing::new(wears, first, draws);
            let n_events = 2 + (5.0 * draws.random::<f64>()) as usize;
            let mut events = Vec::new();
            let mut years = 0.0;
            for _ in 0..n_events {
                events.push(Event { years, evidence: certificate(plate.flatness, draws) });
                let gap = 0.3 + draws.random::<f64>();
                plate.wear(gap, draws);
                years += gap;
            }
            events.iter_mut().for_each(|event| event.years -= years);
            let wear = fit(&history_of(events, &population, None, 2.5 * TOLERANCE)).remove(0);
            compare(&wear, &plate, draws)
        })
        .collect()
}

#[test]
fn certified_histories_are_foretold() {
    assert_calibrated("certificates, own family", &certified(Wears::AsAssumed, n_histories()), 0.0);
}

/// Neither rates nor increments of the assumed family. A few percent may be missing.
#[test]
fn histories_of_another_family_are_foretold_nearly_as_well() {
    assert_calibrated("certificates, steady", &certified(Wears::Steadily, n_histories()), 0.03);
    assert_calibrated("certificates, in blows", &certified(Wears::InBlows, n_histories()), 0.05);
}

/// A parked stand, one certificate at the start, then spreads only: each plate's form stays the same while it deepens.
fn with_spreads(wears: Wears, check: &ShopCheck, n: usize) -> Vec<Outcome> {
    let seed = 5;
    let population = population(check, seed).expect("a sound check");
    let highest = 2.5 * TOLERANCE;
    let law = SpreadLaw::new(check, &population, highest, seed).expect("a sound check");
    let experiment = CheckExperiment::new(check).expect("a sound check");
    let landscape = experiment.landscape();
    let streams = Streams::new(8211);
    let source = streams.source("histories");
    let mut sorted = population.clone();
    sorted.sort_by(f64::total_cmp);
    (0..n as u64)
        .into_par_iter()
        .map(|index| {
            let draws = &mut source.trial(index);
            let mut drawn = landscape.scratch();
            landscape.draw(&landscape.open(&streams), index, &mut drawn);
            let (form, places) = (drawn.on_grid.clone(), drawn.at_places.clone());
            let mut scratch = experiment.scratch();
            let survey = |scale: f64, trial: u64, scratch: &mut _| {
                let scaled = |heights: &[f64]| heights.iter().map(|z| z * scale).collect::<Vec<_>>();
                experiment.outputs_of(&scaled(&form), &scaled(&places), &streams, trial, scratch)
            };
            let first = survey(1.0, 1_000_000 + index, &mut scratch)[Output::Flatness as usize];
            let mut plate = Wearing::new(wears, first, draws);
            let mut events = vec![Event { years: 0.0, evidence: certificate(plate.flatness, draws) }];
            let mut years = 0.0;
            for k in 0..6 {
                let gap = 0.2 + 0.6 * draws.random::<f64>();
                plate.wear(gap, draws);
                years += gap;
                let read = survey(plate.flatness / first, 2_000_000 + 10 * index + k, &mut scratch);
                events.push(Event { years, evidence: Evidence::Spread(read[Output::Spread as usize]) });
            }
            events.iter_mut().for_each(|event| event.years -= years);
            let wear = fit(&history_of(events, &sorted, Some(&law), highest)).remove(0);
            compare(&wear, &plate, draws)
        })
        .collect()
}

#[test]
fn histories_of_spreads_are_foretold() {
    let check = check_with(|_| {});
    assert_calibrated("spreads, own family", &with_spreads(Wears::AsAssumed, &check, n_histories()), 0.0);
}

#[test]
fn histories_of_spreads_of_another_family() {
    let check = check_with(|_| {});
    assert_calibrated("spreads, steady", &with_spreads(Wears::Steadily, &check, n_histories()), 0.03);
}
