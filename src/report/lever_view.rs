//! A stand of the setup on a plate that is flat but for one dip, seen from the side.

use super::{
    chart::stand_view::{StandView, TrueScale},
    heights::Heights,
    picture::Svg,
    survey_marks::along,
};
use crate::{
    quantity::unit::Measure,
    setup::Setup,
    shop::stand::{Side, Stand},
};

/// One foot of a stand, or its pair of feet, in a dip.
pub struct LeverView<'a> {
    /// Title of the picture.
    pub title: &'a str,
    /// Whose units are used.
    pub setup: &'a Setup,
    /// The stand.
    pub stand: &'a Stand,
    /// How far ahead of the stand's origin the tip is, in mm.
    pub reach: f64,
    /// How deep the dip is, in µm.
    pub depth: f64,
    /// Whether the rear is in it, or the front.
    pub at_the_rear: bool,
    /// Whether the same is drawn to true scale below.
    pub to_true_scale: bool,
}

impl LeverView<'_> {
    /// The picture; `None` where the stand cannot be drawn from the side with the tip ahead of its feet.
    pub fn svg(&self) -> Option<Svg> {
        let Side { rear, front, single_is_rear, .. } = self.stand.side()?;
        if self.reach <= front {
            return None;
        }
        let heights = Heights { unit: self.setup.unit };
        let plan = |mm: f64| along(mm, self.setup.plan_unit);
        let spacing = front - rear;
        let dip = if self.at_the_rear { rear } else { front };
        // Narrow enough that the other foot stands outside it.
        let sigma = spacing / 7.0;
        let (from, to) = (rear - 0.6 * spacing, self.reach + 0.4 * spacing.max(0.1 * self.reach));
        let surface = |x: f64| {
            let distance = (x - dip) / sigma;
            [plan(x), heights.of(-self.depth * libm::exp(-0.5 * distance * distance))]
        };
        const POINTS: usize = 400;
        let mut places: Vec<f64> =
            (0..=POINTS).map(|i| from + (to - from) * i as f64 / POINTS as f64).chain([dip]).collect();
        places.sort_by(f64::total_cmp);
        places.dedup();
        let profile: Vec<[f64; 2]> = places.into_iter().map(surface).collect();
        let view = StandView {
            title: self.title,
            length_unit: self.setup.plan_unit.symbol(),
            height_unit: heights.label(),
            heights_per_length: Measure { value: 1.0, unit: self.setup.plan_unit }.to(self.setup.unit),
            surface: &profile,
            rear_foot: plan(rear),
            front_feet: plan(front),
            feet_are: if single_is_rear { ["rear foot", "front feet"] } else { ["rear feet", "front foot"] },
            tip: plan(self.reach),
            reading_is: "false reading",
            digits: heights.digits(),
            true_scale: self.to_true_scale.then(|| TrueScale {
                column: plan(self.stand.height),
                block: plan(self.setup.check.gauge_block.length),
                plate: plan(self.setup.check.plate.thickness),
            }),
        };
        Some(view.svg())
    }
}
