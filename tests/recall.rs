//! When a plate goes out: simulated histories whose truth is known, closed forms, limits, and the command.
//!
//! `HOWFLAT_HISTORIES` sets how many histories each kind gets (60 by default; the full size is 1000), `--nocapture`
//! shows the figures.
#![allow(clippy::print_stdout, reason = "the figures are for people to read")]

use crate::common::{
    between, check_with,
    program::{Run, howflat, rounded, run, told},
};
use howflat::{
    decision::{
        recall::{Costs, OutOfTolerance},
        recall_plan::{Entry, Found, PlatePlan, PlateRecord, RecallPlan, RecallQuestion},
    },
    propagation::{
        check_experiment::{CheckExperiment, Output},
        posterior::{Settings, posterior},
        spread_law::{SpreadLaw, population},
        trials::Experiment,
        wear_history::{Event, Evidence, History, Known, PlateWear, WearPrior, fit},
    },
    quantity::{
        day::{DAYS_PER_YEAR, Day, WrittenDay},
        distribution::Distribution,
        sample::mean_and_standard_deviation,
        stream::{Draws, Streams},
        student::normal_quantile,
    },
    setup::{Readings, Setup},
    shop::check::ShopCheck,
};
use rand::RngExt;
use rayon::prelude::*;
use std::{fs, path::Path};

fn n_histories() -> usize {
    std::env::var("HOWFLAT_HISTORIES").ok().and_then(|n| n.parse().ok()).unwrap_or(60)
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
    History {
        plates: vec![events],
        usage: Vec::new(),
        today: 0.0,
        law,
        population,
        highest,
        prior: WearPrior::default(),
    }
}

/// Probability of being out of tolerance, from today on, in steps that reach far enough.
fn out_of(wear: &PlateWear) -> OutOfTolerance {
    const N_STEPS: usize = 40;
    let mut years = 1.0;
    while years < 64.0 && wear.exceeding(TOLERANCE, years) < 0.98 {
        years *= 1.6;
    }
    let step = years / N_STEPS as f64;
    let mut states = wear.exceeding_by_state(TOLERANCE, step, N_STEPS);
    states.pop();
    OutOfTolerance {
        step,
        probability: states.iter().map(|states| states.iter().sum::<f64>().min(1.0)).collect(),
    }
}

/// What was predicted of one history, and what came.
struct Outcome {
    flatness_covered: bool,
    rate_covered: bool,
    /// Whether the day on which the plate goes out of tolerance lies between those at which the probability reaches 2.5 %
    /// and 97.5 %; a plate that is out already is in an interval that begins today.
    date_covered: bool,
    /// Width of the interval of today's flatness, in µm.
    width: f64,
    /// For each of [`RISKS`], what the probability was said to be on the date at which it reaches it, and whether the
    /// plate was out then.
    dates: [(f64, bool); RISKS.len()],
    p_values: Vec<f64>,
}

const RISKS: [f64; 6] = [0.025, 0.05, 0.25, 0.5, 0.9, 0.975];

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
    let [(said, out_before), .., (said_last, out_after)] = dates;
    let date_covered = (said > RISKS[0] + 1e-9 || !out_before) && (out_after || said_last < RISKS[5] - 1e-9);
    Outcome {
        flatness_covered: covers(wear.today.ends, truth.flatness),
        rate_covered: covers(wear.rate.ends, truth.rate),
        date_covered,
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
        "{name:<24} {n:>5} histories | 95 % intervals hold: flatness {:.3} (width {:.2} µm), rate {:.3}, date {:.3} | out at dates, said and \
         found: {} | p < 0.05: {small:.3}",
        share(&|o| o.flatness_covered),
        outcomes.iter().map(|o| o.width).sum::<f64>() / n,
        share(&|o| o.rate_covered),
        share(&|o| o.date_covered),
        dates.join("; ")
    );
}

/// All 95 % intervals hold as often as they say, within binomial limits.
fn assert_intervals_hold(name: &str, outcomes: &[Outcome], allowed: f64) {
    tell(name, outcomes);
    let n = outcomes.len() as f64;
    // Half a percent for the grids.
    let slack = limit(&vec![0.95; outcomes.len()]) + (0.005 + allowed) * n;
    for (what, of) in [
        ("flatness", (|o: &Outcome| o.flatness_covered) as fn(&Outcome) -> bool),
        ("rate", |o: &Outcome| o.rate_covered),
        ("date", |o: &Outcome| o.date_covered),
    ] {
        let covered = outcomes.iter().filter(|o| of(o)).count() as f64;
        assert!(covered >= 0.95 * n - slack, "{name}: {what} held {covered} times in {n}");
    }
}

/// Of the assumed family no interval is too wide either, and on every predicted day as many plates are out as was said.
fn assert_calibrated(name: &str, outcomes: &[Outcome]) {
    assert_intervals_hold(name, outcomes, 0.0);
    let n = outcomes.len() as f64;
    let slack = limit(&vec![0.95; outcomes.len()]) + 0.005 * n;
    for of in [(|o: &Outcome| o.flatness_covered) as fn(&Outcome) -> bool, |o: &Outcome| o.rate_covered] {
        let covered = outcomes.iter().filter(|o| of(o)).count() as f64;
        assert!(covered <= 0.95 * n + slack, "{name}: {covered} times in {n}");
    }
    for (k, risk) in RISKS.into_iter().enumerate() {
        let said: Vec<f64> = outcomes.iter().map(|o| o.dates[k].0).collect();
        let found = outcomes.iter().filter(|o| o.dates[k].1).count() as f64;
        let slack = limit(&said) + 0.005 * n;
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
fn certified_histories_are_predicted() {
    assert_calibrated("certificates, own family", &certified(Wears::AsAssumed, n_histories()));
}

/// Neither rates nor increments of the assumed family. The intervals hold, up to a few percent; the probabilities between
/// their ends cannot all be right, since these plates wear half again as fast as is assumed: the figures printed say how
/// far off they are.
#[test]
fn histories_of_another_family_lie_within_the_intervals() {
    assert_intervals_hold("certificates, steady", &certified(Wears::Steadily, n_histories()), 0.0);
    assert_intervals_hold("certificates, in blows", &certified(Wears::InBlows, n_histories()), 0.03);
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
            let mut scratch = experiment.scratch();
            let survey = |scale: f64, trial: u64, scratch: &mut _| {
                let mut scaled = drawn.clone();
                scaled.scale(scale);
                experiment.outputs_of(&scaled, &streams, trial, scratch)
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
fn histories_of_spreads_are_predicted() {
    let check = check_with(|_| {});
    assert_calibrated("spreads, own family", &with_spreads(Wears::AsAssumed, &check, n_histories()));
}

#[test]
fn histories_of_spreads_of_another_family_lie_within_the_intervals() {
    let check = check_with(|_| {});
    assert_intervals_hold("spreads, steady", &with_spreads(Wears::Steadily, &check, n_histories()), 0.0);
}

fn exactly(value: f64, u: f64) -> Known {
    Known::Normal { estimate: value, standard_uncertainty: u }
}

/// Yearly certificates with u = 0.1 µm on a plate that wears steadily.
fn steady(rate: f64, n_years: u32) -> Vec<Event> {
    let event = |year: u32| {
        let years = f64::from(year) - f64::from(n_years);
        Event { years, evidence: Evidence::Certificate(exactly(1.0 + rate * f64::from(year), 0.1)) }
    };
    (0..=n_years).map(event).collect()
}

#[test]
fn known_rates_are_found_again() {
    let population = some_population();
    for rate in [0.1, 0.25, 0.5, 1.0, 2.0] {
        let wear = fit(&history_of(steady(rate, 8), &population, None, 2.5 * TOLERANCE)).remove(0);
        // 0.1 µm at either end of eight years, and a little unevenness that a steady plate cannot rule out.
        let slack = 0.03 + 0.06 * rate;
        assert!((wear.rate.mean - rate).abs() < slack, "{} for {rate}", wear.rate.mean);
        assert!((wear.rate.ends[0]..=wear.rate.ends[1]).contains(&rate), "{:?} for {rate}", wear.rate);
    }
}

/// Wear is never undone between resurfacings: the probability of being out only grows.
#[test]
fn wear_does_not_go_back() {
    let population = some_population();
    let wear = fit(&history_of(steady(0.5, 4), &population, None, 2.5 * TOLERANCE)).remove(0);
    let out: Vec<f64> = (0..40).map(|k| wear.exceeding(TOLERANCE, 0.25 * f64::from(k))).collect();
    assert!(out.windows(2).all(|pair| pair[1] >= pair[0] - 1e-12), "{out:?}");
    assert!(out[0] < 0.01 && out[39] > 0.9, "{out:?}");
}

#[test]
fn a_precise_certificate_pins_the_flatness() {
    let population = some_population();
    for flatness in [0.4, 2.2, 6.0] {
        let events = vec![Event { years: 0.0, evidence: Evidence::Certificate(exactly(flatness, 0.02)) }];
        let wear = fit(&history_of(events, &population, None, 2.5 * TOLERANCE)).remove(0);
        // The nodes are 0.05 µm apart.
        assert!((wear.today.mean - flatness).abs() < 0.02, "{:?}", wear.today);
        assert!(wear.today.ends[1] - wear.today.ends[0] < 0.2, "{:?}", wear.today);
    }
}

/// Flatness as the population has it, rates as assumed: lognormal with both deviations together.
#[test]
fn without_a_history_stands_what_is_assumed() {
    let population = some_population();
    let wear = fit(&history_of(Vec::new(), &population, None, 2.5 * TOLERANCE)).remove(0);
    let prior = WearPrior::default();
    let spread = libm::hypot(prior.between_shops, prior.between_plates);
    for (end, p) in wear.rate.ends.into_iter().zip([0.025, 0.975]) {
        let expected = prior.median_rate * libm::exp(spread * normal_quantile(p));
        assert!((end / expected - 1.0).abs() < 0.08, "{end} for {expected}");
    }
    // 5 % are anything, so the upper end lies a little beyond the population's own.
    let median =
        howflat::propagation::wear_history::quantile(&wear.distribution_after(0.0), wear.spacing, 0.5);
    assert!((median / 1.5 - 1.0).abs() < 0.05, "{median}");
}

/// What was there before a resurfacing says nothing of the flatness after it.
#[test]
fn a_resurfacing_resets() {
    let population = some_population();
    let after = |before: f64| {
        let events = vec![
            Event { years: -2.0, evidence: Evidence::Certificate(exactly(before, 0.1)) },
            Event { years: -1.0, evidence: Evidence::Resurfaced(exactly(1.2, 0.1)) },
        ];
        fit(&history_of(events, &population, None, 2.5 * TOLERANCE)).remove(0)
    };
    let [good, bad] = [after(0.8), after(9.0)];
    assert!((good.today.mean - bad.today.mean).abs() < 1e-9, "{:?} and {:?}", good.today, bad.today);
    assert!((good.events[1].fitted.mean - 1.2).abs() < 0.02, "{:?}", good.events[1]);
    assert!(bad.today.mean > 1.2 && bad.today.mean < 3.0, "{:?}", bad.today);
    assert!((bad.events[0].fitted.mean - 9.0).abs() < 0.05, "{:?}", bad.events[0]);
}

/// Out of tolerance with a probability that rises evenly from 0 to 1 over L years (steady wear from a start that
/// is uniform): the long-run cost (C + b τ²/2L)/τ is least at τ = √(2CL/b), and the risk it is worth is τ/L.
#[test]
fn the_cheapest_cycle_has_its_closed_form() {
    let l = 8.0;
    let n = 4000;
    let out =
        OutOfTolerance { step: l / n as f64, probability: (0..=n).map(|k| k as f64 / n as f64).collect() };
    for (recalibration, bad_part) in [(300.0, 100.0), (50.0, 100.0), (900.0, 40.0)] {
        let costs = Costs { recalibration, day: 0.0, days_away: 0.0, bad_part, bad_parts_a_year: 12.0 };
        let expected = libm::sqrt(2.0 * recalibration * l / (12.0 * bad_part));
        let cycle = costs.cheapest_cycle(&out).expect("a cycle");
        assert!((cycle.years - expected).abs() < 1e-3, "{} for {expected}", cycle.years);
        let per_year = recalibration / expected + 12.0 * bad_part * expected / (2.0 * l);
        assert!((cycle.cost_per_year / per_year - 1.0).abs() < 1e-6);
        assert!((costs.acceptable_risk(&cycle) - expected / l).abs() < 1e-3);
        assert!((costs.least_cost(&out, &cycle).years - expected).abs() < 1e-2);
    }
}

/// A perfect check of a plate that is out for certain or good for ever: its worth is the chance of each times what
/// acting on it saves (two states, worked by hand).
#[test]
fn a_perfect_check_of_two_states_has_its_closed_form() {
    let costs =
        Costs { recalibration: 100.0, day: 0.0, days_away: 0.0, bad_part: 10.0, bad_parts_a_year: 20.0 };
    let cycle = howflat::decision::recall::CheapestCycle { years: 5.0, cost_per_year: 60.0 };
    // Out with 40 %: now and in all of ten years. b = 200, g = 60, so it goes out as soon as P >= 0.3: now, at 100.
    let (out, good) = (0.4, 0.6);
    let mut states = vec![vec![out, 0.0]; 11];
    states.push(vec![out, good]);
    let outcomes = [vec![1.0, 0.0], vec![0.0, 1.0]];
    // Known to be good it stays ten years and saves 60 in each: 100 − 600.
    let expected = 100.0 - (out * 100.0 + good * (100.0 - 600.0));
    let worth = costs.value_of_check(1.0, &states, &outcomes, &cycle);
    assert!((worth - expected).abs() < 1e-9, "{worth} for {expected}");
    // A check that says the same whatever is true is worth nothing.
    let blind = [vec![0.5, 0.5], vec![0.5, 0.5]];
    assert!(costs.value_of_check(1.0, &states, &blind, &cycle).abs() < 1e-9);
}

fn day(text: &str) -> Day {
    match Day::read(text) {
        Some(WrittenDay::One(day, _)) => day,
        other => panic!("{text}: {other:?}"),
    }
}

fn question(costs: Option<Costs>, prior: WearPrior) -> RecallQuestion {
    RecallQuestion {
        tolerance: TOLERANCE,
        risk: 0.05,
        today: day("2025-01-01"),
        costs,
        prior,
        settings: Settings::default(),
    }
}

fn planned(entries: Vec<Entry>, question: &RecallQuestion) -> PlatePlan {
    let record = PlateRecord::new(String::new(), entries);
    RecallPlan::new(&check_with(|_| {}), &[record], question, &|_| {}).expect("a plan").plates.remove(0)
}

/// Steady wear, known exactly: the plate reaches the tolerance on one day. Where a year out costs more than what is
/// saved by waiting (b T > C), sending it out on that very day is best, now and for ever after: (C + b (τ − T)⁺)/τ
/// falls up to T and rises from there.
#[test]
fn without_uncertainty_the_best_day_is_when_the_tolerance_is_reached() {
    let costs =
        Costs { recalibration: 6600.0, day: 0.0, days_away: 0.0, bad_part: 100.0, bad_parts_a_year: 12.0 };
    // Of b T = 13200 for T = 11 years: the risk that is worth taking is one half, where what the grid blurs has no side.
    let (rate, tolerance) = (1.0, 12.0);
    let (new, today) = (1.0, day("2025-01-01"));
    let mut entries =
        vec![Entry { day: day("2019-01-01"), found: Found::Resurfaced(Some(exactly(new, 0.02))) }];
    for year in 2020..=2025 {
        let at = Day::new(year, 1, 1).expect("a day");
        let flatness = new + rate * at.years_since(day("2019-01-01"));
        entries.push(Entry { day: at, found: Found::Certificate(exactly(flatness, 0.02)) });
    }
    let prior = WearPrior { unevenness: vec![0.0], ..WearPrior::default() };
    let plan = planned(entries, &RecallQuestion { tolerance, ..question(Some(costs), prior) });
    let cost = plan.by_cost.as_ref().expect("costs");
    let reached = (tolerance - new) / rate - today.years_since(day("2019-01-01"));
    let (least, _) = cost.least.expect("a best day");
    // The nodes of the grid are 0.13 µm apart, six weeks of this wear.
    assert!((least.years - reached).abs() < 0.25, "{} for {reached}", least.years);
    let cycle = cost.cycle.expect("a cycle");
    let period = (tolerance - new) / rate;
    assert!((cycle.years / period - 1.0).abs() < 0.04, "{} for {period}", cycle.years);
    let per_year = costs.recalibration / period;
    assert!((cycle.cost_per_year / per_year - 1.0).abs() < 0.05, "{} for {per_year}", cycle.cost_per_year);
    let due = plan.due.expect("a date");
    assert!(due <= least.years + 1.0 / DAYS_PER_YEAR && due > reached - 0.5, "{due}");
}

fn shipped(name: &str) -> String {
    fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("budgets").join(name))
        .expect("a shipped file")
}

/// Kept readings, with nothing else on record: the prior that was divided out comes back in, and the judge's own answer
/// with it. What is in between is a normal likelihood, and 5 % of anything.
#[test]
fn readings_alone_give_the_judges_answer() {
    let setup =
        Setup::read(&shipped("granite-parked.json"), &|_| Err("nothing else".into())).expect("a setup");
    let readings = Readings::read(&shipped("granite-parked.readings.csv"), &setup).expect("readings");
    let question = question(None, WearPrior::default());
    let judged =
        posterior(&readings.check, &readings.observations(), &question.settings, &|_| {}).expect("judged");
    let (mean, deviation) = mean_and_standard_deviation(&judged.flatness);
    let found = Found::Readings(readings.check.clone(), readings.observations());
    let record = PlateRecord::new(String::new(), vec![Entry { day: question.today, found }]);
    let plan = RecallPlan::new(&setup.check, &[record], &question, &|_| {}).expect("a plan");
    let today = plan.plates[0].wear.today;
    assert!((today.mean - mean).abs() < 0.35 * deviation, "{today:?}, judged {mean} ± {deviation}");
    let width = (today.ends[1] - today.ends[0]) / (4.0 * deviation);
    assert!((0.75..1.35).contains(&width), "{today:?}, judged {mean} ± {deviation}");
}

fn recall(folder: &Path, arguments: &[&str]) -> Run {
    run(howflat().current_dir(folder).arg("recall").args(arguments))
}

fn with_setup() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a folder");
    fs::write(folder.path().join("mine.json"), shipped("granite-parked.json")).expect("a file");
    fs::write(folder.path().join("granite-parked.readings.csv"), shipped("granite-parked.readings.csv"))
        .expect("a file");
    fs::write(folder.path().join("mine.csv"), shipped("granite-parked.history.csv")).expect("a file");
    folder
}

#[test]
fn every_fault_is_told_with_its_line() {
    let folder = with_setup();
    let history = "date,kind,value,U,k,file,remark\n\
         1/3/24,certificate,1 tenth,0.2 tenths,2,,\n\
         2024-03-01,certificat,1 tenth,0.2 tenths,2,,\n\
         2024-03-01,certificate,1 tenth,,2,,\n\
         2024-03-01,certificate,1 kg,0.2 tenths,2,,\n\
         2024-03-01,certificate,1 tenth,0.2 tenths,0.3,,\n\
         2024-03-01,shop check,,,,,\n\
         2024-03-01,shop check,3 tenths,0.2 tenths,,,\n\
         2024-03-01,shop check,,,,no-such.csv,\n\
         2024-03-01,shop check,,,,mine.json,\n\
         2024-02-30,shop check,3 tenths,,,,\n";
    fs::write(folder.path().join("bad.csv"), history).expect("a file");
    let run = recall(folder.path(), &["mine.json", "bad.csv", "--out", "report"]);
    assert_eq!(run.code, 2);
    assert!(run.out.is_empty() && !folder.path().join("report").exists());
    for (line, said) in [
        (2, "date is \"1/3/24\", but must be a day of the calendar"),
        (3, "did you mean \"certificate\"?"),
        (4, "U is blank, but must be the uncertainty of the value"),
        (5, "value is \"1 kg\""),
        (6, "k is \"0.3\", but must be a coverage factor from 1 to 10"),
        (7, "value is blank, but must be the spread that was read, or a file of readings"),
        (8, "must be blank beside a shop check"),
        (9, "\"no-such.csv\", which cannot be read"),
        (10, "\"mine.json\", in which there is a fault"),
        (11, "date is \"2024-02-30\""),
    ] {
        let place = format!("bad.csv: line {line}, column ");
        let told = run.err.lines().find(|told| told.starts_with(&place));
        assert!(told.is_some_and(|told| told.contains(said)), "line {line}: {said}\n{}", run.err);
    }
}

#[test]
fn what_cannot_be_asked_is_told() {
    let folder = with_setup();
    let ask = |arguments: &[&str], said: &str| {
        let run = recall(folder.path(), arguments);
        assert_eq!(run.code, 2, "{arguments:?}: {}", run.err);
        assert!(run.err.contains(said), "{arguments:?}: {}", run.err);
    };
    ask(&["mine.json", "mine.csv", "--on", "2024-01-01"], "give a later day with --on");
    ask(&["mine.json", "mine.csv", "--on", "tomorrow"], "a day of the calendar");
    ask(&["mine.json", "mine.csv", "--costs", "recalibration=450"], "without \"bad-part\"");
    ask(&["mine.json", "mine.csv", "--risk", "2"], "a probability");
    ask(&["mine.json", "gone.csv"], "cannot be read");
    ask(&["-", "-"], "cannot both be standard input");
    let without_grade = shipped("granite-parked.json")
        .replace("\"material\": \"granite\",\n    \"grade\": \"US A\"", "\"material\": \"granite\"");
    fs::write(folder.path().join("free.json"), without_grade).expect("a file");
    ask(&["free.json", "mine.csv"], "add --grade or --tolerance");
    for (text, said) in [
        ("", "a line of column names"),
        ("date,value\n2024-01-01,1 tenth\n", "without a column \"kind\""),
        ("date,kind,value\n", "without a row below its column names"),
        (
            "date,plate,kind,value\n2024-01-01,,shop check,1 tenth\n2024-01-02,b,shop check,1 tenth\n",
            "since others are named",
        ),
    ] {
        fs::write(folder.path().join("odd.csv"), text).expect("a file");
        ask(&["mine.json", "odd.csv"], said);
    }
}

/// Findings that no wear leads to from one another must not be averaged into an answer: the plate may be far out.
#[test]
fn entries_that_contradict_one_another_are_refused() {
    let folder = with_setup();
    let head = "date,kind,value,U\n";
    let (good, bad) = ("certificate,1 tenth,0.2 tenths\n", "certificate,9 tenths,0.2 tenths\n");
    for (text, line) in [
        // Twice on one day, in either order, with or without room for both in the numbers.
        (format!("2020-01-01,{good}2020-01-01,{bad}"), 3),
        (format!("2020-01-01,{good}2020-01-01,certificate,3 tenths,0.2 tenths\n"), 3),
        // Wear never goes back.
        (format!("2020-01-01,{bad}2021-01-01,{good}2022-01-01,{good}"), 3),
    ] {
        fs::write(folder.path().join("odd.csv"), format!("{head}{text}")).expect("a file");
        let run = recall(folder.path(), &["mine.json", "odd.csv", "--out", "report"]);
        assert_eq!((run.code, run.out.as_str()), (2, ""), "{text}");
        let place = format!("odd.csv: line {line}, column 1: the certificate of ");
        assert!(run.err.starts_with(&place) && run.err.contains("slip of the pen"), "{text}: {}", run.err);
        assert!(!folder.path().join("report").exists());
    }
    // Where nothing but a spread is on record before it, that is named.
    let text = "2023-01-10,shop check,3 tenths,\n2024-01-10,certificate,300 tenths,20 µin\n";
    fs::write(folder.path().join("odd.csv"), format!("{head}{text}")).expect("a file");
    let run = recall(folder.path(), &["mine.json", "odd.csv"]);
    assert_eq!(run.code, 2);
    assert!(run.err.contains("out of reach of the shop check of 2023-01-10 (line 2)"), "{}", run.err);
    // Harm that is conceivable is believed, and a resurfacing explains the rest.
    for (text, said) in [
        (format!("2020-01-01,{good}2021-01-01,{bad}"), "The plate is due"),
        (format!("2020-01-01,{bad}2020-05-01,resurfacing,,\n2021-01-01,{good}"), "Send the plate out by 202"),
    ] {
        fs::write(folder.path().join("odd.csv"), format!("{head}{text}")).expect("a file");
        let run = recall(folder.path(), &["mine.json", "odd.csv"]);
        assert!(run.code == 0 && run.out.contains(said), "{text}: {}{}", run.err, run.out);
    }
}

/// Not of the number of threads, nor of the clock; of the seed only by what is simulated.
#[test]
fn the_numbers_depend_on_nothing_else() {
    let folder = with_setup();
    let costs = ["--costs", "recalibration=450,bad-part=80"];
    let with = |more: &[&str]| {
        let run = recall(folder.path(), &[&["mine.json", "mine.csv", "--json"], &costs[..], more].concat());
        assert_eq!(run.code, 0, "{}", run.err);
        run.out
    };
    let one = with(&["--threads", "1"]);
    assert_eq!(one, with(&["--threads", "3"]));
    assert_ne!(one, with(&["--seed", "2"]));
    let document: serde_json::Value = serde_json::from_str(&one).expect("JSON");
    assert_eq!(document["as_on"], "2025-09-29");
    let later: serde_json::Value = serde_json::from_str(&with(&["--on", "2027-01-01"])).expect("JSON");
    assert_eq!(later["as_on"], "2027-01-01");
    let out =
        |document: &serde_json::Value| document["plates"][0]["out_probability"].as_f64().expect("a number");
    assert!(out(&later) > out(&document));
}

/// Rows may stand in any order, with other units, separators and names of columns that people use.
#[test]
fn a_history_may_be_typed_in_many_ways() {
    let folder = with_setup();
    let ways = [
        "date,kind,value,U,k\n2023-06-19,certificate,1 tenth,0.2 tenths,2\n2024-07-01,shop check,4 tenths,,\n",
        "# remark\nKind;Day;Flatness (µm);Uncertainty;k\n\nCheck;2024-07-01;10,16;;\ncalibration;2023-06-19;2,54;±0,508;k=2\n",
        "\u{feff}date\tkind\tvalue\tU\n2024-07-01\tshop-check\t400 µin\t\n2023-06-19\tCertificate\t0.0001 in\t20 µin\n",
    ];
    let answers = ways.map(|text| {
        fs::write(folder.path().join("way.csv"), text).expect("a file");
        let run = recall(folder.path(), &["mine.json", "way.csv", "--json"]);
        assert_eq!(run.code, 0, "{}", run.err);
        let document: serde_json::Value = serde_json::from_str(&run.out).expect("JSON");
        let plate = &document["plates"][0];
        let number = |value: &serde_json::Value| value.as_f64().expect("a number");
        (
            plate["send_out_by"].to_string(),
            number(&plate["flatness"]["estimate"]),
            number(&plate["out_probability"]),
        )
    });
    for answer in &answers[1..] {
        assert_eq!(answer.0, answers[0].0);
        assert!(
            (answer.1 - answers[0].1).abs() < 1e-6 && (answer.2 - answers[0].2).abs() < 1e-6,
            "{answers:?}"
        );
    }
}

/// A plate's document, and all that is explained.
fn answered(folder: &Path, text: &str, more: &[&str]) -> (serde_json::Value, String) {
    fs::write(folder.join("asked.csv"), text).expect("a file");
    let run = recall(folder, &[&["mine.json", "asked.csv", "--json"], more].concat());
    assert_eq!(run.code, 0, "{text}: {}", run.err);
    let document: serde_json::Value = serde_json::from_str(&run.out).expect("JSON");
    (document["plates"][0].clone(), document["explanation"].to_string())
}

/// Wear cannot lead from 150 µin to 80: one of three is wrong, and nobody knows which. Each reading is what the history
/// gives without the entry that it leaves out, typed so by hand.
#[test]
fn entries_that_contradict_one_another_mildly_are_not_averaged() {
    let folder = with_setup();
    let rows = ["2022-01-10,60", "2023-01-10,150", "2024-01-10,80"];
    let history = |without: Option<usize>| {
        let kept = rows.iter().enumerate().filter(|(k, _)| Some(*k) != without);
        let typed = kept.map(|(_, row)| {
            let (day, value) = row.split_once(',').expect("a row");
            format!("{day},certificate,{value} µin,25 µin\n")
        });
        format!("date,kind,value,U\n{}", typed.collect::<String>())
    };
    let on = ["--on", "2024-06-01"];
    let (plate, said) = answered(folder.path(), &history(None), &on);
    let mut dates = Vec::new();
    for (line, without) in [(3, 1), (4, 2)] {
        let (by_hand, _) = answered(folder.path(), &history(Some(without)), &on);
        assert_eq!(by_hand["readings"], serde_json::json!([]));
        let readings = plate["readings"].as_array().expect("a list");
        let reading = readings.iter().find(|reading| reading["left_out_lines"] == serde_json::json!([line]));
        let date = reading.expect("a reading")["send_out_by"].as_str().expect("a date");
        assert_eq!(Some(date), by_hand["send_out_by"].as_str());
        assert!(said.contains(&format!("(line {line})")), "{said}");
        dates.push((date.to_owned(), by_hand["flatness"].clone()));
    }
    dates.sort_by(|a, b| a.0.cmp(&b.0));
    // All that is said goes with the earlier date.
    assert_eq!(plate["send_out_by"].as_str(), Some(dates[0].0.as_str()));
    // To rounding: in one run the plate is fitted anew beside its shop, in the other together with it.
    for name in ["estimate", "from", "to"] {
        let [said, by_hand] =
            [&plate["flatness"], &dates[0].1].map(|flatness| flatness[name].as_f64().unwrap());
        assert!((said / by_hand - 1.0).abs() < 1e-12, "{name}: {said} {by_hand}");
    }
    assert!(dates[0].0 < dates[1].0 && said.contains("not averaged"), "{dates:?} {said}");
}

#[test]
fn a_row_typed_twice_counts_once() {
    let folder = with_setup();
    let head = "date,kind,value,U,k\n";
    let rest = "2024-01-10,certificate,80 µin,20 µin,2\n";
    let (once, _) =
        answered(folder.path(), &format!("{head}2022-01-10,certificate,60 µin,20 µin,2\n{rest}"), &[]);
    let again = format!(
        "{head}2022-01-10,certificate,60 µin,20 µin,2\n{rest}2022-01-10,calibration,0.60 tenths,0.1 tenths,1\n"
    );
    let (twice, said) = answered(folder.path(), &again, &[]);
    assert_eq!(once, twice);
    assert!(said.contains("lines 2 and 4") && said.contains("counts once"), "{said}");
    // Two shop checks of a day may read the same spread; each counts.
    let check = "2024-07-01,shop check,4 tenths,,\n";
    let [one, two] =
        [1, 2].map(|n| answered(folder.path(), &format!("{head}{rest}{}", check.repeat(n)), &[]).0);
    assert_ne!(one["flatness"], two["flatness"]);
}

/// The others get their dates, as if the refused plate were not in the file; that it is not answered shows in the exit code.
#[test]
fn one_plates_bad_row_does_not_refuse_the_others() {
    let folder = with_setup();
    let head = "date,plate,kind,value,U\n";
    let good = "2023-01-10,Saw,certificate,60 µin,20 µin\n2023-02-10,Lathe,certificate,90 µin,20 µin\n";
    let (alone, _) = answered(folder.path(), &format!("{head}{good}"), &["--on", "2024-06-01"]);
    for (bad, line, said) in [
        ("2024-01-10,Forge,certificate,80 µin,\n", 4, "U of Forge is blank"),
        (
            "2024-01-10,Forge,certificate,900 µin,20 µin\n2024-01-11,Forge,certificate,80 µin,20 µin\n",
            5,
            "of Forge is out of reach",
        ),
    ] {
        fs::write(folder.path().join("odd.csv"), format!("{head}{good}{bad}")).expect("a file");
        let run = recall(
            folder.path(),
            &["mine.json", "odd.csv", "--on", "2024-06-01", "--json", "--out", "report"],
        );
        assert_eq!(run.code, 2, "{}", run.err);
        assert!(
            run.err.contains(&format!("odd.csv: line {line}, ")) && run.err.contains(said),
            "{}",
            run.err
        );
        let document: serde_json::Value = serde_json::from_str(&run.out).expect("JSON");
        assert_eq!(document["plates"][0], alone);
        assert_eq!(document["plates"].as_array().map(Vec::len), Some(2));
        assert_eq!(document["refused"][0]["name"], "Forge");
        let answer = document["answer"].as_str().expect("an answer");
        assert!(answer.contains(&format!("Nothing is said of Forge (line {line})")), "{answer}");
        let page = fs::read_to_string(folder.path().join("report/report.md")).expect("a report");
        assert!(page.contains("Nothing is said of Forge"), "{page}");
    }
}

/// A bare 60 in a column of tenths is thirty tolerances; 60 µin is a third of one.
#[test]
fn a_likely_slip_of_the_unit_is_asked_for_at_its_row() {
    let folder = with_setup();
    let ask = |value: &str, u: &str| {
        let rest = "2023-01-10,certificate,70 µin,20 µin\n2024-01-10,certificate,80 µin,20 µin\n";
        let text = format!("date,kind,value,U\n2022-01-10,certificate,{value},{u}\n{rest}");
        fs::write(folder.path().join("odd.csv"), text).expect("a file");
        recall(folder.path(), &["mine.json", "odd.csv"])
    };
    let run = ask("60", "20 µin");
    assert_eq!((run.code, run.out.as_str()), (2, ""));
    assert!(
        run.err.starts_with("odd.csv: line 2, ") && run.err.contains("60 tenths or 60 µin?"),
        "{}",
        run.err
    );
    assert!(!run.err.contains("line 3"), "{}", run.err);
    let run = ask("60 µin", "20");
    assert!(
        run.code == 2 && run.err.contains("U is \"20\"") && run.err.contains("20 tenths or 20 µin?"),
        "{}",
        run.err
    );
    // With its unit it is what it says.
    assert_eq!(ask("60 µin", "20 µin").code, 0);
    let run = ask("60 tenths", "20 µin");
    assert!(run.code == 2 && run.err.contains("line 3, column 1"), "{}", run.err);
    // What is asked for stands before what a plate's own setup names: thirty of its tolerances, but one and a half of these.
    fs::write(folder.path().join("own.json"), shipped("granite-parked.json")).expect("a file");
    fs::write(
        folder.path().join("own.csv"),
        "plate,date,kind,value,U,setup\nSaw,2022-01-10,certificate,60,20 tenths,own.json\n",
    )
    .expect("a file");
    let refused = recall(folder.path(), &["mine.json", "own.csv"]);
    assert!(refused.code == 2 && refused.err.contains("60 tenths or 60 µin?"), "{}", refused.err);
    let asked = recall(folder.path(), &["mine.json", "own.csv", "--tolerance", "40 tenths"]);
    assert_eq!((asked.code, asked.err.as_str()), (0, ""));
    // Where two contradict each other, both are named.
    assert!(run.err.contains("out of reach of the certificate of 2022-01-10 (line 2)"), "{}", run.err);
}

#[test]
fn dates_are_read_as_spreadsheets_write_them() {
    let folder = with_setup();
    let history = |dates: [&str; 2]| {
        let row = |day: &str| format!("\"{day}\",certificate,80 µin,20 µin\n");
        format!("date,kind,value,U\n{}", dates.map(row).concat())
    };
    let (expected, _) = answered(folder.path(), &history(["2021-03-15", "2022-04-03"]), &[]);
    for dates in [
        ["3/15/2021", "4/3/2022"],
        ["15.03.2021", "03.04.2022"],
        ["15/3/2021", "3/4/2022"],
        ["15-Mar-2021", "April 3, 2022"],
        ["2021/03/15", "2022-04-03 00:00:00"],
    ] {
        assert_eq!(answered(folder.path(), &history(dates), &[]).0, expected, "{dates:?}");
    }
    for dates in [["2021-03-15", "3/4/2022"], ["2021-03-15", "03.04.2022"]] {
        fs::write(folder.path().join("odd.csv"), history(dates)).expect("a file");
        let run = recall(folder.path(), &["mine.json", "odd.csv"]);
        assert_eq!((run.code, run.out.as_str()), (2, ""));
        assert!(
            run.err.contains("line 3") && run.err.contains("write 2022-04-03 or 2022-03-04"),
            "{}",
            run.err
        );
    }
    // Rows that settle it in two ways settle nothing for a third.
    let text = history(["3/15/2021", "15.03.2022"]) + "3/4/2022,certificate,80 µin,20 µin\n";
    fs::write(folder.path().join("odd.csv"), text).expect("a file");
    let run = recall(folder.path(), &["mine.json", "odd.csv"]);
    assert!(run.code == 2 && run.err.contains("line 4"), "{}", run.err);
    for (day, said) in
        [("3/4/2026", "2026-04-03 and as 2026-03-04"), ("2200-01-01", "from 1900-01-01 to 2199-12-31")]
    {
        let run = recall(folder.path(), &["mine.json", "mine.csv", "--on", day]);
        assert!(run.code == 2 && run.err.contains(said), "{}", run.err);
    }
}

/// Steady certificates, one each two years.
fn slowly(from: f64, to: f64, n: u32) -> String {
    let row = |k: u32| {
        let value = from + (to - from) * f64::from(k) / f64::from(n - 1);
        format!("{}-01-10,certificate,{value} µin,4 µin\n", 1990 + 2 * k)
    };
    format!("date,kind,value,U\n{}", (0..n).map(row).collect::<String>())
}

#[test]
fn costs_say_what_they_rest_on() {
    let folder = with_setup();
    let certificates = slowly(60.0, 100.0, 6);
    let costs = ["--costs", "recalibration=450,bad-part=80"];
    let (plate, said) = answered(folder.path(), &certificates, &costs);
    assert!(said.contains("10 days") && said.contains("12 bad parts"), "{said}");
    let all = ["--costs", "recalibration=450,day=1,days-away=10,bad-part=80,bad-parts=12"];
    let (_, stated) = answered(folder.path(), &certificates, &all);
    assert!(!stated.contains("was assumed") && stated.contains("in the currency of the costs"), "{stated}");
    // What a shop check is worth is asked for even where none is on record, and stands in its column.
    let worth = |check: &str| {
        let checks = plate["by_cost"]["checks"].as_array().expect("a list").clone();
        checks.iter().find(|c| c["check"] == check).and_then(|c| c["worth"].as_f64()).expect("a worth")
    };
    let spread = worth("spread");
    assert!(spread < worth("exact"), "{plate}");
    let of_two = "date,plate,kind,value,U\n1990-01-10,Saw,certificate,60 µin,60 µin\n\
                  2000-01-10,Saw,certificate,100 µin,60 µin\n2000-01-10,Lathe,certificate,150 µin,60 µin\n";
    fs::write(folder.path().join("two.csv"), of_two).expect("a file");
    let run = recall(folder.path(), &["mine.json", "two.csv", "--out", "two", costs[0], costs[1]]);
    assert_eq!(run.code, 0, "{}", run.err);
    let result: serde_json::Value =
        serde_json::from_str(&fs::read_to_string(folder.path().join("two/result.json")).expect("a file"))
            .expect("JSON");
    let page = fs::read_to_string(folder.path().join("two/report.md")).expect("a report");
    assert!(page.contains("a shop check is worth, in the costs' currency"), "{page}");
    // No amount stands without its unit, which a table says once, in its heading; of works that were not looked up this is
    // said once.
    let mut n_tables = 0;
    for table in page.split("\n\n").filter(|part| part.starts_with('|') && part.contains(" worth")) {
        let (heading, rows) = table.split_once('\n').expect("rows");
        assert_eq!(heading.matches("in the costs' currency").count(), 1, "{table}");
        assert!(!rows.contains("currency"), "{table}");
        n_tables += 1;
    }
    assert_eq!(n_tables, 1 + 2, "{page}");
    assert_eq!(page.lines().filter(|l| !l.starts_with('|')).filter(|l| l.contains("from memory")).count(), 1);
    for plate in result["plates"].as_array().expect("plates") {
        let name = plate["name"].as_str().expect("a name");
        let row = page.lines().find(|line| line.starts_with(&format!("| {name} "))).expect("a row");
        let worth = plate["by_cost"]["checks"][0]["worth"].as_f64().expect("a worth");
        assert_eq!(plate["by_cost"]["checks"][0]["check"], "spread");
        let last = row.trim_end_matches(['|', ' ']).rsplit('|').next().expect("a cell").trim();
        assert_eq!(last, format!("{worth:.0}"), "{row}");
        assert!(worth > 1.0, "{row}");
    }
}

/// A plate that hardly wears: the risk that the costs are worth lies beyond all that is looked at.
#[test]
fn the_end_of_the_years_is_no_date() {
    let folder = with_setup();
    let costs = ["--costs", "recalibration=450,bad-part=80"];
    let (plate, said) = answered(folder.path(), &slowly(40.0, 40.4, 15), &costs);
    assert_eq!(plate["by_cost"]["least_cost_date"], serde_json::Value::Null);
    assert!(!said.contains("when the risk reaches") && said.contains("the risk stays below"), "{said}");
}

#[test]
fn the_forecast_reaches_its_own_date() {
    let folder = with_setup();
    let (plate, _) = answered(folder.path(), &slowly(40.0, 100.0, 15), &[]);
    let due = plate["send_out_by"].as_str().expect("a date");
    let last = plate["forecast"].as_array().and_then(|all| all.last()).expect("a forecast");
    assert!(due > "2040-01-01", "{due}");
    assert!(last["date"].as_str().expect("a date") > due, "{last} for {due}");
}

#[test]
fn the_first_entry_is_compared_with_the_setup() {
    let folder = with_setup();
    let (_, said) =
        answered(folder.path(), "date,kind,value,U\n2024-01-10,certificate,40 tenths,20 µin\n", &[]);
    assert!(said.contains("first entry") && !said.contains("entries before it"), "{said}");
}

/// An uncertain certificate leaves the answer to what else is known.
#[test]
fn why_a_larger_uncertainty_can_make_a_date_later() {
    let folder = with_setup();
    let with = |u: u32| {
        answered(folder.path(), &format!("date,kind,value,U\n2024-01-10,certificate,190 µin,{u} µin\n"), &[])
    };
    let [(sure, no_word), (vague, why)] = [25, 200].map(with);
    let estimate = |plate: &serde_json::Value| plate["flatness"]["estimate"].as_f64().expect("a number");
    assert!(estimate(&vague) < estimate(&sure) - 0.2);
    assert!(why.contains("The larger a U, the less its value counts") && !no_word.contains("The larger a U"));
}

/// Whoever laps may lap well: a resurfacing without a value excludes nothing that passes.
#[test]
fn a_resurfacing_without_a_value_leaves_anything_that_passes() {
    let folder = with_setup();
    let rows = "date,kind,value,U\n2023-01-10,certificate,190 µin,20 µin\n2024-01-10,resurfacing,,\n";
    let (_, said) = answered(folder.path(), rows, &[]);
    assert!(said.contains("from 0.00 to 2.00 tenths") && said.contains("the date comes early"), "{said}");
    let (plate, _) = answered(folder.path(), &format!("{rows}2024-02-01,certificate,20 µin,10 µin\n"), &[]);
    let estimate = plate["flatness"]["estimate"].as_f64().expect("a number");
    assert!((estimate - 0.2).abs() < 0.05, "{plate}");
}

/// A plate unlike the setup's says so: what is said of it is what its own setup and grade give it alone.
#[test]
fn each_plate_may_have_its_own_setup_size_and_grade() {
    let folder = with_setup();
    let small = shipped("granite-parked.json")
        .replace("\"36 in\"", "\"24 in\"")
        .replace("\"width\": \"24 in\"", "\"width\": \"18 in\"")
        .replace("US A", "US B");
    fs::write(folder.path().join("small.json"), &small).expect("a file");
    let on = ["--on", "2025-01-10"];
    let rows = "2022-01-10,certificate,60 µin,20 µin\n2023-07-01,shop check,3 tenths,\n";
    let typed = |plate: &str, own: &str| {
        rows.lines()
            .enumerate()
            .map(|(k, row)| {
                let own = if k == 0 { own } else { ",,," };
                format!("{plate},{row},{own}\n")
            })
            .collect::<String>()
    };
    let ask = |setup: &str, text: &str, more: &[&str]| {
        fs::write(folder.path().join("asked.csv"), text).expect("a file");
        recall(folder.path(), &[&[setup, "asked.csv", "--json"], &on[..], more].concat())
    };
    let document = |run: &Run| -> serde_json::Value { serde_json::from_str(&run.out).expect("JSON") };
    let plate = |run: &Run, name: &str| {
        let all = document(run)["plates"].as_array().expect("plates").clone();
        all.into_iter().find(|plate| plate["name"] == name).expect("a plate")
    };
    let head = "plate,date,kind,value,U,setup,grade,size,usage\n";
    // Alone in the file, so that no other plate tells of the shop.
    let own = ask("mine.json", &format!("{head}{}", typed("Saw", "small.json,,18 x 24 in,")), &[]);
    let main = ask("small.json", &format!("{head}{}", typed("Saw", ",,,")), &[]);
    assert_eq!((own.code, main.code), (0, 0), "{}{}", own.err, main.err);
    assert_eq!(plate(&own, "Saw"), plate(&main, "Saw"));
    let graded = ask("mine.json", &format!("{head}{}", typed("Saw", ",US B,24 x 36 in,")), &[]);
    let asked = ask("mine.json", &format!("{head}{}", typed("Saw", ",,,")), &["--grade", "US B"]);
    for said in ["send_out_by", "tolerance", "tolerance_name", "flatness", "out_probability"] {
        assert_eq!(plate(&graded, "Saw")[said], plate(&asked, "Saw")[said], "{said}");
    }
    // Together each keeps its own, and the table says which.
    let both = format!("{head}{}{}", typed("Saw", "small.json,,,"), typed("Lathe", ",US B,,"));
    let run = ask("mine.json", &both, &["--out", "both"]);
    let [saw, lathe] = ["Saw", "Lathe"].map(|name| plate(&run, name));
    assert_ne!(saw["tolerance"], lathe["tolerance"]);
    assert_ne!(saw["setup_digest"], lathe["setup_digest"]);
    assert!(document(&run)["answer"].to_string().contains("exceeds its own tolerance"));
    let page = fs::read_to_string(folder.path().join("both/report.md")).expect("a report");
    assert!(page.lines().any(|line| line.starts_with("| Saw ") && line.contains("small.json")), "{page}");
    // What differs is not silently taken alike.
    for (row, said) in [
        ("Saw,2024-01-10,certificate,60 µin,20 µin,,,24 x 18 in,\n", "size of Saw is \"24 x 18 in\""),
        ("Saw,2024-01-10,certificate,60 µin,20 µin,,US Z,,\n", "grade of Saw is \"US Z\""),
        (
            "Saw,2024-01-10,certificate,60 µin,20 µin,gone.json,,,\n",
            "setup of Saw is \"gone.json\", which cannot be read",
        ),
        ("Saw,2024-01-10,certificate,60 µin,20 µin,,,,often\n", "usage of Saw is \"often\""),
        (
            "Saw,2023-01-10,certificate,60 µin,20 µin,,US A,,\nSaw,2024-01-10,certificate,60 µin,20 µin,,US B,,\n",
            "what line 2 says of this plate, \"US A\"",
        ),
    ] {
        let run = ask("mine.json", &format!("{head}{row}"), &[]);
        assert!(run.code == 2 && run.out.is_empty() && run.err.contains(said), "{row}: {}", run.err);
    }
    let free =
        small.replace("\"material\": \"granite\",\n    \"grade\": \"US B\"", "\"material\": \"granite\"");
    fs::write(folder.path().join("free.json"), free).expect("a file");
    let run = ask("mine.json", &format!("{head}{}", typed("Saw", "free.json,,,")), &[]);
    assert!(run.code == 2 && run.err.contains("the setup of Saw, names no grade"), "{}", run.err);
}

/// Wear goes with use: without a history of wear a plate that is used three times as much wears three times as fast, and its
/// probability of being out is that of the usual plate three times as far ahead, but for the steps in which wear comes.
#[test]
fn wear_goes_with_use() {
    let population = some_population();
    let first = vec![Event { years: 0.0, evidence: Evidence::Certificate(exactly(2.0, 0.1)) }];
    let used = |usage: f64| {
        let history =
            History { usage: vec![usage], ..history_of(first.clone(), &population, None, 2.5 * TOLERANCE) };
        fit(&history).remove(0)
    };
    let [usual, heavy] = [1.0, 3.0].map(used);
    assert!(
        (heavy.rate.mean / usual.rate.mean / 3.0 - 1.0).abs() < 1e-6,
        "{:?} {:?}",
        heavy.rate,
        usual.rate
    );
    for years in [0.5, 1.0, 2.0] {
        let [a, b] = [heavy.exceeding(TOLERANCE, years), usual.exceeding(TOLERANCE, 3.0 * years)];
        assert!((a - b).abs() < 1e-6, "{a} and {b}");
    }
    // By words and by hours.
    let folder = with_setup();
    let by = |usage: &str| {
        let text = format!("date,kind,value,U,usage\n2024-01-10,certificate,80 µin,20 µin,{usage}\n");
        answered(folder.path(), &text, &[]).0
    };
    let [light, usual, heavy, hours] = ["light", "", "heavy", "120 h"].map(by);
    let date = |plate: &serde_json::Value| plate["send_out_by"].as_str().expect("a date").to_owned();
    assert!(date(&heavy) < date(&usual) && date(&usual) < date(&light), "{heavy} {usual} {light}");
    assert_eq!(hours["send_out_by"], heavy["send_out_by"]);
}

#[test]
fn a_seed_is_a_whole_number() {
    let folder = with_setup();
    let run = recall(folder.path(), &["mine.json", "mine.csv", "--seed", "-1"]);
    assert!(run.code == 2 && run.err.contains("must be a whole number from 0"), "{}", run.err);
}

/// The words of shipped recalls, each against the numbers of its document.
mod words {
    use super::{Run, recall, rounded, told};
    use serde_json::Value;
    use std::{fs, path::Path};

    /// What a shipped history gives with the costs of its shipped report, which the tests of reports hold against this: the
    /// report, its numbers, and the screen.
    fn given(name: &str) -> (String, Value, String) {
        let root = Path::new(env!("CARGO_MANIFEST_DIR"));
        let out = tempfile::tempdir().expect("a folder");
        let [setup, history] = ["json", "history.csv"].map(|kind| format!("budgets/{name}.{kind}"));
        let folder = out.path().to_str().expect("a plain name");
        let costs = "recalibration=450,day=60,days-away=10,bad-part=80,bad-parts=12";
        let Run { code, out: screen, err } =
            recall(root, &[&setup, &history, "--costs", costs, "--out", folder]);
        assert_eq!(code, 0, "{err}");
        let read = |file: &str| fs::read_to_string(out.path().join(file)).expect("a report");
        let html = read("report.html");
        // On paper what a first reader can do without waits until it is asked for.
        assert!(
            html.contains("<input type=\"checkbox\"> Print the annex too")
                && html.contains("class=\"unprinted\"")
        );
        (read("report.md"), serde_json::from_str(&read("result.json")).expect("JSON"), screen)
    }

    /// Lines on a screen of 100 columns, at least.
    fn n_lines(text: &str) -> usize {
        text.lines().map(|line| line.chars().count().div_ceil(100).max(1)).sum()
    }

    fn number(value: &Value) -> f64 {
        value.as_f64().expect("a number")
    }

    fn height(value: &Value) -> String {
        rounded(number(value), 2)
    }

    fn heights(estimate: &Value) -> [String; 3] {
        ["estimate", "from", "to"].map(|of| height(&estimate[of]))
    }

    /// A probability: to a tenth of a per cent where it is small or large, else to one.
    fn chance(p: f64) -> String {
        rounded(100.0 * p, if (0.05..0.95).contains(&p) { 0 } else { 1 })
    }

    fn money(amount: f64) -> String {
        rounded(amount, if amount < 10.0 { 2 } else { 0 })
    }

    /// Cells of the first row that begins so, and has so many.
    fn row(report: &str, first: &str, n_cells: usize) -> Vec<String> {
        let cells = |line: &str| -> Vec<String> {
            line.trim_matches('|').split('|').map(|cell| cell.trim().to_owned()).collect()
        };
        let mut rows = report.lines().filter(|line| line.starts_with('|')).map(cells);
        rows.find(|row| row[0] == first && row.len() == n_cells).unwrap_or_else(|| panic!("no row {first}"))
    }

    /// A date that is decided on is the first on which the forecast has reached its probability.
    fn is_reached(plate: &Value, date: &Value, probability: f64) {
        let (date, forecast) = (date.as_str().expect("a date"), plate["forecast"].as_array().expect("rows"));
        let (before, after): (Vec<&Value>, Vec<&Value>) =
            forecast.iter().partition(|row| row["date"].as_str().expect("a date") < date);
        let out = |row: &Value| number(&row["out_probability"]);
        // A day of it is less than this.
        const SLACK: f64 = 2e-3;
        assert!(before.last().is_none_or(|row| out(row) < probability + SLACK), "{date} is late");
        assert!(after.first().is_some_and(|row| out(row) > probability - SLACK), "{date} is early");
    }

    #[test]
    fn of_one_plate() {
        let (report, json, screen) = given("granite-parked");
        assert!(n_lines(&screen) <= 28, "{} lines:\n{screen}", n_lines(&screen));
        assert!(screen.contains("What to do:"), "{screen}");
        let (plate, cost) = (&json["plates"][0], &json["plates"][0]["by_cost"]);
        let [date, limit, _, risk] = told(
            "Send the plate out by {}: on that day the probability that its flatness deviation exceeds {} tenths ({}) reaches {} %.",
            &report,
        );
        assert_eq!(plate["send_out_by"], *date);
        assert_eq!((limit, risk), (height(&plate["tolerance"]), chance(number(&json["risk"]))));
        is_reached(plate, &plate["send_out_by"], number(&json["risk"]));

        let [day, estimate, from, to, out, a_year, slow, fast] = told(
            "On {} the flatness deviation is estimated at {} tenths, and lies between {} and {} tenths with a probability of 95 %; it \
             is out with a probability of {} %. It grows by {} tenths a year (95 %: {} to {} tenths).",
            &report,
        );
        assert_eq!(json["as_on"], *day);
        assert_eq!([estimate, from, to], heights(&plate["flatness"]));
        assert_eq!([a_year, slow, fast], heights(&plate["wear_per_year"]));
        assert_eq!(out, chance(number(&plate["out_probability"])));
        // What is said of today is where the forecast begins.
        assert_eq!(
            (&plate["forecast"][0]["date"], &plate["forecast"][0]["flatness"]),
            (&json["as_on"], &plate["flatness"])
        );

        let [best, worth, more] = told(
            "By cost the best date is {}, when the risk reaches the {} % that these costs are worth; the date above costs {} more, in the currency of the costs.",
            &report,
        );
        assert_eq!(cost["least_cost_date"], *best);
        assert_eq!(worth, chance(number(&cost["acceptable_risk"])));
        assert_eq!(more, money(number(&cost["stated_risk_costs_more"])));
        is_reached(plate, &cost["least_cost_date"], number(&cost["acceptable_risk"]));

        // By hand: a recalibration with the days that it takes, and the bad parts of a year.
        let typed = |of: &str| number(&json["costs"][of]);
        let [recalibration, year] = [
            typed("recalibration") + typed("day") * typed("days_away"),
            typed("bad_part") * typed("bad_parts_a_year"),
        ];
        let costs: [String; 2] = told(
            "a recalibration, with the days without the plate, costs {} and a year out of tolerance {}**",
            &report,
        );
        assert_eq!(costs, [money(recalibration), money(year)]);
        for (what, value) in [
            ("date of least expected cost", best),
            ("risk that these costs are worth", format!("{worth} %")),
            (
                "years from one recalibration to the next, from then on",
                rounded(number(&cost["years_between"]), 1),
            ),
            ("cost a year, from then on", money(number(&cost["cost_per_year"]))),
            ("the date of the stated risk costs more by", more),
        ] {
            assert_eq!(row(&report, what, 2)[1], value, "{what}");
        }

        // What checks are worth: none more than to know all.
        let worths: Vec<f64> =
            cost["checks"].as_array().expect("checks").iter().map(|check| number(&check["worth"])).collect();
        let said: [String; 4] = told(
            "another shop check, its spread taken {}; another shop check, its readings judged (u = 1.31 tenths) {}; a survey as good as \
             the last certificate (u = 0.12 tenths) {}; knowing the flatness exactly {}.",
            &report,
        );
        assert_eq!(said.to_vec(), worths.iter().copied().map(money).collect::<Vec<_>>());
        assert!(worths.iter().all(|worth| (0.0..=worths[3]).contains(worth)));
    }

    #[test]
    fn of_several_plates() {
        let (report, json, screen) = given("iron-metric");
        assert!(n_lines(&screen) <= 40, "{} lines:\n{screen}", n_lines(&screen));
        let (plates, risk) = (json["plates"].as_array().expect("plates"), number(&json["risk"]));
        let [day, n, due, next, date, limit, _, reached] = told(
            "As on {}, of {} plates {} is due; {} is next, on {}. A plate is due when the probability that its flatness deviation \
             exceeds {} µm ({}) has reached {} %.",
            &report,
        );
        assert_eq!((&json["as_on"], n), (&Value::from(day), plates.len().to_string()));
        assert_eq!((limit, reached), (height(&json["tolerance"]), chance(risk)));
        let is_due = |plate: &&Value| number(&plate["out_probability"]) >= risk;
        let name = |plate: &Value| plate["name"].as_str().expect("a name").to_owned();
        assert_eq!(plates.iter().filter(is_due).map(name).collect::<Vec<_>>(), [due]);
        let by = |plate: &&Value| plate["send_out_by"].as_str().expect("a date").to_owned();
        let first =
            plates.iter().filter(|plate| !is_due(plate)).min_by_key(by).expect("a plate that is not due");
        assert_eq!((name(first), &first["send_out_by"]), (next, &Value::from(date)));

        // The most urgent first, each as its row has it.
        assert!(plates.is_sorted_by_key(|plate| by(&plate)), "not by urgency");
        for plate in plates {
            let told = row(&report, &name(plate), 8);
            let shown = |date: &Value, now: &str| {
                if *date == json["as_on"] { now.to_owned() } else { date.as_str().unwrap().to_owned() }
            };
            let [estimate, from, to] = heights(&plate["flatness"]);
            let out = rounded(100.0 * number(&plate["out_probability"]), 1);
            let last = plate["entries"].as_array().expect("entries").last().expect("an entry");
            let entry = format!("{} {}", last["date"].as_str().unwrap(), last["kind"].as_str().unwrap());
            let (cost, a_year) = (&plate["by_cost"], height(&plate["wear_per_year"]["estimate"]));
            let date = shown(&plate["send_out_by"], "due");
            let why = format!("{estimate} ({from} to {to}), {a_year} a year");
            let [by_cost, worth] =
                [shown(&cost["least_cost_date"], "now"), rounded(number(&cost["checks"][0]["worth"]), 0)];
            let first = [name(plate), date.clone(), out.clone(), why, by_cost, worth];
            assert_eq!(row(&report, &name(plate), 6), first);
            assert!(screen.lines().any(|line| first.iter().all(|cell| line.contains(cell))), "{screen}");
            assert_eq!(told, [name(plate), date, out, estimate, from, to, a_year, entry]);
            if !is_due(&plate) {
                is_reached(plate, &plate["send_out_by"], risk);
            }
        }
    }
}

/// A plate may be called anything, even as what stands for no number elsewhere.
#[test]
fn a_plate_called_nan_is_a_plate() {
    let folder = with_setup();
    let rows = "date,plate,kind,value,U,k\n2020-03-01,NaN,certificate,60 µin,20 µin,2\n2022-03-01,NaN,certificate,70 µin,20 µin,2\n\
                2021-03-01,NaN 2,certificate,50 µin,20 µin,2\n";
    fs::write(folder.path().join("named.csv"), rows).unwrap();
    let run = recall(folder.path(), &["mine.json", "named.csv"]);
    assert_eq!(run.code, 0, "{}", run.err);
    assert!(run.out.contains("NaN"), "{}", run.out);
}
