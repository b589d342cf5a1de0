//! What readings have not looked at: closed forms, brute force, and a count by hand.

use crate::common::{check_with, exactly, target, undisturbed};
use howflat::{
    propagation::{
        check_experiment::CheckExperiment,
        judged_checks::observations,
        likelihood::Observation,
        next_reading::{candidates, next_readings},
        posterior::{Settings, posterior},
        unseen::{Sight, Unseen},
    },
    shop::{
        check::ShopCheck,
        form::{Bump, Form},
        survey::StandUse,
        visibility::ideal_readings,
        wear::{Dip, DipPlace, Surface},
    },
};

/// 2 · 1.644854, the standard normal's 95 % point (any table).
const DETECTION: f64 = 3.289_707;

fn all_read(check: &ShopCheck) -> Vec<Observation> {
    (0..check.survey.readings.len()).map(|reading| Observation { reading, value: 0.0, step: 0.0 }).collect()
}

fn sight(check: &ShopCheck) -> Sight {
    let experiment = CheckExperiment::new(check).expect("a sound check");
    Sight::new(&experiment, &all_read(check)).expect("sound readings")
}

/// One zero in the front right corner and one reading in the middle, both by points without size.
fn single(repeatability: f64) -> ShopCheck {
    let mut check = undisturbed(check_with(|plan| {
        plan.closing_reading = false;
        plan.stations[0].targets = vec![target("zero", 864.0, 50.0), target("spot", 457.0, 305.0)];
    }));
    check.stand.pad_diameter = 0.0;
    check.gauge_block.face = [1e-6; 2];
    check.indicator.repeatability = repeatability;
    check
}

fn three_uses() -> [ShopCheck; 3] {
    [StandUse::Parked, StandUse::Turned, StandUse::Carried].map(|stand_use| {
        check_with(|plan| {
            plan.stand_use = stand_use;
            plan.closing_reading = false;
            if stand_use == StandUse::Carried {
                plan.stations[0].heading = 0.0;
                plan.stations[0].targets = vec![
                    target("one", 300.0, 150.0),
                    target("two", 700.0, 150.0),
                    target("three", 300.0, 450.0),
                    target("four", 700.0, 450.0),
                ];
            }
        })
    })
}

/// A reading and its zero each with noise u: the difference's is u √2, and a hollow straight under the target moves it
/// by its depth, at a distance r by exp(−r²/2σ²) of it.
#[test]
fn a_single_reading_sees_as_the_closed_form_says() {
    for u in [0.2, 0.4] {
        let sight = sight(&single(u));
        let under = sight.detectable_depth([457.0, 305.0], [60.0; 2]);
        let expected = DETECTION * u * 2_f64.sqrt();
        assert!((under / expected - 1.0).abs() < 1e-6, "{under} {expected}");
        let beside = sight.detectable_depth([547.0, 305.0], [60.0; 2]);
        assert!((beside / (expected * (0.5_f64 * 1.5 * 1.5).exp()) - 1.0).abs() < 1e-6, "{beside}");
        assert!(sight.detectable_depth([700.0, 550.0], [35.0; 2]) > 1e3 * expected);
    }
}

/// Under a foot whose film has the standard deviation f, a hollow is told from the film only: no better than f allows,
/// however finely the indicator reads.
#[test]
fn a_foot_looks_less_sharply_than_the_block() {
    let mut check = single(0.01);
    check.cleanliness.film = 0.5;
    let (sight, reading) = (sight(&check), &check.survey.readings[1]);
    for foot in reading.feet {
        let depth = sight.detectable_depth(foot, [20.0; 2]);
        assert!(depth > DETECTION * 0.5 && depth.is_finite(), "{depth}");
    }
    // With all else fixed, more noise shows less.
    let mut noisier = check.clone();
    noisier.indicator.repeatability = 2.0;
    let foot = reading.feet[0];
    assert!(
        self::sight(&noisier).detectable_depth(foot, [20.0; 2]) > sight.detectable_depth(foot, [20.0; 2])
    );
}

/// Nothing read, nothing seen.
#[test]
fn no_readings_see_nothing() {
    let experiment = CheckExperiment::new(&check_with(|_| {})).expect("a sound check");
    let sight = Sight::new(&experiment, &[]).expect("no readings are sound");
    assert!(sight.detectable_depth([457.0, 305.0], [60.0; 2]).is_infinite());
}

/// Brute force, for all three uses of the stand: a hollow of the depth and at the place that are said to be hidden is
/// put on an otherwise perfect plate, and what the survey reads moves by less than its noise; the same hollow, twice as
/// deep, under a target moves some reading by more.
#[test]
fn what_is_said_to_be_hidden_does_not_move_the_readings() {
    let settings = Settings { n_particles: 100, effective_sample_size: 50.0, rounds: [1, 1], seed: 1 };
    for check in three_uses() {
        let read = all_read(&check);
        let found = posterior(&check, &read, &settings, &|_| {}).expect("sound");
        let unseen = Unseen::of(&check, &read, &found, &[35.0], Some(5.0)).expect("sound");
        let hollow = &unseen.hollows[0];
        assert!(hollow.share > 0.3 && hollow.deepest > 5.0, "{:?} {}", check.survey.stand_use, hollow.share);
        let moved = |height: f64, centre: [f64; 2]| -> f64 {
            let bump = Bump { height, centre, sigma: [35.0; 2] };
            let form = Form { bumps: vec![bump], middle: check.plate.middle(), ..Form::default() };
            ideal_readings(&check, &form).into_iter().map(f64::abs).fold(0.0, f64::max)
        };
        // Repeatability of the test's indicator: 0.508 µm.
        assert!(moved(-5.0, hollow.at) < 0.5, "{:?}", check.survey.stand_use);
        let spot = check.survey.readings[1].target;
        assert!(moved(-10.0, spot) > 3.0 * 0.508, "{:?}", check.survey.stand_use);
    }
}

/// The share of plates that hidden hollows turn, counted over every plate in another way: none can be turned where all is
/// within or no plate has local wear; places to read next are where the hidden hollow is, and are read first.
#[test]
fn a_hidden_hollow_is_told_as_possible_and_read_next() {
    let mut check = undisturbed(check_with(|plan| plan.closing_reading = false));
    check.indicator.repeatability = 0.3;
    check.surface = crate::common::perfect();
    let Surface::Worn(wear) = &mut check.surface else { panic!("worn") };
    // One hollow, there in one of four plates, always 6 µm deep, right of the middle where nothing is read.
    let at = [650.0, 180.0];
    wear.dips = vec![Dip {
        chance: 0.25,
        depth: exactly(6.0),
        radius: exactly(45.0),
        place: DipPlace::Anywhere { x: exactly(at[0]), y: exactly(at[1]) },
    }];
    let read = observations(&check, &[0.0; 7]);
    let settings = Settings { n_particles: 800, effective_sample_size: 400.0, rounds: [1, 2], seed: 3 };
    let found = posterior(&check, &read, &settings, &|_| {}).expect("sound");
    let unseen = Unseen::of(&check, &read, &found, &[38.0, 60.0], Some(2.0)).expect("sound");
    // Readings cannot tell, so that the prior's one in four is left: 4 standard errors of 800 draws are 0.06. By hand, a
    // plate is out if and only if it has the hollow.
    let turned = unseen.turned.expect("a tolerance");
    let out = found.flatness.iter().filter(|f| **f > 2.0).count() as f64 / found.flatness.len() as f64;
    assert!((turned - 0.25).abs() < 0.06 && (turned - out).abs() < 0.05, "{turned} {out}");
    let first = unseen.places[0];
    assert!((first[0] - at[0]).hypot(first[1] - at[1]) <= 45.0, "{first:?}");
    assert_eq!(unseen.places.len(), 1);
    let (hollow, named, detectable) = unseen.named().expect("something is hidden");
    assert!(named == first && detectable > 2.0 && hollow.radius == 60.0, "{named:?} {}", hollow.radius);
    let candidates = candidates(&check, &unseen.places);
    let next = next_readings(&check, &found, &candidates, &unseen.places, 2);
    assert_eq!(candidates[next[0].candidate].station.targets[next[0].target].at, first);
    // None of them where nothing is out, and none is spoken of without a tolerance.
    let wide = Unseen::of(&check, &read, &found, &[60.0], Some(50.0)).expect("sound");
    assert_eq!((wide.turned, wide.places.len()), (Some(0.0), 0));
    assert_eq!(Unseen::of(&check, &read, &found, &[60.0], None).expect("sound").turned, None);
}

/// The same reading in more places leaves less unseen.
#[test]
fn more_readings_leave_less_unseen() {
    let check = check_with(|plan| plan.closing_reading = false);
    let read = all_read(&check);
    let settings = Settings { n_particles: 100, effective_sample_size: 50.0, rounds: [1, 1], seed: 1 };
    let share = |read: &[Observation]| {
        let found = posterior(&check, read, &settings, &|_| {}).expect("sound");
        Unseen::of(&check, read, &found, &[60.0, 100.0], Some(5.0)).expect("sound").hollows
    };
    let (few, all) = (share(&read[..3]), share(&read));
    for (few, all) in few.iter().zip(&all) {
        assert!(few.share > all.share && all.share > 0.0, "{} {}", few.share, all.share);
    }
    assert!(all[0].share > all[1].share, "a wide hollow hides less");
}
