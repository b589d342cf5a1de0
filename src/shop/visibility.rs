//! What a survey can see: the share of a shape's flatness deviation that shows up as spread.

use super::{
    check::ShopCheck,
    flatness::MinimumZone,
    form::{Bump, Form, face_variance, pad_variance},
    grid::{DEFAULT_NODES, Grid},
    levelling::Levelling,
};
use crate::quantity::sample::range;

/// How one shape looks to a survey without any disturbance.
#[derive(Debug, Clone, PartialEq)]
pub struct Visibility {
    /// The shape, in the trade's words.
    pub shape: &'static str,
    /// Where it lies, in mm, and its one-sigma radius, in mm, if it is a hollow between the spots that are read.
    pub hollow: Option<([f64; 2], f64)>,
    /// Spread of the readings over the shape's flatness deviation.
    pub spread: f64,
    /// The same for the spread off the best-fit plane; `None` where readings cannot be levelled.
    pub levelled: Option<f64>,
}

/// Below this share a shape cannot be told from rounding: it is called invisible.
pub const INVISIBLE: f64 = 0.01;

/// One-sigma radii (mm) of the hollows between the spots.
const BETWEEN_SPOTS: [f64; 3] = [38.1, 63.5, 101.6];

/// The node of the working surface that lies farthest from all that is under the block or a foot, in mm.
fn farthest_from_spots(check: &ShopCheck) -> [f64; 2] {
    let readings = &check.survey.readings;
    let looked: Vec<_> = readings.iter().flat_map(|r| r.feet.into_iter().chain([r.target])).collect();
    let away = |at: &[f64; 2]| {
        looked.iter().map(|spot| libm::hypot(spot[0] - at[0], spot[1] - at[1])).fold(f64::INFINITY, f64::min)
    };
    let points = Grid::over(check.plate.working_surface(), DEFAULT_NODES).points();
    points.into_iter().max_by(|a, b| away(a).total_cmp(&away(b))).unwrap_or(check.plate.middle())
}

/// How the usual shapes of plates look to a check's survey.
///
/// Each shape is scaled to a flatness deviation of 1 µm over the working surface. Empty where the
/// working surface is.
pub fn visibilities(check: &ShopCheck) -> Vec<Visibility> {
    let grid = Grid::over(check.plate.working_surface(), DEFAULT_NODES);
    let points = grid.points();
    let Ok(zone) = MinimumZone::new(&points) else { return Vec::new() };
    let mut scratch = zone.scratch();
    let levelling = Levelling::new(&check.survey);
    let between = farthest_from_spots(check);
    let hollows = BETWEEN_SPOTS.into_iter().map(|radius| {
        let bumps = vec![Bump { height: -1.0, centre: between, sigma: [radius; 2] }];
        let form = Form { bumps, middle: check.plate.middle(), ..Form::default() };
        ("hollow between the spots", form, Some((between, radius)))
    });
    shapes(check)
        .into_iter()
        .map(|(shape, form)| (shape, form, None))
        .chain(hollows)
        .filter_map(|(shape, form, hollow)| {
            let heights: Vec<f64> = points.iter().map(|&at| form.height(at, 0.0)).collect();
            let flatness = zone.solve(&heights, &mut scratch).flatness;
            let spots = ideal_readings(check, &form);
            let levelled = levelling.as_ref().map(|planes| planes.spread(&spots, &mut Vec::new()) / flatness);
            (flatness > 0.0).then(|| Visibility { shape, hollow, spread: range(&spots) / flatness, levelled })
        })
        .collect()
}

/// What a survey reads at each spot (µm) of a plate of the given form, with nothing to disturb it:
/// every reading less its round's zero, averaged over the passes.
pub fn ideal_readings(check: &ShopCheck, form: &Form) -> Vec<f64> {
    let (pad, face) = (pad_variance(check.stand.pad_diameter), face_variance(check.gauge_block.face));
    let survey = &check.survey;
    let heights: Vec<f64> = survey
        .readings
        .iter()
        .map(|reading| {
            let datum: f64 = reading
                .feet
                .iter()
                .zip(&reading.weights)
                .map(|(&foot, weight)| weight * form.height(foot, pad))
                .sum();
            form.height(reading.target, face) - datum
        })
        .collect();
    let (mut readings, mut spots) = (vec![0.0; heights.len()], vec![0.0; survey.spots.len()]);
    survey.against_zeros(&heights, &mut readings);
    survey.spot_means(&readings, &mut spots);
    spots
}

fn shapes(check: &ShopCheck) -> Vec<(&'static str, Form)> {
    let plate = &check.plate;
    let (diagonal, middle) = (plate.diagonal(), plate.middle());
    let empty = Form { middle, ..Form::default() };
    let dip = |centre: [f64; 2], sigma: [f64; 2]| Form {
        bumps: vec![Bump { height: -1.0, centre, sigma }],
        ..empty.clone()
    };
    let round = |share: f64| dip(middle, [share * diagonal; 2]);
    // A spot 80 mm across: 40 mm is one sigma.
    let pit = |centre| dip(centre, [40.0; 2]);
    let mut shapes = vec![
        ("bow all over, crowned or hollow", Form { curvature: [1.0, 1.0], ..empty.clone() }),
        ("bow along the length only", Form { curvature: [1.0, 0.0], ..empty.clone() }),
        ("bow along the width only", Form { curvature: [0.0, 1.0], ..empty.clone() }),
        ("twist", Form { twist: 1.0, ..empty.clone() }),
        ("broad wear in the middle", round(0.3)),
        ("wear in the middle", round(0.2)),
        ("narrow wear in the middle", round(0.1)),
        ("wear along the front edge", dip([middle[0], 0.0], [0.3 * plate.length, 0.1 * plate.width])),
        ("pit 80 mm across in the middle", pit(middle)),
    ];
    if let Some(first) = check.survey.readings.first() {
        let centre = [0, 1].map(|axis| first.feet.iter().map(|foot| foot[axis]).sum::<f64>() / 3.0);
        shapes.push(("pit 80 mm across under the stand's first place", pit(centre)));
        if let Some(&target) = check.survey.readings.get(check.survey.readings.len() / 2).map(|r| &r.target) {
            shapes.push(("pit 80 mm across under a target", pit(target)));
        }
    }
    shapes
}
