//! What `judge` says, for machines.

use super::*;

impl JudgeReport<'_> {
    pub(super) fn as_document(&self) -> JudgeDocument {
        let h = self.heights();
        let judgement = self.judgement;
        let posterior = &judgement.posterior;
        let summary = |s: &Summary| s.map(|value| h.of(value));
        let readings = self.reading_documents();
        JudgeDocument {
            title: inert(&self.setup.title),
            traceability: self.setup.traceability.clone(),
            date: self.date.map(inert),
            answer: self.answer(),
            otherwise: self.otherwise(),
            explanation: self.explanations(),
            unit: self.setup.unit.symbol().into(),
            length_unit: self.setup.plan_unit.symbol().into(),
            flatness: summary(&judgement.flatness),
            intervals: [0.5, 0.8, 0.95].map(|level| summary(&posterior.summary(level))).to_vec(),
            before: summary(&judgement.before.flatness),
            tolerance: self.tolerance.map(|tolerance| h.of(tolerance.value)),
            tolerance_name: self.tolerance.map(|tolerance| inert(&tolerance.name)),
            conformance_probability: judgement.conformance.map(|c| c.probability),
            conformance_probability_before: judgement.before.probability,
            evidence: judgement.evidence.map(|evidence| EvidenceDocument {
                factor: evidence.factor,
                relative_standard_uncertainty: evidence.relative_uncertainty,
                conformance_probability_if_doubted: evidence.if_doubted.probability,
                verdict_if_doubted: evidence.if_doubted.verdict.name().into(),
            }),
            hangs_on: judgement.doubts.iter().map(|doubt| self.doubt_document(*doubt)).collect(),
            sensitivity: SensitivityDocument {
                to_assumed_wear: posterior.leaning.assumption,
                to_readings: posterior.leaning.readings,
                pull_apart: posterior.leaning.pulls_apart(),
            },
            verdict: judgement.verdict.map(|verdict| verdict.name().into()),
            rule: RuleDocument::from(self.rule),
            spread: h.of(self.readings.spread()),
            map: self.point_documents(),
            fit: self.fit_document(&readings),
            readings,
            foot_dip: judgement.foot_dip.map(|dip| FootDipDocument {
                foot: foot_name(&self.setup.check.stand.feet, dip.foot).into(),
                at: in_plan(dip.at, self.setup.plan_unit),
                height: h.of(dip.height),
                standard_uncertainty: h.of(dip.standard_uncertainty),
                effect: h.of(dip.effect),
            }),
            effective_sample_size: posterior.effective_sample_size,
            sample_suffices: posterior.sample_suffices,
            leans_on: self.leans_on.documents(h),
            prior_influence: judgement.otherwise.iter().map(|other| self.influence_document(other)).collect(),
            unseen: self.unseen().document(),
            next: self.next_rows(),
            next_proves: judgement.if_good.as_ref().map(|if_good| if_good.probability),
            n_readings: self.readings.rows.len(),
            seed: self.settings.seed,
            setup_digest: self.setup.digest.clone(),
            readings_digest: self.readings.digest.clone(),
            version: crate::VERSION.into(),
        }
    }

    pub(super) fn influence_document(&self, other: &Otherwise) -> InfluenceDocument {
        InfluenceDocument {
            wear: other.kind.into(),
            flatness: other.flatness.map(|value| self.heights().of(value)),
            conformance_probability: other.conformance.map(|c| c.probability),
            verdict: other.conformance.map(|c| c.verdict.name().into()),
            times_likelier: finite(other.likelier),
        }
    }

    pub(super) fn point_documents(&self) -> Vec<PointDocument> {
        let h = self.heights();
        let map = &self.judgement.posterior.map;
        let points = map.grid.points().into_iter().zip(&map.height).zip(&map.standard_uncertainty);
        let point = |((at, &height), &u): (([f64; 2], &f64), &f64)| {
            let [x, y] = in_plan(at, self.setup.plan_unit);
            PointDocument { x, y, height: h.of(height), standard_uncertainty: h.of(u) }
        };
        points.map(point).collect()
    }

    pub(super) fn reading_documents(&self) -> Vec<ReadingDocument> {
        let h = self.heights();
        let reading = |(row, fit): (&Row, Option<&ReadingFit>)| {
            let spot = self.survey_spot(row.reading);
            ReadingDocument {
                line: row.line,
                placement: inert(&spot.station),
                target: inert(&spot.target),
                pass: row.pass,
                closing: self.readings.check.survey.readings[row.reading].closing,
                value: h.of(row.value),
                foreseen: fit.map(|fit| h.of(row.value - fit.off)),
                off: fit.map(|fit| h.of(fit.off)),
                standard_uncertainty: fit.map(|fit| h.of(fit.standard_uncertainty)),
                p_value: fit.map(|fit| fit.p_value),
                grain_probability: fit.map(|fit| fit.grain_probability),
            }
        };
        self.rows_with_fit().into_iter().map(reading).collect()
    }

    /// The line of the file that a fit is of.
    pub(super) fn line(&self, fit: usize) -> usize {
        self.row_of(&self.judgement.posterior.fit.readings[fit]).map_or(0, |row| row.line)
    }

    pub(super) fn doubt_document(&self, doubt: Doubt) -> DoubtDocument {
        let on = |on: &str| DoubtDocument { on: on.into(), ..DoubtDocument::default() };
        match doubt {
            Doubt::Reading { reading, probability } => DoubtDocument {
                line: Some(self.line(reading)),
                verdict_probability: Some(probability),
                ..on("reading")
            },
            Doubt::Dirt { chance, probability } => DoubtDocument {
                chance_of_a_grain: Some(chance),
                verdict_probability: Some(probability),
                ..on("dirt")
            },
            Doubt::FewDraws => on("few draws"),
        }
    }

    pub(super) fn fit_document(&self, readings: &[ReadingDocument]) -> FitDocument {
        let fit = &self.judgement.posterior.fit;
        let find = |of: usize| readings.iter().find(|row| row.line == self.line(of)).cloned();
        FitDocument {
            p_value: fit.p_value,
            misfit: self.judgement.misfit,
            worst_reading: fit.worst.and_then(find),
            closing_p_value: fit.closing.map(|closing| closing.p_value),
            closing_reading: fit.closing.and_then(|closing| find(closing.reading)),
        }
    }

    /// What to read next, placement by placement: its zero, then its targets.
    pub(super) fn next_rows(&self) -> Vec<NextDocument> {
        let h = self.heights();
        let judgement = self.judgement;
        let mut rows: Vec<NextDocument> = Vec::new();
        let mut values = judgement.if_good.iter().flat_map(|if_good| &if_good.values);
        let mut done: Vec<usize> = Vec::new();
        for first in &judgement.next {
            if done.contains(&first.candidate) {
                continue;
            }
            done.push(first.candidate);
            let candidate = &judgement.candidates[first.candidate];
            let station = &candidate.station;
            let placement = self.setup.stand_text(station.at, station.heading, candidate.carried_reach);
            let row = |target: usize, u: Option<f64>, if_within: Option<f64>| NextDocument {
                placement: placement.clone(),
                target: self.setup.target_text(station.targets[target].at),
                pass: 1,
                sets_zero: target == 0,
                if_within: if_within.map(|value| h.of(value)),
                expected_standard_uncertainty: u.map(|u| h.of(u)),
            };
            rows.push(row(0, None, None));
            let here = judgement.next.iter().filter(|next| next.candidate == first.candidate);
            rows.extend(here.map(|next| {
                row(next.target, Some(next.expected_standard_uncertainty), values.next().copied())
            }));
        }
        rows
    }
}

/// What readings say of a plate. Heights are in `unit`, places in `length_unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat judge")]
pub struct JudgeDocument {
    /// What the check is called.
    title: String,
    /// Numbers and dates of what was used, and who checked.
    traceability: Traceability,
    /// The date of the report as the user gave it; null where none was given.
    date: Option<String>,
    /// The verdict, in one sentence.
    answer: String,
    /// The verdicts of a plate that is doubted or of another kind, where they differ; null where none does.
    otherwise: Option<String>,
    /// What is to be said besides, a sentence or two each.
    explanation: Vec<String>,
    /// Unit of all heights.
    unit: String,
    /// Unit of all places on the plate.
    length_unit: String,
    /// The flatness deviation.
    flatness: Summary,
    /// The same with coverage intervals for 50, 80 and 95 %.
    intervals: Vec<Summary>,
    /// The flatness deviation of such a plate before anything is read.
    before: Summary,
    /// The largest flatness deviation that is good; null where none was given.
    tolerance: Option<f64>,
    /// Where it comes from.
    tolerance_name: Option<String>,
    /// Probability that the flatness deviation is within the tolerance.
    conformance_probability: Option<f64>,
    /// The same before anything was read: as stated, else of a plate as the setup describes it.
    conformance_probability_before: Option<f64>,
    /// How far the readings themselves speak for a plate within the tolerance; null without a tolerance.
    evidence: Option<EvidenceDocument>,
    /// What the verdict would hang on; it is undecided where anything stands here.
    hangs_on: Vec<DoubtDocument>,
    /// How far the flatness leans on the assumed wear and on the readings.
    sensitivity: SensitivityDocument,
    /// "within", "out" or "undecided"; null without a tolerance.
    verdict: Option<String>,
    /// The rule of the verdict.
    rule: RuleDocument,
    /// Largest minus smallest reading: what a plain reading would call the flatness.
    spread: f64,
    /// The surface, levelled to its least-squares plane.
    map: Vec<PointDocument>,
    /// How well the readings fit the setup.
    fit: FitDocument,
    /// The readings, each with what the others foresee of it.
    readings: Vec<ReadingDocument>,
    /// A foot that stands so much lower or higher than the others that it moves readings; null where none is known to.
    foot_dip: Option<FootDipDocument>,
    /// How many independent draws the sample is worth.
    effective_sample_size: f64,
    /// Whether that is as many as asked for.
    sample_suffices: bool,
    /// The same readings on a plate of another kind.
    prior_influence: Vec<InfluenceDocument>,
    /// The figures that were assumed, the one that moves the answer farthest first.
    leans_on: Vec<LeaningDocument<JudgedEndDocument>>,
    /// What these readings have not looked at: hollows that could lie there and would not show.
    unseen: UnseenDocument,
    /// What to read next, as rows for the reading sheet; empty where the verdict is clear.
    next: Vec<NextDocument>,
    /// Probability that the plate is within, if the rows to read next show what they should on a good plate.
    next_proves: Option<f64>,
    /// How many readings were used.
    n_readings: usize,
    /// Seed of all random numbers.
    seed: u64,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// SHA-256 of the readings file.
    readings_digest: String,
    /// Version of the program.
    version: String,
}

/// How the verdict is reached.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct RuleDocument {
    /// "proven", "simple" or "shared".
    name: String,
    /// The probability asked for by "proven".
    #[serde(skip_serializing_if = "Option::is_none")]
    probability: Option<f64>,
    /// Tolerance over twice the expanded uncertainty asked for by "simple".
    #[serde(skip_serializing_if = "Option::is_none")]
    accuracy_ratio: Option<f64>,
}

impl From<Rule> for RuleDocument {
    fn from(rule: Rule) -> Self {
        let (name, probability, accuracy_ratio) = match rule {
            Rule::Proven { probability } => ("proven", Some(probability), None),
            Rule::SimpleAcceptance { accuracy_ratio } => ("simple", None, Some(accuracy_ratio)),
            Rule::SharedRisk => ("shared", None, None),
        };
        Self { name: name.into(), probability, accuracy_ratio }
    }
}

/// One point of the surface.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct PointDocument {
    /// From the left edge.
    x: f64,
    /// From the front edge.
    y: f64,
    /// Estimate of the height.
    height: f64,
    /// Its standard uncertainty.
    standard_uncertainty: f64,
}

/// How well the readings fit the setup.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct FitDocument {
    /// Chance that such a check holds a reading as odd as the oddest of these.
    p_value: f64,
    /// Whether that is so small that nothing may be said of the plate.
    misfit: bool,
    /// The oddest reading, closing ones apart.
    worst_reading: Option<ReadingDocument>,
    /// Chance that such a check holds a closing reading as odd as the oddest of these; null without one.
    closing_p_value: Option<f64>,
    /// The oddest closing reading.
    closing_reading: Option<ReadingDocument>,
}

/// What the readings add to what was taken for granted.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct EvidenceDocument {
    /// Odds for a plate within the tolerance after reading, over those before.
    factor: f64,
    /// Its relative standard uncertainty from the number of draws.
    relative_standard_uncertainty: f64,
    /// Probability that the plate is within, were both as likely before it is read.
    conformance_probability_if_doubted: f64,
    /// The verdict then.
    verdict_if_doubted: String,
}

/// How far an answer moves with the weight of what it was made from: the cumulative Jensen-Shannon distance for each doubling
/// of the power; 0.05 and more is sensitive.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct SensitivityDocument {
    /// Of the wear that was assumed.
    to_assumed_wear: f64,
    /// Of the readings.
    to_readings: f64,
    /// Whether both move it, in opposite directions.
    pull_apart: bool,
}

/// What a verdict hangs on.
#[derive(Debug, Default, Serialize, JsonSchema)]
pub(super) struct DoubtDocument {
    /// "reading", "dirt" or "few draws".
    on: String,
    /// Line of the readings file, where it is a reading.
    line: Option<usize>,
    /// Chance of a grain under each foot and the block that was tried, where it is dirt.
    chance_of_a_grain: Option<f64>,
    /// Probability of the verdict without that reading, or with that chance.
    verdict_probability: Option<f64>,
}

/// A reading, and what the others foresee of it.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct ReadingDocument {
    /// Line of the readings file.
    line: usize,
    /// Where the stand was.
    placement: String,
    /// Where the block was.
    target: String,
    /// Which pass.
    pass: usize,
    /// Whether it is a zero read again.
    closing: bool,
    /// What was read.
    value: f64,
    /// What the others foresee; null for a zero, from which they count.
    foreseen: Option<f64>,
    /// What was read less that.
    off: Option<f64>,
    /// Standard uncertainty of what is foreseen, for a reading without grains.
    standard_uncertainty: Option<f64>,
    /// Probability of a reading at least as far out.
    p_value: Option<f64>,
    /// Probability that a grain lay under the block, or under a foot that only this reading depends on.
    grain_probability: Option<f64>,
}

/// A foot that stands low or high.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct FootDipDocument {
    /// Which foot.
    foot: String,
    /// Where, from the left and the front edge.
    at: [f64; 2],
    /// Height of the plate there less its mean height under the other two feet.
    height: f64,
    /// Standard uncertainty of that, an upper bound.
    standard_uncertainty: f64,
    /// By how much it moves readings.
    effect: f64,
}

/// The answer for a plate of another kind.
#[derive(Debug, Serialize, JsonSchema)]
pub(super) struct InfluenceDocument {
    /// The state of wear that is assumed instead.
    wear: String,
    /// The flatness deviation.
    flatness: Summary,
    /// Probability that it is within the tolerance.
    conformance_probability: Option<f64>,
    /// The verdict it would give, were there no doubt about the fit.
    verdict: Option<String>,
    /// How many times likelier these readings are on such a plate; null where that is beyond all numbers.
    times_likelier: Option<f64>,
}

/// A reading that is worth taking.
#[derive(Debug, Clone, Serialize, JsonSchema)]
pub(super) struct NextDocument {
    /// Where to put the stand, as a readings file names it.
    pub(super) placement: String,
    /// Where to put the block.
    pub(super) target: String,
    /// The pass.
    pub(super) pass: usize,
    /// Whether the zero is set here.
    pub(super) sets_zero: bool,
    /// What it would show on average if the plate is within the tolerance; null for a zero and without a tolerance.
    pub(super) if_within: Option<f64>,
    /// Standard uncertainty of the flatness to be expected after this reading and those above.
    pub(super) expected_standard_uncertainty: Option<f64>,
}
