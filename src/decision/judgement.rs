//! Everything that is to be said of a plate whose readings are at hand.

use super::{
    conformance::{Conformance, Rule, of_sample},
    limits::Verdict,
};
use crate::{
    propagation::{
        foot_dip::FootDip,
        likelihood::Observation,
        next_reading::{Candidate, NextReading, candidates_with, next_readings_at},
        posterior::{CannotJudge, Posterior, Settings, posterior, posterior_under},
        unseen::Unseen,
    },
    quantity::sample::Summary,
    shop::{check::ShopCheck, wear::Surface},
};

/// Readings that would come out as odd as these in fewer than one of so many checks do not fit the setup.
pub const MISFIT: f64 = 0.01;
/// How many further readings are advised.
const N_NEXT: usize = 3;
/// Coverage probability of all intervals.
const COVERAGE: f64 = 0.95;

/// What is asked, beside the readings.
#[derive(Debug, Clone)]
pub struct Question<'a> {
    /// The largest flatness deviation that is good, in µm; `None` where only the flatness is asked for.
    pub tolerance: Option<f64>,
    /// How the verdict is reached.
    pub rule: Rule,
    /// Other kinds of plate that it might be, by name: how much of the answer is assumption.
    pub otherwise: &'a [(&'static str, Surface)],
    /// One-sigma radii (mm, rising) of the hollows that the readings may have missed.
    pub hollows: [f64; 3],
    /// How hard to work.
    pub settings: Settings,
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
    /// Probability that a plate as the setup describes it is within the tolerance, before anything is read.
    pub before: Option<f64>,
    /// Whether the readings fit the setup so badly that nothing may be said of the plate.
    pub misfit: bool,
    /// The verdict: that of the rule, but undecided where the readings do not fit.
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
    /// Places for further readings that were considered.
    pub candidates: Vec<Candidate>,
    /// The best of them, where the verdict is undecided.
    pub next: Vec<NextReading>,
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
        let posterior = posterior(check, observations, &question.settings, &|done| progress(done * share))?;
        let conforms =
            |p: &Posterior| Some(Conformance::of_sample(&p.flatness, question.tolerance?, question.rule));
        let conformance = conforms(&posterior);
        let misfit = posterior.fit.p_value < MISFIT;
        let verdict = conformance.map(|c| if misfit { Verdict::Undecided } else { c.verdict });
        let fewer = rough(question.settings);
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
        let before = match question.tolerance {
            Some(tolerance) => Some(of_sample(&posterior_of_none(check, &fewer)?.flatness, tolerance)),
            None => None,
        };
        progress(1.0);
        let unseen = Unseen::of(check, observations, &posterior, &question.hollows, question.tolerance)?;
        let hangs_on_unseen = verdict == Some(Verdict::Undecided)
            && !misfit
            && conformance.is_some_and(|c| hangs_on(&unseen, c.probability, question.rule));
        let first: &[[f64; 2]] = if hangs_on_unseen { &unseen.places } else { &[] };
        let candidates =
            if verdict == Some(Verdict::Undecided) { candidates_with(check, first) } else { Vec::new() };
        Ok(Self {
            flatness: posterior.summary(COVERAGE),
            conformance,
            before,
            misfit,
            verdict,
            foot_dip: FootDip::of(&posterior, &check.survey, check.indicator.read_step),
            otherwise,
            next: next_readings_at(check, &posterior, &candidates, first, N_NEXT),
            hangs_on_unseen,
            unseen,
            candidates,
            posterior,
        })
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

/// What the setup says without any reading.
fn posterior_of_none(check: &ShopCheck, settings: &Settings) -> Result<Posterior, CannotJudge> {
    posterior(check, &[], settings, &|_| {})
}

/// Enough to tell by how much an assumption moves the answer.
fn rough(settings: Settings) -> Settings {
    Settings {
        n_particles: (settings.n_particles * 2 / 5).max(2),
        effective_sample_size: settings.effective_sample_size / 4.0,
        rounds: [2, 6],
        ..settings
    }
}
