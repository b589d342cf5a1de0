//! Forward and backward through the history of one plate, for one way of wearing.

use super::grid::{Grid, foreseen, grown};
use super::{Event, Evidence, History, N_NODES, log_sum};
use crate::propagation::spread_law::N_CLASSES;
use crate::quantity::vector::dot;
use crate::shop::wear_over_time::WearProcess;
use libm::{exp, log};

/// One plate, ready to be filtered.
pub(super) struct Plate<'a> {
    pub(super) grid: &'a Grid,
    pub(super) events: &'a [Event],
    pub(super) unevenness: &'a [f64],
    /// Classes of form that the events tell apart: for spreads, and for judged readings.
    pub(super) classes: [usize; 2],
    /// For each event the likelihood, `[class][node]`, flat.
    pub(super) likelihoods: Vec<Vec<f64>>,
    /// For each event the probability of a finding at or below it, likewise; empty for a resurfacing.
    pub(super) below: Vec<Vec<f64>>,
    /// Years from each event to the next, and from the last to today.
    pub(super) gaps: Vec<f64>,
}

/// What one run through the history gives.
pub(super) struct Pass {
    pub(super) log_evidence: f64,
    /// The state after each event and the gap before the next; the last is today's.
    pub(super) states: Vec<Vec<f64>>,
    /// For each event the probability, before it, of a finding at or below it; not a number for a resurfacing.
    pub(super) p_below: Vec<f64>,
    /// Logarithm of the evidence before each event.
    pub(super) before: Vec<f64>,
    /// The most that the last node holds after any event, or at the start where there is none.
    pub(super) top: f64,
}

impl<'a> Plate<'a> {
    pub(super) fn new(history: &'a History, events: &'a [Event], grid: &'a Grid) -> Self {
        let has = |kind: fn(&Evidence) -> bool| events.iter().any(|event| kind(&event.evidence));
        let spreads = has(|evidence| matches!(evidence, Evidence::Spread(_))) && history.law.is_some();
        let judged = has(|evidence| matches!(evidence, Evidence::Judged(_)));
        let classes = [spreads, judged].map(|there| if there { N_CLASSES } else { 1 });
        let gaps = events
            .iter()
            .enumerate()
            .map(|(k, event)| events.get(k + 1).map_or(history.today, |next| next.years) - event.years)
            .collect();
        let mut plate = Self {
            grid,
            events,
            unevenness: &history.prior.unevenness,
            classes,
            likelihoods: Vec::new(),
            below: Vec::new(),
            gaps,
        };
        for event in events {
            let resurfaced = matches!(event.evidence, Evidence::Resurfaced(_));
            plate.likelihoods.push(plate.table(|node, [a, b]| {
                let (flatness, spacing) = (node as f64 * grid.spacing, grid.spacing);
                match (event.evidence, history.law) {
                    (Evidence::Certificate(known) | Evidence::Resurfaced(known), _) => {
                        known.likelihood(flatness, spacing)
                    }
                    (Evidence::Judged(known), _) => known.shifted(b).likelihood(flatness, spacing),
                    (Evidence::Spread(spread), Some(law)) => law.density(spread, flatness, a),
                    (Evidence::Spread(_), None) => 1.0,
                }
            }));
            plate.below.push(if resurfaced {
                Vec::new()
            } else {
                plate.table(|node, [a, b]| {
                    let flatness = node as f64 * grid.spacing;
                    match (event.evidence, history.law) {
                        (Evidence::Certificate(known) | Evidence::Resurfaced(known), _) => {
                            known.probability_below(flatness)
                        }
                        (Evidence::Judged(known), _) => known.shifted(b).probability_below(flatness),
                        (Evidence::Spread(spread), Some(law)) => law.cumulative(spread, flatness, a),
                        (Evidence::Spread(_), None) => 0.5,
                    }
                })
            });
        }
        plate
    }

    fn n_classes(&self) -> usize {
        self.classes[0] * self.classes[1]
    }

    /// A number for every class and node.
    fn table(&self, of: impl Fn(usize, [usize; 2]) -> f64) -> Vec<f64> {
        let classes = (0..self.n_classes()).map(|class| [class % self.classes[0], class / self.classes[0]]);
        let mut table = Vec::with_capacity(self.n_classes() * N_NODES);
        for class in classes {
            table.extend((0..N_NODES).map(|node| of(node, class)));
        }
        table
    }

    /// Logarithm of the probability of the history at a rate, over all unevennesses.
    pub(super) fn log_evidence(&self, log_rate: f64) -> f64 {
        self.evidence_and_top(log_rate).0
    }

    /// The same, and the most that the last node of the grid holds after any event.
    pub(super) fn evidence_and_top(&self, log_rate: f64) -> (f64, f64) {
        let passes = self.unevenness.iter().map(|&unevenness| {
            let pass = self.forward(&WearProcess { rate: exp(log_rate), unevenness }, false);
            (pass.log_evidence, pass.top)
        });
        let (each, tops): (Vec<f64>, Vec<f64>) = passes.unzip();
        let evidence = log_sum(&each);
        if evidence == f64::NEG_INFINITY {
            return (evidence, tops.into_iter().fold(0.0, f64::max));
        }
        let top = each.iter().zip(&tops).map(|(e, top)| exp(e - evidence) * top).sum();
        (evidence - log(each.len() as f64), top)
    }

    /// The growth over each gap; gaps of one length share theirs.
    fn growths(&self, process: &WearProcess) -> Vec<Vec<f64>> {
        let mut growths: Vec<Vec<f64>> = Vec::with_capacity(self.gaps.len());
        for (k, gap) in self.gaps.iter().enumerate() {
            let same = self.gaps[..k].iter().position(|other| other == gap);
            let growth = match same {
                Some(same) => growths[same].clone(),
                None => process.growth(*gap, self.grid.spacing, N_NODES),
            };
            growths.push(growth);
        }
        growths
    }

    /// Through the history from its start.
    pub(super) fn forward(&self, process: &WearProcess, keep: bool) -> Pass {
        let growths = self.growths(process);
        let per_class = 1.0 / self.n_classes() as f64;
        let mut state: Vec<f64> = self.table(|node, _| self.grid.first[node] * per_class);
        let mut pass =
            Pass { log_evidence: 0.0, states: Vec::new(), p_below: Vec::new(), before: Vec::new(), top: 0.0 };
        for (k, event) in self.events.iter().enumerate() {
            pass.before.push(pass.log_evidence);
            let likelihood = &self.likelihoods[k];
            if matches!(event.evidence, Evidence::Resurfaced(_)) {
                // What was there before is gone; the surface and its class are new.
                pass.p_below.push(f64::NAN);
                state.iter_mut().zip(likelihood).for_each(|(p, l)| *p = l * per_class);
                let sum: f64 = state.iter().sum();
                state.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
            } else {
                if keep {
                    pass.p_below.push(dot(&state, &self.below[k]));
                }
                state.iter_mut().zip(likelihood).for_each(|(p, l)| *p *= l);
                let sum: f64 = state.iter().sum();
                if sum < 1e-280 {
                    pass.log_evidence = f64::NEG_INFINITY;
                    pass.top = 1.0;
                    return pass;
                }
                state.iter_mut().for_each(|p| *p /= sum);
                pass.log_evidence += log(sum);
            }
            let at_top: f64 = state.chunks_exact(N_NODES).map(|class| class[N_NODES - 1]).sum();
            pass.top = pass.top.max(at_top);
            if keep {
                pass.states.push(state.clone());
            }
            state = grown(&state, &growths[k]);
        }
        if self.events.is_empty() {
            pass.top = self.grid.first[N_NODES - 1];
        }
        pass.states.push(state);
        pass
    }

    /// What is likely of each event's state in view of all that comes after it: `[event][class and node]`.
    pub(super) fn smoothed(&self, process: &WearProcess, pass: &Pass) -> Vec<Vec<f64>> {
        let growths = self.growths(process);
        let mut after = vec![1.0; self.n_classes() * N_NODES];
        let mut smoothed = Vec::with_capacity(self.events.len());
        for k in (0..self.events.len()).rev() {
            let ahead = foreseen(&after, &growths[k]);
            let mut state: Vec<f64> = pass.states[k].iter().zip(&ahead).map(|(p, a)| p * a).collect();
            let sum: f64 = state.iter().sum();
            state.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
            smoothed.push(state);
            after = if matches!(self.events[k].evidence, Evidence::Resurfaced(_)) {
                vec![1.0; ahead.len()]
            } else {
                let most = ahead.iter().copied().fold(0.0, f64::max).max(f64::MIN_POSITIVE);
                ahead.iter().zip(&self.likelihoods[k]).map(|(a, l)| a / most * l).collect()
            };
        }
        smoothed.reverse();
        smoothed
    }
}
