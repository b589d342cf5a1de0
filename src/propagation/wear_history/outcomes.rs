//! What a check made today might find.

use super::{N_NODES, PlateWear, spaced};
use crate::propagation::spread_law::{N_CLASSES, SpreadLaw};
use crate::quantity::student::normal_cumulative;

impl PlateWear {
    /// Likelihoods of the outcomes of a check made today, `[outcome][class and node]`; for every state they add up to 1.
    pub fn outcomes(&self, check: &ForeseenCheck) -> Vec<Vec<f64>> {
        let n_states = self.hypotheses.first().map_or(0, |h| h.state.len());
        let node = |state: usize| state % N_NODES;
        match check {
            ForeseenCheck::Perfect => (0..N_NODES)
                .map(|outcome| {
                    (0..n_states).map(|state| f64::from(u8::from(node(state) == outcome))).collect()
                })
                .collect(),
            ForeseenCheck::Measured { standard_uncertainty } => {
                let marks = spaced(0.0, self.spacing * N_NODES as f64, N_OUTCOMES);
                let below = |mark: f64, state: usize| {
                    normal_cumulative((mark - node(state) as f64 * self.spacing) / standard_uncertainty)
                };
                between_marks(&marks, n_states, below)
            }
            ForeseenCheck::Spread(law) => {
                let [mean, deviation] = [|m: (f64, f64)| m.0, |m: (f64, f64)| m.1]
                    .map(|part| part(law.moments(self.today.ends[1].max(self.spacing))));
                let marks = spaced(0.0, mean + 5.0 * deviation, N_OUTCOMES);
                let tells_classes = n_states > N_NODES && self.tells_spread_classes;
                // The same for all states that differ in what a spread does not depend on.
                let table: Vec<Vec<f64>> = marks
                    .iter()
                    .map(|&mark| {
                        (0..N_CLASSES * N_NODES)
                            .map(|k| law.cumulative(mark, (k % N_NODES) as f64 * self.spacing, k / N_NODES))
                            .collect()
                    })
                    .collect();
                let below = |index: usize, state: usize| {
                    if tells_classes {
                        let class = state / N_NODES % N_CLASSES;
                        table[index][class * N_NODES + node(state)]
                    } else {
                        let each = (0..N_CLASSES).map(|class| table[index][class * N_NODES + node(state)]);
                        each.sum::<f64>() / N_CLASSES as f64
                    }
                };
                let indices: Vec<usize> = (0..marks.len()).collect();
                between_marks(&indices, n_states, below)
            }
        }
    }
}

/// Outcomes of a check that are told apart.
const N_OUTCOMES: usize = 61;

/// Probabilities of an outcome between each two marks, below the first and above the last.
fn between_marks<M: Copy>(marks: &[M], n_states: usize, below: impl Fn(M, usize) -> f64) -> Vec<Vec<f64>> {
    let mut last = vec![0.0; n_states];
    let mut outcomes = Vec::with_capacity(marks.len() + 1);
    for mark in marks.iter().copied().map(Some).chain([None]) {
        let here: Vec<f64> = (0..n_states).map(|state| mark.map_or(1.0, |mark| below(mark, state))).collect();
        outcomes.push(here.iter().zip(&last).map(|(here, last)| here - last).collect());
        last = here;
    }
    outcomes
}

/// A check that might be made today.
#[derive(Debug, Clone, Copy)]
pub enum ForeseenCheck<'a> {
    /// One more shop check, of which the spread is taken.
    Spread(&'a SpreadLaw),
    /// A flatness deviation with a normal error.
    Measured {
        /// Its standard uncertainty, in µm.
        standard_uncertainty: f64,
    },
    /// The flatness deviation itself: no check can be worth more.
    Perfect,
}
