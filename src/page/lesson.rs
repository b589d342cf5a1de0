//! The lesson: the stand from the side, with handles. Nothing is wrong at any position of any handle.

use super::{Refusal, bench::in_plan, question::About};
use crate::{
    quantity::unit::{MICROMETRE, MILLIMETRE, Measure},
    report::{
        heights::Heights,
        lesson_report::{bow_height, dip_depth},
    },
    setup::Setup,
    shop::{
        lesson::{OverDip, carried_on_bow},
        survey::StandUse,
    },
};
use schemars::JsonSchema;
use serde::Serialize;

/// Where the handles are, in the setup's units; the usual place where it is not said.
#[derive(Debug, Clone, Copy, Default)]
pub struct Asked {
    /// Depth of the dip.
    pub depth: Option<f64>,
    /// The reach.
    pub reach: Option<f64>,
    /// Where the stand's origin is.
    pub at: Option<f64>,
    /// How high the plate is bowed.
    pub bow: Option<f64>,
}

/// A handle: where it is, and how far it goes.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
pub struct Handle {
    /// Where it is.
    pub at: f64,
    /// How far it goes down.
    pub from: f64,
    /// How far it goes up.
    pub to: f64,
}

/// The lesson's picture. Lengths in the plan unit, from the middle of the dip; heights in the unit of heights.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct LessonAnswer {
    /// Unit of heights.
    pub unit: String,
    /// Unit of lengths.
    pub plan_unit: String,
    /// Depth of the dip.
    pub depth: Handle,
    /// The reach.
    pub reach: Handle,
    /// Where the stand's origin is.
    pub at: Handle,
    /// How high the plate is bowed.
    pub bow: Handle,
    /// The rear foot, the front feet and the tip, from the stand's origin.
    pub points: [f64; 3],
    /// Heights of the plate under them.
    pub heights: [f64; 3],
    /// Weights of rear and front in the datum at the tip.
    pub weights: [f64; 2],
    /// One sigma of the dip.
    pub sigma: f64,
    /// What the indicator shows, zeroed on flat ground.
    pub reading: f64,
    /// Places of the stand, and what it shows there.
    pub walk: Vec<[f64; 2]>,
    /// Places where the rear, the front and the block are in the middle of the dip.
    pub stops: [f64; 3],
    /// The carried stand on the bow: place of the block, height of the plate there, what is read.
    pub carried: Vec<[f64; 3]>,
    /// True flatness of the bowed plate; nothing where the plate is too short for this reach.
    pub carried_flatness: Option<f64>,
    /// What there is to be seen, in sentences.
    pub said: Vec<String>,
}

/// Points of the walk's curve.
const WALK: usize = 160;

/// The picture for these handles; a handle that is beyond its end is at its end.
pub fn lesson(about: &About, asked: Asked) -> Result<LessonAnswer, Refusal> {
    let setup = about.setup()?;
    let check = &setup.check;
    let side = check.stand.side().ok_or_else(|| {
        "the lesson needs a stand with a front and a rear: give its feet by front_apart and front_to_rear"
            .to_string()
    })?;
    let heights = Heights { unit: setup.unit };
    let height = |value: f64| Measure { value, unit: setup.unit }.to(MICROMETRE);
    let length = |value: f64| Measure { value, unit: setup.plan_unit }.to(MILLIMETRE);
    let handle = |asked: Option<f64>, usual: f64, from: f64, to: f64| {
        let at = asked.filter(|at| at.is_finite()).unwrap_or(usual).clamp(from, to);
        Handle { at, from, to }
    };

    let usual_depth = heights.of(dip_depth(setup.unit));
    let depth = handle(asked.depth, usual_depth, 0.0, 10.0 * usual_depth);
    let usual_bow = heights.of(bow_height(&setup));
    let bow = handle(asked.bow, usual_bow, 0.0, 4.0 * usual_bow);
    let spacing = side.front - side.rear;
    let clear = side.front + spacing;
    let longest = longest_reach(&setup).max(2.0 * clear);
    let usual_reach =
        if setup.plan.stand_use == StandUse::Carried { setup.plan.carried_reach } else { clear };
    let plan = |millimetres: f64| in_plan(&setup, millimetres);
    let nearest = check.stand.nearest_ahead(&check.gauge_block).min(clear);
    let reach = handle(asked.reach, plan(usual_reach), plan(nearest), plan(longest));
    let reach_mm = length(reach.at);
    let sigma = OverDip::usual_sigma(&side);
    let [first, last] = [-reach_mm - 3.5 * sigma, -side.rear + 3.5 * sigma];
    let at = handle(asked.at, plan(-side.rear), plan(first), plan(last));

    let dip = [height(depth.at), sigma];
    let over =
        |at: f64| OverDip::new(check, dip, at, reach_mm).ok_or_else(|| "the feet carry no plane".to_string());
    let here = over(length(at.at))?;
    let place = |i: usize| first + (last - first) * i as f64 / WALK as f64;
    let walk = (0..=WALK).map(|i| Ok([plan(place(i)), heights.of(over(place(i))?.step.reading())]));
    let carried = carried_on_bow(check, height(bow.at), reach_mm);
    Ok(LessonAnswer {
        unit: heights.label().to_string(),
        plan_unit: setup.plan_unit.symbol().to_string(),
        points: [plan(side.rear), plan(side.front), reach.at],
        heights: here.heights.map(|z| heights.of(z)),
        weights: here.weights,
        sigma: plan(sigma),
        reading: heights.of(here.step.reading()),
        walk: walk.collect::<Result<_, String>>()?,
        stops: [plan(-side.rear), plan(-side.front), -reach.at],
        carried_flatness: carried.as_ref().map(|carried| heights.of(carried.flatness)),
        said: said(&setup, &here, carried.as_ref()),
        carried: carried.map_or(Vec::new(), |carried| {
            let places = carried.places.iter();
            places.map(|p| [plan(p.at), heights.of(p.height), heights.of(p.reading)]).collect()
        }),
        depth,
        reach,
        at,
        bow,
    })
}

/// The longest reach of the setup's survey, in mm.
fn longest_reach(setup: &Setup) -> f64 {
    let n_spots = setup.check.survey.spots.len();
    (0..n_spots).filter_map(|spot| setup.plan.reach(spot)).fold(0.0, f64::max)
}

fn said(setup: &Setup, here: &OverDip, carried: Option<&crate::shop::lesson::Carried>) -> Vec<String> {
    let heights = Heights { unit: setup.unit };
    let [rear, front] = here.weights;
    let height = |value: f64| format!("{} {}", heights.signed(value), heights.label());
    let times = |weight: f64| format!("{weight:+.2}").replace('-', "\u{2212}");
    let mut said = vec![
        format!(
            "The indicator shows {}: {} from the plate under the block, {} from the feet.",
            height(here.step.reading()),
            height(here.step.block),
            height(here.step.feet)
        ),
        format!(
            "At this reach a height under the rear counts {} times, and one under the front {} times.",
            times(-rear),
            times(-front)
        ),
    ];
    said.push(match carried {
        Some(carried) => {
            let readings = || carried.places.iter().map(|place| place.reading);
            let spread = readings().fold(f64::MIN, f64::max) - readings().fold(f64::MAX, f64::min);
            format!(
                "Carried at this reach along a plate that is bowed by {}, the indicator moves by {}: its feet ride on the bow.",
                heights.text(carried.bow),
                heights.text(spread.max(0.0))
            )
        }
        None => "At this reach the stand cannot be carried along this plate.".to_string(),
    });
    said
}
