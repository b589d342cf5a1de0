//! What may be done to make a check better: the fields, and the steps they stand for.

use super::kind::{Degrees, Micrometres, Quantity};
use crate::decision::{advice::Offer, conformance::ACCURACY_RATIO};
use crate::shop::improvement::Step;
use schemars::JsonSchema;
use serde::Deserialize;

/// What `howflat plan` tries to make the check better, and what each step costs. Every step is tried with its usual size unless
/// something else is written here.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct WrittenImprovements {
    /// How many times the largest error (the farther end of its 95 % interval) is to go into the tolerance. Left out: 4.
    #[schemars(range(min = 1.0, max = 100.0))]
    pub accuracy_ratio: Option<f64>,
    /// What efforts are counted in: "minutes", "euros". Left out: they are mere numbers.
    #[schemars(length(min = 1, max = 40))]
    pub effort_unit: Option<String>,
    /// The stand nearer to its targets, or a carried one set shorter: the longest reach comes down to half.
    pub shorter_reach: Option<Lessening>,
    /// Another base: the feet 1.5 times as far from the column.
    pub wider_feet: Option<Widening>,
    /// Another indicator: half the graduation, with limits to match.
    pub finer_graduation: Option<Lessening>,
    /// One pass more, the stand lifted and put down anew.
    pub further_pass: Option<Repetition>,
    /// Everything again with the stand turned by 90°, as placements of their own.
    pub turned_stand: Option<Turning>,
    /// The zero read again at the end, and the drift taken off.
    pub closing_reading: Option<PlainStep>,
    /// A night's rest, covered: 0.3 of the temperature differences and rates is left.
    pub overnight_soak: Option<Lessening>,
    /// Plate, feet and block wiped each time one is put down: 0.15 µm of film, a grain in 0.002 of the cases.
    pub cleaner_plate: Option<Wiping>,
    /// A target more halfway between each two.
    pub more_targets: Option<PlainStep>,
    /// A gauge block with half the variation in length.
    pub better_block: Option<Lessening>,
    /// The tip brought to every reading from the same side.
    pub one_sided_approach: Option<PlainStep>,
    /// The contact arm set with care: a quarter of its angle is left.
    pub level_arm: Option<Lessening>,
    /// Gloves, and a wait before the first reading: 0.2 of the hand's warmth is left.
    pub cool_hands: Option<Lessening>,
}

/// A step that makes something smaller.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Lessening {
    /// Share of it that is left.
    #[schemars(extend("exclusiveMinimum" = 0, "maximum" = 1))]
    pub to: Option<f64>,
    /// What the step costs.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub effort: Option<f64>,
    /// Whether it is not to be tried.
    pub left_out: Option<bool>,
}

/// A step that makes something larger.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Widening {
    /// How many times as large.
    #[schemars(range(min = 1.0, max = 10.0))]
    pub times: Option<f64>,
    /// What the step costs.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub effort: Option<f64>,
    /// Whether it is not to be tried.
    pub left_out: Option<bool>,
}

/// A step that does something again.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Repetition {
    /// How many times more.
    #[schemars(range(min = 1, max = 20))]
    pub passes: Option<usize>,
    /// What the step costs.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub effort: Option<f64>,
    /// Whether it is not to be tried.
    pub left_out: Option<bool>,
}

/// A step that turns something.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Turning {
    /// By which angle.
    #[schemars(extend("x-at-least" = "1°", "x-at-most" = "359°"))]
    pub by: Option<Quantity<Degrees>>,
    /// What the step costs.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub effort: Option<f64>,
    /// Whether it is not to be tried.
    pub left_out: Option<bool>,
}

/// A step that wipes.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct Wiping {
    /// Standard deviation of a seat that is left.
    #[schemars(extend("x-at-least" = "0 µm", "x-at-most" = "100 µm"))]
    pub film: Option<Quantity<Micrometres>>,
    /// Chance of a grain that is left.
    #[schemars(range(min = 0.0, max = 1.0))]
    pub grain_chance: Option<f64>,
    /// What the step costs.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub effort: Option<f64>,
    /// Whether it is not to be tried.
    pub left_out: Option<bool>,
}

/// A step without a size.
#[derive(Debug, Clone, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub struct PlainStep {
    /// What the step costs.
    #[schemars(range(min = 0.0, max = 1e9))]
    pub effort: Option<f64>,
    /// Whether it is not to be tried.
    pub left_out: Option<bool>,
}

/// What may be done to make a check better.
#[derive(Debug, Clone, PartialEq)]
pub struct Improvements {
    /// The steps, with their costs where somebody said.
    pub offers: Vec<Offer>,
    /// What costs are counted in.
    pub effort_unit: Option<String>,
    /// How many times the largest error is to go into the tolerance.
    pub accuracy_ratio: f64,
}

impl Improvements {
    /// The steps that a setup offers.
    pub(super) fn of(written: Option<&WrittenImprovements>) -> Self {
        let written = written.cloned().unwrap_or_default();
        let offers = Step::usual().into_iter().filter_map(|step| written.offer(step));
        Self {
            offers: offers.collect(),
            effort_unit: written.effort_unit.clone(),
            accuracy_ratio: written.accuracy_ratio.unwrap_or(ACCURACY_RATIO),
        }
    }
}

impl WrittenImprovements {
    /// A usual step as it is offered here.
    fn offer(&self, step: Step) -> Option<Offer> {
        let less = |written: &Option<Lessening>, to: f64| {
            let written = written.clone().unwrap_or_default();
            (written.to.unwrap_or(to), written.effort, written.left_out)
        };
        let plain = |written: &Option<PlainStep>| {
            let written = written.clone().unwrap_or_default();
            (step, written.effort, written.left_out)
        };
        let (step, effort, left_out) = match step {
            Step::ShorterReach { to } => {
                let (to, effort, left_out) = less(&self.shorter_reach, to);
                (Step::ShorterReach { to }, effort, left_out)
            }
            Step::WiderFeet { times } => {
                let written = self.wider_feet.clone().unwrap_or_default();
                let times = written.times.unwrap_or(times);
                (Step::WiderFeet { times }, written.effort, written.left_out)
            }
            Step::FinerGraduation { to } => {
                let (to, effort, left_out) = less(&self.finer_graduation, to);
                (Step::FinerGraduation { to }, effort, left_out)
            }
            Step::FurtherPass { passes } => {
                let written = self.further_pass.clone().unwrap_or_default();
                let passes = written.passes.unwrap_or(passes);
                (Step::FurtherPass { passes }, written.effort, written.left_out)
            }
            Step::TurnedStand { by } => {
                let written = self.turned_stand.clone().unwrap_or_default();
                let by = written.by.map_or(by, |by| by.value);
                (Step::TurnedStand { by }, written.effort, written.left_out)
            }
            Step::ClosingReading => plain(&self.closing_reading),
            Step::OvernightSoak { leaves } => {
                let (leaves, effort, left_out) = less(&self.overnight_soak, leaves);
                (Step::OvernightSoak { leaves }, effort, left_out)
            }
            Step::CleanerPlate { film, grain_chance } => {
                let written = self.cleaner_plate.clone().unwrap_or_default();
                let film = written.film.map_or(film, |film| film.value);
                let grain_chance = written.grain_chance.unwrap_or(grain_chance);
                (Step::CleanerPlate { film, grain_chance }, written.effort, written.left_out)
            }
            Step::MoreTargets => plain(&self.more_targets),
            Step::BetterBlock { to } => {
                let (to, effort, left_out) = less(&self.better_block, to);
                (Step::BetterBlock { to }, effort, left_out)
            }
            Step::OneSidedApproach => plain(&self.one_sided_approach),
            Step::LevelArm { to } => {
                let (to, effort, left_out) = less(&self.level_arm, to);
                (Step::LevelArm { to }, effort, left_out)
            }
            Step::CoolHands { leaves } => {
                let (leaves, effort, left_out) = less(&self.cool_hands, leaves);
                (Step::CoolHands { leaves }, effort, left_out)
            }
        };
        (left_out != Some(true)).then_some(Offer { step, effort })
    }
}
