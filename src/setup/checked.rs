//! A setup that has been checked, and how a text becomes one.

use super::fault::{Fault, Faults, Position, listing, nearest};
use super::file_text::hex;
use super::improvements::Improvements;
use super::kind::{PerKelvin, Quantity, Uncertain};
use super::lengths::Lengths;
use super::map;
use super::obstacle;
use super::plan::Bench;
use super::readings::is_same;
use super::schema::SHAPE;
use super::share::{Share, Wholes};
use super::traceability::Traceability;
use super::tree::Node;
use super::walk::{Assumption, field_order, grade_written, walk};
use super::written::{
    self, Approach, Choice, Feet, Place, RepeatReadings, Repeatability, Spot, Stations, Written,
};
use crate::quantity::distribution::Distribution;
use crate::quantity::rounding::significant;
use crate::quantity::unit::{FOOT, INCH, MICROINCH, MICROMETRE, MILLIMETRE, Measure, TENTH, THOU, Unit};
use crate::shop::check::ShopCheck;
use crate::shop::cleanliness::Cleanliness;
use crate::shop::gauge_block::GaugeBlock;
use crate::shop::grade::Tolerance;
use crate::shop::indicator::Indicator;
use crate::shop::material::Material;
use crate::shop::plate::Plate;
use crate::shop::stand::Stand;
use crate::shop::survey::{Plan, StandUse, Survey, Zeroing};
use crate::shop::temperature::Temperature;
use crate::shop::wear::{Dip, DipPlace, FrontEdgeWear, Map, MiddleWear, Surface, Waves, Wear};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt::Display;

/// Most readings in one survey.
const MOST_READINGS: usize = 500;

/// A setup file, read and found sound.
#[derive(Debug, Clone, PartialEq)]
pub struct Setup {
    /// What the check is called.
    pub title: String,
    /// Unit of heights in reports.
    pub unit: Unit,
    /// Unit of plan lengths in reports: inch or millimetre.
    pub plan_unit: Unit,
    /// Everything that bears on the check.
    pub check: ShopCheck,
    /// How far the indicator's pointer can go, in µm.
    pub travel: f64,
    /// The survey as it was planned.
    pub plan: Plan,
    /// What the plate is to keep, if the setup says.
    pub tolerance: Option<Tolerance>,
    /// What its grade allows as local variation, if it has a grade with such a limit.
    pub local_variation: Option<Tolerance>,
    /// Largest chance that a plate which is accepted is out of tolerance.
    pub consumer_risk: f64,
    /// Probability that such a plate is within its tolerance before it is read, if the setup says.
    pub within_before: Option<f64>,
    /// Numbers and dates of what is used, and who checks.
    pub traceability: Traceability,
    /// What may be done to make the check better.
    pub improvements: Improvements,
    /// Everything that was taken because the setup does not say, in the order of the fields.
    pub assumptions: Vec<Assumption>,
    /// SHA-256 of what the setup says (fields in any order, spaces anywhere) and of its map, in
    /// hexadecimal.
    pub digest: String,
}

impl Setup {
    /// Reads a setup, or says everything that is wrong with it.
    ///
    /// `load` reads a file that the setup names, by the name written there, or says why it cannot.
    /// Faults are in the order of the file; those of the text come first and alone, then those of
    /// fields, then those of sense (a survey that does not fit the plate).
    pub fn read(text: &str, load: &dyn Fn(&str) -> Result<String, String>) -> Result<Self, Faults> {
        let tree = Node::parse(text)?;
        let walked = walk(&tree, &SHAPE);
        if !walked.faults.is_empty() {
            return Err(walked.faults.into());
        }
        let written: Written = match serde_json::from_value(walked.value) {
            Ok(written) => written,
            // The schema and the fields come from the same place, so this would be a mistake of ours.
            Err(error) => {
                return Err(vec![Fault {
                    field: String::new(),
                    found: format!("not understood ({error})"),
                    must: "as its schema says".into(),
                    fix: "compare it with the output of `howflat schema`".into(),
                    at: None,
                }]
                .into());
            }
        };
        let mut digest = Sha256::new();
        digest.update(tree.canonical().to_string());
        let mut build = Build {
            positions: tree.positions(),
            faults: Vec::new(),
            assumptions: walked.assumptions,
            lengths: Lengths { unit: if is_inches(&written.plate.length) { INCH } else { MILLIMETRE } },
        };
        let setup = build.setup(&written, load, digest);
        match setup {
            Some(setup) if build.faults.is_empty() => {
                let [length, width] = [setup.check.plate.length, setup.check.plate.width]
                    .map(|value| Some(Measure { value, unit: MILLIMETRE }));
                let wholes = Wholes { length, width, grade: grade_written(&tree), graduation: None };
                if let Some(whole) = wholes.of(Share::GradeAa) {
                    for assumption in &mut build.assumptions {
                        assumption.value =
                            with_grade_aa_named(&assumption.value, whole.to(setup.unit), setup.unit);
                    }
                }
                build.assumptions.sort_by_cached_key(|assumption| field_order(&assumption.field));
                Ok(Self { assumptions: build.assumptions, ..setup })
            }
            _ => {
                build.faults.sort_by_key(|fault| fault.at);
                Err(build.faults.into())
            }
        }
    }
}

/// All dips, those under the stand without their spots: these the survey says.
fn dips(written: &written::Wear) -> Vec<Dip> {
    let near_corners = written.corner_dips.iter().flatten().map(|dip| Dip {
        chance: dip.chance,
        depth: dip.depth.known,
        radius: dip.radius.known,
        place: DipPlace::Corner {
            corner: dip.corner.map(|corner| corner.0),
            from_end: dip.from_end.known,
            from_side: dip.from_side.known,
        },
    });
    let under_feet = written.stand_dips.iter().flatten().map(|dip| Dip {
        chance: dip.chance,
        depth: dip.depth.known,
        radius: dip.radius.known,
        place: DipPlace::Near { spots: Vec::new(), off: dip.off.known },
    });
    let anywhere = written.dips.iter().flatten().map(|dip| Dip {
        chance: dip.chance,
        depth: dip.depth.known,
        radius: dip.radius.known,
        place: DipPlace::Anywhere { x: dip.x.known, y: dip.y.known },
    });
    near_corners.chain(under_feet).chain(anywhere).collect()
}

fn is_inches<K>(quantity: &Quantity<K>) -> bool {
    Measure::parse(&quantity.written)
        .is_ok_and(|measure| [INCH, FOOT, THOU, TENTH, MICROINCH].contains(&measure.unit))
}

/// A setup in the making.
struct Build {
    positions: HashMap<String, Position>,
    faults: Vec<Fault>,
    assumptions: Vec<Assumption>,
    lengths: Lengths,
}

impl Build {
    fn fault(&mut self, field: &str, found: impl Display, must: impl Display, fix: impl Display) {
        self.fault_at(field, field.into(), found, must, fix);
    }

    /// A fault that is shown at the field `place`, under a name of its own.
    fn fault_at(
        &mut self,
        place: &str,
        field: String,
        found: impl Display,
        must: impl Display,
        fix: impl Display,
    ) {
        let at = nearest(&self.positions, place);
        let [found, must, fix] = [found.to_string(), must.to_string(), fix.to_string()];
        self.faults.push(Fault { field, found, must, fix, at });
    }

    fn assume(&mut self, field: &str, value: impl Display, why: impl Display) {
        self.assumptions.push(Assumption {
            field: field.into(),
            value: value.to_string(),
            why: why.to_string(),
        });
    }

    fn setup(
        &mut self,
        written: &Written,
        load: &dyn Fn(&str) -> Result<String, String>,
        mut digest: Sha256,
    ) -> Option<Setup> {
        let (plate, tolerance) = self.plate(&written.plate);
        let mut surface = self.surface(&written.wear, &plate, load, &mut digest);
        let stand = self.stand(&written.stand);
        let indicator = self.indicator(&written.indicator);
        let gauge_block = self.gauge_block(&written.gauge_block);
        let temperature = Temperature {
            top_to_bottom: written.temperature.top_to_bottom.known,
            column_rate: written.temperature.column_rate.known,
            zero_drift: written.temperature.zero_drift.known,
            handling: written.temperature.handling.known,
            fading: written.temperature.fading.value,
        };
        let cleanliness = Cleanliness {
            film: written.cleanliness.film.value,
            grain_chance: written.cleanliness.grain_chance,
            grain: written.cleanliness.grain.known,
        };
        let unit = match written.unit {
            Some(unit) => unit.0.0,
            None => {
                let unit = if is_inches(&written.indicator.graduation) { TENTH } else { MICROMETRE };
                self.assume("unit", unit, "after the indicator's graduation");
                unit
            }
        };
        self.contradictions(&written.survey);
        for Fault { field, found, must, fix, .. } in written.traceability.faults() {
            self.fault(&field, found, must, fix);
        }
        if !self.faults.is_empty() {
            return None;
        }
        let bench = Bench { plate: &plate, stand: &stand, block: &gauge_block, lengths: self.lengths };
        let plan = bench.plan(&written.survey);
        self.same_names(&plan);
        self.assume_survey(&written.survey, &plan);
        let n_spots: usize = plan.stations.iter().map(|station| station.targets.len()).sum();
        if n_spots * plan.passes > MOST_READINGS {
            let found = format!("{n_spots} spots in {} passes", plan.passes);
            self.fault(
                "survey",
                found,
                format!("at most {MOST_READINGS} readings"),
                "write fewer passes or targets",
            );
            return None;
        }
        let survey = match Survey::lay_out(&plan, &plate, &stand, &gauge_block) {
            Ok(survey) => survey,
            Err(obstacles) => {
                let by_hand = written.survey.placements.is_some();
                let is_near = |spot: &Spot| {
                    let from = Some(Stations::One(Place::Named(Choice(*spot))));
                    let there = bench.plan(&written::Survey { from, ..written.survey.clone() });
                    Survey::lay_out(&there, &plate, &stand, &gauge_block).is_ok()
                };
                let nearer = Spot::NEARER.iter().find(|spot| is_near(spot)).map(|spot| spot.name);
                for said in obstacle::describe(&obstacles, &plan, &plate, self.lengths, by_hand, nearer) {
                    self.fault_at(&said.place, said.field, said.found, said.must, said.fix);
                }
                return None;
            }
        };
        if let Surface::Worn(wear) = &mut surface {
            wear.put_dips_under_feet(&survey);
        }
        let title = written.title.clone().unwrap_or_else(|| {
            let material =
                written.plate.material.map_or(String::new(), |material| format!("{} ", material.0.name()));
            let sides = self.lengths.place([plate.length, plate.width]);
            format!("{sides} {material}plate, {} stand", plan.stand_use.name())
        });
        let digest = hex(digest.finalize());
        Some(Setup {
            title,
            unit,
            plan_unit: self.lengths.unit,
            check: ShopCheck {
                plate,
                surface,
                stand,
                indicator,
                gauge_block,
                temperature,
                cleanliness,
                survey,
            },
            plan,
            tolerance,
            local_variation: written.plate.grade.and_then(|grade| {
                grade.0.local_variation(written.plate.length.value, written.plate.width.value)
            }),
            travel: written.indicator.travel.value,
            consumer_risk: written.decision.consumer_risk,
            within_before: written.decision.within_before,
            traceability: written.traceability.clone(),
            improvements: Improvements::of(written.improvements.as_ref()),
            assumptions: Vec::new(),
            digest,
        })
    }

    fn plate(&mut self, written: &written::Plate) -> (Plate, Option<Tolerance>) {
        let (length, width) = (written.length.value, written.width.value);
        if width > length {
            let must = format!("at most the length, {}", written.length.written);
            self.fault("plate.width", &written.width.written, must, "write the longer side as length");
        }
        let thickness = match &written.thickness {
            Some(thickness) => thickness.value,
            None => {
                let usual = usual_thickness(libm::hypot(length, width));
                // Plates in inches are made to half inches.
                let half_inches = (usual / 12.7).round() * 12.7;
                let thickness = if self.lengths.unit == INCH { half_inches } else { usual };
                let text = self.lengths.text(thickness);
                self.assume("plate.thickness", text, "as usual for its size (common practice, no source)");
                thickness
            }
        };
        let grade = written.grade.map(|grade| grade.0);
        let graded = grade.map(|grade| (grade, grade.tolerance(length, width)));
        let tolerance = match (graded, &written.tolerance) {
            (Some((_, Some(tolerance))), _) => Some(tolerance),
            (Some((grade, None)), _) => {
                let plain = grade.name().split(',').next().unwrap_or_default();
                let found = format!("\"{}\"", grade.name());
                let must = format!("a grade that is defined for {}", self.lengths.place([length, width]));
                self.fault("plate.grade", found, must, format!("write \"{plain}\" or \"{plain}, formula\""));
                None
            }
            (None, Some(value)) => {
                Some(Tolerance { value: value.value, name: format!("tolerance {}", value.written) })
            }
            (None, None) => None,
        };
        let margin = match &written.margin {
            Some(margin) => margin.value,
            None => {
                let by_grade = grade.and_then(|grade| Some((grade.margin(length, width)?, grade.name())));
                let (margin, why) = match by_grade {
                    Some((margin, name)) => (margin, format!("what the standard leaves out: {name}")),
                    None => (f64::min(25.0, width / 12.0), "common practice, no source".into()),
                };
                let text = self.lengths.text(margin);
                self.assume("plate.margin", text, why);
                margin
            }
        };
        if margin > width / 4.0 {
            let must = format!("at most a quarter of the width, {}", self.lengths.text(width / 4.0));
            let found = written
                .margin
                .as_ref()
                .map_or_else(|| self.lengths.text(margin), |margin| margin.written.clone());
            self.fault("plate.margin", found, must, "write the strip that is left out along one edge");
        }
        let expansion = self.expansion("plate.expansion", written.expansion.as_ref(), written.material);
        let flatness_holds_bow = written.flatness_holds_bow;
        (Plate { length, width, thickness, margin, expansion, flatness_holds_bow }, tolerance)
    }

    fn surface(
        &mut self,
        written: &written::Wear,
        plate: &Plate,
        load: &dyn Fn(&str) -> Result<String, String>,
        digest: &mut Sha256,
    ) -> Surface {
        let waviness = Waves {
            standard_deviation: written.waviness.standard_deviation.known,
            correlation_length: written.waviness.correlation_length.known,
        };
        if let Some(map) = &written.map {
            let points = self.map_points(&map.file, plate, load, digest);
            return Surface::Measured(Map {
                points,
                standard_uncertainty: map.standard_uncertainty.value,
                waviness,
            });
        }
        // Without a map the walker has filled in every part.
        let none = Distribution::Constant { value: 0.0 };
        let one = Distribution::Constant { value: 1.0 };
        let middle = written.middle.as_ref();
        let front_edge = written.front_edge.as_ref();
        let long_wave = written.long_wave.as_ref();
        Surface::Worn(Wear {
            amount: self.amount(written),
            middle: MiddleWear {
                depth: middle.map_or(none, |wear| wear.depth.known),
                x: middle.map_or(none, |wear| wear.x.known),
                y: middle.map_or(none, |wear| wear.y.known),
                half_length: middle.map_or(one, |wear| wear.half_length.known),
                half_width: middle.map_or(one, |wear| wear.half_width.known),
            },
            front_edge: FrontEdgeWear {
                depth: front_edge.map_or(none, |wear| wear.depth.known),
                reach: front_edge.map_or(one, |wear| wear.reach.known),
                x: front_edge.map_or(none, |wear| wear.x.known),
                half_length: front_edge.map_or(one, |wear| wear.half_length.known),
            },
            dips: dips(written),
            twist: written.twist.as_ref().map_or(none, |twist| twist.known),
            long_wave: Waves {
                standard_deviation: long_wave.map_or(none, |waves| waves.standard_deviation.known),
                correlation_length: long_wave.map_or(one, |waves| waves.correlation_length.known),
            },
            waviness,
        })
    }

    /// How worn the plate is at large. Who gives depths in figures means these, not a multiple of them.
    fn amount(&mut self, written: &written::Wear) -> Distribution {
        const FIELD: &str = "wear.amount";
        const FIGURES: [&str; 4] =
            ["wear.middle.depth", "wear.front_edge.depth", "wear.twist", "wear.long_wave.standard_deviation"];
        let one = Distribution::Constant { value: 1.0 };
        let stands = |field: &str| self.positions.contains_key(field);
        if !stands(FIELD) && FIGURES.into_iter().any(stands) {
            self.assumptions.retain(|assumption| assumption.field != FIELD);
            self.assume(FIELD, 1, "depths, twist or long waves are given in figures");
            return one;
        }
        written.amount.as_ref().map_or(one, |amount| amount.known)
    }

    fn map_points(
        &mut self,
        file: &str,
        plate: &Plate,
        load: &dyn Fn(&str) -> Result<String, String>,
        digest: &mut Sha256,
    ) -> Vec<[f64; 3]> {
        const FIELD: &str = "wear.map.file";
        let text = match load(file) {
            Ok(text) => text,
            Err(why) => {
                let fix = "write its name as seen from the setup's folder";
                self.fault(
                    FIELD,
                    format!("`{file}`, which cannot be read ({why})"),
                    "a file that can be read",
                    fix,
                );
                return Vec::new();
            }
        };
        digest.update(&text);
        match map::read(&text, [plate.length, plate.width]) {
            Ok(points) => points,
            Err(faults) => {
                for fault in faults {
                    let line = fault.line.map_or(String::new(), |line| format!("line {line}: "));
                    self.fault(FIELD, format!("`{file}`, {line}{}", fault.found), fault.must, fault.fix);
                }
                Vec::new()
            }
        }
    }

    fn stand(&mut self, written: &written::Stand) -> Stand {
        let feet = match &written.feet {
            Feet::Places(places) => {
                places.each_ref().map(|place| place.each_ref().map(|coordinate| coordinate.value))
            }
            Feet::Spans(spans) => {
                let (apart, to_rear) = (spans.front_apart.value, spans.front_to_rear.value);
                let ahead = match &spans.front_ahead {
                    Some(ahead) => ahead.value,
                    None => {
                        let text = self.lengths.text(to_rear / 3.0);
                        self.assume("stand.feet.front_ahead", text, "the column over the middle of the feet");
                        to_rear / 3.0
                    }
                };
                [[ahead, apart / 2.0], [ahead, -apart / 2.0], [ahead - to_rear, 0.0]]
            }
        };
        let limit = |limit: &Option<Quantity<_>>| limit.as_ref().map(|limit| limit.value);
        let reach = [
            limit(&written.reach.shortest).unwrap_or(0.0),
            limit(&written.reach.longest).unwrap_or(f64::INFINITY),
        ];
        if reach[0] > reach[1] {
            let [shortest, longest] = reach.map(|reach| self.lengths.text(reach));
            let must = format!("at most the longest, {longest}");
            self.fault("stand.reach.shortest", shortest, must, "write the smaller of the two as shortest");
        }
        Stand {
            feet,
            pad_diameter: written.pad_diameter.value,
            reach,
            height: written.height.value,
            column_expansion: self.expansion(
                "stand.column_expansion",
                written.column_expansion.as_ref(),
                written.column,
            ),
        }
    }

    fn indicator(&mut self, written: &written::Indicator) -> Indicator {
        let graduation = written.graduation.value;
        if let Some(of_class) = written.class.0.graduation
            && (of_class - graduation).abs() > 0.02 * of_class
        {
            let found = format!("\"{}\"", written.class.0.name);
            let must = format!("a class for a graduation of {}", written.graduation.written);
            self.fault(
                "indicator.class",
                found,
                must,
                "leave it out, or give error_limit, hysteresis and repeatability",
            );
        }
        if written.read_to.value > graduation * (1.0 + 1e-9) {
            let must = "at most one graduation";
            self.fault(
                "indicator.read_to",
                &written.read_to.written,
                must,
                "write \"1 graduation\" if nothing finer is read",
            );
        }
        let (repeatability, repeatability_dof) = match &written.repeatability {
            Repeatability::Known(deviation) => (deviation.value, f64::INFINITY),
            Repeatability::Estimated(estimated) => {
                (estimated.standard_deviation.value, estimated.degrees_of_freedom)
            }
            Repeatability::Readings(RepeatReadings { readings }) => match readings.series() {
                Ok(series) => (series.standard_deviation, series.degrees_of_freedom()),
                Err(error) => {
                    self.fault(
                        "indicator.repeatability",
                        error,
                        "two readings or more",
                        "write the readings",
                    );
                    (0.0, f64::INFINITY)
                }
            },
        };
        Indicator {
            graduation,
            read_step: written.read_to.value,
            error_limit: written.error_limit.value,
            error_travel: written.error_travel.value,
            hysteresis: written.hysteresis.known,
            one_sided_approach: written.approach == Approach::OneSide,
            repeatability,
            repeatability_dof,
            zero_shift: written.zero_shift.value,
            contact_angle: written.contact_angle.known,
            cosine_corrected: written.cosine_corrected,
        }
    }

    fn gauge_block(&mut self, written: &written::GaugeBlock) -> GaugeBlock {
        let length = match &written.length {
            Some(length) => length.value,
            None => {
                let length = if self.lengths.unit == INCH { 25.4 } else { 25.0 };
                let text = self.lengths.text(length);
                self.assume("gauge_block.length", text, "a usual block (common practice, no source)");
                length
            }
        };
        let graded = written.grade.map(|grade| grade.0.length_variation(length));
        let length_variation = match (&written.length_variation, graded) {
            (Some(variation), _) => variation.value,
            (None, Some(Some(variation))) => variation,
            (None, _) => {
                let must = "at most 100 mm, where the variation in length follows from the grade";
                let found = self.lengths.text(length);
                self.fault("gauge_block.length", found, must, "write length_variation instead of grade");
                0.0
            }
        };
        GaugeBlock {
            length,
            face: written.face.each_ref().map(|side| side.value),
            length_variation,
            expansion: self.expansion("gauge_block.expansion", written.expansion.as_ref(), written.material),
        }
    }

    /// Expansion as given, else that of the material, which the walker has filled in: then it is told which
    /// handbook row that is.
    fn expansion(
        &mut self,
        field: &str,
        given: Option<&Uncertain<PerKelvin>>,
        material: Option<Choice<Material>>,
    ) -> Distribution {
        if let Some(expansion) = given {
            return expansion.known;
        }
        let material = material.map_or(Material::Steel, |material| material.0);
        let known = material.expansion();
        if let Distribution::Rectangular { low, high } = known {
            let [low, high] = [low, high].map(|limit| (1e7 * limit).round() / 10.0);
            let limits = format!("rectangular, from {low} ppm/K, to {high} ppm/K");
            self.assume(field, limits, material.expansion_source());
        }
        known
    }

    /// Placements, and targets of one placement, that a readings file could not tell apart.
    fn same_names(&mut self, plan: &Plan) {
        let names: Vec<&str> = plan.stations.iter().map(|station| station.name.as_str()).collect();
        self.told_apart("survey.placements", &names);
        for (index, station) in plan.stations.iter().enumerate() {
            let names: Vec<&str> = station.targets.iter().map(|target| target.name.as_str()).collect();
            self.told_apart(&format!("survey.placements[{index}].targets"), &names);
        }
    }

    fn told_apart(&mut self, list: &str, names: &[&str]) {
        for (index, name) in names.iter().enumerate() {
            if let Some(first) = names[..index].iter().position(|other| is_same(other, name)) {
                let found = format!("\"{name}\", as {list}[{first}] is called");
                let field = format!("{list}[{index}].name");
                self.fault(
                    &field,
                    found,
                    "a name of its own",
                    "write another name: readings are told apart by it",
                );
            }
        }
    }

    /// Fields of the survey that do not go together.
    fn contradictions(&mut self, survey: &written::Survey) {
        let stand_use = survey.stand.0;
        let carried = stand_use == StandUse::Carried;
        let mut not_for = |given: bool, field: &str, fix: &str| {
            if given {
                let must = format!("left out where the stand is {}", stand_use.name());
                self.fault(field, "given", must, fix);
            }
        };
        not_for(
            carried && survey.from.is_some(),
            "survey.from",
            "remove it: a carried stand goes wherever the block goes",
        );
        not_for(carried && survey.heading.is_some(), "survey.heading", "write \"headings\": [\"0°\"]");
        not_for(
            stand_use == StandUse::Turned && survey.heading.is_some(),
            "survey.heading",
            "remove it: a turned stand points at its target",
        );
        not_for(
            !carried && survey.reach.is_some(),
            "survey.reach",
            "write the limits of the stand's reach as stand.reach",
        );
        not_for(
            !carried && survey.headings.is_some(),
            "survey.headings",
            "write \"heading\" for the one direction of a parked stand",
        );
        let by_hand = survey.placements.is_some();
        for (given, field) in
            [(survey.heading.is_some(), "survey.heading"), (survey.headings.is_some(), "survey.headings")]
        {
            if by_hand && given {
                self.fault(
                    field,
                    "given beside placements",
                    "left out, since each placement has its own",
                    "write \"heading\" in the placement",
                );
            }
        }
        for (index, placement) in survey.placements.iter().flatten().enumerate() {
            let field = |name: &str| format!("survey.placements[{index}].{name}");
            if !carried && placement.at.is_none() {
                let must = format!("where the column of the {} stand is", stand_use.name());
                self.fault(
                    &field("at"),
                    "missing",
                    must,
                    "add \"at\": \"front left\" or [\"4 in\", \"4 in\"]",
                );
            }
            if carried && placement.at.is_some() {
                let must = "left out where the stand is carried";
                self.fault(
                    &field("at"),
                    "given",
                    must,
                    "remove it: a carried stand goes wherever the block goes",
                );
            }
            if stand_use == StandUse::Turned && placement.heading.is_some() {
                let must = "left out where the stand is turned";
                self.fault(
                    &field("heading"),
                    "given",
                    must,
                    "remove it: a turned stand points at its target",
                );
            }
        }
        if survey.correct_drift && !survey.closing_reading {
            let must = "false without a closing reading";
            self.fault(
                "survey.correct_drift",
                "true",
                must,
                "write \"closing_reading\": true, which shows the drift",
            );
        }
    }

    /// What was taken for the survey where the setup is silent.
    fn assume_survey(&mut self, survey: &written::Survey, plan: &Plan) {
        let by_hand = survey.placements.is_some();
        match plan.stand_use {
            StandUse::Carried => {
                if survey.reach.is_none() {
                    let text = self.lengths.text(plan.carried_reach);
                    self.assume(
                        "survey.reach",
                        text,
                        "80 mm beyond the front feet (common practice, no source)",
                    );
                }
                if survey.headings.is_none() && !by_hand {
                    self.assume("survey.headings", "0°", "along the length");
                }
            }
            StandUse::Parked | StandUse::Turned => {
                if survey.from.is_none() && !by_hand {
                    self.assume("survey.from", "front left", "common practice, no source");
                }
                if plan.stand_use == StandUse::Parked && survey.heading.is_none() && !by_hand {
                    let headings =
                        listing(plan.stations.iter().map(|station| format!("{:.0}°", station.heading)));
                    self.assume("survey.heading", headings, "towards the middle of the plate");
                }
            }
        }
        if survey.zeroing.is_none() {
            let (taken, why) = match plan.zeroing {
                Zeroing::EachStation => ("each placement", "there are several placements"),
                _ if plan.stations.len() > 1 => ("once", "the headings are compared with each other"),
                _ => ("once", "there is one placement"),
            };
            self.assume("survey.zeroing", taken, why);
        }
    }
}

/// What was taken, with every share of grade AA followed by what it is. `whole` is grade AA in `unit`.
fn with_grade_aa_named(value: &str, whole: f64, unit: Unit) -> String {
    let words = Share::GradeAa.words()[0];
    let symbol = if unit == TENTH { "tenths" } else { unit.symbol() };
    let (mut named, mut rest) = (String::new(), value);
    while let Some((before, after)) = rest.split_once(words) {
        named += before;
        named += words;
        if let Some(Ok(share)) = before.trim_end().rsplit(' ').next().map(str::parse::<f64>) {
            named += &format!(" ({} {symbol})", significant(share * whole, 2));
        }
        rest = after;
    }
    named + rest
}

/// The usual thickness of a plate with the given diagonal, both in mm (common practice, no source:
/// 3 to 4 in for 12 x 18 in, 4 to 6 in for 18 x 24 and 24 x 36 in, 6 to 8 in for 36 x 48 in, 8 to
/// 10 in for 48 x 72 in; 80 to 100, 120 to 160 and 160 to 250 mm for 630 x 400, 1000 x 630 and
/// 1600 x 1000 mm).
fn usual_thickness(diagonal: f64) -> f64 {
    const STEPS: [(f64, f64); 5] =
        [(560.0, 90.0), (800.0, 100.0), (1250.0, 140.0), (1600.0, 175.0), (2000.0, 205.0)];
    STEPS.iter().find(|(up_to, _)| diagonal <= *up_to).map_or(230.0, |(_, thickness)| *thickness)
}
