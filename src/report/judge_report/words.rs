//! The verdict and what is to be said besides, sentence by sentence.

use super::*;

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
    pub(super) fn hangs_on(&self, doubt: Doubt) -> String {
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

    /// Whether it is the zero that does not fit.
    pub(super) fn zero_is_lost(&self) -> bool {
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

    pub(super) fn misfit(&self) -> Option<String> {
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
    pub(super) fn zero(&self) -> Option<String> {
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
    pub(super) fn off_text(&self, fit: usize) -> String {
        let off = self.judgement.posterior.fit.readings[fit].off;
        format!("{} {}", self.heights().text(off.abs()), if off > 0.0 { "higher" } else { "lower" })
    }

    /// Everything that the verdict would hang on, with what would be left of it.
    pub(super) fn doubts(&self) -> Vec<String> {
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

    pub(super) fn estimate(&self) -> String {
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
    pub(super) fn plain_reading(&self) -> String {
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

    pub(super) fn foot_sentence(&self, dip: &FootDip) -> String {
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
    pub(super) fn before(&self) -> String {
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
    pub(super) fn evidence(&self) -> Option<String> {
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
    pub(super) fn leaning(&self) -> Option<String> {
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
    pub(super) fn influence(&self) -> Option<String> {
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
    pub(super) fn if_good(&self) -> Option<String> {
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
}

/// What no statistics can find.
pub(super) const SIGNS_AND_SWAPS: &str = "Two slips leave readings that fit and a plate that is another one: a sign that is wrong throughout, \
    and two lines that are swapped. Press the tip up before you begin: the pointer must show plus.";

/// A chance as one says it.
pub(super) fn chance_text(p: f64) -> String {
    match p {
        p if p < 0.001 => "p less than 0.001".to_string(),
        p => format!("p = {}", plain(p, Digits::Significant(2))),
    }
}

/// A rule in words.
pub(super) fn rule_text(rule: Rule) -> String {
    match rule {
        Rule::Proven { probability } => format!("the rule asks for a proof at {}", percent(probability)),
        Rule::SimpleAcceptance { accuracy_ratio } => format!(
            "the estimate decides, since the check is at least {} times as good as the tolerance",
            plain(accuracy_ratio, Digits::Decimals(0))
        ),
        Rule::SharedRisk => "the estimate decides, and both sides share the risk".into(),
    }
}
