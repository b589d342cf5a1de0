//! All ways of wearing together: a plate's fit.

use super::filter::{Pass, Plate};
use super::grid::{interval, over_classes};
use super::rates::rate_interval;
use super::{COVERAGE, EventFit, Evidence, Hypothesis, Interval, Known, N_NODES, PlateWear, log_sum};
use crate::quantity::student::normal_quantile;
use crate::shop::wear_over_time::WearProcess;
use libm::exp;

/// Ways of wearing that are less likely than this are left out; all of them together hold less than 1e-4.
const UNLIKELY: f64 = 1e-6;

impl Plate<'_> {
    /// The whole fit, with these logarithms of rates as hypotheses.
    pub(super) fn fit(&self, log_rates: &[f64], log_prior: &dyn Fn(f64) -> f64) -> PlateWear {
        let processes: Vec<(WearProcess, f64)> = log_rates
            .iter()
            .flat_map(|&log_rate| {
                let prior = log_prior(log_rate);
                self.unevenness
                    .iter()
                    .map(move |&unevenness| (WearProcess { rate: exp(log_rate), unevenness }, prior))
            })
            .collect();
        let passes: Vec<Pass> = processes.iter().map(|(process, _)| self.forward(process, true)).collect();
        let log_weights: Vec<f64> =
            processes.iter().zip(&passes).map(|((_, prior), pass)| prior + pass.log_evidence).collect();
        let whole = log_sum(&log_weights);
        let mut events = vec![vec![0.0; N_NODES]; self.events.len()];
        let mut hypotheses = Vec::new();
        for ((process, _), (pass, log_weight)) in processes.iter().zip(passes.iter().zip(&log_weights)) {
            let probability = exp(log_weight - whole);
            if probability.is_nan() || probability < UNLIKELY {
                continue;
            }
            for (sum, state) in events.iter_mut().zip(self.smoothed(process, pass)) {
                for class in state.chunks_exact(N_NODES) {
                    sum.iter_mut().zip(class).for_each(|(sum, p)| *sum += probability * p);
                }
            }
            let state = pass.states.last().cloned().unwrap_or_default();
            let last = over_classes(&pass.states[pass.states.len().saturating_sub(2)]);
            hypotheses.push(Hypothesis { process: *process, probability, state, last });
        }
        let total: f64 = hypotheses.iter().map(|h| h.probability).sum();
        hypotheses.iter_mut().for_each(|h| h.probability /= total);
        let p_below = |k: usize| {
            let weights: Vec<f64> = processes
                .iter()
                .zip(&passes)
                .map(|((_, prior), pass)| {
                    pass.before.get(k).map_or(f64::NEG_INFINITY, |before| prior + before)
                })
                .collect();
            let whole = log_sum(&weights);
            let terms = weights.iter().zip(&passes).map(|(weight, pass)| {
                let weight = exp(weight - whole);
                if weight > 0.0 { weight * pass.p_below.get(k).copied().unwrap_or(0.5) } else { 0.0 }
            });
            terms.sum::<f64>()
        };
        let fitted = events.iter().enumerate().map(|(k, marginal)| EventFit {
            alone: self.alone(k),
            fitted: interval(marginal, self.grid.spacing),
            p_value: (!self.below[k].is_empty()).then(|| {
                let p = p_below(k).clamp(0.0, 1.0);
                2.0 * p.min(1.0 - p)
            }),
        });
        let events: Vec<EventFit> = fitted.collect();
        let rate = rate_interval(&hypotheses);
        let tells_spread_classes = self.classes[0] > 1;
        let spacing = self.grid.spacing;
        let since = self.gaps.last().copied().unwrap_or(0.0);
        let mut plate =
            PlateWear { spacing, hypotheses, rate, today: rate, events, since, tells_spread_classes };
        plate.today = plate.after(0.0);
        plate
    }

    /// The flatness that one event speaks for, whatever is known besides.
    fn alone(&self, event: usize) -> Interval {
        let mut marginal = vec![0.0; N_NODES];
        for class in self.likelihoods[event].chunks_exact(N_NODES) {
            marginal.iter_mut().zip(class).for_each(|(sum, l)| *sum += l);
        }
        match self.events[event].evidence {
            Evidence::Certificate(known) | Evidence::Judged(known) | Evidence::Resurfaced(known) => {
                match known {
                    Known::Normal { estimate, standard_uncertainty } => {
                        let reach = normal_quantile(0.5 + 0.5 * COVERAGE) * standard_uncertainty;
                        Interval { mean: estimate, ends: [(estimate - reach).max(0.0), estimate + reach] }
                    }
                    Known::Rectangular { low, high } => {
                        let low = low.max(0.0);
                        let reach = 0.5 * COVERAGE * (high - low);
                        let mean = 0.5 * (low + high);
                        Interval { mean, ends: [mean - reach, mean + reach] }
                    }
                }
            }
            Evidence::Spread(_) => interval(&marginal, self.grid.spacing),
        }
    }
}
