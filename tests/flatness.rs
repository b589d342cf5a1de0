//! The minimum zone against sets with known flatness, a general-purpose linear programme, and the
//! laws that any minimum zone obeys.

use howflat::shop::{
    flatness::{FlatnessError, MinimumZone, Zone, flatness},
    least_squares_plane::LeastSquaresPlane,
    least_width::least_width,
};
use microlp::{ComparisonOp, OptimizationDirection, Problem};
use proptest::prelude::*;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rand_philox::Philox;

/// Points in plan and their heights.
#[derive(Debug, Clone)]
struct Set {
    points: Vec<[f64; 2]>,
    heights: Vec<f64>,
}

/// Solves a set and proves the result: bounds from the contacts alone and from the planes alone
/// must meet within rounding.
fn check(set: &Set) -> Zone {
    let prepared = MinimumZone::new(&set.points).expect("points that determine a zone");
    let zone = prepared.solve(&set.heights, &mut prepared.scratch());
    let proof = prepared.certify(&set.heights, &zone);
    let largest = set.heights.iter().fold(0.0, |largest: f64, z| largest.max(z.abs()));
    let rounding = 1e-12 * largest.max(zone.plane[0].abs());
    assert!(proof.defect < 1e-11, "{proof:?} {set:?}");
    assert!(proof.upper - proof.lower <= rounding, "{proof:?} {set:?}");
    assert!((zone.flatness - proof.lower).abs() <= rounding, "{zone:?} {proof:?} {set:?}");
    zone
}

// --- sets with known flatness ------------------------------------------------------------------

#[derive(serde::Deserialize)]
struct Reference {
    sets: Vec<ReferenceSet>,
    degenerate: Vec<Degenerate>,
}

#[derive(serde::Deserialize)]
struct ReferenceSet {
    id: String,
    units: [String; 2],
    analytic: Option<f64>,
    vertical: f64,
    perpendicular: f64,
    least_squares_range: f64,
    contacts_above: Vec<usize>,
    contacts_below: Vec<usize>,
    points: Vec<[f64; 3]>,
}

#[derive(serde::Deserialize)]
struct Degenerate {
    id: String,
    points: Vec<[f64; 3]>,
}

fn reference() -> Reference {
    serde_json::from_str(include_str!("reference/flatness.json")).expect("the reference file")
}

fn split(points: &[[f64; 3]]) -> Set {
    Set {
        points: points.iter().map(|&[x, y, _]| [x, y]).collect(),
        heights: points.iter().map(|&[_, _, z]| z).collect(),
    }
}

/// The file's numbers, and its coordinates, are rounded to 9 decimals.
const ROUNDED: f64 = 2e-9;

#[test]
fn sets_with_known_flatness() {
    for set in reference().sets {
        let id = &set.id;
        let zone = check(&split(&set.points));
        assert!((zone.flatness - set.vertical).abs() < ROUNDED, "{id}: {zone:?}");
        for contact in zone.contacts.iter().filter(|contact| contact.multiplier > 0.0) {
            let known = if contact.is_above { &set.contacts_above } else { &set.contacts_below };
            assert!(known.contains(&contact.point), "{id}: {contact:?}");
        }
        let height_unit = match (set.units[0].as_str(), set.units[1].as_str()) {
            ("mm", "um") => 1e-3,
            ("in", "uin") => 1e-6,
            _ => 1.0,
        };
        let in_one_unit: Vec<_> = set.points.iter().map(|&[x, y, z]| [x, y, z * height_unit]).collect();
        let width = least_width(&in_one_unit).expect("points that determine a zone") / height_unit;
        assert!((width - set.perpendicular).abs() < ROUNDED, "{id}: {width}");
        if let Some(analytic) = set.analytic {
            // The closed form of the steep set is square to its planes, the others' vertical.
            let found = if id.contains("steep") { width } else { zone.flatness };
            assert!((found - analytic).abs() < ROUNDED, "{id}: {found}");
        }
        // Given to 6 decimals.
        let set_range = range_off_plane(&split(&set.points));
        assert!((set_range - set.least_squares_range).abs() < 1e-6, "{id}: {set_range}");
    }
}

#[test]
fn sets_that_determine_no_flatness() {
    for set in reference().degenerate {
        let result = flatness(&set.points).map(|zone| zone.flatness);
        let expected = match set.id.as_str() {
            "deg-empty" | "deg-two" => Err(FlatnessError::TooFewPoints),
            "deg-collinear-xy" => Err(FlatnessError::OnOneLine),
            // Two heights at one station: no tilt brings them closer.
            "deg-duplicate-xy" => Ok(4.0),
            other => panic!("no expectation for {other}"),
        };
        assert_eq!(result, expected, "{}", set.id);
    }
}

// --- a general-purpose linear programme --------------------------------------------------------

/// Least `2 t` with `|z − a − b x − c y| ≤ t`, by the simplex method of an independent library.
fn by_linear_programme(set: &Set) -> f64 {
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let [a, b, c, t] =
        [0.0, 0.0, 0.0, 1.0].map(|cost| problem.add_var(cost, (f64::NEG_INFINITY, f64::INFINITY)));
    for ([x, y], &z) in set.points.iter().zip(&set.heights) {
        // Plan coordinates in metres, so that all coefficients are of one size.
        let plane = [(a, 1.0), (b, x / 1000.0), (c, y / 1000.0)];
        let with = |weight: f64| plane.into_iter().chain([(t, weight)]).collect::<Vec<_>>();
        problem.add_constraint(with(1.0), ComparisonOp::Ge, z);
        problem.add_constraint(with(-1.0), ComparisonOp::Le, z);
    }
    let outcome = problem.solve().expect("a bounded problem");
    2.0 * outcome.into_solution().expect("no limits were set").objective()
}

#[test]
fn random_sets_against_a_linear_programme() {
    let mut draws = Philox::seed_from_u64(17);
    for case in 0..300 {
        let points = match case % 3 {
            0 => scattered(&mut draws, 4 + case / 3),
            1 => grid(2 + case % 9, 2 + case % 7),
            // A grid with a row of extra points along one edge, some of them there already.
            _ => [grid(4, 5), (0..case / 6).map(|i| [30.0 * i as f64, 0.0]).collect()].concat(),
        };
        let heights = points
            .iter()
            .map(|&[x, y]| {
                let noise: f64 = StandardNormal.sample(&mut draws);
                match case % 5 {
                    0 => noise,
                    1 => (2.0 * noise).round() / 2.0,
                    2 => 3.0 + 0.02 * x - 0.01 * y + 0.1 * noise,
                    3 => f64::from(noise > 0.5),
                    _ => 5.0 * ((x - 300.0) / 300.0).powi(2) + (0.3 * noise).round(),
                }
            })
            .collect();
        let set = Set { points, heights };
        let expected = by_linear_programme(&set);
        // The library meets constraints to 1e-7.
        assert!((check(&set).flatness - expected).abs() < 1e-6, "case {case}: {expected}");
    }
}

fn scattered(draws: &mut Philox, n_points: usize) -> Vec<[f64; 2]> {
    (0..n_points).map(|_| [900.0 * draws.random::<f64>(), 600.0 * draws.random::<f64>()]).collect()
}

fn grid(n_columns: usize, n_rows: usize) -> Vec<[f64; 2]> {
    let spacing = |count: usize, side: f64| side / (count - 1) as f64;
    let (dx, dy) = (spacing(n_columns, 864.4), spacing(n_rows, 559.6));
    (0..n_rows)
        .flat_map(|j| (0..n_columns).map(move |i| [25.0 + dx * i as f64, 25.0 + dy * j as f64]))
        .collect()
}

// --- ties, degenerate heights, extreme scales --------------------------------------------------

/// Few different heights and many points on lines: almost every exchange is a tie.
#[test]
fn tied_heights_on_fine_grids() {
    let mut draws = Philox::seed_from_u64(5);
    for (n_columns, n_rows) in [(3, 3), (7, 7), (19, 13), (40, 25), (101, 67)] {
        let points = grid(n_columns, n_rows);
        for levels in [1, 2, 3, 20] {
            let heights = points.iter().map(|_| f64::from(draws.random_range(0..levels))).collect();
            check(&Set { points: points.clone(), heights });
        }
    }
}

/// Very many nodes: neighbours are so close that exchanges lose digits, and are made up for.
#[test]
fn a_smooth_surface_on_a_very_fine_grid() {
    let points = grid(201, 151);
    for phase in 0..12 {
        let heights = points
            .iter()
            .map(|[x, y]| (x / 150.0 + f64::from(phase)).sin() * (y / 110.0).cos() + 1e-5 * x * y / 100.0)
            .collect();
        check(&Set { points: points.clone(), heights });
    }
}

#[test]
fn a_plane_is_flat_whatever_its_tilt() {
    let points = grid(19, 13);
    for tilt in [0.0, 1e-6, 0.37, 2e3] {
        let heights = points.iter().map(|[x, y]| 12.5 + tilt * x - 0.3 * tilt * y).collect();
        let zone = check(&Set { points: points.clone(), heights });
        assert!(zone.flatness <= 1e-15 * (12.5 + 1000.0 * tilt), "{}", zone.flatness);
    }
    assert_eq!(check(&Set { points, heights: vec![-7.3; 247] }).flatness, 0.0);
}

#[test]
fn three_points_and_points_on_one_spot() {
    let triangle = vec![[0.0, 0.0], [500.0, 20.0], [100.0, 400.0]];
    assert!(check(&Set { points: triangle.clone(), heights: vec![3.0, -8.0, 0.5] }).flatness < 1e-15);
    let twice = [&triangle[..], &triangle[..]].concat();
    let zone = check(&Set { points: twice, heights: vec![3.0, -8.0, 0.5, 3.25, -8.0, 0.75] });
    assert!((zone.flatness - 0.25).abs() < 1e-15);
}

#[test]
fn scales_from_tiny_to_huge() {
    let mut draws = Philox::seed_from_u64(29);
    let points = grid(9, 9);
    let heights: Vec<f64> = points.iter().map(|_| StandardNormal.sample(&mut draws)).collect();
    let flatness = check(&Set { points: points.clone(), heights: heights.clone() }).flatness;
    for [plan, height] in [[1e-6, 1e-250], [1e6, 1e250], [1e-100, 1.0], [1e100, 1e-6]] {
        let points = points.iter().map(|point| point.map(|c| c * plan)).collect();
        let heights = heights.iter().map(|z| z * height).collect();
        let scaled = check(&Set { points, heights }).flatness / height;
        assert!((scaled / flatness - 1.0).abs() < 1e-13, "{plan} {height}: {scaled} {flatness}");
    }
}

/// A strip 1000 mm long and 1 mm wide, at any angle, is still a surface.
#[test]
fn narrow_plates_at_any_angle() {
    let mut draws = Philox::seed_from_u64(3);
    for angle in [0.0, 0.01, 0.7, 1.5, 3.0_f64] {
        let (sin, cos) = angle.sin_cos();
        let turn = |[x, y]: [f64; 2]| [1000.0 * x * cos - y * sin, 1000.0 * x * sin + y * cos];
        let points = (0..60).map(|_| turn([draws.random(), draws.random()])).collect();
        let heights = (0..60).map(|_| StandardNormal.sample(&mut draws)).collect();
        check(&Set { points, heights });
    }
}

#[test]
fn what_is_not_finite_is_refused_or_shows() {
    let plan = [[0.0, 0.0], [1.0, 0.0], [f64::NAN, 1.0]];
    assert_eq!(MinimumZone::new(&plan).err(), Some(FlatnessError::NotFinite));
    assert_eq!(LeastSquaresPlane::new(&plan).err(), Some(FlatnessError::NotFinite));
    assert_eq!(flatness(&[[0.0, 0.0, f64::INFINITY]; 4]).err(), Some(FlatnessError::NotFinite));
    assert_eq!(least_width(&[[0.0, 0.0, f64::NAN]; 4]).err(), Some(FlatnessError::NotFinite));
    for points in [grid(3, 3), grid(5, 5), grid(19, 13)] {
        let zone = MinimumZone::new(&points).expect("a grid");
        for place in 0..points.len() {
            for bad in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
                let mut heights: Vec<f64> = (0..points.len()).map(|i| ((7 * i) % 5) as f64).collect();
                heights[place] = bad;
                assert!(zone.solve(&heights, &mut zone.scratch()).flatness.is_nan(), "{place} {bad}");
            }
        }
    }
}

/// What was solved before, or in another thread's scratch, leaves no trace.
#[test]
fn a_result_depends_on_its_heights_alone() {
    let mut draws = Philox::seed_from_u64(41);
    let zone = MinimumZone::new(&grid(19, 13)).expect("a grid");
    let mut used = zone.scratch();
    for _ in 0..200 {
        let heights: Vec<f64> = (0..247).map(|_| StandardNormal.sample(&mut draws)).collect();
        assert_eq!(zone.solve(&heights, &mut used), zone.solve(&heights, &mut zone.scratch()));
    }
}

/// The same numbers on every machine: these were printed once, on x86-64.
#[test]
fn first_results_of_a_seed_stay_the_same() {
    let mut draws = Philox::seed_from_u64(1);
    let results = [9, 247].map(|n_points| {
        let heights: Vec<f64> = (0..n_points).map(|_| draws.random::<f64>()).collect();
        let points = if n_points == 9 { grid(3, 3) } else { grid(19, 13) };
        let plane = LeastSquaresPlane::new(&points).expect("a grid");
        let [low, high] = plane.residual_limits(&heights);
        [check(&Set { points, heights }).flatness.to_bits(), low.to_bits(), high.to_bits()]
    });
    let expected = [
        [4603171406819580424, 13821344045287495746, 4601063557342016400],
        [4607126691083438457, 13826126846145629592, 4603068839425244055],
    ];
    assert_eq!(results, expected);
}

// --- laws --------------------------------------------------------------------------------------

/// Sets of points on a coarse raster (many on lines, some on one spot) with rounded or free heights.
fn sets() -> impl Strategy<Value = Set> {
    let height = prop_oneof![(-20..20).prop_map(|z| f64::from(z) / 4.0), -5.0..5.0];
    let point = (0..9, 0..7, height).prop_map(|(x, y, z)| ([f64::from(x) * 110.0, f64::from(y) * 95.0], z));
    let set = proptest::collection::vec(point, 3..90).prop_map(|points| {
        let (points, heights) = points.into_iter().unzip();
        Set { points, heights }
    });
    set.prop_filter("on one line", |set| MinimumZone::new(&set.points).is_ok())
}

fn range_off_plane(set: &Set) -> f64 {
    let [low, high] = LeastSquaresPlane::new(&set.points)
        .expect("points that determine a plane")
        .residual_limits(&set.heights);
    high - low
}

proptest! {
    #[test]
    fn adding_a_plane_changes_nothing(set in sets(), a in -9.0..9.0, b in -0.1..0.1, c in -0.1..0.1) {
        let tilted = set.points.iter().zip(&set.heights).map(|([x, y], z)| z + a + b * x + c * y);
        let tilted = Set { points: set.points.clone(), heights: tilted.collect() };
        prop_assert!((check(&tilted).flatness - check(&set).flatness).abs() < 1e-12);
        prop_assert!((range_off_plane(&tilted) - range_off_plane(&set)).abs() < 1e-12);
    }

    #[test]
    fn scaling_heights_scales_the_zone(set in sets(), factor in -3.0..3.0_f64) {
        let scaled = set.heights.iter().map(|z| z * factor).collect();
        let scaled = Set { points: set.points.clone(), heights: scaled };
        let expected = check(&set).flatness * factor.abs();
        prop_assert!((check(&scaled).flatness - expected).abs() < 1e-12);
    }

    #[test]
    fn turning_and_moving_the_plate_changes_nothing(set in sets(), angle in -3.0..3.0, shift in -1e4..1e4) {
        let (sin, cos) = f64::sin_cos(angle);
        let turned = set.points.iter().map(|[x, y]| [x * cos - y * sin + shift, x * sin + y * cos - shift]);
        let turned = Set { points: turned.collect(), heights: set.heights.clone() };
        prop_assert!((check(&turned).flatness - check(&set).flatness).abs() < 1e-11);
        prop_assert!((range_off_plane(&turned) - range_off_plane(&set)).abs() < 1e-11);
    }

    #[test]
    fn the_order_of_points_changes_nothing(set in sets(), seed: u64) {
        let mut order: Vec<usize> = (0..set.points.len()).collect();
        let mut draws = Philox::seed_from_u64(seed);
        order.sort_by_cached_key(|_| draws.random::<u64>());
        let shuffled = Set {
            points: order.iter().map(|&i| set.points[i]).collect(),
            heights: order.iter().map(|&i| set.heights[i]).collect(),
        };
        prop_assert!((check(&shuffled).flatness - check(&set).flatness).abs() < 1e-12);
    }

    #[test]
    fn points_inside_the_zone_change_nothing(set in sets(), added in proptest::collection::vec((0.0..900.0, 0.0..600.0, -1.0..1.0), 1..200)) {
        let zone = check(&set);
        let [a, b, c] = zone.plane;
        let mut more = set.clone();
        for (x, y, share) in added {
            more.points.push([x, y]);
            more.heights.push(a + b * x + c * y + 0.499999 * share * zone.flatness);
        }
        prop_assert!((check(&more).flatness - zone.flatness).abs() < 1e-12);
    }

    #[test]
    fn more_points_never_make_it_flatter(set in sets(), x in 0.0..900.0, y in 0.0..600.0, z in -9.0..9.0) {
        let mut more = set.clone();
        more.points.push([x, y]);
        more.heights.push(z);
        prop_assert!(check(&more).flatness > check(&set).flatness - 1e-12);
    }

    #[test]
    fn the_zone_grows_by_the_multiplier_of_what_rises(set in sets(), which in 0..4_usize, rise in -1e-3..1e-3_f64) {
        let zone = check(&set);
        let point = zone.contacts[which].point;
        // A zone of nothing may touch one point on both sides.
        let touching = zone.contacts.iter().filter(|contact| contact.point == point);
        let multiplier: f64 = touching.map(|c| if c.is_above { c.multiplier } else { -c.multiplier }).sum();
        let mut risen = set.clone();
        risen.heights[point] += rise;
        // The bound of the old contacts still holds, and the old planes moved apart still hold all.
        let growth = check(&risen).flatness - zone.flatness;
        prop_assert!(growth > multiplier * rise - 1e-12, "{} {}", growth, multiplier);
        prop_assert!(growth < rise.abs() + 1e-12, "{}", growth);
    }

    #[test]
    fn no_plane_does_better(set in sets(), b in -0.01..0.01, c in -0.01..0.01) {
        let off = |slope: [f64; 2]| {
            let limits = set.points.iter().zip(&set.heights).fold([f64::INFINITY, f64::NEG_INFINITY], |[low, high], ([x, y], z)| {
                let residual = z - slope[0] * x - slope[1] * y;
                [low.min(residual), high.max(residual)]
            });
            limits[1] - limits[0]
        };
        let zone = check(&set);
        prop_assert!(zone.flatness <= off([b, c]) + 1e-12);
        prop_assert!(zone.flatness <= range_off_plane(&set) + 1e-12);
        prop_assert!((zone.flatness - off([zone.plane[1], zone.plane[2]])).abs() < 1e-11);
    }

    /// Against the normal equations solved by a general-purpose matrix library.
    #[test]
    fn the_least_squares_plane_is_the_matrix_librarys(set in sets()) {
        let rows = set.points.iter().flat_map(|&[x, y]| [1.0, x / 1000.0, y / 1000.0]);
        let matrix = nalgebra::DMatrix::from_row_iterator(set.points.len(), 3, rows);
        let heights = nalgebra::DVector::from_column_slice(&set.heights);
        let fit = matrix.clone().svd(true, true).solve(&heights, 1e-12).expect("a decomposition");
        let residuals = heights - matrix * fit;
        let plane = LeastSquaresPlane::new(&set.points).expect("points that determine a plane");
        let [low, high] = plane.residual_limits(&set.heights);
        prop_assert!((low - residuals.min()).abs() < 1e-11 && (high - residuals.max()).abs() < 1e-11);
    }
}
