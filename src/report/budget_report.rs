//! The report on the budget of a measurement: by the law of propagation, by Monte Carlo, and whether they agree.

use super::{
    Report,
    budget_table::{behind, budget_table, described, distributions_table, result},
    chart::{
        Mark,
        bars::{Bar, BarUnit, Bars, Share},
        histogram::{Density, Histogram, Interval},
    },
    document::{BudgetDocument, MonteCarloDocument, SecondOrderDocument, finite},
    number::{Digits, percent, plain, probability, typeset, unit_label},
    page::{LIMITS_OF_USE, Page, Part, date_fact, ending, short_digest},
    picture::Svg,
    setup_words,
    table::{Cell, Column, Table},
    text,
};
use crate::{
    decision::{
        given_limits::{ByLaw, GivenLimits, Judged},
        limits::Verdict,
    },
    model::measurement::Measurand,
    propagation::{
        evaluation::Evaluation,
        law::{Budget, LawError, LinearResult},
        monte_carlo::{Convergence, IntervalKind, MonteCarlo, MonteCarloError, Validation},
        region::CoverageRegions,
        simulation::Simulation,
    },
    quantity::{
        rounding::{Rounded, significant},
        sample::Summary,
        student::t_density,
        unit::{MICROMETRE, Measure},
    },
    setup::{FittedLine, MeasurementSetup, Setup},
};
use schemars::JsonSchema;
use serde::Serialize;
use std::borrow::Cow;

/// Everything a report on a budget is made from; every number it shows is here.
#[derive(Debug, Clone)]
pub struct BudgetReport<'a> {
    /// What the measurement is called.
    pub title: &'a str,
    /// One a measurand, at least one.
    pub measurands: Vec<MeasurandReport<'a>>,
    /// How several measurands are correlated.
    pub joint: Option<Joint>,
    /// Where the knowledge of inputs comes from: input and words.
    pub evidence: Vec<[&'a str; 2]>,
    /// Correlation coefficients of inputs, where they are not 0.
    pub input_correlations: Vec<(&'a str, &'a str, f64)>,
    /// The straight lines that inputs are taken from.
    pub lines: &'a [FittedLine],
    /// What is worth a second look, in sentences.
    pub remarks: Vec<String>,
    /// That the linear result is not to be relied on, because the formulas have no value in some trials.
    pub without_value: Option<String>,
    /// Digest of the file.
    pub digest: &'a str,
    /// The seed of the trials.
    pub seed: u64,
    /// The shop check, if it is one.
    pub check: Option<&'a Setup>,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

/// What is known of one measurand; numbers in its unit.
#[derive(Debug, Clone)]
pub struct MeasurandReport<'a> {
    /// By the law of propagation.
    pub budget: Budget,
    /// The formula, if it is one that a user typed.
    pub formula: Option<&'a str>,
    /// Limits that it is to keep.
    pub limits: Option<GivenLimits>,
    /// By Monte Carlo.
    pub trials: Option<TrialsReport<'a>>,
}

/// What Monte Carlo says of one measurand; numbers in its unit.
#[derive(Debug, Clone)]
pub struct TrialsReport<'a> {
    /// Estimate, standard uncertainty, intervals.
    pub summary: Summary,
    /// Every trial's value.
    pub values: Cow<'a, [f64]>,
    /// How well adaptive trials have settled.
    pub convergence: Option<Convergence>,
    /// Whether the linear result may be used, if there is one.
    pub validation: Option<Validation>,
    /// The interval by which that was judged.
    pub interval: IntervalKind,
}

/// How several measurands are correlated, by either way.
#[derive(Debug, Clone)]
pub struct Joint {
    /// By the law of propagation.
    pub linear: JointPart,
    /// By Monte Carlo.
    pub monte_carlo: Option<JointPart>,
}

/// How several measurands are correlated.
#[derive(Debug, Clone, Serialize, JsonSchema)]
#[schemars(rename = "JointDocument", description = "How several measurands are correlated, by Monte Carlo.")]
pub struct JointPart {
    /// Correlation coefficients of the measurands; null where a density has no variance.
    #[schemars(with = "Matrix")]
    pub correlation: Vec<Vec<f64>>,
    /// Covariances of the measurands, each in the product of both units; null where there is none.
    #[schemars(with = "Matrix")]
    pub covariance: Vec<Vec<f64>>,
    /// Joint coverage regions, over the trials.
    pub regions: Option<CoverageRegions>,
}

impl From<&LinearResult> for JointPart {
    fn from(r: &LinearResult) -> Self {
        Self { covariance: r.covariance.clone(), correlation: r.correlation.clone(), regions: r.regions }
    }
}

impl From<&MonteCarlo> for JointPart {
    fn from(r: &MonteCarlo) -> Self {
        Self { covariance: r.covariance.clone(), correlation: r.correlation.clone(), regions: r.regions }
    }
}

impl Report for BudgetReport<'_> {
    type Document = ReportDocument;

    fn page(&self) -> Page {
        let mut facts = match self.check {
            Some(setup) => setup_words::facts(setup, setup.tolerance.as_ref(), self.date),
            None => vec![
                date_fact(self.date),
                ["file".to_string(), short_digest(self.digest).to_string()],
                ["program".to_string(), format!("howflat {}", crate::VERSION)],
            ],
        };
        facts.push(["run".to_string(), self.run()]);
        Page {
            kind: "Uncertainty budget".into(),
            title: self.title.to_string(),
            facts,
            answer: self.measurands.iter().map(MeasurandReport::answer).collect(),
            parts: self.parts(),
            provenance: self.provenance(),
            for_signature: true,
            ..Page::default()
        }
    }

    fn document(&self) -> ReportDocument {
        let mut documents: Vec<MeasurandDocument> =
            self.measurands.iter().map(MeasurandReport::document).collect();
        let head = HeadDocument {
            title: text::inert(self.title),
            date: self.date.map(text::inert),
            answer: self.answer(),
            version: crate::VERSION.into(),
            file_digest: self.digest.into(),
            seed: self.seed,
            remarks: self.remarks.clone(),
            input_correlations: (!self.input_correlations.is_empty()).then(|| {
                let document = |(a, b, r): &(&str, &str, f64)| CorrelationDocument {
                    between: [a, b].map(|name| text::inert(name)),
                    coefficient: *r,
                };
                self.input_correlations.iter().map(document).collect()
            }),
            straight_lines: (!self.lines.is_empty())
                .then(|| self.lines.iter().map(LineDocument::from).collect()),
        };
        if documents.len() == 1 {
            let measurand = documents.remove(0);
            ReportDocument::One(Box::new(OneDocument { head, measurand }))
        } else {
            let joint = self.joint.as_ref();
            let monte_carlo = joint.and_then(|joint| joint.monte_carlo.as_ref());
            ReportDocument::Several(Box::new(SeveralDocument {
                head,
                measurands: documents,
                correlation: joint.map(|joint| matrix(&joint.linear.correlation)),
                covariance: joint.map(|joint| matrix(&joint.linear.covariance)),
                regions: joint.and_then(|joint| joint.linear.regions),
                monte_carlo: monte_carlo.cloned(),
            }))
        }
    }

    fn tables(&self) -> Vec<(String, Table)> {
        let each = self.measurands.iter().zip(self.suffixes());
        each.map(|(measurand, suffix)| (format!("budget{suffix}"), measurand.table())).collect()
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture.starts_with("histogram")
    }

    fn more_files(&self) -> Vec<(String, Vec<u8>)> {
        let tables = self.tables().into_iter();
        tables.map(|(name, table)| (format!("{name}.md"), table.markdown().into_bytes())).collect()
    }
}

/// What trials in which a formula has no value make of the linear result.
fn without_value(why: &MonteCarloError) -> Option<String> {
    let MonteCarloError::Fault(fault) = why else { return None };
    Some(format!(
        "Do not rely on it: in {} of {} trials the formula of {} has no value, so the inputs as they are described and the \
         formula do not go together.",
        fault.n_faulty, fault.n_trials, fault.measurand
    ))
}

impl<'a> BudgetReport<'a> {
    /// The report on a formula model.
    pub fn of_model(setup: &'a MeasurementSetup, evaluation: &'a Evaluation) -> Self {
        let all = setup.model.measurands().iter().enumerate();
        let measurands: Vec<MeasurandReport> =
            all.map(|(index, of)| MeasurandReport::of_model(setup, evaluation, index, of)).collect();
        let inputs = setup.model.inputs();
        let correlation = setup.model.correlation();
        let pairs = (0..inputs.len()).flat_map(|i| (i + 1..inputs.len()).map(move |j| (i, j)));
        let input_correlations = pairs
            .map(|(i, j)| (inputs[i].name.as_str(), inputs[j].name.as_str(), correlation.coefficient(i, j)))
            .filter(|(_, _, r)| *r != 0.0);
        let no_trials = evaluation
            .no_monte_carlo
            .as_ref()
            .map(|why| format!("There is no Monte Carlo result to compare with: {why}."));
        let without_variance = evaluation
            .monte_carlo
            .as_ref()
            .map(|result| result.inputs_without_variance.as_slice())
            .filter(|inputs| !inputs.is_empty())
            .map(|inputs| {
                format!(
                    "Of few readings the density is t with few degrees of freedom, whose tails may leave no standard deviation \
                     (JCGM 101 6.4.9.4): what depends on {} as here has no standard uncertainty by Monte Carlo, but \
                     intervals it has.",
                    listed(inputs)
                )
            });
        let remarks = no_trials.into_iter().chain(without_variance);
        let remarks = remarks.chain(measurands.iter().filter_map(MeasurandReport::too_far_from_linear));
        let remarks = remarks.chain(setup.remarks.iter().cloned()).collect();
        Self {
            title: &setup.title,
            joint: (measurands.len() > 1).then(|| Joint {
                linear: JointPart::from(&evaluation.linear),
                monte_carlo: evaluation.monte_carlo.as_ref().map(JointPart::from),
            }),
            measurands,
            evidence: setup.evidence.iter().map(|e| [e.input.as_str(), e.what.as_str()]).collect(),
            input_correlations: input_correlations.collect(),
            lines: &setup.lines,
            remarks,
            without_value: evaluation.no_monte_carlo.as_ref().and_then(without_value),
            digest: &setup.digest,
            seed: evaluation.settings.seed,
            check: None,
            date: None,
        }
    }

    /// The report on a shop check: one reading, and the spread as the difference of two.
    pub fn of_check(setup: &'a Setup, simulation: &'a Simulation) -> Self {
        let to_unit = |value: f64| Measure { value, unit: MICROMETRE }.to(setup.unit);
        let in_unit = |budget: &Budget, measurand: &str| Budget {
            measurand: measurand.into(),
            ..budget.in_unit(unit_label(setup.unit), to_unit(1.0))
        };
        let trials = |summary: &Summary, values: &[f64], validation: &Validation| TrialsReport {
            summary: summary.map(to_unit),
            values: values.iter().map(|&value| to_unit(value)).collect(),
            convergence: None,
            validation: Some(validation.in_unit(to_unit(1.0))),
            interval: IntervalKind::Symmetric,
        };
        let (spread, of_one) = (&simulation.ways[0], &simulation.reading);
        let of_error = spread.error.with_moments_below(setup.check.indicator.moments_below());
        let budget = &simulation.budget;
        let reading = &setup.check.survey.readings[budget.reading];
        let spot = &setup.check.survey.spots[reading.spot];
        let remarks = [
            format!(
                "The reading is the one at \"{}\" from \"{}\", the least certain of this survey: a height over its zero. \
                 It is linear in all its inputs, so its standard uncertainty by the law of propagation is exact; how often it is \
                 off by so much is not, for rare grains and swings make no normal of it, and Monte Carlo tells that.",
                text::inert(&spot.target),
                text::inert(&spot.station)
            ),
            "The spread is the largest minus the smallest reading. As a budget it can only be the difference of two \
             readings, which knows nothing of the plate's form, nor that the extremes are picked afterwards; Monte Carlo \
             runs the whole survey on plates as the setup describes them."
                .to_string(),
        ];
        Self {
            title: &setup.title,
            measurands: vec![
                MeasurandReport {
                    budget: in_unit(&budget.of_reading, "one reading"),
                    formula: None,
                    limits: None,
                    trials: Some(trials(&of_one.summary, &of_one.values, &of_one.validation)),
                },
                MeasurandReport {
                    budget: in_unit(&budget.of_difference, "error of the spread"),
                    formula: None,
                    limits: None,
                    trials: Some(trials(&of_error, &spread.errors, &simulation.validation)),
                },
            ],
            joint: None,
            evidence: Vec::new(),
            input_correlations: Vec::new(),
            lines: &[],
            remarks: remarks.to_vec(),
            without_value: None,
            digest: &setup.digest,
            seed: simulation.settings.seed,
            check: Some(setup),
            date: None,
        }
    }

    /// The answer: a sentence a measurand.
    pub fn answer(&self) -> String {
        let answers = self.measurands.iter().map(MeasurandReport::answer);
        answers.chain(self.without_value.clone()).collect::<Vec<_>>().join(" ")
    }

    /// What follows the answer, in the order in which it is read.
    fn parts(&self) -> Vec<Part> {
        let mut parts = Vec::new();
        for (index, (measurand, suffix)) in self.measurands.iter().zip(self.suffixes()).enumerate() {
            let is_same = |other: &&MeasurandReport| {
                measurand.formula.is_none() && other.budget.inputs == measurand.budget.inputs
            };
            parts.extend(measurand.parts(&suffix, self.measurands[..index].iter().find(is_same)));
        }
        if let Some(joint) = &self.joint {
            parts.push(Part::heading("How the measurands are correlated"));
            parts.push(Part::Table(self.correlation_table(joint)));
            parts.extend(self.regions_table(joint).map(Part::Table));
        }
        parts.push(Part::heading("What it rests on"));
        parts.extend(self.rests_on());
        parts.extend(self.remarks.iter().cloned().map(Part::Words));
        if self.without_value.is_none() {
            parts.push(Part::heading("How to state it"));
            parts.extend(self.measurands.iter().map(|measurand| Part::Words(measurand.statement())));
        }
        parts.extend(ending(None, self.check.map_or(NO_CERTIFICATE, |_| LIMITS_OF_USE), &REFERENCES));
        let has_limits = self.measurands.iter().any(|measurand| measurand.limits.is_some());
        parts.extend(self.joint.is_some().then(|| Part::list(&[JOINT_REFERENCE])));
        parts.extend(has_limits.then(|| Part::list(&[CONFORMITY_REFERENCE])));
        parts
    }

    /// What is known of the inputs, and of the shop check if it is one.
    fn rests_on(&self) -> Vec<Part> {
        let mut parts = vec![Part::Table(distributions_table(self.measurands.iter().map(|m| &m.budget)))];
        if !self.evidence.is_empty() {
            let table = Table::of("Where the knowledge of the inputs comes from", &self.evidence);
            parts.push(Part::Table(table.text("input", |row| row[0]).text("from", |row| row[1]).table()));
        }
        if !self.lines.is_empty() {
            parts.push(Part::Table(self.lines_table()));
        }
        if !self.input_correlations.is_empty() {
            let table = Table::of("Correlations of the inputs", &self.input_correlations)
                .text("input", |(input, ..)| *input)
                .text("with", |(_, with, _)| *with)
                .number("correlation coefficient", "", Digits::Decimals(3), |(.., r)| *r);
            parts.extend([Part::Table(table.table()), Part::Words(OF_CORRELATED.into())]);
        }
        parts.extend(self.check.into_iter().flat_map(setup_words::granted));
        parts
    }

    fn lines_table(&self) -> Table {
        let figure = Digits::Significant(4);
        let caption = "Straight lines that inputs are taken from (GUM H.3): height at an x, slope, and their correlation";
        Table::of(caption, self.lines)
            .text("inputs", |line| listed(&line.inputs))
            .count("points", |line| line.n_points)
            .number("at x", "", figure, |line| line.fit.reference)
            .number("height", "", figure, |line| line.fit.height)
            .number("its standard uncertainty", "", figure, |line| line.fit.height_uncertainty)
            .number("slope", "", figure, |line| line.fit.slope)
            .number("its standard uncertainty", "", figure, |line| line.fit.slope_uncertainty)
            .number("r of both", "", Digits::Decimals(3), |line| line.fit.correlation)
            .number("s about the line", "", figure, |line| line.fit.standard_deviation)
            .table()
    }

    fn correlation_table(&self, joint: &Joint) -> Table {
        let ways = [("linear", Some(&joint.linear)), ("Monte Carlo", joint.monte_carlo.as_ref())];
        let rows = ways.into_iter().filter_map(|(way, part)| Some((way, part?))).flat_map(|(way, part)| {
            self.measurands.iter().zip(&part.correlation).map(move |(of, row)| (way, of.name(), row))
        });
        let table = Table::of("Correlation coefficients of the measurands", rows)
            .text("way", |(way, ..)| *way)
            .text("measurand", |(_, name, _)| *name);
        let with = self.measurands.iter().enumerate();
        with.fold(table, |table, (k, other)| {
            table.number(other.name(), "", Digits::Decimals(4), |(.., coefficients)| coefficients[k])
        })
        .table()
    }

    fn regions_table(&self, joint: &Joint) -> Option<Table> {
        let linear = joint.linear.regions?;
        let by_trials = joint.monte_carlo.as_ref().and_then(|part| part.regions);
        let rows = std::iter::once(("linear (normal; box by Bonferroni's inequality)", linear));
        let factor = |k: f64| Cell::Number(k, Digits::Decimals(3));
        let caption = format!(
            "Regions that hold all measurands together with {} (JCGM 102): the ellipsoid of the covariances, and the box \
             of so many standard uncertainties either way",
            percent(linear.coverage_probability)
        );
        let table = Table::of(caption, rows.chain(by_trials.map(|regions| ("Monte Carlo", regions))))
            .text("way", |(way, _)| *way)
            .column(Column::numbers("ellipsoid, k_p", ""), |(_, regions)| {
                regions.elliptical_factor.map_or("none".into(), factor)
            })
            .column(Column::numbers("box, k_q", ""), |(_, regions)| factor(regions.rectangular_factor));
        Some(table.table())
    }

    fn provenance(&self) -> String {
        format!("howflat {}, file {}, {}.", crate::VERSION, short_digest(self.digest), self.run())
    }

    fn run(&self) -> String {
        match self.n_trials() {
            Some(n_trials) => format!("seed {}, {n_trials} trials", self.seed),
            None => "no trials".to_string(),
        }
    }

    fn n_trials(&self) -> Option<usize> {
        self.measurands.iter().filter_map(|m| m.trials.as_ref()).map(|trials| trials.values.len()).next()
    }

    /// What the files of each measurand end in: nothing if there is only one, else its name as far as a file system
    /// takes it.
    fn suffixes(&self) -> Vec<String> {
        if self.measurands.len() == 1 {
            return vec![String::new()];
        }
        let mut suffixes: Vec<String> = Vec::new();
        for (index, measurand) in self.measurands.iter().enumerate() {
            let plain: String = measurand
                .name()
                .chars()
                .take(40)
                .map(|c| if c.is_ascii_alphanumeric() { c } else { '-' })
                .collect();
            let plain = plain.trim_matches('-');
            let suffix = format!("-{plain}");
            // Some file systems do not tell R from r.
            let taken = suffixes.iter().any(|other| other.eq_ignore_ascii_case(&suffix));
            suffixes.push(if plain.is_empty() || taken { format!("{suffix}-{}", index + 1) } else { suffix });
        }
        suffixes
    }
}

impl<'a> MeasurandReport<'a> {
    fn of_model(
        setup: &'a MeasurementSetup,
        evaluation: &'a Evaluation,
        index: usize,
        measurand: &'a Measurand,
    ) -> Self {
        let trials = || {
            let trials = evaluation.monte_carlo.as_ref()?.measurands.get(index)?;
            Some(TrialsReport {
                summary: trials.summary,
                values: Cow::Borrowed(&trials.values),
                convergence: trials.convergence,
                validation: *evaluation.validations.get(index)?,
                interval: evaluation.settings.interval,
            })
        };
        // Of several measurands each has the inputs that its own formula uses.
        let mut budget = evaluation.linear.budgets[index].clone();
        let mut uses = (0..budget.inputs.len()).map(|input| measurand.formula.uses(input));
        budget.inputs.retain(|_| uses.next() == Some(true));
        // What the user called things goes everywhere from here, machines' documents included.
        budget.measurand = text::inert(&budget.measurand);
        budget.unit = text::inert(&budget.unit);
        budget.inputs.iter_mut().for_each(|row| row.unit = text::inert(&row.unit));
        let limits = setup.limits.get(index).copied().flatten();
        Self { budget, formula: Some(measurand.formula.source()), limits, trials: trials() }
    }

    fn name(&self) -> &str {
        &self.budget.measurand
    }

    /// All that is said of it; `same` is another one that has the same budget and was told before.
    fn parts(&self, suffix: &str, same: Option<&MeasurandReport>) -> Vec<Part> {
        let name = self.name();
        let mut parts = vec![Part::Heading(format!("Budget of {name}"))];
        parts.extend(self.formula.map(|formula| Part::Words(format!("Model: {name} = {formula}"))));
        if let Some(other) = same {
            parts.push(Part::Words(format!(
                "By the law of propagation its budget is that of {}, row by row: {}.",
                other.name(),
                result(&self.budget)
            )));
        } else {
            let caption =
                format!("Share of each input in the combined variance of {name}, by the law of propagation.");
            let bars = self.contributions();
            parts.push(Part::Table(self.table()));
            parts.extend(bars.map(|bars| Part::picture(format!("contributions{suffix}"), bars, caption)));
        }
        parts.extend(self.higher_terms().map(Part::Table));
        parts.extend(self.comparison().map(Part::Table));
        parts.extend(self.settled().map(Part::Words));
        parts.extend(self.conformity().map(Part::Words));
        let caption =
            format!("Values of {name} by Monte Carlo, and the density of the linear result over them.");
        let histogram = self.histogram();
        parts.extend(histogram.map(|svg| Part::picture(format!("histogram{suffix}"), svg, caption)));
        parts
    }

    /// Unit behind a number, with its space; nothing for a pure number.
    fn unit(&self) -> String {
        behind(&self.budget.unit)
    }

    /// Unit of a column or an axis.
    fn plain_unit(&self) -> &str {
        if self.budget.unit == "1" { "" } else { &self.budget.unit }
    }

    /// The uncertainty that numbers are rounded by.
    fn scale(&self) -> f64 {
        let summary = self.trials.as_ref().map(|trials| &trials.summary);
        let known = [summary.map(|s| s.standard_deviation), Some(self.budget.standard_uncertainty())];
        let interval = || summary.map_or(0.0, |s| 0.25 * (s.interval_symmetric[1] - s.interval_symmetric[0]));
        known.into_iter().flatten().find(|u| u.is_finite() && *u > 0.0).unwrap_or_else(interval)
    }

    /// As many digits as values of the measurand are worth.
    fn digits(&self) -> Digits {
        Digits::worth(self.budget.estimate, self.scale(), 3)
    }

    fn expanded(&self) -> f64 {
        let [low, high] = self.budget.coverage_interval();
        0.5 * (high - low)
    }

    fn combined(&self) -> f64 {
        self.budget.standard_uncertainty()
    }

    /// The result by the law of propagation, as the beginning of a sentence.
    fn linear(&self) -> String {
        let (name, unit) = (self.name(), self.unit());
        let p = percent(self.budget.coverage_probability);
        let estimate = significant(self.budget.estimate, 15);
        if self.combined() > 0.0 {
            let rounded = Rounded::of(self.budget.estimate, self.expanded(), 2);
            let k = self.budget.coverage_factor;
            return format!("{name} = {rounded}{unit}, an expanded uncertainty for {p} (k = {k:.2})");
        }
        if self.budget.inputs.iter().all(|row| row.standard_uncertainty == 0.0) {
            return format!(
                "{name} = {estimate}{unit} exactly, since all its inputs are taken as exactly known"
            );
        }
        format!("{name} = {estimate}{unit}, with an uncertainty of 0 by the law of propagation")
    }

    /// What is measured, how well, and by which of the two ways, in a sentence.
    fn answer(&self) -> String {
        let (name, unit) = (self.name(), self.unit());
        let p = percent(self.budget.coverage_probability);
        let Some(trials) = &self.trials else { return format!("{}.", self.linear()) };
        let [low, high] = trials.interval.of(&trials.summary).map(|end| plain(end, self.digits()));
        let kind = kind_name(trials.interval);
        let lies = format!(
            "{name} lies between {low} and {high}{unit} with a probability of {p} ({kind} interval by Monte Carlo)"
        );
        match (&trials.validation, &self.budget.no_law) {
            (Some(validation), _) if validation.linear_result_may_be_used => match self.combined() > 0.0 {
                true => {
                    format!("{}; Monte Carlo agrees: {low} to {high}{unit} ({kind} interval).", self.linear())
                }
                false => format!("{}.", self.linear()),
            },
            (Some(validation), _) if !validation.is_decided => format!(
                "{lies}; whether the linear result, {}{unit}, may be used instead is not decided, for the trials are too few.",
                Rounded::of(self.budget.estimate, self.expanded(), 2)
            ),
            (Some(_), _) => format!(
                "{lies}; the linear result, {}{unit}, may not be used instead.",
                Rounded::of(self.budget.estimate, self.expanded(), 2)
            ),
            (None, Some(LawError::Formula { error, .. })) => format!(
                "{lies}; there is no result by the law of propagation (column {} of the formula: {}).",
                error.column, error.problem
            ),
            (None, Some(why)) => format!("{lies}; there is no result by the law of propagation ({why})."),
            (None, None) => format!("{lies}."),
        }
    }

    /// What is to be said where the terms that the law leaves out weigh more than those it has.
    fn too_far_from_linear(&self) -> Option<String> {
        let budget = &self.budget;
        let u = budget.combined_standard_uncertainty;
        let neglected = budget.neglected_variance;
        let uncertain = budget.inputs.iter().any(|row| row.standard_uncertainty > 0.0);
        let what = match neglected {
            _ if u == 0.0 && uncertain && budget.second_order.is_none() => format!(
                "To first order the uncertainty of {} is 0, though its inputs are uncertain: all their contributions vanish or \
                 cancel at the estimates",
                self.name()
            ),
            Some(more) if u > 0.0 && more.abs() > u * u => format!(
                "The terms of the next higher order (GUM 5.1.2, note) are larger than those of the first in the variance of \
                 {}: they come to {} times as much",
                self.name(),
                plain(more / (u * u), Digits::Significant(2))
            ),
            _ => return None,
        };
        let instead = match neglected {
            Some(more) if u * u + more > 0.0 => format!(
                "; with them the combined standard uncertainty is {}{}. Use --order 2, or Monte Carlo.",
                plain(libm::sqrt(u * u + more), Digits::Significant(3)),
                self.unit()
            ),
            _ => ". Use Monte Carlo.".to_string(),
        };
        Some(what + &instead)
    }

    /// The budget in the columns of the GUM.
    fn table(&self) -> Table {
        budget_table(&self.budget, &format!("Budget of {}", self.name()))
    }

    /// The terms of the next higher order, if they were asked for.
    fn higher_terms(&self) -> Option<Table> {
        /// Terms below this part of the variance are left to the JSON document.
        const NOTHING: f64 = 1e-6;
        let second = self.budget.second_order.as_ref()?;
        let least = NOTHING * second.combined_standard_uncertainty.powi(2);
        let unit = self.unit();
        let caption = format!(
            "Terms of the next higher order (GUM 5.1.2, note, with each input's own third and fourth moment): with them the \
             combined standard uncertainty is {}{unit} and \
             the expanded uncertainty {}{unit}; the expectation lies {}{unit} from the estimate",
            plain(second.combined_standard_uncertainty, Digits::Significant(3)),
            plain(second.expanded_uncertainty, Digits::Significant(3)),
            plain(second.expectation_shift, Digits::Significant(2)),
        );
        let digits = Digits::Significant(3);
        let root = |variance: f64| libm::sqrt(variance.abs()).copysign(variance);
        let table = Table::of(caption, second.terms.iter().filter(|term| term.variance.abs() > least))
            .text("input", |term| term.first.as_str())
            .text("with", |term| term.second.as_str())
            .number("adds to the variance", "", digits, |term| term.variance)
            .number("its square root", self.plain_unit(), digits, |term| root(term.variance))
            .table();
        (!table.rows.is_empty()).then_some(table)
    }

    /// Both ways beside each other, with the verdict of JCGM 101 clause 8.
    fn comparison(&self) -> Option<Table> {
        let trials = self.trials.as_ref()?;
        let (s, digits, unit) = (&trials.summary, self.digits(), self.plain_unit());
        let order = if self.budget.second_order.is_some() { "with higher-order terms" } else { "linear" };
        let law = trials.validation.map(|_| {
            let way = format!("law of propagation, {order}");
            (way, self.budget.estimate, self.combined(), self.budget.coverage_interval())
        });
        let by_trials = [("symmetric", s.interval_symmetric), ("shortest", s.interval_shortest)];
        let by_trials = by_trials.map(|(kind, ends)| {
            (format!("Monte Carlo, {kind} interval"), s.mean, s.standard_deviation, ends)
        });
        let (p, name, n) = (percent(self.budget.coverage_probability), self.name(), trials.values.len());
        let caption = match &trials.validation {
            None => format!("{p} of {name} by Monte Carlo ({n} trials)"),
            Some(validation) => format!(
                "Two ways to {p} of {name} ({n} trials): {}",
                self.agreement(validation, kind_name(trials.interval))
            ),
        };
        let table = Table::of(caption, law.into_iter().chain(by_trials))
            .text("way", |(way, ..)| way.clone())
            .number("estimate", unit, digits, |(_, estimate, ..)| *estimate)
            .number("standard uncertainty", unit, Digits::Significant(3), |(_, _, u, _)| *u)
            .number("from", unit, digits, |(.., ends)| ends[0])
            .number("to", unit, digits, |(.., ends)| ends[1]);
        Some(table.table())
    }

    /// Whether the result by the law may be used, and by how much it misses that of the trials.
    fn agreement(&self, validation: &Validation, judged: &str) -> String {
        let verdict = match (validation.is_decided, validation.linear_result_may_be_used) {
            (false, _) => "is not shown to be fit for use",
            (true, true) => "may be used",
            (true, false) => "may not be used",
        };
        let digits_asked = match validation.significant_digits {
            1 => "1 significant digit".to_string(),
            n => format!("{n} significant digits"),
        };
        let far = |d: f64| plain(d, Digits::Significant(2));
        let unit = self.unit();
        let luck = match validation.is_decided {
            true => String::new(),
            false => format!(
                "; the ends by Monte Carlo scatter by {} and {}{unit} from run to run, which is too much to tell: more \
                 trials are needed, or fewer digits, as with --digits 1",
                far(validation.end_scatter[0]),
                far(validation.end_scatter[1])
            ),
        };
        format!(
            "the result by the law {verdict} (JCGM 101 clause 8: the ends of the {judged} interval are {} and {}{unit} apart, \
             and {}{unit} is allowed for {digits_asked} of the standard uncertainty{luck})",
            far(validation.d_low),
            far(validation.d_high),
            plain(validation.delta, Digits::Significant(1)),
        )
    }

    /// How likely it keeps its limits: by the law where it may be used or stands alone, else by Monte Carlo.
    fn judged(&self) -> Option<Judged> {
        let budget = &self.budget;
        let law = budget.no_law.is_none().then_some(ByLaw {
            estimate: budget.estimate,
            standard_uncertainty: self.combined(),
            degrees_of_freedom: budget.effective_degrees_of_freedom,
        });
        let decides = self.trials.as_ref().is_none_or(|trials| {
            trials.validation.is_some_and(|validation| validation.linear_result_may_be_used)
        });
        let trials = self.trials.as_ref().map(|trials| match trials.summary.mean {
            mean if mean.is_finite() => (mean, &*trials.values),
            _ => (budget.estimate, &*trials.values),
        });
        self.limits?.judge(law, trials, decides)
    }

    /// The same in words.
    fn conformity(&self) -> Option<String> {
        let (limits, judged) = (self.limits?, self.judged()?);
        let (name, unit, asked) = (self.name(), self.unit(), percent(limits.asked));
        let limit = |limit: f64| format!("{}{unit}", significant(limit, 10));
        let kept = match limits.tolerance {
            [Some(low), Some(high)] => format!("the limits {} and {}", limit(low), limit(high)),
            [Some(low), None] => format!("the lower limit {}", limit(low)),
            [_, high] => format!("the upper limit {}", limit(high.unwrap_or(f64::NAN))),
        };
        let accepted =
            judged.acceptance.map(|ends| match ends.map(|end| end.map(|end| plain(end, self.digits()))) {
                [Some(low), Some(high)] => format!("from {low} to {high}{unit}"),
                [Some(low), None] => format!("from {low}{unit}"),
                [_, high] => format!("up to {}{unit}", high.unwrap_or_default()),
            });
        let accepted = match (accepted, judged.guard_band) {
            (Some(accepted), Some(band)) => format!(
                " Estimates {accepted} keep each limit, for itself, with {asked} (guard band {}{unit}).",
                plain(band, Digits::Significant(2))
            ),
            (Some(accepted), None) => format!(" Estimates {accepted} are accepted, as the file has it."),
            (None, _) if limits.prior.is_some() => {
                " There are no acceptance limits to tell global risks by: write them as \
                                                     \"acceptance\"."
                    .to_string()
            }
            (None, _) => String::new(),
        };
        let global = judged.global_risks.zip(limits.prior).map_or(String::new(), |(risks, prior)| {
            format!(
                " Of all that are measured ({}), {} conform; so accepted, {} would be accepted and not conform (global \
                 consumer's risk), and {} rejected though they conform (global producer's risk).",
                described(&prior, &self.budget.unit),
                probability(risks.conforming),
                probability(risks.consumers),
                probability(risks.producers),
            )
        });
        Some(format!(
            "Conformity (JCGM 106): {name} keeps {kept} with a probability of {}: {}. Accepted, it fails to conform with {} \
             (specific consumer's risk); rejected, it conforms with {} (specific producer's risk).{accepted}{global}",
            probability(judged.probability),
            match judged.verdict {
                Verdict::Undecided => format!("undecided, where {asked} is asked for"),
                verdict => conforms(verdict).to_string(),
            },
            probability(1.0 - judged.probability),
            probability(judged.probability),
        ))
    }

    /// How well adaptive trials have settled, in a sentence.
    fn settled(&self) -> Option<String> {
        let c = self.trials.as_ref()?.convergence?;
        let reached = c.reached.iter().copied().fold(0.0, f64::max);
        let unit = self.unit();
        let figure = |value: f64| plain(value, Digits::Significant(2));
        let outcome = if c.has_settled {
            "is reached"
        } else {
            "is not reached, and the trials ended at the largest number allowed"
        };
        let plural = if c.significant_digits == 1 { "digit" } else { "digits" };
        Some(format!(
            "Trials were run until {} significant {plural} of the standard uncertainty of {} would stand (JCGM 101 7.9): twice \
             the standard deviation of the least settled figure is {}{unit}; the aim of {}{unit} (numerical tolerance \
             {}{unit}, a fifth of it for the comparison) {outcome}.",
            c.significant_digits,
            self.name(),
            figure(reached),
            figure(c.aimed_at),
            figure(c.delta),
        ))
    }

    /// How the result may be stated (GUM 7.2.2 to 7.2.4 for the linear result).
    fn statement(&self) -> String {
        let (name, unit) = (self.name(), self.unit());
        let p = percent(self.budget.coverage_probability);
        let may_be_used = |t: &&TrialsReport| t.validation.is_some_and(|v| v.linear_result_may_be_used);
        if let Some(trials) = self.trials.as_ref().filter(|t| !may_be_used(t)) {
            let s = &trials.summary;
            // What has no standard deviation is stated by its interval alone.
            let standard = match s.standard_deviation.is_finite() {
                true => Rounded::of(s.mean, s.standard_deviation, 2),
                false => Rounded {
                    estimate: plain(self.budget.estimate, self.digits()),
                    uncertainty: String::new(),
                },
            };
            let with = match standard.uncertainty.as_str() {
                "" => String::new(),
                u => format!(" with a standard uncertainty of {u}{unit}"),
            };
            let [low, high] = trials.interval.of(s).map(|end| plain(end, self.digits()));
            return format!(
                "To state: {name} = {}{unit}{with}; the {} coverage interval for {p} runs \
                 from {low}{unit} to {high}{unit}, by propagation of distributions with {} Monte Carlo trials.",
                standard.estimate,
                kind_name(trials.interval),
                trials.values.len(),
            );
        }
        if self.combined() == 0.0 {
            return format!("To state: {}.", self.linear());
        }
        let combined = Rounded::of(self.budget.estimate, self.combined(), 2);
        let expanded = Rounded::of(self.budget.estimate, self.expanded(), 2);
        let nu = self.budget.coverage_degrees_of_freedom;
        let from = if nu.is_finite() {
            format!("the t-distribution with {} degrees of freedom", plain(nu, Digits::Full))
        } else {
            "the normal distribution".to_string()
        };
        format!(
            "To state: {name} = ({expanded}){unit}, where the number after the sign is an expanded uncertainty U = k u_c, with \
             the combined standard uncertainty u_c = {}{unit} and the coverage factor k = {:.2} from {from}; the interval \
             has a coverage probability of about {p}. Or, with the standard uncertainty alone: {name} = {}{unit}, the \
             number in brackets being u_c in units of the last digits.",
            combined.uncertainty,
            self.budget.coverage_factor,
            combined.concise(),
        )
    }

    fn document(&self) -> MeasurandDocument {
        let budget = BudgetDocument::from(self.budget.clone());
        let expanded = Rounded::of(self.budget.estimate, self.expanded(), 2);
        let trials = self.trials.as_ref();
        let (y, expanded_uncertainty) = (self.budget.estimate, self.budget.expanded_uncertainty);
        MeasurandDocument {
            budget,
            formula: self.formula.map(text::sentence),
            interval: [y - expanded_uncertainty, y + expanded_uncertainty].map(finite),
            second_order: self.budget.second_order.as_ref().map(|second| SecondOrderDocument::new(second, y)),
            monte_carlo: trials
                .map(|t| MonteCarloDocument::new(&t.summary, t.values.len() as u64, t.convergence)),
            validation: trials.and_then(|t| t.validation),
            conformity: self
                .limits
                .zip(self.judged())
                .map(|(limits, judged)| ConformityDocument::new(&limits, &judged, &self.budget.unit)),
            rounded: self.budget.no_law.is_none().then_some(RoundedDocument {
                estimate: expanded.estimate,
                expanded_uncertainty: expanded.uncertainty,
            }),
            statement: self.statement(),
        }
    }

    /// Histogram of the trials with the density of the linear result over it; none without trials.
    fn histogram(&self) -> Option<Svg> {
        let trials = self.trials.as_ref()?;
        let budget = &self.budget;
        let digits = self.digits();
        let s = &trials.summary;
        let p = percent(s.coverage_probability);
        let labels = [format!("{p}, symmetric"), format!("{p}, shortest"), format!("{p}, by the law")];
        let interval = |label, [low, high]: [f64; 2]| Interval { label, low, high };
        let mut intervals = vec![
            interval(labels[0].as_str(), s.interval_symmetric),
            interval(labels[1].as_str(), s.interval_shortest),
        ];
        if budget.no_law.is_none() {
            intervals.push(interval(labels[2].as_str(), budget.coverage_interval()));
        }
        if trials.interval == IntervalKind::Shortest {
            intervals.swap(0, 1);
        }
        let nu = budget.coverage_degrees_of_freedom;
        let (y, u) = (budget.estimate, self.combined());
        let shape = if nu.is_finite() {
            format!("t with {} degrees of freedom, by the law of propagation", plain(nu, Digits::Full))
        } else {
            "normal, by the law of propagation".to_string()
        };
        let density = |x: f64| t_density((x - y) / u, nu) / u;
        let mean = format!("mean {}{}", typeset(s.mean, digits), self.unit());
        let mark = [Mark { label: &mean, at: s.mean }];
        let title = format!("{} by Monte Carlo", self.name());
        let histogram = Histogram {
            title: &title,
            axis: self.name(),
            unit: self.plain_unit(),
            counted: "trials",
            name: "Monte Carlo",
            values: &trials.values,
            outlines: &[],
            intervals: &intervals,
            marks: if s.mean.is_finite() { &mark } else { &[] },
            density: (u > 0.0).then_some(Density { name: &shape, of: &density }),
            digits,
        };
        Some(histogram.svg())
    }

    /// Bars of the inputs' shares in the combined variance; none where there is no such variance.
    fn contributions(&self) -> Option<Svg> {
        let u = self.budget.combined_standard_uncertainty;
        if u.is_nan() || u == 0.0 {
            return None;
        }
        let bars: Vec<Bar> = self
            .budget
            .inputs
            .iter()
            .filter(|row| row.standard_uncertainty > 0.0)
            .map(|row| Bar {
                label: &row.name,
                first_order: Share { value: row.share, interval: None },
                total: None,
            })
            .collect();
        let mut largest = bars;
        largest.sort_by(|a, b| b.first_order.value.abs().total_cmp(&a.first_order.value.abs()));
        largest.truncate(16);
        let title = format!("What the uncertainty of {} comes from", self.name());
        Some(
            Bars {
                title: &title,
                axis: "share of the combined variance",
                unit: BarUnit::Percent,
                bars: &largest,
            }
            .svg(),
        )
    }
}

/// What a budget is not.
const NO_CERTIFICATE: &str = "A budget is as good as its model and what is known of the inputs; nothing that the model \
    leaves out is in the uncertainty. This is not a calibration certificate: for one, or for a dispute, go to a laboratory \
    accredited to ISO/IEC 17025.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 4] = [
    "Law of propagation: JCGM 100:2008 (GUM), 5.1.2 and, for correlated inputs, 5.2.2; effective degrees of freedom: \
     G.4.1; how a result is stated: 7.2.",
    "Distributions for the inputs: JCGM 101:2008, 6.4.",
    "Monte Carlo: JCGM 101:2008, clause 7, and 7.7 for the coverage intervals.",
    "Whether the linear result may be used: JCGM 101:2008, clause 8.",
];

/// How effective degrees of freedom come about where inputs are correlated.
const OF_CORRELATED: &str = "Effective degrees of freedom: G.4.1 makes no provision for correlated inputs. Here its approximation is \
    carried through with the correlations taken as known, each standard uncertainty scattering by itself; inputs that were \
    evaluated together, from one set of readings, count as one. Where nothing is correlated this is G.4.1.";

/// What regions of several measurands rest on.
const JOINT_REFERENCE: &str = "Regions that hold several measurands together: JCGM 102:2011, 6.5 and 7.7.";

/// What a conformance probability rests on.
const CONFORMITY_REFERENCE: &str =
    "Conformance probability, guarded acceptance, specific and global risks: JCGM 106:2012, clauses 7 to 9.";

/// "a, b and c".
fn listed(names: &[String]) -> String {
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

fn kind_name(kind: IntervalKind) -> &'static str {
    match kind {
        IntervalKind::Symmetric => "symmetric",
        IntervalKind::Shortest => "shortest",
    }
}

/// What a budget says: of one measurand by itself, or of several in a list.
#[derive(Debug, Serialize, JsonSchema)]
#[serde(untagged)]
#[schemars(title = "howflat budget")]
pub enum ReportDocument {
    /// One measurand.
    One(Box<OneDocument>),
    /// Several measurands.
    Several(Box<SeveralDocument>),
}

/// What every budget document begins with.
#[derive(Debug, Serialize, JsonSchema)]
struct HeadDocument {
    /// What the measurement is called.
    title: String,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// The answer, a sentence a measurand.
    answer: String,
    /// Version of the program.
    version: String,
    /// SHA-256 of what the file says.
    file_digest: String,
    /// Seed of the trials.
    seed: u64,
    /// What is worth a second look.
    remarks: Vec<String>,
    /// Correlation coefficients of inputs, where they are not 0, also those that follow from readings or lines; left out
    /// where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    input_correlations: Option<Vec<CorrelationDocument>>,
    /// The straight lines that inputs are taken from; left out where there are none.
    #[serde(skip_serializing_if = "Option::is_none")]
    straight_lines: Option<Vec<LineDocument>>,
}

/// How two inputs are correlated.
#[derive(Debug, Serialize, JsonSchema)]
struct CorrelationDocument {
    /// The two inputs.
    between: [String; 2],
    /// Their correlation coefficient.
    coefficient: f64,
}

/// A straight line by least squares (GUM H.3), in the units of the points.
#[derive(Debug, Serialize, JsonSchema)]
struct LineDocument {
    /// The inputs that are taken from it.
    inputs: Vec<String>,
    /// How many points it goes through.
    points: usize,
    /// The x at which its height is given here.
    at: f64,
    /// Its height there.
    height: f64,
    /// Standard uncertainty of the height.
    height_uncertainty: f64,
    /// Its slope.
    slope: f64,
    /// Standard uncertainty of the slope.
    slope_uncertainty: f64,
    /// Correlation coefficient of height and slope.
    correlation: f64,
    /// Standard deviation of the points about it.
    standard_deviation: f64,
    /// Degrees of freedom of all these uncertainties.
    degrees_of_freedom: f64,
}

impl From<&FittedLine> for LineDocument {
    fn from(FittedLine { inputs, n_points, fit }: &FittedLine) -> Self {
        Self {
            inputs: inputs.iter().map(|name| text::inert(name)).collect(),
            points: *n_points,
            at: fit.reference,
            height: fit.height,
            height_uncertainty: fit.height_uncertainty,
            slope: fit.slope,
            slope_uncertainty: fit.slope_uncertainty,
            correlation: fit.correlation,
            standard_deviation: fit.standard_deviation,
            degrees_of_freedom: fit.degrees_of_freedom,
        }
    }
}

/// The budget of one measurand.
#[derive(Debug, Serialize, JsonSchema)]
pub struct OneDocument {
    #[serde(flatten)]
    head: HeadDocument,
    #[serde(flatten)]
    measurand: MeasurandDocument,
}

/// The budgets of several measurands.
#[derive(Debug, Serialize, JsonSchema)]
pub struct SeveralDocument {
    #[serde(flatten)]
    head: HeadDocument,
    /// One a measurand.
    measurands: Vec<MeasurandDocument>,
    /// Correlation coefficients of the measurands, by the law of propagation; left out where the budgets are not of
    /// one model, null where the law does not apply.
    #[serde(skip_serializing_if = "Option::is_none")]
    correlation: Option<Matrix>,
    /// Covariances of the measurands, each in the product of both units.
    #[serde(skip_serializing_if = "Option::is_none")]
    covariance: Option<Matrix>,
    /// Joint coverage regions, as for normal measurands.
    #[serde(skip_serializing_if = "Option::is_none")]
    regions: Option<CoverageRegions>,
    /// The same by Monte Carlo.
    #[serde(skip_serializing_if = "Option::is_none")]
    monte_carlo: Option<JointPart>,
}

/// Rows of numbers, null for what there is not.
type Matrix = Vec<Vec<Option<f64>>>;

fn matrix(numbers: &[Vec<f64>]) -> Matrix {
    numbers.iter().map(|row| row.iter().copied().map(finite).collect()).collect()
}

/// What is known of one measurand.
#[derive(Debug, Serialize, JsonSchema)]
struct MeasurandDocument {
    #[serde(flatten)]
    budget: BudgetDocument,
    /// The formula, as it was typed; left out where it is ours.
    #[serde(skip_serializing_if = "Option::is_none")]
    formula: Option<String>,
    /// Estimate minus and plus the expanded uncertainty, to first order; null where the law does not apply.
    interval: [Option<f64>; 2],
    /// With the terms of the next higher order; left out where they were not asked for.
    #[serde(skip_serializing_if = "Option::is_none")]
    second_order: Option<SecondOrderDocument>,
    /// By Monte Carlo; left out where there were no trials.
    #[serde(skip_serializing_if = "Option::is_none")]
    monte_carlo: Option<MonteCarloDocument>,
    /// Whether the result by the law may be used; left out where there were no trials, or is no law.
    #[serde(skip_serializing_if = "Option::is_none")]
    validation: Option<Validation>,
    /// How likely it keeps its limits; left out where none were given.
    #[serde(skip_serializing_if = "Option::is_none")]
    conformity: Option<ConformityDocument>,
    /// Estimate and expanded uncertainty as they are to be written (GUM 7.2.6); left out where the law does not apply.
    #[serde(skip_serializing_if = "Option::is_none")]
    rounded: Option<RoundedDocument>,
    /// How the result may be stated, in words.
    statement: String,
}

/// Whether a measurand keeps given limits (JCGM 106:2012); limits in its unit.
#[derive(Debug, Serialize, JsonSchema)]
struct ConformityDocument {
    /// The lower tolerance limit; null where there is none.
    lower_limit: Option<f64>,
    /// The upper tolerance limit; null where there is none.
    upper_limit: Option<f64>,
    /// The conformance probability: by the law where it may be used or stands alone, else by Monte Carlo.
    probability: f64,
    /// By the law of propagation, as t with the effective degrees of freedom; null where it does not apply.
    probability_by_law: Option<f64>,
    /// By Monte Carlo; null where there were no trials.
    probability_by_monte_carlo: Option<f64>,
    /// The probability that is asked for.
    asked_probability: f64,
    /// `conforms` or `does not conform` where that is as probable as asked, else `undecided`.
    verdict: String,
    /// Probability that it does not conform although it is accepted.
    specific_consumers_risk: f64,
    /// Probability that it conforms although it is rejected.
    specific_producers_risk: f64,
    /// How far inside a limit an estimate must lie to keep that one with the probability asked for; null where the law may
    /// not be used, where that leaves no room between two limits, and where acceptance limits are given.
    guard_band: Option<f64>,
    /// The acceptance limits, lower and upper: as given, else the tolerance limits moved inside by the guard band.
    acceptance_limits: [Option<f64>; 2],
    /// The risks over all that is measured; left out without a prior or without acceptance limits.
    #[serde(skip_serializing_if = "Option::is_none")]
    global_risks: Option<GlobalRisksDocument>,
}

/// Risks over all that is measured (JCGM 106:2012, 9.5), with the acceptance limits.
#[derive(Debug, Serialize, JsonSchema)]
struct GlobalRisksDocument {
    /// What is known of the measurand before it is measured: a distribution with its parameters, in words.
    prior: String,
    /// Probability that one conforms, before it is measured.
    conforming_before_measuring: f64,
    /// Probability that one does not conform and is accepted.
    global_consumers_risk: f64,
    /// Probability that one conforms and is rejected.
    global_producers_risk: f64,
}

impl ConformityDocument {
    fn new(limits: &GivenLimits, judged: &Judged, unit: &str) -> Self {
        let global_risks = judged.global_risks.zip(limits.prior);
        Self {
            lower_limit: limits.tolerance[0],
            upper_limit: limits.tolerance[1],
            probability: judged.probability,
            probability_by_law: judged.by_law,
            probability_by_monte_carlo: judged.by_trials,
            asked_probability: limits.asked,
            verdict: conforms(judged.verdict).into(),
            specific_consumers_risk: 1.0 - judged.probability,
            specific_producers_risk: judged.probability,
            guard_band: judged.guard_band,
            acceptance_limits: judged.acceptance.unwrap_or_default(),
            global_risks: global_risks.map(|(risks, prior)| GlobalRisksDocument {
                prior: described(&prior, unit),
                conforming_before_measuring: risks.conforming,
                global_consumers_risk: risks.consumers,
                global_producers_risk: risks.producers,
            }),
        }
    }
}

fn conforms(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "conforms",
        Verdict::Out => "does not conform",
        Verdict::Undecided => "undecided",
    }
}

/// Numbers as they are to be written.
#[derive(Debug, Serialize, JsonSchema)]
struct RoundedDocument {
    /// The estimate, to the place of the expanded uncertainty.
    estimate: String,
    /// The expanded uncertainty, to two significant digits.
    expanded_uncertainty: String,
}
