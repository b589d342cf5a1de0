//! The report on the budget of a measurement: by the law of propagation, by Monte Carlo, and whether they agree.

mod document;
mod measurand;

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
use document::ReportDocument;
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
    const IS_SHORT: bool = true;

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
        self.as_document()
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

/// Rows of numbers, null for what there is not.
type Matrix = Vec<Vec<Option<f64>>>;

fn matrix(numbers: &[Vec<f64>]) -> Matrix {
    numbers.iter().map(|row| row.iter().copied().map(finite).collect()).collect()
}

fn conforms(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Within => "conforms",
        Verdict::Out => "does not conform",
        Verdict::Undecided => "undecided",
    }
}
