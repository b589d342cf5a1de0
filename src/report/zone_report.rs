//! The report on the minimum zone of a file of points.

use super::{
    Report,
    chart::point_plan::PointPlan,
    number::{Digits, full, rounded, short, unit_label},
    page::{LIMITS_OF_USE, Page, Part, date_fact, short_digest},
    picture::Svg,
    table::{Column, Table},
};
use crate::{
    quantity::unit::{MICROMETRE, MILLIMETRE, Measure},
    setup::PointFile,
    shop::{flatness::Contact, point_zone::PointZone},
};
use schemars::JsonSchema;
use serde::Serialize;

/// Everything that a report on a file of points is made from.
#[derive(Debug, Clone)]
pub struct ZoneReport<'a> {
    /// What the file is called.
    pub name: &'a str,
    /// The points.
    pub file: &'a PointFile,
    /// Their zone.
    pub zone: &'a PointZone,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

/// So many points are drawn, evenly through the file.
const DRAWN: usize = 3000;

impl Report for ZoneReport<'_> {
    type Document = ZoneDocument;
    const IS_SHORT: bool = true;

    fn page(&self) -> Page {
        let mut parts = Vec::new();
        if !self.zone.contacts.is_empty() {
            parts.push(Part::Table(self.contacts()));
        }
        let drawn = self.file.points.len().div_ceil(self.file.points.len().div_ceil(DRAWN));
        parts.extend([
            Part::picture(
                "points",
                self.plan(),
                format!("{drawn} of {} points, and the ones that hold the planes apart.", self.file.points.len()),
            ),
            Part::heading("What this is, and what it is not"),
            Part::list(&[
                "The smallest distance between two parallel planes that hold all points between them (ISO 1101:2017, \
                 17.3; ISO 12781-1:2011), found as a linear programme. The proof does not rest on how it was found: the \
                 multipliers are the dual of the programme, and their bound meets the planes.",
                "It is the flatness of these points as they stand: neither the uncertainty of the heights nor what the \
                 plate does between the points is in it.",
            ]),
            Part::Caution(LIMITS_OF_USE.into()),
        ]);
        Page {
            kind: "Minimum zone of points".into(),
            title: self.name.into(),
            facts: vec![
                date_fact(self.date),
                ["points".into(), self.file.points.len().to_string()],
                ["file".into(), short_digest(&self.file.digest).into()],
            ],
            answer: self.answer(),
            parts,
            provenance: format!("howflat {}, file {}.", crate::VERSION, short_digest(&self.file.digest)),
            ..Page::default()
        }
    }

    fn document(&self) -> ZoneDocument {
        let zone = self.zone;
        let [a, b, c] = zone.zone.plane;
        let per_plan_unit = Measure { value: 1.0, unit: self.file.units[0] }.to(MILLIMETRE);
        let contacts = zone.contacts.iter().map(|contact| {
            let [x, y, z] = self.as_written(contact.point);
            ContactDocument {
                line: self.file.lines[contact.point],
                x,
                y,
                z,
                plane: if contact.is_above { "above" } else { "below" },
                multiplier: contact.multiplier,
            }
        });
        ZoneDocument {
            title: self.name.into(),
            date: self.date.map(str::to_string),
            answer: self.answer().join(" "),
            unit: self.height_label().into(),
            plan_unit: self.plan_label().into(),
            points: self.file.points.len(),
            flatness: self.height(zone.square_width.unwrap_or(zone.zone.flatness)),
            flatness_along_heights: self.height(zone.zone.flatness),
            slope: zone.slope,
            middle_plane: [a, b * per_plan_unit, c * per_plan_unit].map(|v| self.height(v)),
            contacts: contacts.collect(),
            touching: zone.n_touching,
            at_shared_places: zone.n_at_shared_places,
            proof: ProofDocument {
                no_planes_closer_than: self.height(zone.certificate.lower),
                these_planes_apart: self.height(zone.certificate.upper),
                defect: zone.certificate.defect,
                holds: zone.is_proven(),
            },
            file_digest: self.file.digest.clone(),
            version: crate::VERSION.into(),
        }
    }

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("contacts".into(), self.contacts())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "points"
    }
}

impl ZoneReport<'_> {
    /// The flatness deviation, and what proves it.
    pub fn answer(&self) -> Vec<String> {
        let n = self.file.points.len();
        let width = self.zone.square_width.unwrap_or(self.zone.zone.flatness);
        let mut said = vec![format!(
            "The {n} points have a flatness deviation (minimum zone) of {}.",
            self.height_text(width)
        )];
        if self.zone.square_width.is_some() {
            said.push(format!(
                "They slope by {} in 1000, so that is measured square to the planes; along the heights, it is {}. The \
                 touching points and the proof below are those along the heights.",
                short(1000.0 * self.zone.slope, 3),
                self.height_text(self.zone.zone.flatness)
            ));
        }
        said.push(self.proof());
        if self.zone.n_at_shared_places > 0 {
            said.push(format!(
                "{} points stand at a place where another one stands too; all of them count. Two heights at one place \
                 are apart whatever the tilt.",
                self.zone.n_at_shared_places
            ));
        }
        if n < 9 {
            said.push(format!(
                "{n} points show little of a plate: what lies between them is not in this figure."
            ));
        }
        said
    }

    fn proof(&self) -> String {
        let touching: Vec<String> = self.names().collect();
        if !self.zone.is_proven() {
            return format!(
                "The proof fails: no pair of planes is closer than {}, and this pair is {} apart. Take the larger one.",
                self.height_text(self.zone.certificate.lower),
                self.height_text(self.zone.certificate.upper)
            );
        }
        if self.zone.zone.flatness == 0.0 || touching.is_empty() {
            return "All points lie in one plane.".into();
        }
        let others = self.zone.n_touching.saturating_sub(touching.len());
        let others =
            if others > 0 { format!(" ({others} more touch and hold nothing)") } else { String::new() };
        format!(
            "It is exact: the points in {} hold the planes apart{others}. With the multipliers below, those above average \
             to the same place as those below, so no tilt brings the planes closer.",
            touching.join(", ")
        )
    }

    /// "line 7 (above)".
    fn names(&self) -> impl Iterator<Item = String> {
        self.zone.contacts.iter().map(|contact| {
            let side = if contact.is_above { "above" } else { "below" };
            format!("line {} ({side})", self.file.lines[contact.point])
        })
    }

    /// The points that hold the planes apart.
    pub fn contacts(&self) -> Table {
        let plan_unit = self.plan_label();
        let written = |contact: &&Contact, axis: usize| full(self.as_written(contact.point)[axis]).into();
        Table::of("The points that hold the planes apart", &self.zone.contacts)
            .column(Column::numbers("line", ""), |contact| self.file.lines[contact.point].to_string().into())
            .column(Column::numbers("x", plan_unit), |contact| written(contact, 0))
            .column(Column::numbers("y", plan_unit), |contact| written(contact, 1))
            .column(Column::numbers("z", self.height_label()), |contact| written(contact, 2))
            .text("plane", |contact| if contact.is_above { "above" } else { "below" })
            .number("multiplier", "", Digits::Decimals(6), |contact| contact.multiplier)
            .table()
    }

    /// The points from above.
    pub fn plan(&self) -> Svg {
        let n = self.file.points.len();
        let half = (self.zone.zone.flatness / 2.0).max(f64::MIN_POSITIVE);
        let step = n.div_ceil(DRAWN);
        let points: Vec<[f64; 3]> = (0..n)
            .step_by(step)
            .map(|i| {
                let [x, y, _] = self.as_written(i);
                [x, y, 0.5 + 0.5 * (self.zone.over_middle[i] / half).clamp(-1.0, 1.0)]
            })
            .collect();
        let contacts: Vec<([f64; 2], bool, String)> = self
            .zone
            .contacts
            .iter()
            .zip(self.names())
            .map(|(contact, name)| {
                let [x, y, _] = self.as_written(contact.point);
                ([x, y], contact.is_above, name)
            })
            .collect();
        let title = "The points, by height over the middle plane";
        PointPlan { title, plan_unit: self.plan_label(), points: &points, contacts: &contacts }.svg()
    }

    fn as_written(&self, point: usize) -> [f64; 3] {
        let [x, y, z] = self.file.points[point];
        let plan = |value: f64| Measure { value, unit: MILLIMETRE }.to(self.file.units[0]);
        // Without the last bits that conversion to millimetres and back leaves.
        [plan(x), plan(y), self.height(z)].map(|value| rounded(value, 13))
    }

    fn height(&self, micrometres: f64) -> f64 {
        Measure { value: micrometres, unit: MICROMETRE }.to(self.file.units[1])
    }

    fn height_text(&self, micrometres: f64) -> String {
        format!("{} {}", short(self.height(micrometres), 6), self.height_label())
    }

    fn height_label(&self) -> &'static str {
        unit_label(self.file.units[1])
    }

    fn plan_label(&self) -> &'static str {
        unit_label(self.file.units[0])
    }
}

/// The minimum zone of points. Heights are in `unit`, x and y in `plan_unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat zone")]
pub struct ZoneDocument {
    /// What the file is called.
    title: String,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// The answer, in sentences.
    answer: String,
    /// Unit of heights.
    unit: String,
    /// Unit of x and y.
    plan_unit: String,
    /// How many points.
    points: usize,
    /// The flatness deviation, square to the planes.
    flatness: f64,
    /// The distance of the planes along the heights; the same to 5e-7 unless the points slope by more than 1 in 1000.
    flatness_along_heights: f64,
    /// Slope of the planes, length over length.
    slope: f64,
    /// a, b and c of the plane halfway between the two: a + b x + c y.
    middle_plane: [f64; 3],
    /// The points that hold the planes apart.
    contacts: Vec<ContactDocument>,
    /// How many points touch a plane.
    touching: usize,
    /// How many points stand at a place where another one stands too.
    at_shared_places: usize,
    /// What proves the distance along the heights.
    proof: ProofDocument,
    /// SHA-256 of the file.
    file_digest: String,
    /// Version of the program.
    version: String,
}

/// A point that holds the planes apart.
#[derive(Debug, Serialize, JsonSchema)]
struct ContactDocument {
    /// Its line in the file, from 1.
    line: usize,
    /// As the file has it.
    x: f64,
    /// As the file has it.
    y: f64,
    /// As the file has it.
    z: f64,
    /// Which plane it touches: above or below.
    plane: &'static str,
    /// Its share in holding the planes apart; those of each plane add up to 1.
    multiplier: f64,
}

/// Two bounds that meet.
#[derive(Debug, Serialize, JsonSchema)]
struct ProofDocument {
    /// Mean height of the upper contacts minus that of the lower ones, by their multipliers.
    no_planes_closer_than: f64,
    /// The distance of the two planes.
    these_planes_apart: f64,
    /// How far the multipliers miss 1 in sum, or the two means lie apart (in half extents of the points).
    defect: f64,
    /// Whether the bounds meet, within arithmetic.
    holds: bool,
}
