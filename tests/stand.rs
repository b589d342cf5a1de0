//! The stand as a lever: closed forms that the engine must give back.

use crate::common::{check_with, perfect, target, undisturbed};
use howflat::shop::{
    check::ShopCheck,
    form::{Bump, Form},
    plate::bow_curvature,
    stand::weights,
    survey::{Obstacle, StandUse, Station, Survey},
    visibility::{ideal_readings, visibilities},
};

fn close(a: f64, b: f64, within: f64) {
    assert!((a - b).abs() <= within, "{a} against {b}");
}

fn spread(readings: &[f64]) -> f64 {
    howflat::quantity::sample::range(readings)
}

/// Three-point plane geometry: front feet (1 + r/d)/2 each, rear foot −r/d, for a tip r ahead of
/// the front feet and a depth d between front and rear.
#[test]
fn weights_of_the_feet_follow_from_geometry() {
    let feet = [[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]];
    let w = weights(feet, [250.0, 0.0]).expect("feet that carry a plane");
    for (w, exact) in w.into_iter().zip([5.0 / 3.0, 5.0 / 3.0, -7.0 / 3.0]) {
        close(w, exact, 1e-12);
    }
    // Reach, depth, front, rear of four stands of the trade.
    for (reach, depth, front, rear) in [
        (60.0, 90.0, 0.833, -0.667),
        (80.0, 100.0, 0.9, -0.8),
        (120.0, 100.0, 1.1, -1.2),
        (150.0, 120.0, 1.125, -1.25),
    ] {
        let w = weights([[0.0, 45.0], [0.0, -45.0], [-depth, 0.0]], [reach, 0.0]).expect("a plane");
        close(w[0], front, 5e-4);
        close(w[1], front, 5e-4);
        close(w[2], rear, 5e-4);
    }
}

#[test]
fn feet_in_line_carry_no_plane() {
    assert_eq!(weights([[0.0, 0.0], [50.0, 50.0], [100.0, 100.0]], [10.0, 0.0]), None);
    assert_eq!(weights([[5.0, 5.0], [5.0, 5.0], [9.0, 0.0]], [10.0, 0.0]), None);
}

/// A plane of the plate is no reading, wherever the stand stands and whatever its feet.
#[test]
fn a_sloping_plate_reads_nothing() {
    for use_ in StandUse::ALL {
        let check = survey_of(use_, &[33.0]);
        // A very wide, very high bump's flank is no plane; a twist about a far middle is one within 1e-9.
        let slope = Form { twist: 1e-9, middle: [-1e7, -2e7], ..Form::default() };
        let heights: Vec<f64> = check.survey.readings.iter().map(|r| slope.height(r.target, 0.0)).collect();
        assert!(spread(&heights) > 5.0, "the plate slopes by micrometres");
        assert!(spread(&ideal_readings(&check, &slope)) < 1e-2);
    }
}

/// A square plate with its stand in one corner that tilts along the diagonal: the two neighbouring
/// corners and the middle move alike, the far corner twice as much.
#[test]
fn the_square_plate_identity() {
    let side = 600.0;
    // The stand's origin is the corner; its feet straddle the diagonal.
    let c = std::f64::consts::FRAC_1_SQRT_2;
    let turn = |[x, y]: [f64; 2]| [c * (x - y), c * (x + y)];
    let feet = [[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]].map(turn);
    // The rear foot sinks by 1 µm: the datum tips about the line through the front feet.
    let lift = |tip: [f64; 2]| weights(feet, tip).expect("a plane")[2];
    let zero = lift([0.0, side]);
    let middle = lift([side / 2.0, side / 2.0]);
    let neighbour = lift([side, 0.0]);
    let far = lift([side, side]);
    close(middle - zero, 0.0, 1e-12);
    close(neighbour - zero, 0.0, 1e-12);
    // Heights along the diagonal are linear: from corner to middle as from middle to far corner.
    let corner = lift([0.0, 0.0]);
    close(far - middle, middle - corner, 1e-12);
    close(far - corner, 2.0 * (middle - corner), 1e-12);
}

/// Tilt of a parked stand is linear in the tip's place: three spots on a line, the middle one
/// halfway.
#[test]
fn tilt_of_a_parked_stand_is_linear() {
    let mut check = check_with(|plan| {
        plan.stations[0].targets =
            vec![target("a", 300.0, 200.0), target("b", 500.0, 300.0), target("c", 700.0, 400.0)];
    });
    let foot = check.survey.readings[0].feet[0];
    check.stand.pad_diameter = 1.0;
    // A dip so narrow that only the one foot is in it.
    let dip = Form { bumps: vec![Bump { height: -4.0, centre: foot, sigma: [5.0; 2] }], ..Form::default() };
    let [a, b, c] = ideal_readings(&check, &dip)[..] else { panic!("three spots") };
    assert!((c - a).abs() > 1.0, "the dip tilts the stand");
    close(b - a, (c - a) / 2.0, 1e-9);
}

/// The lesson of the corner dip: a rear foot in it shows a plus far out, a front foot a minus.
#[test]
fn the_sign_of_a_false_reading_depends_on_the_foot() {
    let check = survey_of(StandUse::Parked, &[0.0]);
    let far = check.survey.readings.iter().position(|r| r.target[0] > 600.0).expect("a far target");
    let feet = check.survey.readings[far].feet;
    let reading = |foot: usize| {
        let dip = Form {
            bumps: vec![Bump { height: -1.0, centre: feet[foot], sigma: [4.0; 2] }],
            ..Form::default()
        };
        // The datum alone: height of the spot over the plane of the feet.
        let w = check.survey.readings[far].weights;
        dip.height(check.survey.readings[far].target, 0.0)
            - (0..3).map(|k| w[k] * dip.height(feet[k], 0.0)).sum::<f64>()
    };
    let rear = (0..3).min_by(|&a, &b| feet[a][0].total_cmp(&feet[b][0])).expect("three feet");
    assert!(reading(rear) < 0.0, "tipped back: the arm points up, the spot looks low");
    let w = check.survey.readings[far].weights;
    close(reading(rear), w[rear] * 1.0, 1e-3);
}

/// Carried at one heading, any uniform curvature reads the same everywhere.
#[test]
fn bow_and_twist_of_any_size_are_invisible_to_a_carried_stand() {
    let check = survey_of(StandUse::Carried, &[0.0]);
    for form in uniform_curvatures(&check) {
        assert!(spread(&ideal_readings(&check, &form)) < 1e-9, "{form:?}");
    }
}

/// A pass turned by 90° shows a one-way bow; a twist shows only between the two diagonals; a
/// spherical bow never.
#[test]
fn a_turned_pass_shows_what_one_heading_hides() {
    let square = survey_of(StandUse::Carried, &[0.0, 90.0]);
    let diagonal = survey_of(StandUse::Carried, &[45.0, 135.0]);
    let [sphere, one_way, twist] = uniform_curvatures(&square);
    assert!(spread(&ideal_readings(&square, &one_way)) > 0.1);
    assert!(spread(&ideal_readings(&diagonal, &one_way)) < 1e-9);
    assert!(spread(&ideal_readings(&square, &twist)) < 1e-9);
    assert!(spread(&ideal_readings(&diagonal, &twist)) > 0.1);
    for check in [&square, &diagonal] {
        assert!(spread(&ideal_readings(check, &sphere)) < 1e-9);
    }
}

/// How much of the true flatness a carried stand shows: feet 90 × 100 mm, reach 80 mm ahead of the
/// front feet, facing along the length, everywhere it can stand. The expected shares come from an
/// independent simulation of the same geometry (no published source); its scan was a little finer
/// and its flatness judged on another grid, hence 0.04.
#[test]
fn a_carried_stand_sees_broad_wear_poorly_and_a_pit_too_well() {
    for (length, width, expected) in [
        (
            610.0,
            457.0,
            [
                ("broad wear in the middle", 0.14),
                ("wear in the middle", 0.34),
                ("narrow wear in the middle", 1.06),
            ],
        ),
        (
            1000.0,
            630.0,
            [
                ("broad wear in the middle", 0.08),
                ("wear in the middle", 0.17),
                ("narrow wear in the middle", 0.55),
            ],
        ),
    ] {
        let check = carried_everywhere(length, width);
        let seen = visibilities(&check);
        let share = |shape: &str| seen.iter().find(|v| v.shape == shape).expect("a known shape").spread;
        for (shape, expected) in expected {
            close(share(shape), expected, 0.04);
        }
        close(share("pit 80 mm across in the middle"), 1.76, 0.06);
        for shape in ["bow all over, crowned or hollow", "bow along the length only", "twist"] {
            assert!(share(shape) < 1e-9);
        }
    }
}

/// `κ D²/8` over the diagonal D: 4.6, 7.6 and 9.6 µm for one kelvin.
#[test]
fn bow_by_heat_against_its_closed_form() {
    for (length, width, thickness, expansion, sagitta) in [
        (609.6, 457.2, 101.6, 6.5e-6, 4.6),
        (1000.0, 630.0, 150.0, 6.5e-6, 7.6),
        (1000.0, 630.0, 200.0, 11.0e-6, 9.6),
    ] {
        let curvature = bow_curvature(expansion, 1.0, thickness);
        let middle = [length / 2.0, width / 2.0];
        let bow = Form { curvature: [curvature; 2], middle, ..Form::default() };
        let fall = bow.height(middle, 0.0) - bow.height([0.0, 0.0], 0.0);
        let diagonal = (length * length + width * width).sqrt();
        close(fall, curvature * diagonal * diagonal / 8.0, 1e-12);
        close(fall, sagitta, 0.05);
    }
    // The plate of the design: 36 × 24 × 6 in, 6.4 µm per kelvin.
    let plate = crate::common::plate();
    close(bow_curvature(6.5e-6, 1.0, plate.thickness) * plate.diagonal().powi(2) / 8.0, 6.4, 0.05);
}

/// Cosine of the contact angle, as the two-decimal tables of the trade have it.
#[test]
fn cosine_corrections() {
    let mut indicator = crate::common::indicator();
    for (angle, factor) in [
        (5.0, 0.9962),
        (10.0, 0.9848),
        (15.0, 0.9659),
        (20.0, 0.9397),
        (30.0, 0.866),
        (40.0, 0.766),
        (60.0, 0.5),
    ] {
        close(1.0 / indicator.gain(angle), factor, 5e-5);
    }
    indicator.cosine_corrected = true;
    indicator.contact_angle = crate::common::exactly(20.0);
    close(indicator.gain(20.0), 1.0, 1e-12);
    close(indicator.gain(25.0), 0.9397 / 0.9063, 1e-4);
}

#[test]
fn impossible_surveys_are_named() {
    let (plate, stand, block) = (crate::common::plate(), crate::common::stand(), crate::common::block());
    let mut plan = crate::common::corner_to_corner(&plate);
    plan.stations[0].targets[2].at = [1200.0, 100.0];
    plan.stations[0].targets[3].at = [plate.length - 5.0, 300.0];
    // The front feet of a stand at (90, 90) mm, heading 33°, are at (142, 82) and (104, 141).
    plan.stations[0].targets[4].at = [104.0, 140.0];
    let found = Survey::lay_out(&plan, &plate, &stand, &block).expect_err("three faults");
    let at =
        |target: usize| found.iter().filter(|f| f.target == Some(target)).map(|f| &f.why).collect::<Vec<_>>();
    assert!(matches!(at(2)[..], [Obstacle::TargetOffPlate { .. }]));
    assert!(matches!(at(3)[..], [Obstacle::BlockOverEdge { .. }]));
    assert!(at(4).iter().any(|why| matches!(why, Obstacle::OutOfReach { .. })), "{found:?}");
    assert!(at(4).iter().any(|why| matches!(why, Obstacle::FootOnBlock { .. })));
    let mut in_line = stand.clone();
    in_line.feet = [[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]];
    let found = Survey::lay_out(&plan, &plate, &in_line, &block).expect_err("no plane");
    assert_eq!(found[0].why, Obstacle::FeetInLine);
}

/// Passes, zeros and closing readings fall where the plan says.
#[test]
fn rounds_of_a_survey() {
    let check = check_with(|plan| {
        plan.passes = 2;
        plan.zeroing = howflat::shop::survey::Zeroing::EachPass;
    });
    let survey = &check.survey;
    assert_eq!((survey.readings.len(), survey.zeros.as_slice()), (16, &[0, 8][..]));
    assert_eq!(survey.closings, [Some(7), Some(15)]);
    // A parked stand that nobody moves is put down once.
    assert_eq!(survey.n_seatings, 1);
    let turned = survey_of(StandUse::Turned, &[0.0]);
    // Seven headings, and the first again for the closing reading.
    assert_eq!(turned.survey.n_seatings, 8);
}

/// A check without a fault: a turned or carried stand at the given headings, or a parked one.
fn survey_of(stand_use: StandUse, headings: &[f64]) -> ShopCheck {
    let mut check = undisturbed(check_with(|plan| {
        plan.stand_use = stand_use;
        if stand_use == StandUse::Carried {
            let stations = headings.iter().map(|&heading| Station {
                name: format!("{heading}°"),
                at: [0.0; 2],
                heading,
                targets: (0..4)
                    .flat_map(|i| {
                        (0..3).map(move |j| {
                            target("spot", 330.0 + 90.0 * f64::from(i), 230.0 + 90.0 * f64::from(j))
                        })
                    })
                    .collect(),
            });
            plan.stations = stations.collect();
        }
    }));
    check.surface = perfect();
    check
}

/// Feet 90 mm apart and 100 mm deep, read 80 mm ahead of the front feet, in steps of about 15 mm.
fn carried_everywhere(length: f64, width: f64) -> ShopCheck {
    let mut check = undisturbed(check_with(|_| {}));
    check.surface = perfect();
    check.plate.length = length;
    check.plate.width = width;
    check.plate.margin = 0.0;
    check.stand.feet = [[0.0, 45.0], [0.0, -45.0], [-100.0, 0.0]];
    let steps = |low: f64, high: f64| {
        let n = ((high - low) / 15.0).ceil();
        (0..=n as usize).map(move |i| low + (high - low) * i as f64 / n)
    };
    let mut plan = crate::common::corner_to_corner(&check.plate);
    plan.stand_use = StandUse::Carried;
    plan.carried_reach = 80.0;
    plan.closing_reading = false;
    plan.stations[0].heading = 0.0;
    plan.stations[0].targets = steps(185.0, length - 18.0)
        .flat_map(|x| steps(50.0, width - 50.0).map(move |y| target("spot", x, y)))
        .collect();
    check.survey =
        Survey::lay_out(&plan, &check.plate, &check.stand, &check.gauge_block).expect("a possible survey");
    check
}

/// A spherical bow, a one-way bow and a twist, of some 30 µm each.
fn uniform_curvatures(check: &ShopCheck) -> [Form; 3] {
    let middle = check.plate.middle();
    let flat = Form { middle, ..Form::default() };
    [
        Form { curvature: [2e-4; 2], ..flat.clone() },
        Form { curvature: [2e-4, 0.0], ..flat.clone() },
        Form { twist: 1e-4, ..flat },
    ]
}
