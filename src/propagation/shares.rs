//! How much of the variance of a result each source is to blame for.

use schemars::JsonSchema;
use serde::Serialize;

/// One source's part in the variance of an output.
///
/// The indices are estimates from random trials: they can fall a little below 0 or above 1, by an
/// amount that their standard uncertainties tell.
///
/// The first-order index is the fraction of the variance that would go if the source were known exactly, the total one
/// the fraction that would stay if all others were. It interacts where the total is larger than the first order by more
/// than twice the standard uncertainty of that difference.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(
    rename = "ShareDocument",
    description = "One source's share in the variance of the spread's error."
)]
pub struct Share {
    /// The source of disturbance, in words.
    pub source: String,
    /// What it causes by itself.
    pub first_order: f64,
    /// Standard uncertainty of that from the finite number of trials.
    #[serde(rename = "first_order_standard_uncertainty")]
    pub first_order_u: f64,
    /// What it causes by itself and together with others.
    pub total: f64,
    /// Standard uncertainty of that from the finite number of trials.
    #[serde(rename = "total_standard_uncertainty")]
    pub total_u: f64,
    /// Whether it acts together with others.
    pub interacts: bool,
}

/// First-order and total shares of each of `sources` in the variance of an output, from its trials: `a`, `b` with all sources drawn
/// anew, and for each source what `redrawn` gives, with that one alone drawn anew. All have as many trials.
///
/// The estimators are mean(f(B)·(f(AB_i) − f(A))) for the first order (Saltelli et al., Comput. Phys. Commun. 181, 2010, 259-270,
/// table 2, b) and ½·mean((f(A) − f(AB_i))²) for the total (Jansen, Comput. Phys. Commun. 117, 1999,
/// 35-43), both over the variance of f(A) and f(B) together; the mean is taken off every f beforehand,
/// which changes no expectation and lowers the scatter.
///
/// The standard uncertainties are those of a ratio of two means over the same trials, to first
/// order: that of the mean of `(p_t − S·v_t)/V` over trials t, where `S = mean(p)/V` and `V = mean(v)`.
///
/// A source that moves nothing gets zeros, and so does every source if the output never varies. Sources that are drawn
/// together, such as correlated inputs, are one source; only then do the indices mean what they say.
pub fn shares_of(
    mut a: Vec<f64>,
    mut b: Vec<f64>,
    sources: &[&str],
    redrawn: impl Fn(&str) -> Vec<f64>,
) -> Vec<Share> {
    let n_trials = a.len() as u64;
    let centre = (a.iter().sum::<f64>() + b.iter().sum::<f64>()) / (2 * n_trials) as f64;
    a.iter_mut().chain(&mut b).for_each(|f| *f -= centre);
    let spread = Mean::of(n_trials, |t| 0.5 * (a[t] * a[t] + b[t] * b[t]));
    let share = |source: &&str| {
        let moved: Vec<f64> = redrawn(source).iter().zip(&a).map(|(f, a)| (f - centre) - a).collect();
        let first = |t: usize| b[t] * moved[t];
        let total = |t: usize| 0.5 * moved[t] * moved[t];
        let [first_order, total, interaction] =
            [&first as &dyn Fn(usize) -> f64, &total, &|t| total(t) - first(t)]
                .map(|term| spread.fraction(term));
        Share {
            source: (*source).to_owned(),
            first_order: first_order.value,
            first_order_u: first_order.u,
            total: total.value,
            total_u: total.u,
            interacts: interaction.value > 2.0 * interaction.u,
        }
    };
    sources.iter().map(share).collect()
}

/// The mean of one term a trial; terms are added in the order of the trials.
struct Mean<F> {
    n_trials: u64,
    term: F,
    value: f64,
}

/// A fraction and its standard uncertainty.
struct Fraction {
    value: f64,
    u: f64,
}

impl<F: Fn(usize) -> f64> Mean<F> {
    fn of(n_trials: u64, term: F) -> Self {
        let value = (0..n_trials as usize).map(&term).sum::<f64>() / n_trials as f64;
        Self { n_trials, term, value }
    }

    /// The mean of `part` over this mean.
    fn fraction(&self, part: &dyn Fn(usize) -> f64) -> Fraction {
        if self.value == 0.0 {
            return Fraction { value: 0.0, u: 0.0 };
        }
        let value = Mean::of(self.n_trials, part).value / self.value;
        let residual = |t: usize| part(t) - value * (self.term)(t);
        let squares = Mean::of(self.n_trials, |t| residual(t) * residual(t)).value;
        Fraction { value, u: (squares / (self.n_trials - 1) as f64).sqrt() / self.value }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::propagation::trials::{Experiment, run_trials};
    use crate::quantity::stream::Streams;
    use rand::RngExt;
    use std::f64::consts::PI;
    use std::ops::Range;

    fn variance_shares<E: Experiment>(
        experiment: &E,
        streams: &Streams,
        sources: &[&str],
        n_trials: u64,
    ) -> Vec<Share> {
        let run = |streams: &Streams| run_trials(experiment, streams, 0..n_trials, &|_| ()).swap_remove(0);
        shares_of(run(streams), run(&streams.redrawing_all()), sources, |source| {
            run(&streams.redrawing(source))
        })
    }

    /// A function of independent uniform numbers between 0 and 1, one a source.
    struct OfUniforms<F> {
        sources: &'static [&'static str],
        function: F,
    }

    impl<F: Fn(&[f64]) -> f64 + Sync> Experiment for OfUniforms<F> {
        type Scratch = ();

        fn n_outputs(&self) -> usize {
            1
        }

        fn scratch(&self) {}

        fn run_block(&self, streams: &Streams, trials: Range<u64>, out: &mut [&mut [f64]], _: &mut ()) {
            for (trial, place) in trials.zip(out[0].iter_mut()) {
                let draws: Vec<f64> =
                    self.sources.iter().map(|s| streams.source(s).trial(trial).random()).collect();
                *place = (self.function)(&draws);
            }
        }
    }

    /// Both indices within 4 of their standard uncertainties of the exact ones, and those small enough to mean something.
    fn check<F: Fn(&[f64]) -> f64 + Sync>(
        experiment: &OfUniforms<F>,
        exact: &[(f64, f64)],
        interact: &[bool],
    ) {
        let shares = variance_shares(experiment, &Streams::new(3), experiment.sources, 1 << 16);
        assert_eq!(shares.len(), exact.len());
        for ((share, (first_order, total)), interact) in shares.iter().zip(exact).zip(interact) {
            assert!((share.first_order - first_order).abs() <= 4.0 * share.first_order_u, "{share:?}");
            assert!((share.total - total).abs() <= 4.0 * share.total_u, "{share:?}");
            assert!(share.first_order_u < 0.01 && share.total_u < 0.01, "{share:?}");
            assert_eq!(share.interacts, *interact, "{share:?}");
        }
    }

    /// Ishigami and Homma, "An importance quantification technique in uncertainty analysis for
    /// computer models", ISUMA 1990: sin x₁ + a sin² x₂ + b x₃⁴ sin x₁ on (−π, π)³; closed forms by integration.
    #[test]
    fn the_ishigami_function_has_its_known_shares() {
        let (a, b) = (7.0, 0.1);
        let ishigami = OfUniforms {
            sources: &["x1", "x2", "x3"],
            function: |u: &[f64]| {
                let [x1, x2, x3] = [0, 1, 2].map(|i| PI * (2.0 * u[i] - 1.0));
                libm::sin(x1) + a * libm::sin(x2).powi(2) + b * x3.powi(4) * libm::sin(x1)
            },
        };
        let v1 = 0.5 * (1.0 + b * PI.powi(4) / 5.0).powi(2);
        let v2 = a * a / 8.0;
        let v13 = b * b * PI.powi(8) * (1.0 / 18.0 - 1.0 / 50.0);
        let v = v1 + v2 + v13;
        let exact = [(v1 / v, (v1 + v13) / v), (v2 / v, v2 / v), (0.0, v13 / v)];
        check(&ishigami, &exact, &[true, false, true]);
    }

    /// Sobol', "Sensitivity estimates for nonlinear mathematical models", Math. Modelling Comput.
    /// Exp. 1, 1993, 407-414: the product of (|4x − 2| + a_i)/(1 + a_i); each factor has variance 1/(3(1 + a_i)²).
    #[test]
    fn the_g_function_has_its_known_shares() {
        const A: [f64; 4] = [0.0, 1.0, 4.5, 99.0];
        let g = OfUniforms {
            sources: &["x1", "x2", "x3", "x4"],
            function: |u: &[f64]| {
                u.iter().zip(A).map(|(u, a)| ((4.0 * u - 2.0).abs() + a) / (1.0 + a)).product()
            },
        };
        let v = A.map(|a| 1.0 / (3.0 * (1.0 + a).powi(2)));
        let all: f64 = v.iter().map(|v| 1.0 + v).product();
        let exact = v.map(|v| (v / (all - 1.0), v * all / (1.0 + v) / (all - 1.0)));
        check(&g, &exact, &[true, true, true, false]);
    }

    /// The stated uncertainty is the scatter over seeds: for 200 seeds the ratio of both is known to about 5 %.
    #[test]
    fn the_stated_uncertainties_are_the_scatter_seen() {
        let product = OfUniforms { sources: &["x", "y"], function: |u: &[f64]| u[0] * (u[1] + 0.2) };
        let runs: Vec<Share> = (0..200)
            .map(|seed| variance_shares(&product, &Streams::new(seed), &["x"], 1 << 10).swap_remove(0))
            .collect();
        type Part = fn(&Share) -> f64;
        let parts: [(Part, Part); 2] =
            [(|s| s.first_order, |s| s.first_order_u), (|s| s.total, |s| s.total_u)];
        for (value, u) in parts {
            let mean = runs.iter().map(value).sum::<f64>() / 200.0;
            let scatter = (runs.iter().map(|s| (value(s) - mean).powi(2)).sum::<f64>() / 199.0).sqrt();
            let stated = runs.iter().map(u).sum::<f64>() / 200.0;
            assert!((stated / scatter - 1.0).abs() < 0.2, "stated {stated}, seen {scatter}");
        }
    }

    #[test]
    fn what_does_not_move_has_no_share() {
        let constant = OfUniforms { sources: &["x"], function: |_: &[f64]| 3.0 };
        let share = variance_shares(&constant, &Streams::new(1), &["x"], 512).swap_remove(0);
        assert_eq!((share.first_order, share.total, share.interacts), (0.0, 0.0, false));
        let other = OfUniforms { sources: &["x"], function: |u: &[f64]| u[0] };
        let share = variance_shares(&other, &Streams::new(1), &["y"], 512).swap_remove(0);
        assert_eq!(
            (share.first_order, share.first_order_u, share.total, share.total_u),
            (0.0, 0.0, 0.0, 0.0)
        );
    }
}
