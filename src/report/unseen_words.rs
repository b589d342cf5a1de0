//! What readings have not looked at, in words, as a table, on a map and as a document.

use super::{
    chart::hatching::Hatched,
    heights::Heights,
    number::{Digits, plain, probability},
    survey_marks::{along, in_plan, nodes},
    table::Table,
};
use crate::{
    decision::judgement::HOLLOWS,
    propagation::unseen::{Hidden, Unseen},
    quantity::unit::{INCH, Unit},
    setup::Setup,
};
use schemars::JsonSchema;
use serde::Serialize;

/// One-sigma radii (mm) of the hollows that are spoken of: round numbers across, in the unit of plan lengths. Across is
/// twice the radius: there a hollow is 61 % as deep as in its middle.
pub fn radii(plan_unit: Unit) -> [f64; 3] {
    if plan_unit == INCH { [1.5, 2.5, 4.0].map(|inch| 25.4 * inch) } else { HOLLOWS }
}

/// Where on a plate of these sides (mm) a point lies, as one says it at the plate.
pub fn place(at: [f64; 2], sides: [f64; 2]) -> &'static str {
    const PLACES: [[&str; 5]; 5] = [
        [
            "in the front left corner",
            "at the front edge, left of its middle",
            "at the middle of the front edge",
            "at the front edge, right of its middle",
            "in the front right corner",
        ],
        [
            "at the left edge, towards the front",
            "between the middle and the front left corner",
            "between front and middle",
            "between the middle and the front right corner",
            "at the right edge, towards the front",
        ],
        [
            "at the middle of the left edge",
            "left of the middle",
            "in the middle",
            "right of the middle",
            "at the middle of the right edge",
        ],
        [
            "at the left edge, towards the back",
            "between the middle and the back left corner",
            "between middle and back",
            "between the middle and the back right corner",
            "at the right edge, towards the back",
        ],
        [
            "in the back left corner",
            "at the back edge, left of its middle",
            "at the middle of the back edge",
            "at the back edge, right of its middle",
            "in the back right corner",
        ],
    ];
    let [column, row] =
        [0, 1].map(|axis| [0.13, 0.4, 0.6, 0.87].partition_point(|end| *end < at[axis] / sides[axis]));
    PLACES[row][column]
}

/// A share of plates as one says it: `one in 12`.
fn one_in(share: f64) -> String {
    match share {
        s if s < 0.001 => "fewer than one in 1000".into(),
        s if s < 0.3 => format!("one in {}", plain(1.0 / s, Digits::Decimals(0))),
        s => probability(s),
    }
}

/// What readings have not looked at, ready to be told.
#[derive(Debug, Clone, Copy)]
pub struct UnseenWords<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// What was not looked at.
    pub unseen: &'a Unseen,
    /// Whether the verdict hangs on it.
    pub hangs: bool,
}

impl UnseenWords<'_> {
    /// What would not show, and how many plates it turns.
    pub fn sentence(self) -> String {
        let Unseen { depth, turned, .. } = *self.unseen;
        let h = self.heights();
        let mut said = match self.unseen.named() {
            None => format!(
                "Looked at everywhere: a hollow {} across or wider and {} deep would show, wherever it lies.",
                self.across(self.unseen.hollows.first().map_or(0.0, |hollow| hollow.radius)),
                h.text(depth)
            ),
            Some((hollow, at, detectable)) => {
                let (across, deep) = (self.across(hollow.radius), h.text(depth));
                let deeper = if detectable > 10.0 * depth {
                    ", nor would one ten times as deep".to_string()
                } else {
                    format!(" before it is {} deep", h.text(detectable))
                };
                let share = match hollow.share {
                    share if share > 0.99 => "the whole working surface".to_string(),
                    share => format!("{} of the working surface", probability(share)),
                };
                format!(
                    "Not looked at: a hollow {across} across and {deep} deep {} would not show in these readings{deeper}. So \
                     it is with {share} (hatched on the map).",
                    self.place(at)
                )
            }
        };
        if let Some(turned) = turned.filter(|turned| *turned > 0.0) {
            said += &format!(
                " The verdict takes {} plates to be out of tolerance only by hollows that would not show.",
                one_in(turned)
            );
            if self.hangs {
                said += " It hangs on them, so what to read next goes there first.";
            }
        }
        said
    }

    /// Hollow by hollow, what would not show.
    pub fn table(self) -> Table {
        let h = self.heights();
        let beyond = |hollow: &&Hidden| hollow.deepest > 10.0 * self.unseen.depth;
        let caption = format!(
            "Hollows that these readings have not looked at: where one {} deep would not show",
            h.text(self.unseen.depth)
        );
        Table::of(caption, &self.unseen.hollows)
            .text("across", |hollow| self.across(hollow.radius))
            .percent("of the working surface", 0, |hollow| hollow.share)
            .text("hides best", |hollow| self.place(hollow.at))
            .text("would show there from", |hollow| match beyond(hollow) {
                true => "over ten times that".into(),
                false => h.text(hollow.deepest),
            })
            .table()
    }

    /// The part that was not looked at, to be hatched on a map; `None` where there is none.
    pub fn hatched(self) -> Option<Hatched> {
        let (hollow, ..) = self.unseen.named()?;
        // A ratio, and its logarithm: depths grow without bounds where nothing looks.
        let ratio = |detectable: &f64| libm::log(detectable / self.unseen.depth).clamp(-2.0, 2.0);
        Some(Hatched {
            x: nodes(&self.unseen.grid.x, self.setup.plan_unit),
            y: nodes(&self.unseen.grid.y, self.setup.plan_unit),
            above: hollow.detectable.iter().map(ratio).collect(),
            what: format!(
                "hatched: a hollow {} across and {} deep would not show",
                self.across(hollow.radius),
                self.heights().text(self.unseen.depth)
            ),
        })
    }

    /// The same for machines.
    pub fn document(self) -> UnseenDocument {
        let h = self.heights();
        let in_plan = |at| in_plan(at, self.setup.plan_unit);
        let hollow = |hollow: &Hidden| HollowDocument {
            across: along(2.0 * hollow.radius, self.setup.plan_unit),
            share_of_working_surface: hollow.share,
            at: in_plan(hollow.at),
            place: self.place(hollow.at).into(),
            // Beyond a thousand times the depth asked for, no number means anything.
            detectable_depth: (hollow.deepest < 1000.0 * self.unseen.depth).then(|| h.of(hollow.deepest)),
        };
        UnseenDocument {
            depth: h.of(self.unseen.depth),
            hollows: self.unseen.hollows.iter().map(hollow).collect(),
            plates_turned: self.unseen.turned,
            verdict_hangs_on_it: self.hangs,
            read_next: self.unseen.places.iter().copied().map(in_plan).collect(),
        }
    }

    fn place(self, at: [f64; 2]) -> &'static str {
        let plate = &self.setup.check.plate;
        place(at, [plate.length, plate.width])
    }

    fn across(self, radius: f64) -> String {
        self.setup.length_text(2.0 * radius)
    }

    fn heights(self) -> Heights {
        Heights { unit: self.setup.unit }
    }
}

/// What the readings have not looked at.
#[derive(Debug, Serialize, JsonSchema)]
pub struct UnseenDocument {
    /// The depth of hollow that matters: the tolerance, or the estimated flatness deviation where there is none.
    depth: f64,
    /// Round hollows, small ones first.
    hollows: Vec<HollowDocument>,
    /// Share of the plates left by the readings that are out of tolerance only by hollows that would not show; null without
    /// a tolerance.
    plates_turned: Option<f64>,
    /// Whether the verdict would be another without them, or they are most of what stands against "within".
    verdict_hangs_on_it: bool,
    /// Where to read to look at most of those hollows, best first.
    read_next: Vec<[f64; 2]>,
}

/// Hollows of one size.
#[derive(Debug, Serialize, JsonSchema)]
struct HollowDocument {
    /// Twice the one-sigma radius, in the unit of lengths.
    across: f64,
    /// Share of the working surface where one of that depth would not show.
    share_of_working_surface: f64,
    /// Where it hides best.
    at: [f64; 2],
    /// The same in words.
    place: String,
    /// From which depth on it would show there (95 % sure, at 5 % false alarms); null where it never would.
    detectable_depth: Option<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_called_what_one_would_call_them() {
        for (at, name) in [
            ([457.0, 305.0], "in the middle"),
            ([640.0, 305.0], "right of the middle"),
            ([457.0, 150.0], "between front and middle"),
            ([30.0, 580.0], "in the back left corner"),
            ([900.0, 305.0], "at the middle of the right edge"),
            ([640.0, 150.0], "between the middle and the front right corner"),
            ([914.4, 609.6], "in the back right corner"),
        ] {
            assert_eq!(place(at, [914.4, 609.6]), name);
        }
    }

    #[test]
    fn shares_are_said_as_people_say_them() {
        assert_eq!(one_in(1.0 / 12.0), "one in 12");
        assert_eq!(one_in(0.0004), "fewer than one in 1000");
        assert_eq!(one_in(0.62), "62 %");
    }
}
