//! Is the posterior right as often as it says? Plates are drawn, surveyed and judged.
//!
//! `HOWFLAT_CALIBRATION_PLATES` sets how many plates each setup gets (40 by default; the
//! full size is 2000 own plates and 400 of each foreign kind), `--nocapture` shows the tables.
#![allow(clippy::print_stdout, reason = "the figures are for people to read")]

use crate::common::{between, check_with, exactly, target};
use howflat::{
    decision::{conformance::Rule, limits::Verdict, standing::Standing},
    propagation::{
        check_experiment::CheckExperiment,
        judged_checks::observations,
        likelihood::Observation,
        posterior::{Inference, Settings},
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
use std::time::Instant;

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

/// One plate: what it is and what was said of it.
struct Judged {
    truth: f64,
    /// Symmetric intervals, in the order of [`LEVELS`].
    intervals: [[f64; 2]; 3],
    /// Share of the posterior below the truth.
    rank: f64,
    effective_sample_size: f64,
    sample_suffices: bool,
    standing: Standing,
    seconds: f64,
}

impl Judged {
    fn new(experiment: &CheckExperiment, truth: f64, written: &[Observation], settings: Settings) -> Self {
        let began = Instant::now();
        let mut inference = Inference::new(experiment, written, &settings, &|_| {}).expect("sound readings");
        let standing =
            Standing::of(&mut inference, Some(TOLERANCE), Rule::default(), 1.0).expect("sound readings");
        let posterior = &inference.posterior;
        let below = posterior.flatness.iter().filter(|f| **f < truth).count();
        Self {
            truth,
            intervals: LEVELS.map(|level| posterior.summary(level).interval_symmetric),
            rank: below as f64 / posterior.flatness.len() as f64,
            effective_sample_size: posterior.effective_sample_size,
            sample_suffices: posterior.sample_suffices,
            standing,
            seconds: began.elapsed().as_secs_f64(),
        }
    }

    fn verdict(&self) -> Verdict {
        self.standing.verdict.expect("a tolerance")
    }

    fn is_covered(&self) -> bool {
        let [low, high] = self.intervals[2];
        (low..=high).contains(&self.truth)
    }

    fn is_above(&self) -> bool {
        self.truth > self.intervals[2][1]
    }
}

/// Readings of an experiment's own plates, changed by `change`, and judged.
fn judge_changed(
    check: &ShopCheck,
    n_plates: usize,
    settings: Settings,
    change: impl Fn(&mut dyn FnMut() -> f64, &mut Vec<Observation>) + Sync,
) -> Vec<Judged> {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    let streams = Streams::new(20_240_501);
    let source = streams.source("change");
    (0..n_plates as u64)
        .into_par_iter()
        .map(|plate| {
            let (truth, written) = experiment.written(&streams, plate, &mut experiment.scratch());
            let mut written = observations(check, &written);
            let mut draws = source.trial(plate);
            change(&mut || draws.random::<f64>(), &mut written);
            Judged::new(&experiment, truth, &written, Settings { seed: 9000 + plate, ..settings })
        })
        .collect()
}

fn judge_many(check: &ShopCheck, n_plates: usize, settings: Settings) -> Vec<Judged> {
    judge_changed(check, n_plates, settings, |_, _| {})
}

/// Enough for 95 % intervals whose ends are themselves good to a twentieth of their width.
const QUICK: Settings = Settings { n_particles: 300, effective_sample_size: 600.0, rounds: [4, 12], seed: 0 };

/// Two tenths: what the plate is judged against, in µm.
const TOLERANCE: f64 = 5.08;

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
    /// Share that is found within, of the plates whose flatness is nearest to each of [`RATIOS`] times the tolerance, and
    /// how many such plates there were.
    passed: [(f64, usize); 5],
    /// How many were undecided for a doubt alone.
    doubted: usize,
    mean_truth: f64,
    seconds: f64,
}

/// Flatness over tolerance.
const RATIOS: [f64; 5] = [0.5, 1.0, 1.5, 2.0, 3.0];

const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];
const N_BINS: usize = 20;

fn tabulate(judged: &[Judged]) -> Table {
    let n = judged.len();
    let (mut covered, mut widths, mut bins) = ([0.0; 3], [0.0; 3], [0.0; N_BINS]);
    let mut ess: Vec<f64> = judged.iter().map(|j| j.effective_sample_size).collect();
    for Judged { truth, intervals, rank, .. } in judged {
        for (k, [low, high]) in intervals.iter().enumerate() {
            covered[k] += f64::from(u8::from((low..=high).contains(&truth))) / n as f64;
            widths[k] += (high - low) / n as f64;
        }
        bins[((rank * N_BINS as f64) as usize).min(N_BINS - 1)] += 1.0;
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
        alarms: share(&|j| j.standing.misfit),
        median_ess: ess[n / 2],
        lowest_ess: ess[0],
        within: found(Verdict::Within, &|truth| truth > TOLERANCE),
        out: found(Verdict::Out, &|truth| truth <= TOLERANCE),
        passed: std::array::from_fn(|k| {
            let nearest = |truth: f64| {
                let off = |ratio: f64| (truth / TOLERANCE / ratio).ln().abs();
                (0..RATIOS.len()).min_by(|&a, &b| off(RATIOS[a]).total_cmp(&off(RATIOS[b])))
            };
            let such: Vec<_> = judged.iter().filter(|j| nearest(j.truth) == Some(k)).collect();
            let within = such.iter().filter(|j| j.verdict() == Verdict::Within).count();
            (within as f64 / such.len() as f64, such.len())
        }),
        doubted: judged.iter().filter(|j| !j.standing.doubts.is_empty()).count(),
        mean_truth: judged.iter().map(|j| j.truth).sum::<f64>() / n as f64,
        seconds: judged.iter().map(|j| j.seconds).sum::<f64>() / n as f64,
    }
}

fn show(name: &str, table: &Table) {
    let Table { n, covered: c, above, widths: w, chi_squared, alarms, median_ess, lowest_ess, .. } = table;
    let Table { within, out, passed, doubted, mean_truth, seconds, .. } = table;
    let passed = passed.map(|(share, n)| format!("{share:.2} of {n}")).join(", ");
    println!(
        "{name:<40} {n:>5} plates, {mean_truth:4.1} µm | {:.3} {:.3} {:.3}, above {above:.3} | {:5.2} {:5.2} {:5.2} | \
         χ² {chi_squared:5.1} | alarms {alarms:.3} | within {:>4}, {:>3} bad | out {:>4}, {:>3} good | doubted {doubted} | \
         passed {passed} | {median_ess:.0}, {lowest_ess:.0} | {seconds:.2} s",
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

/// The usual settings give at least 2000 effective draws, or say that they could not; from fewer than 200 there is no verdict.
///
/// Of 200 checks by a turned stand 184 reached 2000, and three had fewer than 200. The one of these that was looked at is of a plate
/// nearly four times out: few of the first particles have descendants there, and the upper ends of the 95 % intervals of five seeds
/// lie within a fifth of the interval's width.
#[test]
fn the_effective_sample_suffices() {
    let setups = [("turned", turned()), ("parked", parked()), ("carried", carried())];
    // A carried stand takes as long as the two others together: in the full run only.
    for (name, check) in setups.into_iter().take(if n_plates(0) > 0 { 3 } else { 2 }) {
        let n = n_plates(10).min(200);
        let mut sizes: Vec<f64> = judge_many(&check, n, Settings::default())
            .iter()
            .map(|judged| {
                let size = judged.effective_sample_size;
                assert_eq!(judged.sample_suffices, size >= 2000.0);
                assert!(size >= 200.0 || judged.verdict() == Verdict::Undecided, "{size}");
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
        assert!(enough * 10 >= n * 9, "{name}: {sizes:?}");
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
            Judged::new(
                &experiment,
                truth,
                &observations(check, &written),
                Settings { seed: 5000 + plate, ..QUICK },
            )
        })
        .collect()
}

/// Known to be short, by stand and kind: a carried stand sees regular ripples of a few hand's breadths enlarged, and
/// they are taken for more than they are; and no check tells a very flat plate from one that is a little less so. No alarm can
/// tell, since the readings are those of a rougher plate of the family.
fn is_on_the_safe_side(stand: &str, kind: &str) -> bool {
    kind == "very flat" || (stand, kind) == ("carried", "ripples across")
}

/// At least 90 % of the 95 % intervals hold the truth, or the misfit alarm rises. Where it is known
/// that they do not, no more than 5 % of the plates are called better than they are.
#[test]
fn plates_of_another_family_are_covered() {
    // The small size looks at one setup only, and at the kinds that are hardest for it.
    let full = n_plates(0) > 0;
    let hardest = [
        "very flat",
        "one hollow anywhere",
        "hollows, few of them deep",
        "dip under foot 1",
        "dip under foot 2",
    ];
    let setups = [("turned", turned()), ("parked", parked()), ("carried", carried())];
    let mut short = Vec::new();
    for (setup, check) in setups.into_iter().take(if full { 3 } else { 1 }) {
        for (name, form) in ALIENS.iter().filter(|(name, _)| full || hardest.contains(name)) {
            let judged = judge_aliens(&check, *form, n_plates(16).min(400));
            let table = tabulate(&judged);
            show(&format!("{setup}: {name}"), &table);
            let answered = judged.iter().filter(|j| j.is_covered() || j.standing.misfit);
            let answered = answered.count() as f64 / table.n as f64;
            // 1 in 1000 of those that are right at 90 % would fail.
            let limit = 0.9 - 3.1 * (0.9_f64 * 0.1 / table.n as f64).sqrt();
            if is_on_the_safe_side(setup, name) {
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

/// The stand warms through: the pointer drifts evenly, to this at the last reading, in µm.
const DRIFT: f64 = 4.0 * 2.54;
/// A slip of the pen, in µm.
const SLIP: f64 = 10.0 * 2.54;

/// Own plates with one fault in the readings: a slip of ten tenths, two lines swapped, a drift that no closing reading
/// shows.
///
/// A slip is found, or at the least it proves nothing. Two swapped lines of a plate are a plate too, as a rule, and a drift a tilt:
/// what is asked is that no more of the plates that are called within are bad than the risk that was agreed.
#[test]
fn faults_in_the_readings_give_no_wrong_verdict() {
    let n = n_plates(16).min(400);
    let full = n_plates(0) > 0;
    let setups = [("parked", parked()), ("turned", turned()), ("carried", carried())];
    for (setup, check) in setups.into_iter().take(if full { 3 } else { 1 }) {
        let zeros = &check.survey.zeros;
        let plain: Vec<usize> = (0..check.survey.readings.len())
            .filter(|i| !zeros.contains(i) && !check.survey.readings[*i].closing)
            .collect();
        let pick = |u: &mut dyn FnMut() -> f64| plain[(u() * plain.len() as f64) as usize];
        let slips = judge_changed(&check, n, QUICK, |u, read| {
            let i = pick(u);
            read[i].value += if u() < 0.5 { SLIP } else { -SLIP };
        });
        let swaps = judge_changed(&check, n, QUICK, |u, read| {
            let (a, b) = (pick(u), pick(u));
            let kept = read[a].value;
            read[a].value = read[b].value;
            read[b].value = kept;
        });
        let minutes: Vec<f64> = check.survey.readings.iter().map(|reading| reading.minutes).collect();
        let last = minutes.iter().copied().fold(0.0, f64::max);
        let drift = |closed: bool| {
            judge_changed(&check, n, QUICK, |_, read: &mut Vec<Observation>| {
                read.retain(|o| closed || !check.survey.readings[o.reading].closing);
                for o in read {
                    o.value += DRIFT * minutes[o.reading] / last;
                }
            })
        };
        let faults = [
            ("a slip of ten tenths", slips),
            ("two lines swapped", swaps),
            ("a drift, closed", drift(true)),
            ("a drift, not closed", drift(false)),
        ];
        for (name, judged) in faults {
            let table = tabulate(&judged);
            show(&format!("{setup}: {name}"), &table);
            let [found, bad] = table.within;
            // 1 in 1000 of those that keep the risk would fail.
            let most = 0.05 * found as f64 + 3.1 * (0.05 * 0.95 * found as f64).sqrt();
            assert!(bad as f64 <= most.max(1.0), "{setup}, {name}: {bad} of {found} within are bad");
        }
    }
}
