//! Is the posterior right as often as it says? Plates are drawn, surveyed and judged.
//!
//! `HOWFLAT_CALIBRATION_PLATES` sets how many plates each setup gets (40 by default; the
//! full size is 2000), `--nocapture` shows the tables.

mod common;

use common::{between, check_with, exactly, target};
use howflat::{
    propagation::{
        check_experiment::CheckExperiment,
        likelihood::Observation,
        posterior::{Posterior, Settings, posterior_of},
        trials::Experiment,
    },
    quantity::{stream::Streams, student::normal_quantile},
    shop::{
        check::ShopCheck,
        survey::{StandUse, Station, Zeroing},
    },
};
use rayon::prelude::*;

fn n_plates(default: usize) -> usize {
    std::env::var("HOWFLAT_CALIBRATION_PLATES").ok().and_then(|n| n.parse().ok()).unwrap_or(default)
}

/// Seven readings from one corner, the stand staying put; closing reading.
fn parked() -> ShopCheck {
    check_with(|_| {})
}

/// The stand turned on its spot in two corners.
fn turned() -> ShopCheck {
    check_with(|plan| {
        let (l, w, e) = (36.0 * 25.4, 24.0 * 25.4, 50.0);
        plan.stand_use = StandUse::Turned;
        plan.zeroing = Zeroing::EachStation;
        plan.closing_reading = false;
        let targets = plan.stations[0].targets.clone();
        plan.stations[0].at = [110.0, 110.0];
        plan.stations.push(Station {
            name: "back right".into(),
            at: [l - 110.0, w - 110.0],
            heading: 213.0,
            targets: targets
                .iter()
                .filter(|t| t.name != "back right")
                .cloned()
                .chain([target("front left", e, e)])
                .collect(),
        });
        plan.stations[0].targets.retain(|t| t.name != "front left");
    })
}

/// Stand and block carried over a grid of spots, twice.
fn carried() -> ShopCheck {
    let mut check = check_with(|plan| {
        plan.stand_use = StandUse::Carried;
        plan.zeroing = Zeroing::EachPass;
        let mut targets = Vec::new();
        for (i, y) in [110.0, 305.0, 500.0].into_iter().enumerate() {
            for (j, x) in [300.0, 500.0, 700.0, 860.0].into_iter().enumerate() {
                targets.push(target(&format!("{i}{j}"), x, y));
            }
        }
        plan.stations[0].targets = targets;
        plan.stations[0].heading = 0.0;
        plan.carried_reach = 120.0;
    });
    check.indicator.contact_angle = exactly(15.0);
    check.temperature.zero_drift = between(-1.0, 1.0);
    check
}

struct Judged {
    truth: f64,
    posterior: Posterior,
}

fn observations(check: &ShopCheck, written: &[f64]) -> Vec<Observation> {
    let step = check.indicator.read_step;
    written.iter().enumerate().map(|(reading, &value)| Observation { reading, value, step }).collect()
}

fn judge_many(check: &ShopCheck, n_plates: usize, settings: Settings) -> Vec<Judged> {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    let streams = Streams::new(20_240_501);
    (0..n_plates as u64)
        .into_par_iter()
        .map(|plate| {
            let (truth, written) = experiment.written(&streams, plate, &mut experiment.scratch());
            let settings = Settings { seed: 1000 + plate, ..settings };
            let posterior = posterior_of(&experiment, &observations(check, &written), &settings, &|_| {})
                .expect("sound readings");
            Judged { truth, posterior }
        })
        .collect()
}

/// Enough for 95 % intervals whose ends are themselves good to a twentieth of their width.
const QUICK: Settings = Settings { n_particles: 300, effective_sample_size: 600.0, rounds: [4, 12], seed: 0 };

struct Table {
    n: usize,
    covered: [f64; 3],
    widths: [f64; 3],
    chi_squared: f64,
    alarms: f64,
    median_ess: f64,
    lowest_ess: f64,
}

const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];
const N_BINS: usize = 20;

fn tabulate(judged: &[Judged]) -> Table {
    let n = judged.len();
    let (mut covered, mut widths, mut bins) = ([0.0; 3], [0.0; 3], [0.0; N_BINS]);
    let mut ess: Vec<f64> = judged.iter().map(|j| j.posterior.effective_sample_size).collect();
    for Judged { truth, posterior } in judged {
        for (k, level) in LEVELS.into_iter().enumerate() {
            let [low, high] = posterior.summary(level).interval_symmetric;
            covered[k] += f64::from(u8::from((low..=high).contains(truth))) / n as f64;
            widths[k] += (high - low) / n as f64;
        }
        let below = posterior.flatness.iter().filter(|f| *f < truth).count();
        bins[(below * N_BINS / posterior.flatness.len()).min(N_BINS - 1)] += 1.0;
    }
    ess.sort_by(f64::total_cmp);
    let expected = n as f64 / N_BINS as f64;
    Table {
        n,
        covered,
        widths,
        chi_squared: bins.iter().map(|b| (b - expected) * (b - expected) / expected).sum(),
        alarms: judged.iter().filter(|j| j.posterior.fit.p_value < 0.05).count() as f64 / n as f64,
        median_ess: ess[n / 2],
        lowest_ess: ess[0],
    }
}

fn show(name: &str, table: &Table) {
    let Table { n, covered: c, widths: w, chi_squared, alarms, median_ess, lowest_ess } = table;
    println!(
        "{name:<28} {n:>5} plates | coverage 50/80/95 %: {:.3} {:.3} {:.3} | mean widths µm: {:.2} {:.2} {:.2} | \
         ranks χ²₁₉ {chi_squared:5.1} | alarms {alarms:.3} | effective size median {median_ess:.0}, lowest {lowest_ess:.0}",
        c[0], c[1], c[2], w[0], w[1], w[2]
    );
}

/// Own plates: coverage of 50, 80 and 95 % intervals, and uniform ranks (Talts, Betancourt, Simpson,
/// Vehtari and Gelman, "Validating Bayesian inference algorithms with simulation-based
/// calibration", arXiv 1804.06788, 2018).
fn assert_calibrated(name: &str, check: &ShopCheck) {
    let table = tabulate(&judge_many(check, n_plates(40), QUICK));
    show(name, &table);
    for (covered, level) in table.covered.into_iter().zip(LEVELS) {
        // 1 in 5000 of right programs would fail (normal approximation of the binomial), and 0.005
        // for the sample's own ends.
        let limit = normal_quantile(0.9999) * (level * (1.0 - level) / table.n as f64).sqrt() + 0.005;
        assert!((covered - level).abs() < limit, "{name}: {covered} of {level}, limit {limit}");
    }
    // The 99.99 % quantile of χ² with 19 degrees of freedom is 51.2 (scipy.stats.chi2.ppf).
    assert!(table.chi_squared < 51.2, "{name}: ranks are not uniform, χ² = {}", table.chi_squared);
}

#[test]
fn a_parked_stand_is_calibrated() {
    assert_calibrated("parked, 8 readings", &parked());
}

#[test]
fn a_turned_stand_is_calibrated() {
    assert_calibrated("turned, 14 readings", &turned());
}

#[test]
fn a_carried_stand_is_calibrated() {
    assert_calibrated("carried, 26 readings", &carried());
}
