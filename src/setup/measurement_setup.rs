//! A formula model that has been checked, and how a text becomes one.

use super::fault::{Fault, Faults, Position, did_you_mean, listing, nearest};
use super::file_text::{hex, unmarked};
use super::kind::{Plain, Quantity};
use super::model_fields::{
    GroupReadings, GroupSummaries, ScatterFigures, ScatterSeries, WrittenGroups, WrittenInput, WrittenLine,
    WrittenMeasurand, WrittenModel, WrittenOfLine, WrittenScatter,
};
use super::schema::MODEL_SHAPE;
use super::tree::Node;
use super::walk::walk;
use crate::decision::given_limits::{Ends, GivenLimits};
use crate::model::formula::FormulaError;
use crate::model::measurement::{Input, Knowledge, MeasurementModel, ModelFault};
use crate::quantity::distribution::ParameterError;
use crate::quantity::rounding::significant;
use crate::quantity::type_a::{
    Estimate, OfLine, OneWay, Pooled, ReadingsError, Series, Simultaneous, StraightLine, autocorrelation,
    degrees_of_freedom_from,
};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt::Display;

/// Chance below which groups are taken to differ if the file does not say (GUM H.5.2.3: common, not binding).
const GROUPS_DIFFER_BELOW: f64 = 0.05;

/// A formula model file, read and found sound.
#[derive(Debug, Clone)]
pub struct MeasurementSetup {
    /// What the measurement is called.
    pub title: String,
    /// What is measured, and what is known.
    pub model: Box<MeasurementModel>,
    /// Where the knowledge of inputs comes from, in the order of the inputs; those without a word about it are left
    /// out.
    pub evidence: Vec<Evidence>,
    /// Limits that are given for each measurand.
    pub limits: Vec<Option<GivenLimits>>,
    /// The straight lines that inputs are taken from, in the order of these.
    pub lines: Vec<FittedLine>,
    /// What is worth a second look, in sentences: readings that drift, an input that no formula uses.
    pub remarks: Vec<String>,
    /// SHA-256 of what the file says (fields in any order, spaces anywhere), in hexadecimal.
    pub digest: String,
}

/// Where the knowledge of an input comes from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Evidence {
    /// Which input, by name.
    pub input: String,
    /// In words: "mean of 5 readings, s = 0.0072 V; from the logbook".
    pub what: String,
}

/// A straight line and the inputs that are taken from it.
#[derive(Debug, Clone, PartialEq)]
pub struct FittedLine {
    /// These inputs, by name, in the order of the file.
    pub inputs: Vec<String>,
    /// How many points it goes through.
    pub n_points: usize,
    /// The line; its reference is the x of the first height that is taken from it, or 0.
    pub fit: StraightLine,
}

impl MeasurementSetup {
    /// Reads a formula model, or says everything that is wrong with it.
    ///
    /// Faults are in the order of the file; those of the text come first and alone, then those of fields, then
    /// those of sense. A fault in a formula stands at the column where the formula goes wrong.
    pub fn read(text: &str) -> Result<Self, Faults> {
        let tree = Node::parse(text)?;
        let walked = walk(&tree, &MODEL_SHAPE);
        if !walked.faults.is_empty() {
            return Err(walked.faults.into());
        }
        let written: WrittenModel = serde_json::from_value(walked.value).map_err(|error| {
            // The schema and the fields come from the same place, so this would be a mistake of ours.
            vec![Fault {
                field: String::new(),
                found: format!("not understood ({error})"),
                must: "as its schema says".into(),
                fix: "compare it with the output of `howflat schema model`".into(),
                at: None,
            }]
        })?;
        let mut build = Build { text, positions: tree.positions(), faults: Vec::new(), remarks: Vec::new() };
        let setup = build.setup(&written, &tree);
        match setup {
            Some(setup) if build.faults.is_empty() => Ok(Self { remarks: build.remarks, ..setup }),
            _ => {
                build.faults.sort_by_key(|fault| fault.at);
                Err(build.faults.into())
            }
        }
    }
}

/// A formula model in the making.
struct Build<'a> {
    text: &'a str,
    positions: HashMap<String, Position>,
    faults: Vec<Fault>,
    remarks: Vec<String>,
}

/// What came of one input.
struct Known {
    knowledge: Knowledge,
    what: Option<String>,
}

impl Build<'_> {
    fn fault(&mut self, field: &str, found: impl Display, must: impl Display, fix: impl Display) {
        let at = nearest(&self.positions, field);
        let [found, must, fix] = [found.to_string(), must.to_string(), fix.to_string()];
        self.faults.push(Fault { field: field.into(), found, must, fix, at });
    }

    fn setup(&mut self, written: &WrittenModel, tree: &Node) -> Option<MeasurementSetup> {
        let known: Vec<Option<Known>> =
            written.inputs.iter().enumerate().map(|(index, input)| self.input(index, input)).collect();
        let mut pairs = self.correlations(written);
        let mut groups = Vec::new();
        let together = self.simultaneous(written, &mut pairs, &mut groups);
        let lines = self.lines(written, &mut pairs, &mut groups);
        let mut inputs = Vec::new();
        let mut evidence = Vec::new();
        for (index, (input, known)) in written.inputs.iter().zip(known).enumerate() {
            // What cannot be known is a fault already; the rest is checked as if it were.
            let known = known.unwrap_or_else(|| Known { knowledge: nothing(), what: None });
            let knowledge = together.get(&index).copied().unwrap_or(known.knowledge);
            let (name, unit) = (input.name.clone(), unit(&input.unit));
            let words: Vec<String> =
                known.what.into_iter().chain(input.source.as_deref().map(str::to_owned)).collect();
            if !words.is_empty() {
                evidence.push(Evidence { input: name.clone(), what: words.join("; ") });
            }
            inputs.push(Input { name, unit, knowledge });
        }
        let units: Vec<String> = written.measurands.iter().map(|measurand| unit(&measurand.unit)).collect();
        let measurands: Vec<(&str, &str, &str)> = written
            .measurands
            .iter()
            .zip(&units)
            .map(|(measurand, unit)| (measurand.name.as_str(), unit.as_str(), measurand.formula.as_str()))
            .collect();
        let pairs: Vec<(&str, &str, f64)> =
            pairs.iter().map(|(a, b, r)| (a.as_str(), b.as_str(), *r)).collect();
        let model = match MeasurementModel::new(&measurands, inputs, &pairs) {
            Ok(model) => model.with_evaluated_together(groups),
            Err(faults) => {
                faults.into_iter().for_each(|fault| self.model_fault(fault, written));
                return None;
            }
        };
        for (index, input) in written.inputs.iter().enumerate() {
            if !model.measurands().iter().any(|measurand| measurand.formula.uses(index)) {
                self.remarks.push(format!("The input {} stands in no formula.", input.name));
            }
        }
        self.values_and_units(&model, written);
        let limits = written.measurands.iter().enumerate().map(|(index, of)| self.limits(index, of));
        let limits = limits.collect();
        let names: Vec<&str> = written.measurands.iter().map(|measurand| measurand.name.as_str()).collect();
        let digest = Sha256::digest(tree.canonical().to_string());
        Some(MeasurementSetup {
            title: written.title.clone().unwrap_or_else(|| format!("Measurement of {}", names.join(", "))),
            model: Box::new(model),
            evidence,
            limits,
            lines,
            remarks: Vec::new(),
            digest: hex(digest),
        })
    }

    /// What one input's fields say of it.
    fn input(&mut self, index: usize, input: &WrittenInput) -> Option<Known> {
        let field = format!("inputs[{index}]");
        let sources: Vec<&str> = [
            ("value", input.value.is_some()),
            ("estimate", input.estimate.is_some()),
            ("distribution", input.distribution.is_some()),
            ("readings", input.readings.is_some()),
            ("from_groups", input.from_groups.is_some()),
            ("from_straight_line", input.from_straight_line.is_some()),
        ]
        .into_iter()
        .filter_map(|(name, given)| given.then_some(name))
        .collect();
        let [source] = sources[..] else {
            let (found, fix) = match sources.len() {
                0 => ("an input of which nothing is known".into(), "add what is known of it"),
                _ => (format!("an input by {}", sources.join(" and ")), "keep one of them"),
            };
            let must = "an input by exactly one of value, estimate, distribution, readings, from_groups and \
                        from_straight_line";
            self.fault(&field, found, must, fix);
            return None;
        };
        // What goes with some sources only.
        let strangers = [
            ("standard_uncertainty", input.standard_uncertainty.is_some(), &["estimate", "distribution"][..]),
            ("expanded_uncertainty", input.expanded_uncertainty.is_some(), &["estimate"]),
            ("coverage_factor", input.coverage_factor.is_some(), &["estimate"]),
            ("degrees_of_freedom", input.degrees_of_freedom.is_some(), &["estimate", "distribution"]),
            (
                "uncertainty_trusted_within",
                input.uncertainty_trusted_within.is_some(),
                &["estimate", "distribution"],
            ),
            ("scatter_from", input.scatter_from.is_some(), &["readings"]),
        ];
        let mut sound = true;
        for (name, given, companions) in strangers {
            if given && !companions.contains(&source) {
                let must = format!("given beside {} only", listing(companions));
                self.fault(&format!("{field}.{name}"), format!("given beside {source}"), must, "remove it");
                sound = false;
            }
        }
        if !sound {
            return None;
        }
        match source {
            "value" => {
                let value = input.value.as_ref()?.value;
                let knowledge = Knowledge::estimated(Estimate {
                    value,
                    standard_uncertainty: 0.0,
                    degrees_of_freedom: f64::INFINITY,
                });
                self.known(&field, knowledge, None)
            }
            "estimate" => self.estimate(&field, input),
            "distribution" => {
                let mut knowledge = Knowledge::of(input.distribution.as_ref()?.known);
                if let Some(u) = &input.standard_uncertainty {
                    knowledge.standard_uncertainty = u.value;
                }
                if let Some(nu) = degrees_of_freedom(input) {
                    knowledge = knowledge.with_degrees_of_freedom(nu);
                }
                Some(Known { knowledge, what: None })
            }
            "readings" => self.readings(&field, input),
            "from_groups" => self.groups(&field, input),
            _ => self.line(&field, input.from_straight_line.as_ref()?),
        }
    }

    fn known(
        &mut self,
        field: &str,
        knowledge: Result<Knowledge, ParameterError>,
        what: Option<String>,
    ) -> Option<Known> {
        match knowledge {
            Ok(knowledge) => Some(Known { knowledge, what }),
            Err(error) => {
                let found =
                    format!("an input whose {} is {}", error.parameter.replace('_', " "), error.found);
                self.fault(field, found, format!("one where it is {}", error.must), error.fix);
                None
            }
        }
    }

    /// What a type A evaluation gives, or its fault at the field that holds the readings.
    fn evaluated(
        &mut self,
        field: &str,
        evaluation: Result<(Estimate, String), ReadingsError>,
    ) -> Option<Known> {
        match evaluation {
            Ok((estimate, what)) => self.known(field, Knowledge::estimated(estimate), Some(what)),
            Err(ReadingsError { found, must, fix }) => {
                let must = must.strip_prefix("be ").unwrap_or(&must).to_owned();
                self.fault(field, found, must, fix);
                None
            }
        }
    }

    fn estimate(&mut self, field: &str, input: &WrittenInput) -> Option<Known> {
        let figure = |figure: &Option<Quantity<Plain>>| figure.as_ref().map(|figure| figure.value);
        let (standard, expanded) = (figure(&input.standard_uncertainty), figure(&input.expanded_uncertainty));
        let (u, what) = match (standard, expanded, input.coverage_factor) {
            (Some(u), _, None) => (u, None),
            (None, Some(expanded), Some(k)) => (
                expanded / k,
                Some(format!("U = {}{} with k = {k}", significant(expanded, 6), space(&input.unit))),
            ),
            (Some(_), _, Some(_)) => {
                let field = format!("{field}.coverage_factor");
                let must = "given beside expanded_uncertainty only";
                self.fault(&field, "given beside standard_uncertainty", must, "remove it");
                return None;
            }
            (None, Some(_), None) => {
                let must = "an expanded uncertainty with its coverage_factor";
                self.fault(
                    field,
                    "an expanded uncertainty alone",
                    must,
                    "add the k that belongs to U: \"coverage_factor\": 2",
                );
                return None;
            }
            (None, None, _) => {
                let must =
                    "an estimate with standard_uncertainty, or with expanded_uncertainty and coverage_factor";
                self.fault(
                    field,
                    "an estimate without an uncertainty",
                    must,
                    "add it, or write value in place of estimate if it is exactly known",
                );
                return None;
            }
        };
        let knowledge = Knowledge::estimated(Estimate {
            value: figure(&input.estimate)?,
            standard_uncertainty: u,
            degrees_of_freedom: degrees_of_freedom(input).unwrap_or(f64::INFINITY),
        });
        self.known(field, knowledge, what)
    }

    fn readings(&mut self, field: &str, input: &WrittenInput) -> Option<Known> {
        let readings = input.readings.as_deref()?;
        let field = format!("{field}.readings");
        let what = |s: f64| {
            let plural = if readings.len() == 1 { "" } else { "s" };
            format!(
                "mean of {} reading{plural}, s = {}{}",
                readings.len(),
                significant(s, 3),
                space(&input.unit)
            )
        };
        let evaluation = match input.scatter_from.as_ref().map(pooled) {
            None => Series::of(readings).map(|series| (series.estimate(), what(series.standard_deviation))),
            Some(pooled) => pooled.and_then(|pooled| {
                let words = format!(
                    "{} from earlier work with {} degrees of freedom",
                    what(pooled.standard_deviation),
                    significant(pooled.degrees_of_freedom, 6)
                );
                Ok((pooled.estimate(readings)?, words))
            }),
        };
        let r = autocorrelation(readings);
        // About 1/√n is its standard deviation for independent readings (Bartlett 1946, from memory).
        if readings.len() >= 8 && r > 2.0 / (readings.len() as f64).sqrt() {
            self.remarks.push(format!(
                "The readings of {} follow one another (lag-1 autocorrelation {}): if they drift, their mean is less \
                 certain than its standard deviation says (GUM 4.2.7).",
                input.name,
                significant(r, 2)
            ));
        }
        self.evaluated(&field, evaluation)
    }

    fn groups(&mut self, field: &str, input: &WrittenInput) -> Option<Known> {
        let groups = input.from_groups.as_ref()?;
        let field = format!("{field}.from_groups");
        let (series, differ) = match groups {
            WrittenGroups::Readings(GroupReadings { groups, groups_differ }) => {
                let series: Result<Vec<Series>, _> = groups.iter().map(|group| Series::of(group)).collect();
                (series, *groups_differ)
            }
            WrittenGroups::Summaries(GroupSummaries {
                means,
                standard_deviations,
                readings_in_each,
                groups_differ,
            }) => {
                if means.len() != standard_deviations.len() {
                    let found = format!(
                        "{} means and {} standard deviations",
                        means.len(),
                        standard_deviations.len()
                    );
                    self.fault(&field, found, "one of each a group", "add what is missing");
                    return None;
                }
                let series = means.iter().zip(standard_deviations.iter()).map(|(mean, s)| Series {
                    n_readings: *readings_in_each,
                    mean: *mean,
                    standard_deviation: *s,
                });
                (Ok(series.collect()), *groups_differ)
            }
        };
        let evaluation = series.and_then(|series| {
            let analysis = OneWay::of(&series)?;
            let [between, within] = analysis.degrees_of_freedom();
            let by_chance = analysis.probability();
            let differ = differ.unwrap_or(by_chance < GROUPS_DIFFER_BELOW);
            let (estimate, taken) = match differ {
                true => (analysis.estimate_with_effect(), "taken to differ"),
                false => (analysis.estimate_without_effect(), "taken not to differ"),
            };
            let unit = space(&input.unit);
            let what = format!(
                "analysis of variance of {} groups of {}: s_a = {}{unit}, s_b = {}{unit}, F({between}, {within}) = {} \
                 (by chance with probability {}), the groups are {taken}",
                analysis.n_groups,
                analysis.n_per_group,
                significant(analysis.from_means, 3),
                significant(analysis.from_within, 3),
                significant(analysis.ratio(), 3),
                significant(by_chance, 2),
            );
            Ok((estimate, what))
        });
        self.evaluated(&field, evaluation)
    }

    fn line(&mut self, field: &str, line: &WrittenLine) -> Option<Known> {
        let field = format!("{field}.from_straight_line");
        let Some(of) = of_line(line) else {
            let must = "the height at an x, or the slope";
            let fix = "add \"at\": the x, or \"of\": \"slope\"";
            self.fault(&field, "the height of a line with no word of where", must, fix);
            return None;
        };
        if of == OfLine::Slope && (line.at.is_some() || line.for_one_reading) {
            let must = "a slope, which is the same at every x and for every reading";
            let fix = "remove \"at\" and \"for_one_reading\", or write \"height\"";
            self.fault(&field, "the slope of a line at one place", must, fix);
            return None;
        }
        let evaluation = fitted(line).map(|fit| {
            let mut estimate = fit.estimate(of);
            estimate.standard_uncertainty = line_uncertainty(line, &fit, of);
            let of = match of {
                OfLine::Slope => "slope".to_owned(),
                OfLine::HeightAt(at) => {
                    let what = if line.for_one_reading { "one reading" } else { "height" };
                    format!("{what} at {}", significant(at, 6))
                }
            };
            let what = format!(
                "{of} of a straight line through {} points: slope {} with standard uncertainty {}, s = {} about it",
                line.points.len(),
                significant(fit.slope, 4),
                significant(fit.slope_uncertainty, 2),
                significant(fit.standard_deviation, 3),
            );
            (estimate, what)
        });
        self.evaluated(&field, evaluation)
    }

    /// The lines that inputs are taken from, each once. Inputs from one line rest on the same points: their correlations go
    /// to the pairs, and they to the groups of what was evaluated together.
    fn lines(
        &mut self,
        written: &WrittenModel,
        pairs: &mut Vec<(String, String, f64)>,
        groups: &mut Vec<Vec<usize>>,
    ) -> Vec<FittedLine> {
        let mut lines: Vec<(&WrittenLine, Vec<usize>)> = Vec::new();
        for (place, input) in written.inputs.iter().enumerate() {
            let Some(line) = &input.from_straight_line else { continue };
            match lines.iter_mut().find(|(known, _)| known.points == line.points) {
                Some((_, places)) => places.push(place),
                None => lines.push((line, vec![place])),
            }
        }
        let mut fitted_lines = Vec::new();
        for (line, places) in lines {
            // What cannot be fitted is a fault already.
            let Ok(fit) = fitted(line) else { continue };
            let of = |place: usize| {
                let line = written.inputs[place].from_straight_line.as_ref()?;
                let of = of_line(line)?;
                Some((of, line_uncertainty(line, &fit, of)))
            };
            for (index, first) in places.iter().enumerate() {
                for second in &places[index + 1..] {
                    let (Some((a, u)), Some((b, v))) = (of(*first), of(*second)) else { continue };
                    if u * v == 0.0 {
                        continue;
                    }
                    let r = (fit.covariance(a, b) / (u * v)).clamp(-1.0, 1.0);
                    let names = [first, second].map(|place| written.inputs[*place].name.clone());
                    self.follows(&format!("inputs[{second}].from_straight_line"), names, r, "points", pairs);
                }
            }
            if places.len() > 1 {
                groups.push(places.clone());
            }
            fitted_lines.push(FittedLine {
                inputs: places.iter().map(|place| written.inputs[*place].name.clone()).collect(),
                n_points: line.points.len(),
                fit,
            });
        }
        fitted_lines
    }

    /// Takes up a correlation that follows from something, unless it is also written down.
    fn follows(
        &mut self,
        field: &str,
        [a, b]: [String; 2],
        r: f64,
        from: &str,
        pairs: &mut Vec<(String, String, f64)>,
    ) {
        if pairs.iter().any(|(c, d, _)| (c, d) == (&a, &b) || (d, c) == (&a, &b)) {
            let found = format!("{a} and {b}, whose correlation is also written down");
            let fix = format!("remove it from correlations: it follows from the {from}");
            self.fault(field, found, format!("a group whose correlations follow from the {from}"), fix);
        } else {
            pairs.push((a, b, r));
        }
    }

    /// The pairs of inputs whose correlation is written down.
    fn correlations(&mut self, written: &WrittenModel) -> Vec<(String, String, f64)> {
        let mut pairs: Vec<(String, String, f64)> = Vec::new();
        for (index, correlation) in written.correlations.iter().flatten().enumerate() {
            let [a, b] = &correlation.between;
            let field = format!("correlations[{index}].between");
            let known =
                [(0, a), (1, b)].map(|(k, name)| self.is_input(&format!("{field}[{k}]"), name, written));
            if known.contains(&false) {
                continue;
            }
            if a == b {
                self.fault(
                    &field,
                    "one input twice",
                    "two inputs",
                    "remove it: an input always follows itself",
                );
            } else if pairs.iter().any(|(c, d, _)| (c, d) == (a, b) || (d, c) == (a, b)) {
                self.fault(&field, "a pair that stands above already", "given once", "keep one of the two");
            } else {
                pairs.push((a.clone(), b.clone(), correlation.coefficient));
            }
        }
        pairs
    }

    /// What inputs are known to be whose readings were taken together, by their places; their correlations go to the
    /// pairs, and they to the groups.
    fn simultaneous(
        &mut self,
        written: &WrittenModel,
        pairs: &mut Vec<(String, String, f64)>,
        groups: &mut Vec<Vec<usize>>,
    ) -> HashMap<usize, Knowledge> {
        let mut known = HashMap::new();
        for (index, names) in written.simultaneous.iter().flatten().enumerate() {
            let field = format!("simultaneous[{index}]");
            let mut places = Vec::new();
            for (k, name) in names.iter().enumerate() {
                let field = format!("{field}[{k}]");
                if !self.is_input(&field, name, written) {
                    continue;
                }
                let place = written.inputs.iter().position(|input| input.name == *name).unwrap_or(0);
                let input = &written.inputs[place];
                if places.contains(&place) || known.contains_key(&place) {
                    self.fault(&field, format!("\"{name}\" a second time"), "named once", "remove it");
                } else if input.readings.is_none() || input.scatter_from.is_some() {
                    let found = format!("\"{name}\", which is not known by readings of its own alone");
                    let fix = format!("give {name} readings, without scatter_from");
                    self.fault(&field, found, "an input with readings", fix);
                } else {
                    places.push(place);
                }
            }
            if places.len() < names.len() {
                continue;
            }
            let readings: Vec<&[f64]> = places
                .iter()
                .map(|place| written.inputs[*place].readings.as_deref().unwrap_or(&[]))
                .collect();
            let together = match Simultaneous::of(&readings) {
                Ok(together) => together,
                Err(error) => {
                    let must = error.must.strip_prefix("be ").unwrap_or(&error.must).to_owned();
                    self.fault(&field, error.found, must, error.fix);
                    continue;
                }
            };
            match Knowledge::simultaneous(&together) {
                Ok(knowledge) => known.extend(places.iter().copied().zip(knowledge)),
                Err(_) => {
                    let found = format!("{} readings each of {} inputs", readings[0].len(), places.len());
                    let must = "more readings of each than there are inputs, for a joint density to follow from them";
                    self.fault(&field, found, must, "add readings");
                    continue;
                }
            }
            for (i, first) in places.iter().enumerate() {
                for (j, second) in places.iter().enumerate().skip(i + 1) {
                    let names = [first, second].map(|place| written.inputs[*place].name.clone());
                    self.follows(&field, names, together.correlation.coefficient(i, j), "readings", pairs);
                }
            }
            groups.push(places);
        }
        known
    }

    fn is_input(&mut self, field: &str, name: &str, written: &WrittenModel) -> bool {
        let names = || written.inputs.iter().map(|input| input.name.as_str());
        if names().any(|known| known == name) {
            return true;
        }
        let fix = match did_you_mean(name, names()) {
            Some(known) => format!("write \"{known}\""),
            None => format!("write one of {}", listing(names())),
        };
        self.fault(field, format!("\"{name}\", which is no input"), "the name of an input", fix);
        false
    }

    fn model_fault(&mut self, fault: ModelFault, written: &WrittenModel) {
        match fault {
            ModelFault::NoMeasurand | ModelFault::NoInput => {
                self.fault("", "without measurand or input", "a model with both", "add one");
            }
            ModelFault::InputName { input } => {
                let found = format!("\"{}\"", written.inputs[input].name);
                let must = "letters, digits and _, not beginning with a digit, and not the name of a function or of pi";
                self.fault(&format!("inputs[{input}].name"), found, must, "choose another name");
            }
            ModelFault::InputTwice { input, earlier } => {
                let found = format!("the name of inputs[{earlier}] again");
                self.fault(
                    &format!("inputs[{input}].name"),
                    found,
                    "a name of its own",
                    "rename one of the two",
                );
            }
            ModelFault::MeasurandTwice { measurand, earlier } => {
                let found = format!("the name of measurands[{earlier}] again");
                let field = format!("measurands[{measurand}].name");
                self.fault(&field, found, "a name of its own", "rename one of the two");
            }
            ModelFault::InputKnowledge { input } => {
                let must =
                    "finite numbers, the standard uncertainty not negative, the degrees of freedom above 0";
                self.fault(
                    &format!("inputs[{input}]"),
                    "an input with numbers out of reach",
                    must,
                    "check the numbers",
                );
            }
            ModelFault::Formula { measurand, error } => self.formula_fault(measurand, error),
            ModelFault::Correlation(error) => {
                let field = if written.correlations.is_some() { "correlations" } else { "simultaneous" };
                let found = format!("impossible for {}", error.names.join(", "));
                let must = "coefficients that do not contradict each other: every sum of the inputs has a variance of at \
                            least 0";
                self.fault(field, found, must, error.fix);
            }
        }
    }

    fn limits(&mut self, measurand: usize, written: &WrittenMeasurand) -> Option<GivenLimits> {
        let written = written.limits.as_ref()?;
        let ends = |[lower, upper]: [&Option<Quantity<Plain>>; 2]| {
            [lower, upper].map(|limit| limit.as_ref().map(|limit| limit.value))
        };
        let tolerance = ends([&written.lower, &written.upper]);
        let acceptance = written.acceptance.as_ref().map(|given| ends([&given.lower, &given.upper]));
        let field = format!("measurands[{measurand}].limits");
        if tolerance == [None, None] {
            let must = "a lower limit, an upper one or both";
            self.fault(&field, "limits without a number", must, "add one");
        }
        self.rising(&field, "limits", tolerance, |low, high| low < high);
        if let Some(acceptance) = acceptance {
            let field = format!("{field}.acceptance");
            if acceptance.map(|end| end.is_some()) != tolerance.map(|end| end.is_some()) {
                let must = "a lower acceptance limit where there is a lower limit, and an upper one where there is an upper one";
                self.fault(
                    &field,
                    "acceptance limits on other sides than the limits",
                    must,
                    "add or remove one",
                );
            }
            self.rising(&field, "acceptance limits", acceptance, |low, high| low <= high);
        }
        let prior = written.prior.as_ref().map(|prior| prior.known);
        Some(GivenLimits { tolerance, asked: written.kept_with, acceptance, prior })
    }

    fn rising(&mut self, field: &str, what: &str, ends: Ends, sound: impl Fn(f64, f64) -> bool) {
        if let [Some(low), Some(high)] = ends
            && !sound(low, high)
        {
            let fix = "exchange them or check the numbers";
            self.fault(field, format!("{what} from {low} to {high}"), "the lower below the upper one", fix);
        }
    }

    /// Formulas must have values at the estimates, and add nothing in different units.
    fn values_and_units(&mut self, model: &MeasurementModel, written: &WrittenModel) {
        let estimates = model.estimates();
        let units: Vec<Option<&str>> = written.inputs.iter().map(|input| input.unit.as_deref()).collect();
        // A fault of a measurand is no other one's that uses it by its name.
        let mut faulty: Vec<&str> = Vec::new();
        for (index, (measurand, written)) in model.measurands().iter().zip(&written.measurands).enumerate() {
            let value = measurand.formula.value(&estimates).err();
            let units = measurand.formula.check_units(&units, written.unit.as_deref()).err();
            let is_faulty = value.is_some() || units.is_some();
            let own = |error: &FormulaError| !faulty.contains(&&written.formula[error.span.clone()]);
            if let Some(error) = value.filter(own) {
                let found =
                    format!("without a value at the estimates (formula of {}, {error})", measurand.name);
                let error = FormulaError { problem: found, hint: "check the estimates".into(), ..error };
                self.fault_in_formula(index, error, "a formula with a value there");
            }
            if let Some(error) = units.filter(own) {
                let found = format!("of mixed units at its column {} ({})", error.column, error.problem);
                let error = FormulaError { problem: found, ..error };
                self.fault_in_formula(
                    index,
                    error,
                    "in one unit wherever quantities are added, compared or stated",
                );
            }
            if is_faulty && !model.inputs().iter().any(|input| input.name == measurand.name) {
                faulty.push(&measurand.name);
            }
        }
    }

    fn formula_fault(&mut self, measurand: usize, error: FormulaError) {
        let found = format!("no formula at its column {} ({})", error.column, error.problem);
        let hint = if error.hint.is_empty() { "mend the formula at this place".into() } else { error.hint };
        let error = FormulaError { problem: found, hint, ..error };
        self.fault_in_formula(measurand, error, "ordinary mathematics with the names of the inputs");
    }

    /// A fault at its place in a formula, told as the error has it.
    fn fault_in_formula(&mut self, measurand: usize, error: FormulaError, must: &str) {
        let field = format!("measurands[{measurand}].formula");
        let at = self.positions.get(&field).map(|at| within_text(self.text, *at, error.column));
        self.faults.push(Fault {
            field,
            found: error.problem,
            must: must.into(),
            fix: error.hint,
            at: at.or_else(|| nearest(&self.positions, "measurands")),
        });
    }
}

/// Where the character `column` (from 1) of a JSON string stands in the file, whose opening quote is `at`.
fn within_text(text: &str, at: Position, column: usize) -> Position {
    let line = unmarked(text).split('\n').nth(at.line - 1).unwrap_or_default();
    let mut written = line.chars().skip(at.column).peekable();
    let mut place = at.column + 1;
    for _ in 1..column {
        // An escape is several characters in the file and one in the formula.
        let escape = match (written.next(), written.peek()) {
            (Some('\\'), Some('u')) => 5,
            (Some('\\'), Some(_)) => 1,
            _ => 0,
        };
        for _ in 0..escape {
            written.next();
        }
        place += 1 + escape;
    }
    Position { column: place, ..at }
}

fn fitted(line: &WrittenLine) -> Result<StraightLine, ReadingsError> {
    let points: Vec<(f64, f64)> = line.points.iter().map(|[x, y]| (*x, *y)).collect();
    StraightLine::fit(&points, line.at.unwrap_or(0.0))
}

/// What of a line is meant; none where that is a height and it is not said where.
fn of_line(line: &WrittenLine) -> Option<OfLine> {
    match line.of {
        Some(WrittenOfLine::Slope) => Some(OfLine::Slope),
        _ => line.at.map(OfLine::HeightAt),
    }
}

/// The standard uncertainty of what is taken from a line; of a single reading, with its own scatter.
fn line_uncertainty(line: &WrittenLine, fit: &StraightLine, of: OfLine) -> f64 {
    let u = fit.estimate(of).standard_uncertainty;
    if line.for_one_reading { libm::hypot(u, fit.standard_deviation) } else { u }
}

fn pooled(scatter: &WrittenScatter) -> Result<Pooled, ReadingsError> {
    match scatter {
        WrittenScatter::Figures(ScatterFigures { standard_deviation, degrees_of_freedom }) => Ok(Pooled {
            standard_deviation: standard_deviation.value,
            degrees_of_freedom: *degrees_of_freedom,
        }),
        WrittenScatter::Series(ScatterSeries { series }) => {
            let series: Vec<Series> =
                series.iter().map(|readings| Series::of(readings)).collect::<Result<_, _>>()?;
            Ok(Pooled::of(&series))
        }
    }
}

fn degrees_of_freedom(input: &WrittenInput) -> Option<f64> {
    input.degrees_of_freedom.or_else(|| input.uncertainty_trusted_within.map(degrees_of_freedom_from))
}

/// A unit as written; "1" where there is none.
fn unit(written: &Option<String>) -> String {
    written.clone().unwrap_or_else(|| "1".into())
}

/// A unit behind a number.
fn space(unit: &Option<String>) -> String {
    unit.as_ref().filter(|unit| *unit != "1").map_or(String::new(), |unit| format!(" {unit}"))
}

fn nothing() -> Knowledge {
    Knowledge::of(crate::quantity::distribution::Distribution::Constant { value: 0.0 })
}
