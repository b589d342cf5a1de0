//! A verdict that stands: one that nothing which a minute at the plate would settle can overturn.

use super::{
    conformance::{Conformance, Rule},
    limits::Verdict,
};
use crate::{
    propagation::posterior::{CannotJudge, Inference},
    shop::cleanliness::Cleanliness,
};

/// Readings that would come out as odd as these in fewer than one of so many checks do not fit the setup.
pub const MISFIT: f64 = 0.01;
/// Fewer independent draws than this give no verdict.
pub const FEWEST_DRAWS: f64 = 200.0;
/// A verdict hangs on something that, were it otherwise, would make a wrong verdict so many times likelier than agreed.
const TIMES_THE_RISK: f64 = 5.0;
/// How likely a grain under each foot and block is taken to be, to see whether "out" is one.
const GRAINS_LIKELY: f64 = 0.2;

/// What a verdict hangs on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Doubt {
    /// One reading. Read it again.
    Reading {
        /// Index into [`Fit::readings`](crate::propagation::fit::Fit::readings).
        reading: usize,
        /// Probability of the verdict without it.
        probability: f64,
    },
    /// Whether there was dirt under a foot or the block. Wipe, put the stand down anew, read again.
    Dirt {
        /// Chance of a grain under each that is taken instead of the setup's.
        chance: f64,
        /// Probability of the verdict with that.
        probability: f64,
    },
    /// Too few independent draws to go by.
    FewDraws,
}

/// A verdict, and whether it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The comparison with the tolerance, if there is one, as if it stood.
    pub conformance: Option<Conformance>,
    /// Whether the readings fit the setup so badly that nothing may be said of the plate: a zero that did not come back,
    /// or another reading.
    pub misfit: bool,
    /// What the verdict hangs on; nothing where it is undecided anyway.
    pub doubts: Vec<Doubt>,
    /// The verdict: that of the rule, but undecided where the readings do not fit and where it hangs on anything.
    pub verdict: Option<Verdict>,
}

impl Standing {
    /// Decides from what was inferred. `odds` multiplies the odds for a plate within the tolerance (µm).
    ///
    /// # Errors
    ///
    /// [`CannotJudge`], which readings that have been judged once do not give.
    pub fn of(
        inference: &mut Inference,
        tolerance: Option<f64>,
        rule: Rule,
        odds: f64,
    ) -> Result<Self, CannotJudge> {
        inference.refit_odd_readings()?;
        let fit = &inference.posterior.fit;
        let misfit = fit.p_value < MISFIT || fit.closing.is_some_and(|closing| closing.p_value < MISFIT);
        let Some(tolerance) = tolerance else {
            return Ok(Self { conformance: None, misfit, doubts: Vec::new(), verdict: None });
        };
        let judge = |sample: &[f64]| Conformance::of_sample(sample, tolerance, rule).with_odds(odds);
        let conformance = judge(&inference.posterior.flatness);
        let verdict = if misfit { Verdict::Undecided } else { conformance.verdict };
        let doubts = match verdict {
            Verdict::Undecided => Vec::new(),
            Verdict::Within | Verdict::Out => Tried { verdict, rule, judge: &judge }.doubts(inference)?,
        };
        let verdict = if doubts.is_empty() { verdict } else { Verdict::Undecided };
        Ok(Self { conformance: Some(conformance), misfit, doubts, verdict: Some(verdict) })
    }
}

/// A verdict that is being tried.
struct Tried<'a> {
    verdict: Verdict,
    rule: Rule,
    judge: &'a dyn Fn(&[f64]) -> Conformance,
}

impl Tried<'_> {
    fn doubts(&self, inference: &Inference) -> Result<Vec<Doubt>, CannotJudge> {
        if inference.posterior.effective_sample_size < FEWEST_DRAWS {
            return Ok(vec![Doubt::FewDraws]);
        }
        let mut hung_on = Vec::new();
        for reading in 0..inference.posterior.fit.readings.len() {
            let conformance = (self.judge)(&inference.without(reading)?);
            if !self.holds(&conformance) {
                hung_on.push((self.probability(&conformance), reading));
            }
        }
        // What would overturn it most comes first.
        hung_on.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut doubts: Vec<Doubt> = hung_on
            .into_iter()
            .map(|(probability, reading)| Doubt::Reading { reading, probability })
            .collect();
        let cleanliness = inference.cleanliness();
        if cleanliness.grain_chance > 0.0 {
            for chance in [0.0, GRAINS_LIKELY.max(cleanliness.grain_chance)] {
                let instead = Cleanliness { grain_chance: chance, ..cleanliness.clone() };
                let conformance = (self.judge)(&inference.with_cleanliness(instead)?.flatness);
                if !self.holds(&conformance) {
                    doubts.push(Doubt::Dirt { chance, probability: self.probability(&conformance) });
                    break;
                }
            }
        }
        Ok(doubts)
    }

    fn probability(&self, conformance: &Conformance) -> f64 {
        match self.verdict {
            Verdict::Out => 1.0 - conformance.probability,
            Verdict::Within | Verdict::Undecided => conformance.probability,
        }
    }

    fn holds(&self, conformance: &Conformance) -> bool {
        match self.rule {
            Rule::Proven { probability } => {
                self.probability(conformance) >= (1.0 - TIMES_THE_RISK * (1.0 - probability)).max(0.5)
            }
            // The estimate decides: it must not fall on the other side.
            Rule::SimpleAcceptance { .. } | Rule::SharedRisk => {
                (conformance.estimate <= conformance.tolerance) == (self.verdict == Verdict::Within)
            }
        }
    }
}
