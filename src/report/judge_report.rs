//! The report on a plate whose readings are at hand: may it be used?

use super::{
    Report,
    chart::{
        Mark,
        curves::Tone,
        histogram::{Histogram, Interval},
        map_pair::MapPair,
        plate_map::MapTarget,
    },
    document::finite,
    heights::Heights,
    leaning::{JudgedEndDocument, LeaningDocument, LeansOn},
    number::{Digits, percent, plain, probability},
    page::{LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    reading_sheet::SET_ZERO,
    setup_words,
    survey_marks::{bare_plate, in_plan, stands},
    table::{Column, Table},
    text::inert,
    unseen_words::{UnseenDocument, UnseenWords},
};
use crate::{
    decision::{
        conformance::Rule,
        judgement::{Judgement, Otherwise},
        leaning::JudgedEnd,
        limits::Verdict,
        standing::{Doubt, FEWEST_DRAWS, MISFIT},
    },
    propagation::{fit::ReadingFit, foot_dip::FootDip, next_reading::surveys_of, posterior::Settings},
    quantity::sample::Summary,
    setup::{Readings, Row, Setup},
    shop::{
        grade::Tolerance,
        stand::single_foot,
        survey::{Reading, StandUse},
    },
};
use schemars::JsonSchema;
use serde::Serialize;

/// Everything that a report on a judged plate is made from.
#[derive(Debug, Clone)]
pub struct JudgeReport<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// What was read.
    pub readings: &'a Readings,
    /// What the plate was judged against, if anything.
    pub tolerance: Option<&'a Tolerance>,
    /// By which rule.
    pub rule: Rule,
    /// How hard the inference worked.
    pub settings: Settings,
    /// What the readings say.
    pub judgement: &'a Judgement,
    /// How far the answer leans on what was assumed.
    pub leans_on: LeansOn<JudgedEnd>,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

impl Report for JudgeReport<'_> {
    type Document = JudgeDocument;

    fn page(&self) -> Page {
        let mut parts: Vec<Part> = self.explanations().into_iter().map(Part::Words).collect();
        if let Some(next) = self.next_table() {
            parts.extend([Part::Next("What to read next".into()), Part::Table(next)]);
            parts.extend(self.if_good().map(Part::Words));
            parts.extend([
                Part::picture(
                    "next",
                    self.next_picture(),
                    "Where to put stand and block for that, with feet and arm; each target carries the number of its row.",
                ),
            ]);
        }
        parts.extend([
            Part::heading("The plate, given these readings"),
            Part::picture(
                "map",
                self.map(),
                "Map of the plate: estimate and standard uncertainty, with feet, arm and targets drawn on it.",
            ),
            Part::picture(
                "flatness",
                self.histogram(),
                "What the flatness deviation may be, with its coverage intervals and what it is judged by.",
            ),
            Part::Table(self.flatness_table()),
            Part::Table(self.unseen().table()),
            Part::heading("The readings"),
            Part::Table(self.readings_table()),
        ]);
        parts.extend(self.leans_on.parts(self.heights()));
        parts.push(Part::heading("What was taken for granted"));
        parts.extend(setup_words::granted(self.setup));
        parts.extend(ending(Some(RESTS_ON_KIND), LIMITS_OF_USE, &REFERENCES));
        let mut facts = setup_words::facts(self.setup, self.tolerance, self.date);
        facts.extend([
            ["readings".to_string(), short_digest(&self.readings.digest).to_string()],
            ["run".to_string(), format!("{}, seed {}", self.draws(), self.settings.seed)],
        ]);
        Page {
            kind: "What readings say of a surface plate".into(),
            title: self.setup.title.clone(),
            facts,
            answer: std::iter::once(self.answer()).chain(self.otherwise()).collect(),
            verdict: self.judgement.verdict.map(|verdict| match verdict {
                Verdict::Within => Tone::Within,
                Verdict::Undecided => Tone::Undecided,
                Verdict::Out => Tone::Out,
            }),
            parts,
            provenance: self.provenance(),
            for_signature: true,
            ..Page::default()
        }
    }

    fn document(&self) -> JudgeDocument {
        let h = self.heights();
        let judgement = self.judgement;
        let posterior = &judgement.posterior;
        let summary = |s: &Summary| s.map(|value| h.of(value));
        let readings = self.reading_documents();
        JudgeDocument {
            title: inert(&self.setup.title),
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

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("judged".into(), self.readings_csv()), ("fit".into(), self.readings_table())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "map"
    }
}

impl JudgeReport<'_> {
    /// The verdict, in one sentence.
    pub fn answer(&self) -> String {
        let verdict = self.judgement.conformance.map(|c| c.verdict);
        let stands = verdict.filter(|_| self.judgement.verdict == verdict && !self.judgement.misfit);
        let turning = stands.and_then(|verdict| self.leans_on.turning(verdict));
        [Some(self.verdict_in_words()), turning].into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    fn verdict_in_words(&self) -> String {
        let h = self.heights();
        let judgement = self.judgement;
        let (Some(tolerance), Some(c)) = (self.tolerance, &judgement.conformance) else {
            return format!(
                "The plate's flatness deviation is estimated at {}; no tolerance was given to judge it by.",
                h.text(judgement.flatness.mean)
            );
        };
        let limit = format!("{} ({})", h.text(tolerance.value), inert(&tolerance.name));
        let within = probability(c.probability);
        let beyond = probability(1.0 - c.probability);
        if judgement.misfit {
            let why = if self.zero_is_lost() {
                "the zero did not come back, so these readings"
            } else {
                "these readings do not fit this setup, so they"
            };
            return format!("Undecided: {why} prove nothing about {limit}; find out why and read again.");
        }
        if let Some(&doubt) = judgement.doubts.first() {
            return format!(
                "Undecided: as they stand the readings would prove that the plate is {} {limit}, but that hangs on {}.",
                if c.verdict == Verdict::Within { "within" } else { "beyond" },
                self.hangs_on(doubt)
            );
        }
        let rule = rule_text(self.rule);
        match (c.verdict, self.rule) {
            (Verdict::Within, _) => {
                format!(
                    "Within: with a probability of {within} the plate's flatness deviation is at most {limit}; {rule}."
                )
            }
            (Verdict::Out, _) => {
                format!(
                    "Out: with a probability of {beyond} the plate's flatness deviation exceeds {limit}; {rule}."
                )
            }
            (Verdict::Undecided, Rule::SimpleAcceptance { accuracy_ratio }) => format!(
                "Undecided: the check is not good enough for the estimate alone to decide about {limit}: the tolerance \
                 divided by twice the expanded uncertainty is {}, and at least {} is asked for.",
                plain(c.capability, Digits::Decimals(1)),
                plain(accuracy_ratio, Digits::Decimals(0))
            ),
            (Verdict::Undecided, _) => format!(
                "Undecided: with a probability of {within} the plate's flatness deviation is at most {limit}, which proves \
                 neither that it is within nor that it is out; {rule}."
            ),
        }
    }

    /// The verdicts that would be given of a plate that is doubted, or of another kind, where they differ.
    pub fn otherwise(&self) -> Option<String> {
        let judgement = self.judgement;
        let verdict = judgement.verdict.filter(|_| !judgement.misfit && judgement.doubts.is_empty())?;
        let mut differ = Vec::new();
        if let Some(evidence) = &judgement.evidence
            && evidence.if_doubted.verdict != verdict
        {
            let c = &evidence.if_doubted;
            differ.push(format!(
                "{} for a plate that is doubted, one for which within and out are as likely before it is read (then within \
                 with {})",
                c.verdict.name(),
                probability(c.probability)
            ));
        }
        let kinds = |of: Verdict| {
            let such = judgement.otherwise.iter().filter(|o| o.conformance.is_some_and(|c| c.verdict == of));
            such.map(|o| format!("\"{}\"", o.kind)).collect::<Vec<_>>()
        };
        for other in [Verdict::Within, Verdict::Undecided, Verdict::Out] {
            let kinds = kinds(other);
            if other != verdict && !kinds.is_empty() {
                differ.push(format!("{} for a plate taken as {}", other.name(), kinds.join(" or ")));
            }
        }
        (!differ.is_empty()).then(|| format!("It would be {}.", differ.join(", and ")))
    }

    /// What a verdict hangs on, and what to do about it.
    fn hangs_on(&self, doubt: Doubt) -> String {
        match doubt {
            Doubt::Reading { reading, .. } => {
                format!("one reading, {}: read it again and add the row", self.reading_text(reading))
            }
            Doubt::Dirt { chance, .. } => {
                let again = match self.setup.plan.stand_use {
                    StandUse::Parked => {
                        "wipe, lift the stand, put it down anew in the same place, read all again as the next pass, and \
                         say \"lift_between_passes\": true under survey in the setup"
                    }
                    StandUse::Turned | StandUse::Carried => "wipe, and read all again as the next pass",
                };
                let grain = if chance > 0.0 { "no grain" } else { "a grain" };
                format!("there being {grain} under a foot or the block: {again}")
            }
            Doubt::FewDraws => {
                "too few independent draws to go by: give --seed another number, or read again".into()
            }
        }
    }

    /// A reading as the user finds it: `"middle" from "front left" (line 4 of the file)`.
    fn reading_text(&self, fit: usize) -> String {
        let fit = &self.judgement.posterior.fit.readings[fit];
        let spot = self.survey_spot(fit.reading);
        let line = self.row_of(fit).map_or(String::new(), |row| format!(" (line {} of the file)", row.line));
        format!("\"{}\" from \"{}\"{line}", inert(&spot.target), inert(&spot.station))
    }

    /// The row of the file that a fit is of.
    fn row_of(&self, fit: &ReadingFit) -> Option<&Row> {
        self.rows_with_fit()
            .into_iter()
            .find(|(_, of)| of.is_some_and(|of| std::ptr::eq(of, fit)))
            .map(|(row, _)| row)
    }

    /// Whether it is the zero that does not fit.
    fn zero_is_lost(&self) -> bool {
        self.judgement.posterior.fit.closing.is_some_and(|closing| closing.p_value < MISFIT)
    }

    /// What comes after the verdict: the misfit, the estimate, the plain spread and why it differs, the assumptions.
    pub fn explanations(&self) -> Vec<String> {
        let mut said = Vec::new();
        said.extend(self.misfit());
        said.extend(self.zero());
        said.extend(self.doubts());
        said.push(self.estimate());
        said.push(self.plain_reading());
        said.push(self.unseen().sentence());
        said.push(self.before());
        said.extend(self.evidence());
        said.extend(self.influence());
        said.extend(self.leaning());
        said.push(SIGNS_AND_SWAPS.into());
        if !self.judgement.posterior.sample_suffices {
            said.push(format!(
                "The sample is worth only {} independent draws, fewer than the {} asked for; take the last digits of all \
                 this for less than they look.",
                plain(self.judgement.posterior.effective_sample_size, Digits::Decimals(0)),
                plain(self.settings.effective_sample_size, Digits::Decimals(0))
            ));
        }
        said
    }

    fn misfit(&self) -> Option<String> {
        let fit = &self.judgement.posterior.fit;
        let chance = chance_text(fit.p_value);
        let worst = fit.worst?;
        if fit.p_value >= MISFIT {
            return Some(format!("The readings fit the setup ({chance})."));
        }
        Some(format!(
            "The reading at {} is {} than the others make likely ({chance}); look for dirt, a loose clamp, a wrong \
             placement or a slip of the pen.",
            self.reading_text(worst),
            self.off_text(worst)
        ))
    }

    /// Whether the zero came back.
    fn zero(&self) -> Option<String> {
        let fit = &self.judgement.posterior.fit;
        let Some(closing) = fit.closing else {
            return Some(
                "No closing reading was taken, so nothing shows whether the pointer drifted or the stand crept: read the \
                 zero again at the end, and add the row."
                    .into(),
            );
        };
        let chance = chance_text(closing.p_value);
        Some(if closing.p_value < MISFIT {
            format!(
                "The zero did not come back: the closing reading at {} is {} than it should be ({chance}). The stand has \
                 crept, the pointer has drifted or something has slipped; the readings before it cannot be trusted.",
                self.reading_text(closing.reading),
                self.off_text(closing.reading)
            )
        } else {
            format!("The zero came back as well as it should ({chance}).")
        })
    }

    /// How far off a reading is, and to which side.
    fn off_text(&self, fit: usize) -> String {
        let off = self.judgement.posterior.fit.readings[fit].off;
        format!("{} {}", self.heights().text(off.abs()), if off > 0.0 { "higher" } else { "lower" })
    }

    /// Everything that the verdict would hang on, with what would be left of it.
    fn doubts(&self) -> Vec<String> {
        let verdict = match self.judgement.conformance.map(|c| c.verdict) {
            Some(Verdict::Within) => "within",
            _ => "out",
        };
        let said = |doubt: &Doubt| match *doubt {
            Doubt::Reading { reading, probability: p } => format!(
                "Without the reading at {} the plate would be {verdict} with a probability of {}.",
                self.reading_text(reading),
                probability(p)
            ),
            Doubt::Dirt { chance, probability: p } if chance > 0.0 => format!(
                "Were a grain under each foot and the block as likely as {}, the plate would be {verdict} with a \
                 probability of {}.",
                probability(chance),
                probability(p)
            ),
            Doubt::Dirt { probability: p, .. } => format!(
                "Were there no grain anywhere, the plate would be {verdict} with a probability of {}.",
                probability(p)
            ),
            Doubt::FewDraws => format!(
                "A verdict is given from {} independent draws on; these are {}.",
                plain(FEWEST_DRAWS, Digits::Decimals(0)),
                plain(self.judgement.posterior.effective_sample_size, Digits::Decimals(0))
            ),
        };
        self.judgement.doubts.iter().map(said).collect()
    }

    fn estimate(&self) -> String {
        let h = self.heights();
        let s = &self.judgement.flatness;
        let [low, high] = s.interval_symmetric;
        format!(
            "The flatness deviation is estimated at {}, with a standard uncertainty of {}; with a probability of 95 % it \
             lies between {} and {}.",
            h.text(s.mean),
            h.text(s.standard_deviation),
            h.bare(low),
            h.text(high)
        )
    }

    /// What the spread alone would have said, and why it differs.
    fn plain_reading(&self) -> String {
        let h = self.heights();
        let s = &self.judgement.flatness;
        let spread = self.readings.spread();
        let [low, high] = s.interval_symmetric;
        let mut said = format!("A plain reading of the spread would have said {}", h.text(spread));
        let too_large = spread > high;
        if too_large {
            said += &format!(", which is {} more than the estimate.", h.text(spread - s.mean));
        } else if spread < low {
            said += &format!(", which is {} less than the estimate.", h.text(s.mean - spread));
        } else {
            said += ", which the estimate's uncertainty allows.";
        }
        match &self.judgement.foot_dip {
            Some(dip) => said += &format!(" {}", self.foot_sentence(dip)),
            None if too_large => {
                said += " No one foot is to blame: what lies under all three, and every small disturbance, is carried out \
                         to the tip by the length of the arm, and the spread takes the largest and the smallest of it.";
            }
            None => {}
        }
        if spread < low {
            said += match self.setup.plan.stand_use {
                StandUse::Carried => {
                    " A stand that is carried along sees changes of slope over a hand's breadth, and hardly anything of a \
                     wide hollow or a twist."
                }
                StandUse::Parked | StandUse::Turned => {
                    " Tilt of the stand can take away what the form shows, and there may be hollows between the targets."
                }
            };
        }
        said
    }

    fn foot_sentence(&self, dip: &FootDip) -> String {
        let h = self.heights();
        let survey = &self.readings.check.survey;
        let reading = survey.readings.iter().position(|reading| reading.seating == dip.seating).unwrap_or(0);
        let spot = self.survey_spot(reading);
        let station = inert(&spot.station);
        let target = inert(&spot.target);
        let stand = match survey.stand_use {
            StandUse::Parked => format!("The stand at \"{station}\""),
            StandUse::Turned => format!("The stand at \"{station}\", pointing at \"{target}\","),
            StandUse::Carried => format!("The stand that reads \"{target}\" ({station})"),
        };
        let foot = foot_name(&self.setup.check.stand.feet, dip.foot);
        let height = h.text(dip.height.abs());
        let effect = h.text(dip.effect);
        let (sits, differs) =
            if dip.height < 0.0 { ("in a dip", "lower") } else { ("on a high spot", "higher") };
        let lies = format!(
            "seems to sit {sits}: under its {foot} the plate is about {height} {differs} than under the others"
        );
        let moves = match survey.stand_use {
            StandUse::Parked => {
                format!("makes its readings differ by up to {effect} from one target to another")
            }
            StandUse::Turned | StandUse::Carried => format!("moves this reading by {effect}"),
        };
        format!("{stand} {lies}, which by itself {moves}.")
    }

    /// What was taken for granted before anything was read, and what has become of it.
    fn before(&self) -> String {
        let h = self.heights();
        let before = &self.judgement.before;
        let [[low, high], [now_low, now_high]] =
            [before.flatness, self.judgement.flatness].map(|summary| summary.interval_symmetric);
        let mut said = format!(
            "Before any reading, a plate as the setup describes it lies between {} and {}; now it lies between {} and {} \
             (95 %).",
            h.bare(low),
            h.text(high),
            h.bare(now_low),
            h.text(now_high)
        );
        if let (Some(p), Some(described)) = (before.probability, before.by_description) {
            said += &match p == described {
                true => format!(" It is within with a probability of {} before any reading", probability(p)),
                false => format!(
                    " Before any reading it is within with a probability of {}, as was stated (by the description of the wear, \
                     {})",
                    probability(p),
                    probability(described)
                ),
            };
            let by_itself = match (self.rule, self.judgement.verdict) {
                (Rule::Proven { probability: asked }, Some(Verdict::Within)) => p >= asked,
                (Rule::Proven { probability: asked }, Some(Verdict::Out)) => 1.0 - p >= asked,
                _ => false,
            };
            said += if by_itself {
                ", so the verdict rests on that as much as on the readings: make sure that it is right."
            } else {
                "."
            };
        }
        said
    }

    /// How much of the verdict the readings say.
    fn evidence(&self) -> Option<String> {
        let evidence = self.judgement.evidence.as_ref().filter(|_| !self.judgement.misfit)?;
        let (times, side) = match evidence.factor {
            f if f >= 1.0 => (f, "a plate that is within over one that is out"),
            f => (1.0 / f, "a plate that is out over one that is within"),
        };
        let times = match times {
            // Beyond this the draws on the other side are too few to count.
            t if t > 1000.0 => "more than 1000".to_string(),
            t => plain(t, Digits::Significant(2)),
        };
        let strength = if evidence.factor.max(1.0 / evidence.factor) < 3.0 {
            ": they hardly tell the two apart, and the rest of the probability was taken for granted"
        } else {
            ""
        };
        Some(format!(
            "The readings themselves favour {side} by {times} to 1{strength}. Were both as likely before it is read, the \
             plate would be within with a probability of {}.",
            probability(evidence.if_doubted.probability)
        ))
    }

    /// Whether assumption and readings pull apart.
    fn leaning(&self) -> Option<String> {
        let leaning = &self.judgement.posterior.leaning;
        leaning.pulls_apart().then(|| {
            let way = if leaning.pulls[1] > 0.0 { "larger" } else { "smaller" };
            format!(
                "Readings and description pull apart: the readings draw the flatness deviation to {way} values than the \
                 described wear would have them. Look again at what the setup says of the wear."
            )
        })
    }

    /// How far the answer rests on the assumed wear.
    fn influence(&self) -> Option<String> {
        let h = self.heights();
        let others = &self.judgement.otherwise;
        if others.is_empty() {
            return None;
        }
        let each = others.iter().map(|other| {
            let verdict = match &other.conformance {
                Some(c) if !self.judgement.misfit && Some(c.verdict) != self.judgement.verdict => {
                    format!(", and the verdict {}", c.verdict.name())
                }
                _ => String::new(),
            };
            format!("{} as \"{}\"{verdict}", h.text(other.flatness.mean), other.kind)
        });
        let each: Vec<String> = each.collect();
        let mut said =
            format!("Had the plate been taken for another kind, the estimate would be {}.", each.join("; "));
        let likelier = others.iter().max_by(|a, b| a.likelier.total_cmp(&b.likelier));
        if let Some(other) = likelier.filter(|other| other.likelier > 10.0) {
            let odds = match other.likelier {
                odds if odds > 1000.0 => "more than 1000".to_string(),
                odds => plain(odds, Digits::Significant(2)),
            };
            said += &format!(
                " The readings themselves speak for \"{}\", by {odds} to 1: look at what the setup says of the wear.",
                other.kind
            );
        }
        Some(said)
    }

    /// What the rows to read next would prove, if the plate is good.
    fn if_good(&self) -> Option<String> {
        let if_good = self.judgement.if_good.as_ref()?;
        let p = probability(if_good.probability);
        let proves = match self.rule {
            Rule::Proven { probability: asked } if if_good.probability >= asked => ", which proves it",
            Rule::Proven { .. } => ", which is not yet a proof: go on from there",
            Rule::SimpleAcceptance { .. } | Rule::SharedRisk => "",
        };
        Some(format!(
            "If these rows show about what they should on a good plate (in the table), the plate is within with a probability \
             of {p}{proves}."
        ))
    }

    /// The rows to read next.
    pub fn next_table(&self) -> Option<Table> {
        let h = self.heights();
        let last = self.judgement.next.last()?;
        let [now, then] = [self.judgement.flatness.standard_deviation, last.expected_standard_uncertainty];
        let use_of_it = if self.judgement.hangs_on_unseen && !self.judgement.unseen.places.is_empty() {
            "first where nothing has looked yet: put the stand down as said, and add these rows to the readings"
        } else if then < 0.9 * now {
            "put the stand down as said, and add these rows to the readings"
        } else {
            "nothing that this stand can reach helps much; these rows help most"
        };
        let headings = match self.setup.plan.stand_use {
            StandUse::Turned => "",
            StandUse::Parked | StandUse::Carried => {
                " (a heading of 0° points to the right, one of 90° to the back)"
            }
        };
        let caption = format!(
            "What to read next: {use_of_it}; the standard uncertainty should shrink from {} to about {}{headings}",
            h.text(now),
            h.text(then)
        );
        let table = Table::of(caption, self.next_rows())
            .text("placement", |row| row.placement.clone())
            .text("target", |row| row.target.clone())
            .text("what to do", |row| if row.sets_zero { SET_ZERO } else { "" })
            .number("on a good plate", h.label(), h.digits(), |row| row.if_within)
            .number("standard uncertainty then", h.label(), h.digits(), |row| {
                row.expected_standard_uncertainty
            });
        Some(table.table())
    }

    /// The stand, as it is put down for each row to read next.
    fn next_picture(&self) -> Svg {
        let unit = self.setup.plan_unit;
        let surveys = surveys_of(&self.setup.check, &self.judgement.candidates, &self.judgement.next);
        let readings: Vec<&Reading> = surveys.iter().flat_map(|survey| &survey.readings).collect();
        let labels: Vec<String> = (1..=readings.len()).map(|n| n.to_string()).collect();
        let mut targets: Vec<MapTarget> = Vec::new();
        for (reading, label) in readings.iter().zip(&labels) {
            let at = in_plan(reading.target, unit);
            if !targets.iter().any(|target| target.at == at) {
                targets.push(MapTarget { at, label, reading: None });
            }
        }
        bare_plate(self.setup, "What to read next, row by row", &stands(readings.into_iter(), unit), &targets)
    }

    fn flatness_table(&self) -> Table {
        let judgement = self.judgement;
        let others = judgement.otherwise.iter().map(|o| (o.kind, o.flatness, o.conformance));
        let rows = [("as in the setup", judgement.flatness, judgement.conformance)].into_iter().chain(others);
        Table::of("Flatness deviation, given these readings (95 % intervals)", rows)
            .text("taken for", |(name, ..)| *name)
            .summary(self.heights(), ["estimate", "standard uncertainty"], |(_, flatness, _)| *flatness)
            .when(self.tolerance.is_some(), |table| {
                table.percent("within tolerance", 1, |(.., c)| c.map(|c| c.probability))
            })
            .table()
    }

    /// The readings, each with what the others foresee of it.
    fn readings_table(&self) -> Table {
        let h = self.heights();
        let role = |row: &Row, is_zero: bool| match self.readings.check.survey.readings[row.reading].closing {
            true => " closing",
            false if is_zero => " zero",
            false => "",
        };
        let caption = "The readings, and how far each is from what the others say";
        Table::of(caption, self.rows_with_fit())
            .count("line", |(row, _)| row.line)
            .text("placement", |(row, _)| self.survey_spot(row.reading).station.clone())
            .text("target", |(row, _)| self.survey_spot(row.reading).target.clone())
            .text("pass", |(row, fit)| format!("{}{}", row.pass, role(row, fit.is_none())))
            .height(h, "reading", |(row, _)| row.value)
            .height(h, "foreseen", |(row, fit)| fit.map(|fit| row.value - fit.off))
            .height(h, "off by", |(_, fit)| fit.map(|fit| fit.off))
            .number("p", "", Digits::Decimals(2), |(_, fit)| fit.map(|fit| fit.p_value))
            .text("remark", |(row, _)| row.remark.as_str())
            .table()
    }

    /// Every row of the file with its fit; a zero has none, for the others count from it.
    fn rows_with_fit(&self) -> Vec<(&Row, Option<&ReadingFit>)> {
        let mut fits = self.judgement.posterior.fit.readings.iter();
        let zeros = &self.readings.check.survey.zeros;
        let rows = self.readings.rows.iter();
        rows.map(|row| (row, if zeros.contains(&row.reading) { None } else { fits.next() })).collect()
    }

    /// The readings as a file that can be read again, each as it was written.
    pub fn readings_csv(&self) -> Table {
        let closing = |row: &Row| self.readings.check.survey.readings[row.reading].closing;
        Table::of("", &self.readings.rows)
            .text("placement", |row| self.survey_spot(row.reading).station.clone())
            .text("target", |row| self.survey_spot(row.reading).target.clone())
            .text("pass", |row| format!("{}{}", row.pass, if closing(row) { " closing" } else { "" }))
            .column(Column::numbers("reading", self.readings.unit.symbol()), |row| {
                row.written.as_str().into()
            })
            .text("time", |row| row.time.as_str())
            .text("remark", |row| row.remark.as_str())
            .table()
    }

    /// Estimate of the surface and its standard uncertainty, side by side, with the readings on it.
    pub fn map(&self) -> Svg {
        let h = self.heights();
        let check = &self.readings.check;
        let survey = &check.survey;
        let plan_unit = self.setup.plan_unit;
        let labels: Vec<String> = (1..=survey.spots.len()).map(|n| n.to_string()).collect();
        let mut read: Vec<(f64, f64)> = vec![(0.0, 0.0); survey.spots.len()];
        for row in self.readings.rows.iter().filter(|row| !survey.readings[row.reading].closing) {
            let (sum, n) = &mut read[survey.readings[row.reading].spot];
            *sum += row.value;
            *n += 1.0;
        }
        let texts: Vec<Option<String>> =
            read.iter().map(|(sum, n)| (*n > 0.0).then(|| h.signed(sum / n))).collect();
        let mut targets: Vec<MapTarget> = Vec::new();
        let one_placement = self.setup.plan.stations.len() == 1;
        for ((spot, label), text) in survey.spots.iter().zip(&labels).zip(&texts) {
            let at = in_plan(spot.at, plan_unit);
            // Readings from several placements count from several zeros and would only confuse here.
            let reading = text.as_deref().filter(|_| one_placement);
            if !targets.iter().any(|target| target.at == at) {
                targets.push(MapTarget { at, label, reading });
            }
        }
        let map = &self.judgement.posterior.map;
        let nodes =
            |nodes: &[f64]| nodes.iter().map(|&v| in_plan([v, 0.0], plan_unit)[0]).collect::<Vec<_>>();
        let in_unit = |values: &[f64]| values.iter().map(|&value| h.of(value)).collect::<Vec<_>>();
        MapPair {
            title: "What these readings say of the plate",
            height_unit: h.label(),
            length_unit: plan_unit.symbol(),
            sides: in_plan([check.plate.length, check.plate.width], plan_unit),
            x: &nodes(&map.grid.x),
            y: &nodes(&map.grid.y),
            heights: &in_unit(&map.height),
            uncertainties: &in_unit(&map.standard_uncertainty),
            margin: in_plan([check.plate.margin, 0.0], plan_unit)[0],
            stands: &stands(survey.readings.iter(), plan_unit),
            targets: &targets,
            hatched: self.unseen().hatched().as_ref(),
        }
        .svg()
    }

    /// What the flatness deviation may be, with the tolerance marked.
    pub fn histogram(&self) -> Svg {
        let h = self.heights();
        let s = &self.judgement.flatness;
        let values: Vec<f64> = self.judgement.posterior.flatness.iter().map(|&f| h.of(f)).collect();
        let interval = |label, [low, high]: [f64; 2]| Interval { label, low: h.of(low), high: h.of(high) };
        let estimate = format!("estimate {}", h.text(s.mean));
        let tolerance = self.tolerance.map(|tolerance| format!("tolerance {}", h.text(tolerance.value)));
        let spread = self.readings.spread();
        let spread_is = format!("spread {}", h.text(spread));
        let mut marks = vec![Mark { label: &estimate, at: h.of(s.mean) }];
        // What is far away would leave no room for the rest.
        let far = s.interval_symmetric[1] + 4.0 * (s.interval_symmetric[1] - s.interval_symmetric[0]);
        if let (Some(tolerance), Some(label)) = (self.tolerance.filter(|t| t.value < far), &tolerance) {
            marks.push(Mark { label, at: h.of(tolerance.value) });
        }
        if spread < far {
            marks.push(Mark { label: &spread_is, at: h.of(spread) });
        }
        Histogram {
            title: "The plate's flatness deviation, given these readings",
            axis: "flatness deviation",
            unit: h.label(),
            counted: "possible plates",
            name: "flatness deviation",
            values: &values,
            outlines: &[],
            intervals: &[
                interval("95 %, symmetric", s.interval_symmetric),
                interval("95 %, shortest", s.interval_shortest),
            ],
            marks: &marks,
            density: None,
            digits: h.digits(),
        }
        .svg()
    }

    fn influence_document(&self, other: &Otherwise) -> InfluenceDocument {
        InfluenceDocument {
            wear: other.kind.into(),
            flatness: other.flatness.map(|value| self.heights().of(value)),
            conformance_probability: other.conformance.map(|c| c.probability),
            verdict: other.conformance.map(|c| c.verdict.name().into()),
            times_likelier: finite(other.likelier),
        }
    }

    fn point_documents(&self) -> Vec<PointDocument> {
        let h = self.heights();
        let map = &self.judgement.posterior.map;
        let points = map.grid.points().into_iter().zip(&map.height).zip(&map.standard_uncertainty);
        let point = |((at, &height), &u): (([f64; 2], &f64), &f64)| {
            let [x, y] = in_plan(at, self.setup.plan_unit);
            PointDocument { x, y, height: h.of(height), standard_uncertainty: h.of(u) }
        };
        points.map(point).collect()
    }

    fn reading_documents(&self) -> Vec<ReadingDocument> {
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
    fn line(&self, fit: usize) -> usize {
        self.row_of(&self.judgement.posterior.fit.readings[fit]).map_or(0, |row| row.line)
    }

    fn doubt_document(&self, doubt: Doubt) -> DoubtDocument {
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

    fn fit_document(&self, readings: &[ReadingDocument]) -> FitDocument {
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
    fn next_rows(&self) -> Vec<NextDocument> {
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

    fn survey_spot(&self, reading: usize) -> &crate::shop::survey::Spot {
        let survey = &self.readings.check.survey;
        let spot = survey.readings.get(reading).map_or(0, |reading: &Reading| reading.spot);
        &survey.spots[spot]
    }

    fn provenance(&self) -> String {
        format!(
            "howflat {}, setup {}, readings {}, seed {}, {}.",
            crate::VERSION,
            short_digest(&self.setup.digest),
            short_digest(&self.readings.digest),
            self.settings.seed,
            self.draws()
        )
    }

    fn draws(&self) -> String {
        let n = plain(self.judgement.posterior.effective_sample_size, Digits::Decimals(0));
        format!("{n} independent draws")
    }

    fn unseen(&self) -> UnseenWords<'_> {
        let Judgement { unseen, hangs_on_unseen, .. } = self.judgement;
        UnseenWords { setup: self.setup, unseen, hangs: *hangs_on_unseen }
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }
}

/// What no statistics can find.
const SIGNS_AND_SWAPS: &str = "Two slips leave readings that fit and a plate that is another one: a sign that is wrong throughout, \
    and two lines that are swapped. Press the tip up before you begin: the pointer must show plus.";

/// A chance as one says it.
fn chance_text(p: f64) -> String {
    match p {
        p if p < 0.001 => "p less than 0.001".to_string(),
        p => format!("p = {}", plain(p, Digits::Significant(2))),
    }
}

/// What a judgement rests on.
const RESTS_ON_KIND: &str = "The interval holds what it promises on plates of the kind described above, and is wide because it allows \
    for others. In trials on simulated plates of seventeen other kinds (ridges, steps, violent waves, hollows anywhere, a deep dip \
    under each foot) at most 3 of 100 were worse than it said. Very flat plates, and regular ripples under a stand that is carried \
    along, were called worse than they are: there it held three of four or more. A plate that is unlike all of these is another matter.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 4] = [
    "Flatness as the minimum zone: ISO 1101:2017, 17.3; ISO 12781-1:2011.",
    "Probability that the plate keeps its tolerance: JCGM 106:2012, 7.1 to 7.4, and 8.2 and 8.3 for the rules of decision.",
    "A proof at 95 % unless agreed otherwise: ISO 14253-1:2017.",
    "Tolerances and defaults: the source beside each, in the tables above.",
];

/// A rule in words.
fn rule_text(rule: Rule) -> String {
    match rule {
        Rule::Proven { probability } => format!("the rule asks for a proof at {}", percent(probability)),
        Rule::SimpleAcceptance { accuracy_ratio } => format!(
            "the estimate decides, since the check is at least {} times as good as the tolerance",
            plain(accuracy_ratio, Digits::Decimals(0))
        ),
        Rule::SharedRisk => "the estimate decides, and both sides share the risk".into(),
    }
}

/// What a foot is called, by where it stands in the stand's frame (arm along +x, y to the left).
fn foot_name(feet: &[[f64; 2]; 3], foot: usize) -> &'static str {
    let others = |i: usize| [(i + 1) % 3, (i + 2) % 3];
    let single = single_foot(feet);
    let at_the_rear = others(single).iter().all(|&other| feet[single][0] < feet[other][0]);
    let beside = others(foot).into_iter().find(|&other| other != single).unwrap_or(single);
    match (foot == single, at_the_rear, feet[foot][1] > feet[beside][1]) {
        (true, true, _) => "rear foot",
        (true, false, _) => "front foot",
        (false, true, true) => "left front foot",
        (false, true, false) => "right front foot",
        (false, false, true) => "left rear foot",
        (false, false, false) => "right rear foot",
    }
}

/// What readings say of a plate. Heights are in `unit`, places in `length_unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat judge")]
pub struct JudgeDocument {
    /// What the check is called.
    title: String,
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
struct RuleDocument {
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
struct PointDocument {
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
struct FitDocument {
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
struct EvidenceDocument {
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
struct SensitivityDocument {
    /// Of the wear that was assumed.
    to_assumed_wear: f64,
    /// Of the readings.
    to_readings: f64,
    /// Whether both move it, in opposite directions.
    pull_apart: bool,
}

/// What a verdict hangs on.
#[derive(Debug, Default, Serialize, JsonSchema)]
struct DoubtDocument {
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
struct ReadingDocument {
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
struct FootDipDocument {
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
struct InfluenceDocument {
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
struct NextDocument {
    /// Where to put the stand, as a readings file names it.
    placement: String,
    /// Where to put the block.
    target: String,
    /// The pass.
    pass: usize,
    /// Whether the zero is set here.
    sets_zero: bool,
    /// What it would show on average if the plate is within the tolerance; null for a zero and without a tolerance.
    if_within: Option<f64>,
    /// Standard uncertainty of the flatness to be expected after this reading and those above.
    expected_standard_uncertainty: Option<f64>,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn feet_have_the_names_one_would_give_them() {
        let names = |feet: [[f64; 2]; 3]| [0, 1, 2].map(|foot| foot_name(&feet, foot));
        let usual = [[40.0, 35.0], [40.0, -35.0], [-50.0, 0.0]];
        assert_eq!(names(usual), ["left front foot", "right front foot", "rear foot"]);
        let turned_round = [[-40.0, -35.0], [60.0, 0.0], [-41.0, 35.0]];
        assert_eq!(names(turned_round), ["right rear foot", "front foot", "left rear foot"]);
    }
}
