//! Whether a measurand keeps limits that are given for it, and what risk there is in accepting by them (JCGM 106:2012).

use super::{
    conformance::{of_sample, of_t},
    limits::Verdict,
};
use crate::quantity::{distribution::Distribution, student::t_quantile};
use quadrature::double_exponential;

/// A lower and an upper limit; `None` is no limit on that side.
pub type Ends = [Option<f64>; 2];

/// Limits that are given for a quantity, and how sure one wants to be of either; in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GivenLimits {
    /// The tolerance limits, at least one.
    pub tolerance: Ends,
    /// The probability with which each limit is to be kept by what is accepted, above 0.5.
    pub asked: f64,
    /// The acceptance limits, if they are given too: estimates between them are accepted.
    pub acceptance: Option<Ends>,
    /// What is known of such quantities before one is measured, as of what a process makes.
    pub prior: Option<Distribution>,
}

/// A quantity as the law of propagation knows it, as scaled and shifted t; numbers in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ByLaw {
    /// The estimate.
    pub estimate: f64,
    /// Its standard uncertainty.
    pub standard_uncertainty: f64,
    /// Of the standard uncertainty; infinite makes it normal.
    pub degrees_of_freedom: f64,
}

/// What limits say of a quantity; numbers in its unit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Judged {
    /// Probability that it is within the tolerance limits: by the law where that decides, else by the trials.
    pub probability: f64,
    /// By the law of propagation.
    pub by_law: Option<f64>,
    /// By the trials.
    pub by_trials: Option<f64>,
    /// Within or out where that is as probable as asked, else undecided.
    pub verdict: Verdict,
    /// How far inside a limit an estimate must lie to keep that one with the probability that is asked for (guarded
    /// acceptance, 8.3.2): `w = t_asked(ν) u`. None where the law does not decide, where the band leaves no room between two
    /// limits, and where acceptance limits are given.
    pub guard_band: Option<f64>,
    /// The acceptance limits: as given, else the tolerance limits moved inside by the guard band.
    pub acceptance: Option<Ends>,
    /// The risks over all that is measured; none without a prior or without acceptance limits.
    pub global_risks: Option<GlobalRisks>,
}

/// The risks before anything is measured, over all quantities that the prior describes (JCGM 106:2012, 9.5).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GlobalRisks {
    /// Probability that one conforms.
    pub conforming: f64,
    /// The global consumer's risk R_C: probability that one does not conform and is accepted (eq. 21).
    pub consumers: f64,
    /// The global producer's risk R_P: probability that one conforms and is rejected (eq. 22).
    pub producers: f64,
}

impl GivenLimits {
    /// Judges a quantity by what the law says of it, if that applies, and by the trials, if there are any: their estimate and
    /// their values. `law_decides` is whether the law's result is the one to go by. None if there is nothing to go by.
    ///
    /// Global risks take the error of a measurement as what it is here, whatever the value measured: as the law has it where
    /// that decides, else as the trials scatter about the estimate.
    pub fn judge(
        &self,
        law: Option<ByLaw>,
        trials: Option<(f64, &[f64])>,
        law_decides: bool,
    ) -> Option<Judged> {
        let [low, high] = self.tolerance;
        let of_law =
            |law: ByLaw| of_t(law.estimate, law.standard_uncertainty, law.degrees_of_freedom, low, high);
        let by_law = law.map(of_law).filter(|probability| probability.is_finite());
        let by_trials = trials.map(|(_, values)| of_sample(values, low, high));
        let deciding = law.filter(|_| law_decides);
        let probability = if law_decides { by_law } else { by_trials }?;
        let (guard_band, acceptance) = match self.acceptance {
            Some(given) => (None, Some(given)),
            None => deciding.and_then(|law| self.guarded(law)).unzip(),
        };
        let global_risks = self.prior.zip(acceptance).and_then(|(prior, accepted)| match deciding {
            Some(law) => Some(self.global_risks(&prior, accepted, law)),
            None => trials
                .map(|(estimate, values)| self.global_risks_by_trials(&prior, accepted, estimate, values)),
        });
        Some(Judged {
            probability,
            by_law,
            by_trials,
            verdict: match probability {
                p if p >= self.asked => Verdict::Within,
                p if 1.0 - p >= self.asked => Verdict::Out,
                _ => Verdict::Undecided,
            },
            guard_band,
            acceptance,
            global_risks,
        })
    }

    /// The guard band, and the tolerance limits moved inside by it; none where that leaves no room between them.
    fn guarded(&self, law: ByLaw) -> Option<(f64, Ends)> {
        let band = t_quantile(self.asked, law.degrees_of_freedom) * law.standard_uncertainty;
        let [low, high] = self.tolerance;
        let ends = [low.map(|low| low + band), high.map(|high| high - band)];
        let room = ends[0].zip(ends[1]).is_none_or(|(low, high)| low <= high);
        (band.is_finite() && room).then_some((band, ends))
    }

    fn conforms(&self, value: f64) -> bool {
        let [low, high] = self.tolerance;
        low.is_none_or(|low| low <= value) && high.is_none_or(|high| value <= high)
    }

    /// Where a measurement errs as t: over the prior's probability, piece by piece between the limits, since the chance of
    /// acceptance bends near its own limits as sharply as the measurement is good.
    fn global_risks(&self, prior: &Distribution, accepted: Ends, law: ByLaw) -> GlobalRisks {
        /// Absolute; the risks are probabilities.
        const ERROR: f64 = 1e-12;
        let ByLaw { standard_uncertainty: u, degrees_of_freedom: nu, .. } = law;
        let bends = accepted
            .into_iter()
            .flatten()
            .flat_map(|end| [-20.0, -6.0, -2.0, 0.0, 2.0, 6.0, 20.0].map(|k| end + k * u));
        let mut ends: Vec<f64> = self.tolerance.into_iter().flatten().chain(bends).collect();
        ends.iter_mut().for_each(|end| *end = prior.cumulative(*end));
        ends.extend([0.0, 1.0]);
        ends.sort_by(f64::total_cmp);
        let mut risks = GlobalRisks { conforming: 0.0, consumers: 0.0, producers: 0.0 };
        for piece in ends.windows(2).filter(|piece| piece[0] < piece[1]) {
            let over = |f: &dyn Fn(f64) -> f64| {
                double_exponential::integrate(|p| f(prior.quantile(p)), piece[0], piece[1], ERROR).integral
            };
            let accepts = |value: f64| of_t(value, u, nu, accepted[0], accepted[1]);
            if self.conforms(prior.quantile(0.5 * (piece[0] + piece[1]))) {
                risks.conforming += piece[1] - piece[0];
                risks.producers += over(&|value| 1.0 - accepts(value));
            } else {
                risks.consumers += over(&accepts);
            }
        }
        risks
    }

    /// Where a measurement errs as the trials do: an error shifts the true values that are accepted, and the prior says how
    /// many these are.
    fn global_risks_by_trials(
        &self,
        prior: &Distribution,
        accepted: Ends,
        estimate: f64,
        trials: &[f64],
    ) -> GlobalRisks {
        let reach = |ends: Ends| [ends[0].unwrap_or(f64::NEG_INFINITY), ends[1].unwrap_or(f64::INFINITY)];
        let between = |[low, high]: [f64; 2]| (prior.cumulative(high) - prior.cumulative(low)).max(0.0);
        let tolerance = reach(self.tolerance);
        let (mut all, mut good) = (0.0, 0.0);
        for value in trials {
            let error = value - estimate;
            let [low, high] = reach(accepted).map(|end| end + error);
            all += between([low, high]);
            good += between([low.max(tolerance[0]), high.min(tolerance[1])]);
        }
        let n = trials.len() as f64;
        let conforming = between(tolerance);
        GlobalRisks { conforming, consumers: (all - good) / n, producers: conforming - good / n }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn limits(tolerance: Ends, acceptance: Option<Ends>, prior: Option<Distribution>) -> GivenLimits {
        GivenLimits { tolerance, asked: 0.95, acceptance, prior }
    }

    fn law(estimate: f64, standard_uncertainty: f64, degrees_of_freedom: f64) -> Option<ByLaw> {
        Some(ByLaw { estimate, standard_uncertainty, degrees_of_freedom })
    }

    /// By table G.2 of the GUM: t with 4 degrees of freedom is below 2.78 in 97.5 %, below 2.13 in 95 %; a normal below 1.645 in
    /// 95 %.
    #[test]
    fn guard_bands_by_t() {
        let judged =
            |u, nu| limits([Some(-20.0), Some(20.0)], None, None).judge(law(0.0, u, nu), None, true).unwrap();
        assert!((judged(2.0, 4.0).guard_band.unwrap() - 2.0 * 2.132).abs() < 1e-3);
        assert!((judged(2.0, f64::INFINITY).guard_band.unwrap() - 2.0 * 1.6449).abs() < 1e-3);
        let narrow = limits([Some(-2.776), Some(2.776)], None, None);
        let found = narrow.judge(law(0.0, 1.0, 4.0), None, true).unwrap();
        assert!((found.probability - 0.95).abs() < 1e-4 && found.global_risks.is_none());
        let guarded = 2.776 - found.guard_band.unwrap();
        let above =
            limits([None, Some(2.776)], None, None).judge(law(guarded, 1.0, 4.0), None, true).unwrap();
        assert!((above.probability - 0.95).abs() < 1e-12);
        // A band as wide as the tolerance leaves nothing to accept.
        assert_eq!(narrow.judge(law(0.0, 2.0, 4.0), None, true).unwrap().acceptance, None);
    }

    #[test]
    fn what_decides_is_what_is_reported() {
        let given = limits([None, Some(1.0)], None, None);
        let trials = (1.5, &[0.0, 1.0, 2.0, 3.0][..]);
        let by = |decides| given.judge(law(0.0, 0.1, f64::INFINITY), Some(trials), decides).unwrap();
        assert_eq!((by(false).probability, by(false).guard_band), (0.5, None));
        assert!(by(true).probability > 0.99 && by(true).guard_band.is_some());
        assert_eq!(by(true).by_trials, Some(0.5));
        assert!(given.judge(law(0.0, 0.1, 5.0), None, false).is_none());
    }

    /// Prior and measurement normal: true value and estimate are jointly normal, and both risks are probabilities of
    /// rectangles (JCGM 106 annex A for the prior). Values by `tests/reference/global_risks.py`: scipy's
    /// `multivariate_normal.cdf` (Genz), and quadrature with mpmath for the others.
    #[test]
    fn global_risks_are_those_of_a_bivariate_normal() {
        let cases: Vec<[f64; 9]> =
            serde_json::from_str(include_str!("../../tests/reference/global_risks.json")).unwrap();
        assert!(cases.len() >= 6);
        for [mean, sd, u, low, high, from, to, consumers, producers] in cases {
            let prior = Distribution::Normal { mean, standard_deviation: sd };
            let given = limits([Some(low), Some(high)], Some([Some(from), Some(to)]), Some(prior));
            let found = given.judge(law(mean, u, f64::INFINITY), None, true).unwrap().global_risks.unwrap();
            assert!((found.consumers - consumers).abs() < 1e-10, "{found:?} {consumers}");
            assert!((found.producers - producers).abs() < 1e-10, "{found:?} {producers}");
        }
    }
}
