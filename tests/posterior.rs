//! The posterior of a plate's flatness against closed forms, limits and its own promises.

use crate::common::{check_with, exactly, undisturbed};
use howflat::{
    decision::conformance::{Conformance, Rule, of_sample},
    propagation::{
        check_experiment::CheckExperiment,
        judged_checks::observations,
        likelihood::{GrainPlace, Observation},
        next_reading::{candidates, next_readings},
        posterior::{Inference, Posterior, Settings, posterior, posterior_under},
        trials::{Experiment, run_trials},
    },
    quantity::{sample::Summary, stream::Streams},
    shop::{
        check::ShopCheck,
        form::{Bump, Form},
        smooth_zone::SmoothZone,
        survey::StandUse,
        visibility::ideal_readings,
        wear::{Surface, Waves, Wear},
    },
};

fn wear_of(surface: &mut Surface) -> &mut Wear {
    match surface {
        Surface::Worn(wear) => wear,
        Surface::Measured(_) => panic!("the tests' surfaces are worn"),
    }
}

fn judge(check: &ShopCheck, written: &[f64]) -> Posterior {
    posterior(check, &observations(check, written), &Settings::default(), &|_| {}).expect("sound readings")
}

/// Everything fixed but one field: closed-form conditioning by scikit-learn's kernel and scipy's
/// solves (`tests/reference/gaussian_process.py`).
#[test]
fn a_gaussian_special_case_is_exact() {
    let mut check = undisturbed(check_with(|plan| plan.closing_reading = false));
    check.stand.pad_diameter = 0.0;
    check.gauge_block.face = [1e-6, 1e-6];
    check.indicator.repeatability = 0.4;
    check.surface = crate::common::perfect();
    wear_of(&mut check.surface).long_wave =
        Waves { standard_deviation: exactly(1.5), correlation_length: exactly(260.0) };
    let found = judge(&check, &[0.0, 1.4, -0.6, 0.9, 2.2, 0.3, -1.1]);
    let mut n_nodes = 0;
    for line in include_str!("reference/gaussian_process.csv").lines().filter(|line| !line.starts_with('#')) {
        let fields: Vec<&str> = line.split(',').collect();
        let [value, deviation] = [1, 2].map(|k| fields[k].parse::<f64>().expect("a number"));
        if fields[0] == "log density" {
            // The cosines' mirror images and cut-off change covariances by up to 1 %, and with them
            // half of a determinant's logarithm and of a sum of squares, both of 6 terms.
            assert!((found.log_evidence - value).abs() < 0.06, "{} {value}", found.log_evidence);
            continue;
        }
        let node: usize = fields[0].parse().expect("a node");
        let [height, u] = [found.map.height[node], found.map.standard_uncertainty[node]];
        // 4 standard errors of a sample of 4000. The cosines' mirror images, three correlation lengths
        // off, add up to exp(-4.5) = 1.1 % of the field's variance to a covariance.
        assert!(
            (height - value).abs() < (4.0 / 4000_f64.sqrt() + 0.01) * deviation,
            "{node}: {height} {value}"
        );
        let allowed = 4.0 * (2.0 / 4000_f64).sqrt() * deviation * deviation + 0.011 * 1.5 * 1.5;
        assert!((u * u - deviation * deviation).abs() < allowed, "{node}: {u} {deviation}");
        n_nodes += 1;
    }
    assert!(n_nodes > 30);
}

/// Three times the readings of one spot, as repeats of one reading and as readings of three targets that lie on one
/// another: with nothing that a new target would bring, both are one and the same, by two ways of computing.
fn repeated_and_apart(change: impl Fn(&mut ShopCheck)) -> [(ShopCheck, Vec<Observation>); 2] {
    let apart = check_with(|plan| {
        plan.closing_reading = false;
        let again = |k: usize, name: &str| {
            let mut target = plan.stations[0].targets[k].clone();
            target.name = name.into();
            target
        };
        let more = [again(2, "once more"), again(2, "and again"), again(4, "far twice")];
        plan.stations[0].targets.extend(more);
    });
    let repeated = check_with(|plan| plan.closing_reading = false);
    let written = [0.0, 1.5, -0.5, 1.0, 2.0, 0.5, -1.0, -1.5, 0.0, 3.0];
    let observations = |reading_of: &dyn Fn(usize) -> usize| -> Vec<Observation> {
        let one =
            |(k, value): (usize, &f64)| Observation { reading: reading_of(k), value: *value, step: 0.0 };
        written.iter().enumerate().map(one).collect()
    };
    let all =
        [(repeated, observations(&|k| [0, 1, 2, 3, 4, 5, 6, 2, 2, 4][k])), (apart, observations(&|k| k))];
    all.map(|(check, observations)| {
        let mut check = undisturbed(check);
        change(&mut check);
        (check, observations)
    })
}

/// All Gaussian: the density of the readings, and what the others say of each, come from the small covariance as from the
/// large one.
#[test]
fn repeats_are_pooled_exactly() {
    let [pooled, apart] = repeated_and_apart(|check| {
        check.indicator.repeatability = 0.4;
        check.surface = crate::common::perfect();
        wear_of(&mut check.surface).long_wave =
            Waves { standard_deviation: exactly(1.5), correlation_length: exactly(260.0) };
    })
    .map(|(check, observations)| {
        let experiment = CheckExperiment::new(&check).expect("a sound check");
        Inference::new(&experiment, &observations, &Settings::default(), &|_| {}).expect("sound readings")
    });
    let [few, many] = [&pooled, &apart].map(|inference| &inference.posterior);
    assert!(
        (few.log_evidence - many.log_evidence).abs() < 1e-8,
        "{} {}",
        few.log_evidence,
        many.log_evidence
    );
    assert_eq!(few.fit.readings.len(), 9);
    for (one, other) in few.fit.readings.iter().zip(&many.fit.readings) {
        let pairs = [
            (one.off, other.off),
            (one.standard_uncertainty, other.standard_uncertainty),
            (one.p_value, other.p_value),
            (one.predictive, other.predictive),
        ];
        assert!(pairs.iter().all(|(a, b)| (a - b).abs() < 1e-8), "{one:?} {other:?}");
    }
    // What is left without one of the repeats, and without a reading that was taken once: of 250 plates each.
    for reading in [1, 3, 8] {
        let [one, other] =
            [&pooled, &apart].map(|inference| Summary::of(&inference.without(reading).expect("sound"), 0.95));
        let error =
            (one.standard_deviation.powi(2) + other.standard_deviation.powi(2)).sqrt() / 250_f64.sqrt();
        assert!((one.mean - other.mean).abs() < 4.0 * error, "{reading}: {one:?} {other:?}");
        let ratio = one.standard_deviation / other.standard_deviation;
        // 4 standard errors of a ratio of two, of kurtosis up to 4.5.
        assert!((ratio.ln()).abs() < 4.0 * (3.5 / (2.0 * 250.0_f64)).sqrt(), "{reading}: {one:?} {other:?}");
    }
}

/// Read to half a micrometre by a hand whose repeatability is known from six readings: the latent readings, and how well
/// the hand repeats, are drawn.
#[test]
fn rounded_repeats_are_pooled_exactly() {
    let judged = repeated_and_apart(|check| {
        check.indicator.repeatability = 0.6;
        check.indicator.repeatability_dof = 5.0;
        check.indicator.read_step = 0.5;
        check.indicator.error_limit = 1.0;
    })
    .map(|(check, mut observations)| {
        for observation in &mut observations {
            observation.step = 0.5;
        }
        let settings = Settings { n_particles: 4000, effective_sample_size: 8000.0, ..Settings::default() };
        posterior(&check, &observations, &settings, &|_| {}).expect("sound readings")
    });
    let [few, many] = &judged;
    // Ten such runs differ by 0.05 in the logarithm.
    assert!((few.log_evidence - many.log_evidence).abs() < 0.2, "{} {}", few.log_evidence, many.log_evidence);
    let [one, other] = [few, many].map(|found| found.summary(0.95));
    let errors =
        [few, many].map(|found| found.summary(0.95).standard_deviation.powi(2) / found.effective_sample_size);
    assert!((one.mean - other.mean).abs() < 4.0 * (errors[0] + errors[1]).sqrt(), "{one:?} {other:?}");
    assert!((one.standard_deviation / other.standard_deviation - 1.0).abs() < 0.08, "{one:?} {other:?}");
    for (one, other) in few.fit.readings.iter().zip(&many.fit.readings) {
        assert!((one.p_value - other.p_value).abs() < 0.05, "{one:?} {other:?}");
        assert!((one.off - other.off).abs() < 0.1 * other.standard_uncertainty, "{one:?} {other:?}");
    }
}

/// A thousand repeats are one reading with little noise of its own, and take no covariance of a thousand.
#[test]
fn a_thousand_repeats_are_one_reading() {
    let mut check = check_with(|plan| plan.closing_reading = false);
    check.indicator.hysteresis = exactly(0.0);
    let step = check.indicator.read_step;
    let values = [0.0, 1.5, -0.5, 1.0, 2.0, 0.5, -1.0];
    let mut observed: Vec<Observation> = values
        .iter()
        .enumerate()
        .map(|(reading, value)| Observation { reading, value: (value / step).round() * step, step })
        .collect();
    observed.extend((0..1000).map(|k| Observation {
        reading: 3,
        value: ((1.0 + 0.5 * f64::from(k % 7 - 3)) / step).round() * step,
        step,
    }));
    let found = posterior(&check, &observed, &Settings::default(), &|_| {}).expect("sound readings");
    assert_eq!(found.fit.readings.len(), 1006);
    assert!(found.sample_suffices, "{}", found.effective_sample_size);
    // What the others say of a repeat is near the mean of all, and varies by its own noise.
    let repeat = &found.fit.readings[500];
    let own = check.indicator.repeatability;
    assert!((repeat.standard_uncertainty / own - 1.0).abs() < 0.02, "{repeat:?}");
}

/// Without readings the posterior is the prior, which the simulation draws by another way.
#[test]
fn no_readings_give_the_prior() {
    let check = check_with(|_| {});
    let found = posterior(&check, &[], &Settings::default(), &|_| {}).expect("no readings are sound");
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let mut drawn = run_trials(&experiment, &Streams::new(9), 0..20_480, &|_| {}).swap_remove(0);
    let mut sample = found.flatness.clone();
    drawn.sort_by(f64::total_cmp);
    sample.sort_by(f64::total_cmp);
    // Largest distance of the two distribution functions (Kolmogorov and Smirnov); 1.95 √(1/m + 1/n)
    // is exceeded once in a thousand times.
    let distance = sample
        .iter()
        .enumerate()
        .map(|(i, value)| {
            let below = drawn.partition_point(|d| d <= value) as f64 / drawn.len() as f64;
            (below - (i as f64 + 0.5) / sample.len() as f64).abs()
        })
        .fold(0.0, f64::max);
    let (m, n) = (sample.len() as f64, drawn.len() as f64);
    // Several plates of one particle share their dips: what they are worth counts.
    let m = m.min(found.effective_sample_size);
    assert!(distance < 1.95 * (1.0 / m + 1.0 / n).sqrt(), "{distance}");
}

/// Readings without noise, of every form the plate may have but one number, give that number.
#[test]
fn endless_precise_readings_give_the_truth() {
    let mut check = undisturbed(check_with(|plan| {
        plan.closing_reading = false;
        plan.stations[0].targets.extend((0..5).flat_map(|i| {
            (0..4).map(move |j| {
                crate::common::target(
                    &format!("{i}{j}"),
                    240.0 + 130.0 * f64::from(i),
                    200.0 + 115.0 * f64::from(j),
                )
            })
        }));
    }));
    check.indicator.repeatability = 1e-3;
    let wear = wear_of(&mut check.surface);
    wear.long_wave.standard_deviation = exactly(0.0);
    wear.waviness.standard_deviation = exactly(0.0);
    wear.front_edge.depth = exactly(0.0);
    wear.dips.clear();
    wear.twist = crate::common::normal(0.0, 2.0);
    let middle = check.plate.middle();
    let form = Form {
        bumps: vec![Bump { height: -4.3, centre: [480.0, 270.0], sigma: [230.0, 140.0] }],
        twist: 4.0 * 1.1 / (check.plate.length * check.plate.width),
        middle,
        ..Form::default()
    };
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let heights: Vec<f64> =
        experiment.landscape().grid().points().iter().map(|&at| form.height(at, 0.0)).collect();
    let zone = SmoothZone::new(experiment.landscape().grid()).expect("a grid");
    let truth = zone.flatness(&heights, &form.bumps, &mut zone.scratch());
    let found = judge(&check, &ideal_readings(&check, &form)).summary(0.95);
    assert!((found.mean - truth).abs() < 0.02, "{} against {truth}", found.mean);
    assert!(found.standard_deviation < 0.02, "{found:?}");
}

/// A dip of 4 µm under the rear foot tips the stand back: far readings fall, and the posterior says
/// which foot is low. Under a front foot they rise.
#[test]
fn a_dip_under_a_foot_is_found() {
    let check = check_with(|_| {});
    let reading = &check.survey.readings[0];
    for (foot, others) in [(2, [0, 1]), (0, [1, 2])] {
        let form = Form {
            bumps: vec![Bump { height: -4.0, centre: reading.feet[foot], sigma: [26.0; 2] }],
            middle: check.plate.middle(),
            ..Form::default()
        };
        let spots = ideal_readings(&check, &form);
        let mut written: Vec<f64> = spots.iter().map(|v| (v / 0.508).round() * 0.508).collect();
        written.push(0.0);
        let found = judge(&check, &written);
        let low = found.feet.iter().find(|f| f.foot == foot && f.seating == 0).expect("the foot");
        assert!(low.height < -1.5, "foot {foot}: {low:?}");
        for other in others {
            let other = found.feet[other];
            assert!(other.height > low.height + 1.0, "foot {foot}: {low:?}, {other:?}");
        }
        // The plain spread is many times the flatness, which the posterior does not follow.
        let spread = howflat::quantity::sample::range(&spots);
        assert!(spread > 7.0, "{spread}");
        assert!(found.summary(0.95).mean < 0.75 * spread, "{spread}: {:?}", found.summary(0.95));
    }
}

#[test]
fn threads_do_not_matter() {
    let check = check_with(|plan| plan.stand_use = StandUse::Turned);
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let (_, written) = experiment.written(&Streams::new(4), 11, &mut experiment.scratch());
    let settings = Settings { n_particles: 200, effective_sample_size: 100.0, ..Settings::default() };
    let runs = [1, 2, 7].map(|threads| {
        let pool = rayon::ThreadPoolBuilder::new().num_threads(threads).build().expect("threads");
        pool.install(|| {
            posterior(&check, &observations(&check, &written), &settings, &|_| {}).expect("sound")
        })
    });
    for run in &runs[1..] {
        assert_eq!(run.flatness, runs[0].flatness);
        assert_eq!(run.map, runs[0].map);
        assert_eq!(run.fit, runs[0].fit);
        assert_eq!(run.effective_sample_size.to_bits(), runs[0].effective_sample_size.to_bits());
        assert_eq!(run.log_evidence.to_bits(), runs[0].log_evidence.to_bits());
    }
    let other = Settings { seed: 2, ..settings };
    let other = posterior(&check, &observations(&check, &written), &other, &|_| {}).expect("sound");
    assert_ne!(other.flatness, runs[0].flatness);
}

/// A grain of 12 µm under the block at one reading of three passes is found, named and allowed for.
#[test]
fn a_grain_under_the_block_is_found() {
    let check = check_with(|plan| plan.passes = 3);
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let mut clean = check.clone();
    clean.cleanliness.grain_chance = 0.0;
    let cleanly = CheckExperiment::new(&clean).expect("a sound check");
    let (truth, mut written) = cleanly.written(&Streams::new(8), 3, &mut experiment.scratch());
    let before = judge(&check, &written).summary(0.95);
    written[10] += 12.192;
    let found = judge(&check, &written);
    let worst = &found.fit.readings[found.fit.worst.expect("readings")];
    assert_eq!(worst.reading, 10);
    assert!((worst.off - 12.0).abs() < 2.5, "{worst:?}");
    assert!(worst.p_value < 0.05, "{worst:?}");
    assert!(worst.grain_probability > 0.9, "{worst:?}");
    let grain = found.fit.grains[0];
    assert_eq!(grain.place, GrainPlace::Block { reading: 10 });
    assert!((grain.height - 12.0).abs() < 2.5, "{grain:?}");
    let after = found.summary(0.95);
    assert!(
        (after.mean - before.mean).abs() < 0.5 * before.standard_deviation,
        "{before:?} {after:?} {truth}"
    );
}

/// A file of another plate, or a clamp that slips at every reading, raises the alarm.
#[test]
fn nonsense_readings_raise_the_alarm() {
    let mut check = check_with(|plan| plan.passes = 2);
    check.cleanliness.grain_chance = 0.0;
    let written: Vec<f64> =
        (0..check.survey.readings.len()).map(|i| [0.0, 9.1, -7.1, 4.1][i * 7 % 4]).collect();
    let found = judge(&check, &written);
    assert!(found.fit.p_value < 0.01, "{:?}", found.fit);
}

/// Rounding to whole tenths (2.54 µm) with little other noise: the latent reading lies in its box.
/// Checked against brute force: plates and surveys drawn from the setup, those kept that round to
/// what was written.
#[test]
fn coarse_rounding_is_honoured() {
    let mut check = check_with(|plan| {
        plan.closing_reading = false;
        plan.stations[0].targets.truncate(4);
    });
    check.indicator.read_step = 2.54;
    check.indicator.repeatability = 0.1;
    check.cleanliness.film = 0.05;
    check.cleanliness.grain_chance = 0.0;
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let wanted = [0.0, 0.0, 2.54, 2.54];
    let streams = Streams::new(77);
    let scratch = &mut experiment.scratch();
    let kept: Vec<f64> = (0..150_000)
        .filter_map(|trial| {
            let (flatness, written) = experiment.written(&streams, trial, scratch);
            written.iter().zip(&wanted).all(|(a, b)| (a - b).abs() < 1e-9).then_some(flatness)
        })
        .collect();
    assert!(kept.len() > 300, "{}", kept.len());
    let n = kept.len() as f64;
    let brute = Summary::of(&kept, 0.8);
    let found = judge(&check, &wanted).summary(0.8);
    let error = (1.0 / n + 1.0 / 2000.0).sqrt() * brute.standard_deviation;
    assert!((found.mean - brute.mean).abs() < 4.0 * error, "{found:?} {brute:?}");
    assert!(
        (found.standard_deviation / brute.standard_deviation - 1.0).abs() < 4.0 * error,
        "{found:?} {brute:?}"
    );
    for k in 0..2 {
        // The standard error of a 10 % or 90 % quantile is about 1.7 to 2.5 times the mean's here.
        let off = (found.interval_symmetric[k] - brute.interval_symmetric[k]).abs();
        assert!(off < 10.0 * error, "{found:?} {brute:?}");
    }
}

/// Common practice, no source: a plate that reads 0, +2, 0, +2, 0, +1 tenths over corners, edges and
/// middle passes for work to about two tenths and never for work to 50 µin.
#[test]
fn the_habit_of_the_shop_is_ranked() {
    let check = check_with(|plan| {
        plan.closing_reading = false;
        plan.stations[0].targets.truncate(6);
    });
    let written: Vec<f64> = [0.0, 2.0, 0.0, 2.0, 0.0, 1.0].map(|tenths| tenths * 2.54).to_vec();
    let found = judge(&check, &written);
    let loose = of_sample(&found.flatness, None, Some(2.0 * 2.54));
    let tight = of_sample(&found.flatness, None, Some(50.0 * 0.0254));
    // With six readings from feet this close together, what was not looked at leaves two tenths open.
    assert!(loose > 10.0 * tight, "{loose} {tight}");
    let verdict = Conformance::of_sample(&found.flatness, 50.0 * 0.0254, Rule::default());
    assert_eq!(verdict.verdict, howflat::decision::limits::Verdict::Out, "{verdict:?}");
}

/// Missing readings widen, further ones narrow; another wear state moves the answer.
#[test]
fn readings_may_be_missing_and_wear_may_be_another() {
    let check = check_with(|plan| plan.passes = 2);
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let (_, written) = experiment.written(&Streams::new(4), 2, &mut experiment.scratch());
    let all = observations(&check, &written);
    let settings = Settings::default();
    let few = posterior(&check, &all[..3], &settings, &|_| {}).expect("sound").summary(0.95);
    let whole = posterior(&check, &all, &settings, &|_| {}).expect("sound");
    assert!(few.standard_deviation > 1.2 * whole.summary(0.95).standard_deviation);
    let mut better = check.surface.clone();
    let wear = wear_of(&mut better);
    wear.dips.clear();
    wear.middle.depth = crate::common::depth(0.5);
    wear.front_edge.depth = crate::common::depth(0.3);
    let under = posterior_under(&check, &better, &all, &settings, &|_| {}).expect("sound");
    assert!(under.summary(0.95).mean < whole.summary(0.95).mean);
    assert!(
        posterior(&check, &[Observation { reading: 99, value: 0.0, step: 0.5 }], &settings, &|_| {}).is_err()
    );
    assert!(
        posterior(&check, &[Observation { reading: 1, value: f64::NAN, step: 0.5 }], &settings, &|_| {})
            .is_err()
    );
}

/// The readings that are proposed are possible, and taking the best of them narrows as promised or
/// better, averaged over what it may read.
#[test]
fn proposed_readings_help() {
    let check = check_with(|_| {});
    let experiment = CheckExperiment::new(&check).expect("a sound check");
    let (_, written) = experiment.written(&Streams::new(4), 2, &mut experiment.scratch());
    let found = judge(&check, &written);
    let candidates = candidates(&check, &[]);
    assert!(candidates.len() > 3);
    let next = next_readings(&check, &found, &candidates, &[], 3);
    assert!(!next.is_empty() && next.len() <= 3, "{next:?}");
    let mut last = found.summary(0.95).standard_deviation;
    for reading in &next {
        assert!(reading.target > 0 && reading.target < candidates[reading.candidate].station.targets.len());
        assert!(reading.expected_standard_uncertainty < last * 1.02, "{next:?}");
        last = reading.expected_standard_uncertainty;
    }
}
