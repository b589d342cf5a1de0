//! Everything that is to be said of a plate whose readings are at hand.

use super::{
    conformance::{Conformance, Rule, of_sample, with_odds},
    leaning::{JudgedEnd, Leaning},
    limits::Verdict,
    standing::{Doubt, Standing},
};
use crate::{
    propagation::{
        check_experiment::CheckExperiment,
        foot_dip::FootDip,
        likelihood::Observation,
        next_reading::{Candidate, NextReading, candidates, foreseen, next_readings, surveys_of},
        posterior::{CannotJudge, Inference, Posterior, Settings, posterior, posterior_under},
        unseen::Unseen,
    },
    quantity::sample::Summary,
    shop::{check::ShopCheck, survey::Survey, wear::Surface},
};

/// How many further readings are advised.
const N_NEXT: usize = 3;
/// Coverage probability of all intervals.
pub(super) const COVERAGE: f64 = 0.95;

/// What is asked, beside the readings.
#[derive(Debug, Clone)]
pub struct Question<'a> {
    /// The largest flatness deviation that is good, in µm; `None` where only the flatness is asked for.
    pub tolerance: Option<f64>,
    /// How the verdict is reached.
    pub rule: Rule,
    /// Probability that such a plate is within the tolerance before anything is read, where it is known better than by
    /// the setup's description of the wear.
    pub before: Option<f64>,
    /// Other kinds of plate that it might be, by name: how much of the answer is assumption.
    pub otherwise: &'a [(&'static str, Surface)],
    /// Figures that were assumed, each by the check at either end of what is plausible for it, on plates of the same wear.
    pub figures: &'a [&'a [ShopCheck; 2]],
    /// One-sigma radii (mm, rising) of the hollows that the readings may have missed.
    pub hollows: [f64; 3],
    /// How hard to work.
    pub settings: Settings,
}

/// One-sigma radii of the hollows that are asked after where it is not said, in mm.
pub const HOLLOWS: [f64; 3] = [35.0, 60.0, 100.0];

impl Default for Question<'_> {
    /// Only the flatness, and what of it the readings may have missed.
    fn default() -> Self {
        Self {
            tolerance: None,
            rule: Rule::default(),
            before: None,
            otherwise: &[],
            figures: &[],
            hollows: HOLLOWS,
            settings: Settings::default(),
        }
    }
}

/// What the readings say.
#[derive(Debug, Clone)]
pub struct Judgement {
    /// What they leave open of the plate.
    pub posterior: Posterior,
    /// The flatness deviation, in µm.
    pub flatness: Summary,
    /// Its comparison with the tolerance, if there is one.
    pub conformance: Option<Conformance>,
    /// What the setup's description says of the plate before anything is read.
    pub before: Before,
    /// How far the readings themselves speak for "within", if there is a tolerance.
    pub evidence: Option<Evidence>,
    /// Whether the readings fit the setup so badly that nothing may be said of the plate.
    pub misfit: bool,
    /// What a verdict hangs on, and is undecided for.
    pub doubts: Vec<Doubt>,
    /// The verdict: that of the rule, but undecided where the readings do not fit and where it hangs on anything.
    pub verdict: Option<Verdict>,
    /// A foot that stands low or high enough to move readings.
    pub foot_dip: Option<FootDip>,
    /// What they have not looked at.
    pub unseen: Unseen,
    /// Whether the verdict hangs on that: it would be another without hollows that nothing looked at, or these are most
    /// of what stands against "within".
    pub hangs_on_unseen: bool,
    /// The same readings under other assumptions.
    pub otherwise: Vec<Otherwise>,
    /// How far the answer leans on each of the figures that were asked after, in their order.
    pub leanings: Vec<Leaning<JudgedEnd>>,
    /// Places for further readings that were considered.
    pub candidates: Vec<Candidate>,
    /// The best of them, where the verdict is undecided.
    pub next: Vec<NextReading>,
    /// What these would show if the plate is good, and what that would prove; where they are advised against a tolerance.
    pub if_good: Option<IfGood>,
}

/// Readings to come, on a plate that is within the tolerance.
#[derive(Debug, Clone, PartialEq)]
pub struct IfGood {
    /// What they would show on average (µm), in the order of [`surveys_of`].
    pub values: Vec<f64>,
    /// Probability that the plate is within, if they do.
    pub probability: f64,
}

/// The plate before it is read.
#[derive(Debug, Clone)]
pub struct Before {
    /// The flatness deviation, in µm.
    pub flatness: Summary,
    /// Probability that it is within the tolerance by the description of the wear, if there is a tolerance.
    pub by_description: Option<f64>,
    /// The same as the verdict counts with it: as the user stated it, else as described.
    pub probability: Option<f64>,
}

/// What the readings add to what was taken for granted.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Evidence {
    /// By what factor the readings favour a plate within the tolerance over one that is out: the odds after reading over
    /// those before (the Bayes factor).
    pub factor: f64,
    /// Its relative standard uncertainty, from the draws.
    pub relative_uncertainty: f64,
    /// The comparison with the tolerance for a plate that is doubted: even odds before anything is read.
    pub if_doubted: Conformance,
}

/// What the readings would say of a plate of another kind.
#[derive(Debug, Clone)]
pub struct Otherwise {
    /// The kind of plate.
    pub kind: &'static str,
    /// The flatness deviation, in µm.
    pub flatness: Summary,
    /// Its comparison with the tolerance, if there is one.
    pub conformance: Option<Conformance>,
    /// How many times likelier the readings are for this kind than for the one that was assumed.
    pub likelier: f64,
}

impl Judgement {
    /// Judges what was read in a check. `progress` is told the share that is done.
    pub fn new(
        check: &ShopCheck,
        observations: &[Observation],
        question: &Question,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Self, CannotJudge> {
        let share = 1.0 / (1.0 + 0.3 * question.otherwise.len() as f64);
        let experiment = CheckExperiment::new(check).map_err(CannotJudge::Check)?;
        let nothing_read =
            Inference::new(&experiment, &[], &before_reading(question.settings), &|_| {})?.posterior;
        let mut inference =
            Inference::new(&experiment, observations, &question.settings, &|done| progress(done * share))?;
        let compared =
            |p: &Posterior| Some(Conformance::of_sample(&p.flatness, question.tolerance?, question.rule));
        let described =
            compared(&nothing_read).map(|c| shaken(c.probability, nothing_read.flatness.len() as f64));
        let odds = |p: f64| p / (1.0 - p);
        let times = match (question.before, described) {
            (Some(stated), Some(described)) => odds(stated) / odds(described),
            _ => 1.0,
        };
        let Standing { conformance, misfit, doubts, verdict } =
            Standing::of(&mut inference, question.tolerance, question.rule, times)?;
        let leanings = question
            .figures
            .iter()
            .map(|ends| Leaning::<JudgedEnd>::of(&inference, check, ends, question, times))
            .collect::<Result<_, CannotJudge>>()?;
        let posterior = inference.posterior;
        let evidence = compared(&posterior).zip(described).map(|(after, described)| {
            let n = posterior.effective_sample_size;
            let p = shaken(after.probability, n);
            let variance = |p: f64, n: f64| 1.0 / (n * p * (1.0 - p));
            Evidence {
                factor: odds(p) / odds(described),
                relative_uncertainty: (variance(p, n)
                    + variance(described, nothing_read.flatness.len() as f64))
                .sqrt(),
                if_doubted: after.with_odds(1.0 / odds(described)),
            }
        });
        let before = Before {
            flatness: nothing_read.summary(COVERAGE),
            by_description: described,
            probability: question.before.or(described),
        };
        let conforms = |p: &Posterior| compared(p).map(|c| c.with_odds(times));
        let fewer = question.settings.rough();
        let otherwise = question.otherwise.iter().enumerate().map(|(index, (kind, surface))| {
            progress(share + (1.0 - share) * index as f64 / question.otherwise.len() as f64);
            let other = posterior_under(check, surface, observations, &fewer, &|_| {})?;
            Ok(Otherwise {
                kind,
                flatness: other.summary(COVERAGE),
                conformance: conforms(&other),
                likelier: libm::exp(other.log_evidence - posterior.log_evidence),
            })
        });
        let otherwise = otherwise.collect::<Result<_, CannotJudge>>()?;
        progress(1.0);
        let unseen = Unseen::of(check, observations, &posterior, &question.hollows, question.tolerance)?;
        // Where a verdict hangs on a reading or on dirt, that is what to read again.
        let open = verdict == Some(Verdict::Undecided) && doubts.is_empty();
        let hangs_on_unseen =
            open && !misfit && conformance.is_some_and(|c| hangs_on(&unseen, c.probability, question.rule));
        let first: &[[f64; 2]] = if hangs_on_unseen { &unseen.places } else { &[] };
        let candidates = if open { candidates(check, first) } else { Vec::new() };
        let next = next_readings(check, &posterior, &candidates, first, N_NEXT);
        let if_good = match question.tolerance.filter(|_| !misfit && !next.is_empty()) {
            Some(tolerance) => {
                let surveys = surveys_of(check, &candidates, &next);
                let if_good = IfGood::of(check, observations, &posterior, &surveys, tolerance, &fewer)?;
                if_good.map(|found| IfGood { probability: with_odds(found.probability, times), ..found })
            }
            None => None,
        };
        Ok(Self {
            flatness: posterior.summary(COVERAGE),
            conformance,
            before,
            evidence,
            misfit,
            doubts,
            verdict,
            foot_dip: FootDip::of(&posterior, &check.survey, check.indicator.read_step),
            otherwise,
            leanings,
            next,
            if_good,
            hangs_on_unseen,
            unseen,
            candidates,
            posterior,
        })
    }
}

impl IfGood {
    /// Infers anew with what the surveys would show on the posterior's good plates.
    fn of(
        check: &ShopCheck,
        observations: &[Observation],
        now: &Posterior,
        surveys: &[Survey],
        tolerance: f64,
        settings: &Settings,
    ) -> Result<Option<Self>, CannotJudge> {
        let step = check.indicator.read_step;
        let mut survey = check.survey.clone();
        let mut observations = observations.to_vec();
        let mut values = Vec::new();
        for next in surveys {
            let Some(shown) = foreseen(check, now, next, |flatness| flatness <= tolerance) else {
                return Ok(None);
            };
            let before = survey.readings.len();
            survey = survey.followed_by(next);
            let mut shown = shown.into_iter();
            for reading in 0..next.readings.len() {
                let value = if next.zeros.contains(&reading) { 0.0 } else { shown.next().unwrap_or(0.0) };
                let value = if step > 0.0 { (value / step).round() * step } else { value };
                observations.push(Observation { reading: before + reading, value, step });
                if !next.zeros.contains(&reading) {
                    values.push(value);
                }
            }
        }
        let check = ShopCheck { survey, ..check.clone() };
        let after = posterior(&check, &observations, settings, &|_| {})?;
        Ok(Some(Self { values, probability: of_sample(&after.flatness, None, Some(tolerance)) }))
    }
}

/// Whether hollows that nothing looked at keep a plate from being within, or are half of what does.
fn hangs_on(unseen: &Unseen, within: f64, rule: Rule) -> bool {
    let asked = match rule {
        Rule::Proven { probability } => probability,
        Rule::SimpleAcceptance { .. } | Rule::SharedRisk => 0.5,
    };
    unseen.turned.is_some_and(|turned| {
        turned > 0.0 && ((within < asked && within + turned >= asked) || 2.0 * turned >= 1.0 - within)
    })
}

/// Enough draws for the odds before reading to be good to some per cent.
fn before_reading(settings: Settings) -> Settings {
    Settings { rounds: [2, 2], ..settings }
}

/// A share of n draws, with half a draw more on either side: never 0 or 1.
fn shaken(share: f64, n: f64) -> f64 {
    (share * n + 0.5) / (n + 1.0)
}
