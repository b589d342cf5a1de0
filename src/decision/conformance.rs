//! Whether a plate conforms: the probability of it, and the verdict by a rule.

use super::limits::Verdict;
use crate::quantity::student::{normal_cumulative, t_cumulative};

/// Probability that a quantity known as normal lies within a tolerance (JCGM 106:2012, 7.2 to 7.4):
/// `Φ((T_U − y)/u) − Φ((T_L − y)/u)`.
///
/// `estimate`, `standard_uncertainty` and the limits in one unit; `None` is no limit on that side.
/// With an uncertainty of 0 it is 0 or 1, limits included.
pub fn of_normal(estimate: f64, standard_uncertainty: f64, low: Option<f64>, high: Option<f64>) -> f64 {
    if standard_uncertainty <= 0.0 {
        let within = low.is_none_or(|low| low <= estimate) && high.is_none_or(|high| estimate <= high);
        return f64::from(u8::from(within));
    }
    let z = |limit: f64| (limit - estimate) / standard_uncertainty;
    match (low, high) {
        (None, None) => 1.0,
        (None, Some(high)) => normal_cumulative(z(high)),
        (Some(low), None) => normal_cumulative(-z(low)),
        // The side on which both tails are small keeps its digits.
        (Some(low), Some(high)) if z(low) > 0.0 => normal_cumulative(-z(low)) - normal_cumulative(-z(high)),
        (Some(low), Some(high)) => (normal_cumulative(z(high)) - normal_cumulative(z(low))).max(0.0),
    }
}

/// The same of a quantity known as scaled and shifted t; infinite degrees of freedom make it normal.
pub fn of_t(
    estimate: f64,
    standard_uncertainty: f64,
    degrees_of_freedom: f64,
    low: Option<f64>,
    high: Option<f64>,
) -> f64 {
    if degrees_of_freedom.is_infinite() || standard_uncertainty <= 0.0 {
        return of_normal(estimate, standard_uncertainty, low, high);
    }
    let beyond = |distance: f64| t_cumulative(-distance / standard_uncertainty, degrees_of_freedom);
    let below = low.map_or(0.0, |low| beyond(estimate - low));
    let above = high.map_or(0.0, |high| beyond(high - estimate));
    (1.0 - below - above).max(0.0)
}

/// Probability that a quantity known by an equally weighted sample is within the limits, these included: the share of the
/// sample there (JCGM 106:2012, 7.1, for any density; JCGM 101 gives the sample). Not a number for an empty sample.
pub fn of_sample(sample: &[f64], low: Option<f64>, high: Option<f64>) -> f64 {
    let within =
        |value: &&f64| low.is_none_or(|low| low <= **value) && high.is_none_or(|high| **value <= high);
    sample.iter().filter(within).count() as f64 / sample.len() as f64
}

/// The probability whose odds are so many times those of `probability`.
pub fn with_odds(probability: f64, times: f64) -> f64 {
    let within = probability * times;
    if times == 1.0 { probability } else { within / (within + 1.0 - probability) }
}

/// How many times as good as the tolerance a check is to be where it is not said (the 4:1 rule of ASME B89.7.3.1).
pub const ACCURACY_RATIO: f64 = 4.0;

/// How a verdict is reached.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// Within or out only where that is proven: probability of conformance at least, or at most one
    /// minus, this (ISO 14253-1:2017, whose default is 95 %; guarded acceptance and guarded rejection
    /// of JCGM 106:2012, 8.3). Everything else is undecided.
    Proven {
        /// The probability asked for, above 0.5.
        probability: f64,
    },
    /// The estimate itself decides, provided the check is good enough: the tolerance over twice the
    /// expanded uncertainty (k = 2) is at least the ratio (simple acceptance, JCGM 106:2012, 8.2.1,
    /// with the measurement capability index of 7.6.3; the 4:1 rule of ASME B89.7.3.1-2001 in these
    /// terms; clause numbers from memory). A check that is not good enough leaves it undecided.
    SimpleAcceptance {
        /// The least ratio.
        accuracy_ratio: f64,
    },
    /// The estimate itself decides, and both parties share the risk of a wrong verdict (JCGM
    /// 106:2012, 8.2: up to 50 % near the limit).
    SharedRisk,
}

impl Default for Rule {
    fn default() -> Self {
        Self::Proven { probability: 0.95 }
    }
}

/// A verdict on a flatness deviation, with all that it rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Conformance {
    /// The verdict.
    pub verdict: Verdict,
    /// The rule it was reached by.
    pub rule: Rule,
    /// The largest flatness deviation that is good, in µm.
    pub tolerance: f64,
    /// The estimate of the flatness deviation, in µm.
    pub estimate: f64,
    /// Its standard uncertainty, in µm.
    pub standard_uncertainty: f64,
    /// Probability that the flatness deviation is within the tolerance.
    pub probability: f64,
    /// Tolerance over twice the expanded uncertainty, `T / (4 u)`: the measurement capability index
    /// (JCGM 106:2012, 7.6.3). Infinite without uncertainty.
    pub capability: f64,
    /// Probability that this verdict is wrong; where it is undecided, that the better guess is.
    pub risk: f64,
}

impl Conformance {
    /// Judges a sample of the flatness deviation, µm, equally weighted, by a rule.
    pub fn of_sample(sample: &[f64], tolerance: f64, rule: Rule) -> Self {
        let (mean, deviation) = crate::quantity::sample::mean_and_standard_deviation(sample);
        Self::new(mean, deviation, of_sample(sample, None, Some(tolerance)), tolerance, rule)
    }

    /// The same where a plate within the tolerance is so many times likelier beforehand, against one that is out. The
    /// estimate stays.
    pub fn with_odds(self, times: f64) -> Self {
        let probability = with_odds(self.probability, times);
        Self::new(self.estimate, self.standard_uncertainty, probability, self.tolerance, self.rule)
    }

    fn new(estimate: f64, standard_uncertainty: f64, probability: f64, tolerance: f64, rule: Rule) -> Self {
        let capability = tolerance / (4.0 * standard_uncertainty);
        let by_estimate = if estimate <= tolerance { Verdict::Within } else { Verdict::Out };
        let verdict = match rule {
            Rule::Proven { probability: asked } if probability >= asked => Verdict::Within,
            Rule::Proven { probability: asked } if 1.0 - probability >= asked => Verdict::Out,
            Rule::Proven { .. } => Verdict::Undecided,
            Rule::SimpleAcceptance { accuracy_ratio } if capability >= accuracy_ratio => by_estimate,
            Rule::SimpleAcceptance { .. } => Verdict::Undecided,
            Rule::SharedRisk => by_estimate,
        };
        let risk = match verdict {
            Verdict::Within => 1.0 - probability,
            Verdict::Out => probability,
            Verdict::Undecided => probability.min(1.0 - probability),
        };
        Self { verdict, rule, tolerance, estimate, standard_uncertainty, probability, capability, risk }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// JCGM 106:2012, 7.3, examples of one-sided tolerances (from memory): a Zener diode with
    /// breakdown voltage −5.47 V, u = 0.05 V and upper limit −5.40 V conforms with 0.919.
    #[test]
    fn a_published_one_sided_probability() {
        let p = of_normal(-5.47, 0.05, None, Some(-5.40));
        assert!((p - 0.919).abs() < 5e-4, "{p}");
    }

    /// JCGM 106:2012, table 1 and figure 8 (7.4, from memory for the place): at a limit the
    /// probability is one half; a guard band of 1.645 u makes it 95 %, of 2 u 97.7 %.
    #[test]
    fn guard_bands() {
        assert!((of_normal(10.0, 1.0, None, Some(10.0)) - 0.5).abs() < 1e-12);
        assert!((of_normal(10.0 - 1.644_853_627, 1.0, Some(-100.0), Some(10.0)) - 0.95).abs() < 1e-9);
        assert!((of_normal(10.0 + 2.0, 1.0, Some(10.0), None) - 0.977_249_868).abs() < 1e-9);
        assert!((of_normal(0.0, 1.0, Some(-1.0), Some(1.0)) - 0.682_689_492).abs() < 1e-9);
        assert_eq!(of_normal(1.0, 0.0, None, Some(1.0)), 1.0);
    }

    /// A gamma density of shape 2 and scale 1: P(x ≤ 3) = 1 − 4 e⁻³ = 0.800852.
    #[test]
    fn a_sample_of_a_skewed_quantity() {
        let gamma = crate::quantity::distribution::Distribution::Gamma { shape: 2.0, scale: 1.0 };
        let sample: Vec<f64> = (0..10_000).map(|i| gamma.quantile((f64::from(i) + 0.5) / 10_000.0)).collect();
        assert!((of_sample(&sample, None, Some(3.0)) - 0.800_852).abs() < 1e-4);
        // The normal formula with the same mean and standard deviation says 0.760.
        let judged = Conformance::of_sample(&sample, 3.0, Rule::default());
        assert!((judged.probability - 0.800_852).abs() < 1e-4);
        assert_eq!(judged.verdict, Verdict::Undecided);
    }

    #[test]
    fn rules_differ_where_they_should() {
        let conformance = |estimate, u, rule| {
            Conformance::new(estimate, u, of_normal(estimate, u, None, Some(10.0)), 10.0, rule)
        };
        let judge = |estimate, u, rule| conformance(estimate, u, rule).verdict;
        let simple = Rule::SimpleAcceptance { accuracy_ratio: 4.0 };
        // Guard band 1.645 u.
        assert_eq!(judge(9.0, 0.6, Rule::default()), Verdict::Within);
        assert_eq!(judge(9.1, 0.6, Rule::default()), Verdict::Undecided);
        assert_eq!(judge(11.0, 0.6, Rule::default()), Verdict::Out);
        // T / 4u = 4.2 and 2.5.
        assert_eq!(judge(9.9, 0.6, simple), Verdict::Within);
        assert_eq!(judge(10.1, 0.6, simple), Verdict::Out);
        assert_eq!(judge(5.0, 1.0, simple), Verdict::Undecided);
        assert_eq!(judge(9.9, 3.0, Rule::SharedRisk), Verdict::Within);
        let shared = conformance(9.9, 3.0, Rule::SharedRisk);
        assert!(shared.risk > 0.45 && shared.risk < 0.5);
    }
}
