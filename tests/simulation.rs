//! The engine of the main job, against closed forms and against itself.

use crate::common::{between, check_with, exactly, normal, perfect, undisturbed, worn};
use howflat::{
    propagation::{
        check_experiment::{CheckExperiment, Output},
        simulation::{Settings, WayKind, simulate},
        trials::{BLOCK, run_trials},
    },
    quantity::{
        sample::{Summary, range},
        stream::Streams,
    },
    shop::{
        check::ShopCheck,
        field::FieldBasis,
        grid::{DEFAULT_NODES, Grid},
        landscape::{Landscape, Place},
        survey::StandUse,
        wear::{Corner, Surface, Waves},
    },
};

fn trials(check: &ShopCheck, n_trials: u64) -> Vec<Vec<f64>> {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    run_trials(&experiment, &Streams::new(11), 0..n_trials, &|_| {})
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

fn settings(n_trials: u64) -> Settings {
    Settings { n_trials, n_judged: 0, ..Settings::default() }
}

/// Twenty readings of a perfect plate with nothing but repeatability span 3.735 standard
/// uncertainties on average: d₂ of quality control (ASTM Manual on Presentation of Data; the
/// figures from memory, and recomputed here as ∫ 1 − Φⁿ − (1 − Φ)ⁿ).
#[test]
fn noise_alone_spans_d2_standard_deviations() {
    for (n, d2) in [(2, 1.128), (5, 2.326), (10, 3.078), (20, 3.735)] {
        let mut check = undisturbed(check_with(|plan| {
            let all = (0..n).map(|i| crate::common::target("spot", 200.0 + 30.0 * f64::from(i), 400.0));
            plan.stations[0].targets = all.collect();
            plan.closing_reading = false;
        }));
        check.surface = perfect();
        check.indicator.repeatability = 0.5;
        let spread = mean(&trials(&check, 40_000)[Output::Spread as usize]) / 0.5;
        let step = 1e-3;
        let integral: f64 = (-8000..8000)
            .map(|i| {
                let p = howflat::quantity::distribution::Distribution::Normal {
                    mean: 0.0,
                    standard_deviation: 1.0,
                }
                .cumulative((f64::from(i) + 0.5) * step);
                (1.0 - p.powi(n) - (1.0 - p).powi(n)) * step
            })
            .sum();
        assert!((integral - d2).abs() < 6e-4, "{integral} against the table's {d2}");
        // Standard deviation of a range is about 0.8: 0.004 on the mean of 40 000.
        assert!((spread - integral).abs() < 0.016, "{spread} for {n} readings against {integral}");
    }
}

/// With nothing to disturb it, what is read is what the form gives.
#[test]
fn an_undisturbed_check_reads_the_form() {
    let check = undisturbed(check_with(|_| {}));
    let outputs = trials(&check, 500);
    for (spread, ideal) in outputs[Output::Spread as usize].iter().zip(&outputs[Output::IdealSpread as usize])
    {
        assert!((spread - ideal).abs() < 1e-9);
    }
}

/// A parked stand of perfect seat levelled on a perfect plate: tilt is taken off entirely.
#[test]
fn levelling_takes_off_the_tilt_of_a_parked_stand() {
    let mut check = undisturbed(check_with(|_| {}));
    check.surface = perfect();
    check.cleanliness.film = 0.5;
    let quiet = trials(&check, 2000);
    assert!(mean(&quiet[Output::Spread as usize]) > 3.0, "a film of half a micrometre at far reach");
    // Only the block's own seats are left: eight draws of 0.5 µm.
    let levelled = &quiet[Output::Levelled as usize];
    assert!(mean(levelled) < 1.2, "{}", mean(levelled));
}

#[test]
fn the_same_numbers_for_any_threads_and_chunks() {
    let experiment = CheckExperiment::new(&check_with(|_| {})).expect("a sound check");
    let streams = Streams::new(3);
    let n = 4 * BLOCK as u64 + 17;
    let in_pool = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        pool.install(|| run_trials(&experiment, &streams, 0..n, &|_| {}))
    };
    let one = in_pool(1);
    assert_eq!(one, in_pool(2));
    assert_eq!(one, in_pool(7));
    let split = 2 * BLOCK as u64;
    let parts = [
        run_trials(&experiment, &streams, 0..split, &|_| {}),
        run_trials(&experiment, &streams, split..n, &|_| {}),
    ];
    for (output, whole) in one.iter().enumerate() {
        assert_eq!(*whole, [parts[0][output].as_slice(), parts[1][output].as_slice()].concat());
    }
}

/// More trials are the same trials and others after them.
#[test]
fn a_simulation_is_the_same_whatever_its_threads() {
    let check = check_with(|_| {});
    let in_pool = |threads: usize| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("a pool");
        let settings = Settings { n_judged: 6, ..settings(2000) };
        pool.install(|| simulate(&check, settings, &|_| {}).expect("a sound check"))
    };
    let (one, seven) = (in_pool(1), in_pool(7));
    assert_eq!(one.ways, seven.ways);
    assert_eq!(one.shares, seven.shares);
    assert_eq!(one.rule, seven.rule);
    assert!(one.model_based.is_some() && one.model_based == seven.model_based);
}

/// Judging the readings must be worth it: an error several times smaller than the plain spread's, no
/// larger than that of the rule that only knows the spread, and intervals that hold what they say.
#[test]
fn the_model_based_estimate_is_the_best_way() {
    let check = check_with(|_| {});
    let settings = Settings { n_judged: 120, ..settings(5000) };
    let simulation = simulate(&check, settings, &|_| {}).expect("a sound check");
    let judged = simulation.model_based.expect("judged checks");
    let of = |kind: WayKind| simulation.ways.iter().find(|way| way.kind == kind).expect("a way");
    let size = |errors: &[f64]| (errors.iter().map(|e| e * e).sum::<f64>() / errors.len() as f64).sqrt();
    let judge = judged.error.mean.hypot(judged.error.standard_deviation);
    // On the very checks that were judged.
    let spread = size(&of(WayKind::Spread).errors[..120]);
    let fitted = size(&of(WayKind::Fitted).errors[..120]);
    assert!(judge < 0.5 * spread && judge < fitted, "judge {judge}, fitted {fitted}, spread {spread}");
    // 1 in 5000 of right programs would find fewer.
    assert!(judged.n_trials == 120 && judged.n_covered >= 104, "{judged:?}");
}

/// The default grid is fine enough: on the same plates, halving its spacing changes the estimate of
/// the flatness, its spread and the ends of the error's interval by less than 1 %.
#[test]
fn halving_the_grid_changes_the_answer_by_less_than_one_percent() {
    let check = check_with(|_| {});
    let grid = Grid::over(check.plate.working_surface(), DEFAULT_NODES);
    let run = |grid: Grid| {
        let experiment = CheckExperiment::on_grid(&check, grid).expect("a sound check");
        let outputs = run_trials(&experiment, &Streams::new(5), 0..20_000, &|_| {});
        let [flatness, spread, ..] = <[Vec<f64>; 4]>::try_from(outputs).expect("four outputs");
        let error: Vec<f64> = spread.iter().zip(&flatness).map(|(s, f)| s - f).collect();
        (Summary::of(&flatness, 0.95), Summary::of(&error, 0.95))
    };
    let (flatness, error) = run(grid.clone());
    let [along, across] = [&grid.x, &grid.y].map(|axis| 2 * axis.len() - 1);
    let fine = Grid::over(check.plate.working_surface(), along * across);
    assert_eq!([fine.x.len(), fine.y.len()], [along, across]);
    let (fine_flatness, fine_error) = run(fine);
    let change = |a: f64, b: f64| (a / b - 1.0).abs();
    assert!(change(flatness.mean, fine_flatness.mean) < 0.01, "{} {}", flatness.mean, fine_flatness.mean);
    for end in 0..2 {
        let ends = (flatness.interval_symmetric[end], fine_flatness.interval_symmetric[end]);
        assert!(change(ends.0, ends.1) < 0.01, "{ends:?}");
    }
    assert!(change(error.mean, fine_error.mean) < 0.01, "{} {}", error.mean, fine_error.mean);
    let width = |s: &Summary| range(&s.interval_symmetric);
    assert!(change(width(&error), width(&fine_error)) < 0.01, "{} {}", width(&error), width(&fine_error));
}

/// Draws of the wavy field have the variance and correlation they are asked for, also at the edges.
#[test]
fn waves_have_the_stated_correlation() {
    let size = [914.4, 609.6];
    for length in [90.0, 400.0] {
        let waves = Waves { standard_deviation: exactly(1.0), correlation_length: exactly(length) };
        let basis = FieldBasis::new(size, &waves);
        let [n_x, n_y] = basis.n_wave_numbers();
        let (mut x, mut y) = (vec![0.0; n_x], vec![0.0; n_y]);
        basis.axis_amplitudes(0, length, &mut x);
        basis.axis_amplitudes(1, length, &mut y);
        let covariance = |p: [f64; 2], q: [f64; 2]| -> f64 {
            let (p, q) = (basis.values(p, 0.0), basis.values(q, 0.0));
            basis
                .modes()
                .iter()
                .zip(p.iter().zip(q))
                .map(|(&[i, j], (p, q))| (x[i] * y[j]).powi(2) * p * q)
                .sum()
        };
        for (p, q) in [
            ([457.0, 305.0], [457.0, 305.0]),
            ([457.0, 305.0], [457.0 + length, 305.0]),
            ([300.0, 200.0], [300.0 + 0.6 * length, 200.0 + 0.5 * length]),
            ([25.0, 25.0], [25.0, 25.0 + 0.7 * length]),
            ([0.0, 0.0], [0.0, 0.0]),
        ] {
            let square = (p[0] - q[0]).powi(2) + (p[1] - q[1]).powi(2);
            let exact = (-square / (2.0 * length * length)).exp();
            // 1 % from the mirrors at each edge, 0.25 % from the waves left out.
            assert!((covariance(p, q) - exact).abs() < 0.03, "{p:?} {q:?}: {} {exact}", covariance(p, q));
        }
    }
}

/// Heights on the grid and at places are one and the same surface.
#[test]
fn grid_and_places_agree() {
    let plate = crate::common::plate();
    let grid = Grid::over(plate.working_surface(), DEFAULT_NODES);
    let places: Vec<_> = grid.points().into_iter().map(|at| Place { at, variance: 0.0 }).collect();
    let landscape = Landscape::new(&plate, &worn(&plate), grid, places).expect("a surface");
    let sources = landscape.open(&Streams::new(2));
    let mut drawn = landscape.scratch();
    for trial in 0..20 {
        landscape.draw(&sources, trial, &mut drawn);
        for (a, b) in drawn.on_grid.iter().zip(&drawn.at_places) {
            assert!((a - b).abs() < 1e-9);
        }
    }
}

/// A worn surface drawn from fixed numbers is the closed form with these numbers.
#[test]
fn fixed_wear_gives_its_flatness() {
    let mut check = undisturbed(check_with(|_| {}));
    let Surface::Worn(mut wear) = perfect() else { unreachable!("perfect() is worn by nothing") };
    wear.twist = exactly(1.5);
    check.surface = Surface::Worn(wear);
    check.plate.margin = 0.0;
    // z = c x y over a × b has the minimum zone c a b / 2: twice the corners' height.
    let flatness = &trials(&check, 1)[Output::Flatness as usize];
    assert!((flatness[0] - 3.0).abs() < 1e-9, "{flatness:?}");
}

/// Bow is error unless the setup says that flatness holds it.
#[test]
fn bow_counts_as_flatness_only_when_asked() {
    let mut check = undisturbed(check_with(|_| {}));
    check.surface = perfect();
    check.plate.margin = 0.0;
    check.temperature.top_to_bottom = exactly(1.0);
    assert!(trials(&check, 1)[Output::Flatness as usize][0].abs() < 1e-9);
    check.plate.flatness_holds_bow = true;
    // Spherical cap on a rectangle: minimum zone = corner-to-centre rise, κ D²/8.
    let rise = 6.5e-6 / check.plate.thickness * 1000.0 * check.plate.diagonal().powi(2) / 8.0;
    assert!((trials(&check, 1)[Output::Flatness as usize][0] - rise).abs() < 1e-9);
}

/// The law of propagation and the trials agree on one reading: everything in it is linear.
#[test]
fn one_reading_by_the_law_and_by_trials() {
    let mut check = undisturbed(check_with(|plan| {
        plan.stations[0].targets =
            vec![crate::common::target("zero", 400.0, 300.0), crate::common::target("spot", 700.0, 450.0)];
        plan.stand_use = StandUse::Turned;
        plan.closing_reading = false;
    }));
    check.surface = perfect();
    check.cleanliness.film = 0.3;
    check.indicator.repeatability = 0.4;
    check.gauge_block.length_variation = 0.5;
    check.temperature.top_to_bottom = normal(0.0, 0.2);
    check.temperature.column_rate = between(-1.0, 1.0);
    // With two spots the spread is the absolute value of the reading: its mean square is u².
    let spread = &trials(&check, 100_000)[Output::Spread as usize];
    let by_trials = (spread.iter().map(|s| s * s).sum::<f64>() / spread.len() as f64).sqrt();
    let simulation = simulate(&check, settings(1000), &|_| {}).expect("a sound check");
    let by_law = simulation.budget.of_reading.combined_standard_uncertainty;
    // The standard uncertainty of a standard deviation from 100 000 trials is 0.22 %.
    assert!((by_trials / by_law - 1.0).abs() < 0.01, "{by_trials} {by_law}");
}

/// Zero and reading scatter by one and the same s with ν degrees of freedom: their difference over √2 s is t with just these
/// (JCGM 101 6.4.9), by the law and by the trials.
#[test]
fn both_readings_rest_on_one_repeatability() {
    let mut check = undisturbed(check_with(|plan| {
        plan.stations[0].targets =
            vec![crate::common::target("zero", 400.0, 300.0), crate::common::target("spot", 700.0, 450.0)];
        plan.stand_use = StandUse::Parked;
        plan.closing_reading = false;
    }));
    check.surface = perfect();
    check.indicator.repeatability = 0.4;
    check.indicator.repeatability_dof = 4.0;
    let simulation = simulate(&check, settings(20_000), &|_| {}).expect("a sound check");
    let budget = &simulation.budget.of_reading;
    let scale = 0.4 * std::f64::consts::SQRT_2;
    assert!((budget.combined_standard_uncertainty / scale - 1.0).abs() < 1e-12, "{budget:?}");
    assert!((budget.effective_degrees_of_freedom - 4.0).abs() < 1e-9);
    // 2.776 by GUM table G.2; the scatter of an end is √(0.025·0.975/n) over the density there, 0.035: 1.1 % of it; four of these.
    let [low, high] = simulation.reading.summary.interval_symmetric;
    let expected = 2.776 * scale;
    assert!(
        (high / expected - 1.0).abs() < 0.046 && (low / expected + 1.0).abs() < 0.046,
        "{low} {high} {expected}"
    );
    // With 2 degrees of freedom t has no standard deviation.
    check.indicator.repeatability_dof = 2.0;
    let summary = simulate(&check, settings(2000), &|_| {}).expect("a sound check").reading.summary;
    assert!(summary.standard_deviation.is_nan() && summary.mean.is_finite());
}

/// Closing reading and correction take off a steady drift.
#[test]
fn a_closing_reading_takes_off_drift() {
    let drifting = |corrected: bool| {
        let mut check = undisturbed(check_with(|plan| plan.drift_corrected = corrected));
        check.surface = perfect();
        check.temperature.zero_drift = exactly(60.0);
        trials(&check, 1)[Output::Spread as usize][0]
    };
    // One micrometre a minute over six minutes.
    assert!((drifting(false) - 6.0).abs() < 1e-9);
    assert!(drifting(true) < 1e-9);
}

/// The fitted rule has no bias on the plates it was fitted to, and beats both spreads.
#[test]
fn the_fitted_rule_is_unbiased_and_better() {
    let simulation = simulate(&check_with(|_| {}), settings(20_000), &|_| {}).expect("a sound check");
    let error = |kind: WayKind| simulation.ways.iter().find(|way| way.kind == kind).expect("a way").error;
    let rms = |e: Summary| e.mean.hypot(e.standard_deviation);
    let fitted = error(WayKind::Fitted);
    assert!(fitted.mean.abs() < 0.05, "{fitted:?}");
    assert!(rms(fitted) < rms(error(WayKind::Levelled)) && rms(fitted) < rms(error(WayKind::Spread)));
}

#[test]
fn corners_are_where_the_operator_sees_them() {
    let at = |corner: Corner| corner.inset(900.0, 600.0, 50.0, 40.0);
    assert_eq!(Corner::ALL.map(at), [[50.0, 40.0], [850.0, 40.0], [50.0, 560.0], [850.0, 560.0]]);
}
