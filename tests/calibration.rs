//! Is the posterior right as often as it says? Plates are drawn, surveyed and judged.
//!
//! `HOWFLAT_CALIBRATION_PLATES` sets how many plates each setup gets (40 by default; the
//! full size is 2000 own plates and 400 of each foreign kind), `--nocapture` shows the tables.
#![allow(clippy::print_stdout, reason = "the figures are for people to read")]

use crate::common::{between, check_with, exactly, target};
use howflat::{
    decision::{
        conformance::{Conformance, Rule},
        judgement::MISFIT,
        limits::Verdict,
    },
    propagation::{
        check_experiment::CheckExperiment,
        judged_checks::{judged_checks, observations},
        posterior::{Posterior, Settings, posterior_of},
        trials::Experiment,
    },
    quantity::{stream::Streams, student::normal_quantile},
    shop::{
        check::ShopCheck,
        form::Bump,
        survey::{StandUse, Station, Zeroing},
        wear::{Map, Surface, Waves},
    },
};
use rand::RngExt;
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

fn judge_many(check: &ShopCheck, n_plates: usize, settings: Settings) -> Vec<Judged> {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    let keep = |truth: f64, posterior: &Posterior| Judged { truth, posterior: posterior.clone() };
    judged_checks(&experiment, &Streams::new(20_240_501), 0..n_plates as u64, settings, keep)
        .expect("sound readings")
}

/// Enough for 95 % intervals whose ends are themselves good to a twentieth of their width.
const QUICK: Settings = Settings { n_particles: 300, effective_sample_size: 600.0, rounds: [4, 12], seed: 0 };

/// Two tenths: what the plate is judged against, in µm.
const TOLERANCE: f64 = 5.08;

impl Judged {
    fn verdict(&self) -> Verdict {
        if self.posterior.fit.p_value < MISFIT {
            return Verdict::Undecided;
        }
        Conformance::of_sample(&self.posterior.flatness, TOLERANCE, Rule::default()).verdict
    }

    fn is_alarmed(&self) -> bool {
        self.posterior.fit.p_value < MISFIT
    }

    fn interval(&self, level: f64) -> [f64; 2] {
        self.posterior.summary(level).interval_symmetric
    }

    fn is_above(&self) -> bool {
        self.truth > self.interval(0.95)[1]
    }
}

struct Table {
    n: usize,
    covered: [f64; 3],
    /// Share of the truths above the 95 % interval: plates that are called better than they are.
    above: f64,
    widths: [f64; 3],
    chi_squared: f64,
    alarms: f64,
    median_ess: f64,
    lowest_ess: f64,
    /// How many were found within, and how many of these are out; how many were found out, and how many of these are
    /// within.
    within: [usize; 2],
    out: [usize; 2],
    mean_truth: f64,
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
    let share = |is: &dyn Fn(&Judged) -> bool| judged.iter().filter(|j| is(j)).count() as f64 / n as f64;
    let found = |verdict: Verdict, is_wrong: &dyn Fn(f64) -> bool| {
        let found: Vec<_> = judged.iter().filter(|j| j.verdict() == verdict).collect();
        [found.len(), found.iter().filter(|j| is_wrong(j.truth)).count()]
    };
    Table {
        n,
        covered,
        above: share(&Judged::is_above),
        widths,
        chi_squared: bins.iter().map(|b| (b - expected) * (b - expected) / expected).sum(),
        alarms: share(&Judged::is_alarmed),
        median_ess: ess[n / 2],
        lowest_ess: ess[0],
        within: found(Verdict::Within, &|truth| truth > TOLERANCE),
        out: found(Verdict::Out, &|truth| truth <= TOLERANCE),
        mean_truth: judged.iter().map(|j| j.truth).sum::<f64>() / n as f64,
    }
}

fn show(name: &str, table: &Table) {
    let Table { n, covered: c, above, widths: w, chi_squared, alarms, median_ess, lowest_ess, .. } = table;
    let Table { within, out, mean_truth, .. } = table;
    println!(
        "{name:<36} {n:>5} plates, {mean_truth:4.1} µm | {:.3} {:.3} {:.3}, above {above:.3} | {:5.2} {:5.2} {:5.2} | \
         χ² {chi_squared:5.1} | alarms {alarms:.3} | within {:>4}, {:>3} bad | out {:>4}, {:>3} good | {median_ess:.0}, {lowest_ess:.0}",
        c[0], c[1], c[2], w[0], w[1], w[2], within[0], within[1], out[0], out[1]
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

/// A plate that is known from a map: what the map leaves open, and waves between its points.
fn mapped() -> ShopCheck {
    let mut check = parked();
    let points = (0..4).flat_map(|j| (0..5).map(move |i| [i, j].map(f64::from)));
    let height = |[i, j]: [f64; 2]| {
        -1.5 * (-0.5 * ((i - 2.0).powi(2) + (j - 1.4).powi(2))).exp() + 0.1 * i * (j - 1.5)
    };
    check.surface = Surface::Measured(Map {
        points: points.map(|[i, j]| [L * (0.06 + 0.22 * i), W * (0.08 + 0.28 * j), height([i, j])]).collect(),
        standard_uncertainty: 0.4,
        waviness: Waves {
            standard_deviation: between(0.3, 0.9),
            correlation_length: between(0.14 * W, 0.22 * W),
        },
    });
    check
}

#[test]
fn a_measured_plate_is_calibrated() {
    assert_calibrated("parked, measured map", &mapped());
}

/// The usual settings give at least 2000 effective draws, or say that they could not.
#[test]
fn the_effective_sample_suffices() {
    for (name, check) in [("turned", turned()), ("parked", parked()), ("carried", carried())] {
        let n = n_plates(10).min(200);
        let mut sizes: Vec<f64> = judge_many(&check, n, Settings::default())
            .iter()
            .map(|judged| {
                let size = judged.posterior.effective_sample_size;
                assert_eq!(judged.posterior.sample_suffices, size >= 2000.0);
                size
            })
            .collect();
        sizes.sort_by(f64::total_cmp);
        let enough = sizes.iter().filter(|size| **size >= 2000.0).count();
        println!(
            "{name}: effective sizes lowest {:.0}, median {:.0}; {enough} of {n} enough",
            sizes[0],
            sizes[n / 2]
        );
        // Known to be short: with dips anywhere the carried stand's many readings leave too few ancestors in some checks.
        // The report says so of each; the least that is drawn is still ten times what 95 % intervals need.
        let (of_ten, least) = if name == "carried" { (6, 200.0) } else { (9, 1000.0) };
        assert!(enough * 10 >= n * of_ten && sizes[0] > least, "{name}: {sizes:?}");
    }
}

/// A plate that the family does not hold: a form (µm at a point, mm), dips that are known as such, and how large the
/// setup's short waves are on it.
struct Foreign {
    form: Box<dyn Fn([f64; 2]) -> f64 + Send + Sync>,
    bumps: Vec<Bump>,
    waves: f64,
}

impl Foreign {
    fn form(form: impl Fn([f64; 2]) -> f64 + Send + Sync + 'static) -> Self {
        Self { form: Box::new(form), bumps: Vec::new(), waves: 1.0 }
    }

    fn dips(bumps: Vec<Bump>) -> Self {
        Self { form: Box::new(|_| 0.0), bumps, waves: 1.0 }
    }
}

/// Draws a plate for a check, from numbers between 0 and 1.
type Alien = fn(&mut dyn FnMut() -> f64, &ShopCheck) -> Foreign;

/// Forms unlike the setup's own family, each drawn anew for every plate.
const ALIENS: [(&str, Alien); 17] = [
    ("ridge along the middle", |u, _| {
        let (height, y, sigma) = (1.0 + 3.0 * u(), W * (0.4 + 0.2 * u()), 60.0 + 60.0 * u());
        Foreign::form(move |at| height * (-0.5 * ((at[1] - y) / sigma).powi(2)).exp())
    }),
    ("wear in two lanes", |u, _| {
        let (depths, sigma) = ([1.0 + 3.0 * u(), 1.0 + 3.0 * u()], 40.0 + 40.0 * u());
        Foreign::form(move |at| {
            let lane = |y: f64, depth: f64| -depth * (-0.5 * ((at[1] - y) / sigma).powi(2)).exp();
            lane(0.28 * W, depths[0]) + lane(0.72 * W, depths[1])
        })
    }),
    ("saddle", |u, _| {
        let height = (1.0 + 3.0 * u()) * if u() < 0.5 { -1.0 } else { 1.0 };
        Foreign::form(move |at| 2.0 * height * ((at[0] / L - 0.5).powi(2) - (at[1] / W - 0.5).powi(2)))
    }),
    ("step where a fixture sat", |u, _| {
        let (depth, x, y) = (1.0 + 3.0 * u(), L * (0.25 + 0.5 * u()), W * (0.3 + 0.4 * u()));
        Foreign::form(move |at| {
            let edge = |v: f64, half: f64| 0.5 - 0.5 * ((v.abs() - half) / 8.0).tanh();
            -depth * edge(at[0] - x, 110.0) * edge(at[1] - y, 80.0)
        })
    }),
    ("heavy-tailed waviness", |u, _| {
        let waves: Vec<[f64; 4]> = (0..14)
            .map(|_| {
                // Student's t with 2 degrees of freedom, by inversion.
                let p = 2.0 * u() - 1.0;
                let height = 0.35 * p * (2.0 / (1.0 - p * p)).sqrt();
                [height, L * u(), W * u(), 50.0 + 80.0 * u()]
            })
            .collect();
        Foreign::form(move |at| {
            let wave = |[height, x, y, sigma]: &[f64; 4]| {
                height * (-0.5 * ((at[0] - x).powi(2) + (at[1] - y).powi(2)) / (sigma * sigma)).exp()
            };
            waves.iter().map(wave).sum()
        })
    }),
    ("one end sunk", |u, _| {
        let (depth, x, width) = (1.0 + 3.0 * u(), L * (0.3 + 0.4 * u()), 40.0 + 60.0 * u());
        Foreign::form(move |at| 0.5 * depth * ((at[0] - x) / width).tanh())
    }),
    ("wear along a diagonal", |u, _| {
        let (depth, sigma) = (1.0 + 3.0 * u(), 50.0 + 60.0 * u());
        let diagonal = L.hypot(W);
        Foreign::form(move |at| {
            let across = (at[0] * W - at[1] * L) / diagonal;
            -depth * (-0.5 * (across / sigma).powi(2)).exp()
        })
    }),
    ("a ring of wear", |u, _| {
        let (depth, radius, sigma) = (1.0 + 3.0 * u(), 120.0 + 100.0 * u(), 30.0 + 40.0 * u());
        Foreign::form(move |at| {
            let from_middle = (at[0] - L / 2.0).hypot(at[1] - W / 2.0);
            -depth * (-0.5 * ((from_middle - radius) / sigma).powi(2)).exp()
        })
    }),
    ("two humps", |u, _| {
        let humps = [0, 1].map(|_| [1.0 + 2.5 * u(), L * u(), W * u(), 80.0 + 80.0 * u()]);
        Foreign::form(move |at| {
            let hump = |[height, x, y, sigma]: &[f64; 4]| {
                height * (-0.5 * ((at[0] - x).powi(2) + (at[1] - y).powi(2)) / (sigma * sigma)).exp()
            };
            humps.iter().map(hump).sum()
        })
    }),
    ("ripples across", |u, _| {
        let (height, wave, phase) = (0.3 + 0.9 * u(), 150.0 + 150.0 * u(), std::f64::consts::TAU * u());
        Foreign::form(move |at| height * (std::f64::consts::TAU * at[0] / wave + phase).cos())
    }),
    ("very flat", |u, _| {
        let share = 1.3 + u();
        Foreign { waves: share, ..Foreign::dips(Vec::new()) }
    }),
    ("one hollow anywhere", |u, _| Foreign::dips(vec![hollow(u, |v| 1.0 + 8.0 * v)])),
    ("hollows anywhere", |u, _| {
        let n = 2 + (3.0 * u()) as usize;
        Foreign::dips((0..n).map(|_| hollow(u, |v| 0.5 + 5.0 * v)).collect())
    }),
    ("hollows, few of them deep", |u, _| {
        // Exponential depths, by inversion: a mean of 2 µm.
        Foreign::dips((0..3).map(|_| hollow(u, |v| -2.0 * (1.0 - v).ln())).collect())
    }),
    ("dip under foot 1", |u, check| Foreign::dips(vec![under_foot(u, check, 0)])),
    ("dip under foot 2", |u, check| Foreign::dips(vec![under_foot(u, check, 1)])),
    ("dip under foot 3", |u, check| Foreign::dips(vec![under_foot(u, check, 2)])),
];

/// A hollow of half-depth radius 40 to 115 mm, anywhere.
fn hollow(u: &mut dyn FnMut() -> f64, depth: fn(f64) -> f64) -> Bump {
    let depth = depth(u());
    let sigma = (40.0 + 75.0 * u()) / (2.0 * 2.0_f64.ln()).sqrt();
    Bump { height: -depth, centre: [L * u(), W * u()], sigma: [sigma; 2] }
}

/// A dip of half to three times the tolerance, centred under a foot where the stand is first put down.
fn under_foot(u: &mut dyn FnMut() -> f64, check: &ShopCheck, foot: usize) -> Bump {
    let depth = TOLERANCE * (0.5 + 2.5 * u());
    Bump { height: -depth, centre: check.survey.readings[0].feet[foot], sigma: [25.0 + 25.0 * u(); 2] }
}

const L: f64 = 36.0 * 25.4;
const W: f64 = 24.0 * 25.4;

/// Plates of a foreign form with the setup's short waves on it, read with the setup's disturbances
/// and judged by the setup's own family.
fn judge_aliens(check: &ShopCheck, alien: Alien, n_plates: usize) -> Vec<Judged> {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    let mut short = check.clone();
    short.surface = crate::common::perfect();
    if let (Surface::Worn(only), Surface::Worn(all)) = (&mut short.surface, &check.surface) {
        only.waviness = all.waviness.clone();
    }
    let waves = CheckExperiment::new(&short).expect("a sound check");
    let streams = Streams::new(77_001);
    let source = streams.source("alien");
    (0..n_plates as u64)
        .into_par_iter()
        .map(|plate| {
            let mut draws = source.trial(plate);
            let foreign = alien(&mut || draws.random::<f64>(), check);
            let mut drawn = waves.landscape().scratch();
            waves.landscape().draw(&waves.landscape().open(&streams), plate, &mut drawn);
            drawn.scale(foreign.waves);
            let height = |at: [f64; 2], variance: f64| {
                let dips: f64 = foreign.bumps.iter().map(|bump| bump.height(at, variance)).sum();
                (foreign.form)(at) + dips
            };
            for (z, at) in drawn.on_grid.iter_mut().zip(experiment.landscape().grid().points()) {
                *z += height(at, 0.0);
            }
            for (z, place) in drawn.at_places.iter_mut().zip(experiment.landscape().places()) {
                *z += height(place.at, place.variance);
            }
            drawn.bumps = foreign.bumps;
            let scratch = &mut experiment.scratch();
            let (truth, written) = experiment.written_of(&drawn, &streams, plate, scratch);
            let settings = Settings { seed: 5000 + plate, ..QUICK };
            let posterior = posterior_of(&experiment, &observations(check, &written), &settings, &|_| {})
                .expect("sound readings");
            Judged { truth, posterior }
        })
        .collect()
}

/// Known to be short: a carried stand sees regular ripples of a few hand's breadths enlarged, and
/// they are taken for more than they are. No alarm can tell, since the readings are those of a
/// rougher plate of the family.
const ON_THE_SAFE_SIDE: (&str, &str) = ("carried", "ripples across");

/// At least 90 % of the 95 % intervals hold the truth, or the misfit alarm rises. Where it is known
/// that they do not, no more than 5 % of the plates are called better than they are.
#[test]
fn plates_of_another_family_are_covered() {
    // The small size looks at one setup only.
    let full = n_plates(0) > 0;
    let setups = [("turned", turned()), ("parked", parked()), ("carried", carried())];
    let mut short = Vec::new();
    for (setup, check) in setups.into_iter().take(if full { 3 } else { 1 }) {
        for (name, form) in ALIENS {
            let judged = judge_aliens(&check, form, n_plates(16).min(400));
            let table = tabulate(&judged);
            show(&format!("{setup}: {name}"), &table);
            let answered = judged.iter().filter(|j| {
                let [low, high] = j.posterior.summary(0.95).interval_symmetric;
                (low..=high).contains(&j.truth) || j.is_alarmed()
            });
            let answered = answered.count() as f64 / table.n as f64;
            // 1 in 1000 of those that are right at 90 % would fail.
            let limit = 0.9 - 3.1 * (0.9_f64 * 0.1 / table.n as f64).sqrt();
            if (setup, name) == ON_THE_SAFE_SIDE {
                let most = 0.05 + 3.1 * (0.05_f64 * 0.95 / table.n as f64).sqrt();
                if table.above > most {
                    short.push(format!("{setup}, {name}: truth above {}, limit {most}", table.above));
                }
                continue;
            }
            if answered < limit {
                short.push(format!("{setup}, {name}: covered or alarmed {answered}, limit {limit}"));
            }
        }
    }
    assert!(short.is_empty(), "{short:#?}");
}
