//! What is to be expected of a plate, from today on.

use super::grid::{above, coarser, grown, interval, tails};
use super::{Interval, Known, N_NODES, PlateWear, TOO_HIGH};
use crate::quantity::vector::dot;
use crate::shop::wear_over_time::WearProcess;

impl PlateWear {
    /// Distribution of the flatness deviation on the nodes, so many years from today.
    pub fn distribution_after(&self, years: f64) -> Vec<f64> {
        self.distribution(years, 0)
    }

    /// The same on a grid of nodes `2^doublings` as far apart.
    fn distribution(&self, years: f64, doublings: usize) -> Vec<f64> {
        let spacing = self.spacing * f64::from(1_u32 << doublings);
        let mut sum = vec![0.0; N_NODES];
        for hypothesis in &self.hypotheses {
            let last = (0..doublings).fold(hypothesis.last.clone(), |state, _| coarser(&state));
            let growth = hypothesis.process.growth(self.since + years, spacing, N_NODES);
            sum.iter_mut()
                .zip(&grown(&last, &growth))
                .for_each(|(sum, p)| *sum += hypothesis.probability * p);
        }
        sum
    }

    /// The flatness deviation so many years from today, on grids that are wide enough for it: each end by the finest
    /// that holds it.
    pub fn after(&self, years: f64) -> Interval {
        const WIDEST: usize = 16;
        let mut ends = [None; 2];
        for doublings in 0..=WIDEST {
            let distribution = self.distribution(years, doublings);
            let spacing = self.spacing * f64::from(1_u32 << doublings);
            let found = interval(&distribution, spacing);
            for (end, here) in ends.iter_mut().zip(found.ends) {
                if here < spacing * (N_NODES as f64 - 1.5) {
                    end.get_or_insert(here);
                }
            }
            if distribution[N_NODES - 1] < TOO_HIGH || doublings == WIDEST {
                let [low, high] = found.ends;
                return Interval { ends: [ends[0].unwrap_or(low), ends[1].unwrap_or(high)], ..found };
            }
        }
        self.today
    }

    /// Probability that the flatness deviation exceeds `limit` (µm) so many years from today.
    pub fn exceeding(&self, limit: f64, years: f64) -> f64 {
        above(&self.distribution_after(years), limit / self.spacing)
    }

    /// The same today and after each of `n_steps` steps (years), for a plate that is resurfaced today and
    /// wears as this one does.
    pub fn exceeding_when_new(&self, new: Known, limit: f64, step: f64, n_steps: usize) -> Vec<f64> {
        let mut flatness: Vec<f64> =
            (0..N_NODES).map(|node| new.likelihood(node as f64 * self.spacing, self.spacing)).collect();
        let sum: f64 = flatness.iter().sum();
        flatness.iter_mut().for_each(|p| *p /= sum.max(f64::MIN_POSITIVE));
        let mut sums = vec![0.0; n_steps + 1];
        for hypothesis in &self.hypotheses {
            self.each_tail(&hypothesis.process, limit, step, n_steps, |k, tail| {
                sums[k] += hypothesis.probability * dot(&flatness, tail);
            });
        }
        sums
    }

    /// Today and after each of `n_steps` steps (years), the probability of each class and node of today's state
    /// together with a flatness above `limit` (µm) then: `[step][class and node]`. The last list holds
    /// the states' own probabilities.
    pub fn exceeding_by_state(&self, limit: f64, step: f64, n_steps: usize) -> Vec<Vec<f64>> {
        let n_states = self.hypotheses.first().map_or(0, |h| h.state.len());
        let mut sums = vec![vec![0.0; n_states]; n_steps + 2];
        for hypothesis in &self.hypotheses {
            let weigh = |sums: &mut [f64], tail: Option<&[f64]>| {
                for (sums, state) in
                    sums.chunks_exact_mut(N_NODES).zip(hypothesis.state.chunks_exact(N_NODES))
                {
                    for (node, (sum, p)) in sums.iter_mut().zip(state).enumerate() {
                        *sum += hypothesis.probability * p * tail.map_or(1.0, |tail| tail[node]);
                    }
                }
            };
            self.each_tail(&hypothesis.process, limit, step, n_steps, |k, tail| {
                weigh(&mut sums[k], Some(tail))
            });
            weigh(&mut sums[n_steps + 1], None);
        }
        sums
    }

    /// Tells, for each step, the probability of a flatness above the limit by today's node.
    fn each_tail(
        &self,
        process: &WearProcess,
        limit: f64,
        step: f64,
        n_steps: usize,
        mut tell: impl FnMut(usize, &[f64]),
    ) {
        let after = |k: usize| process.growth(step * k as f64, self.spacing, N_NODES);
        // Each growth is spread over the nodes beside it, so that many small ones would add up to an unevenness of
        // their own: no more than two are joined.
        const LEAP: usize = 16;
        let short: Vec<Vec<f64>> = (0..LEAP.min(n_steps + 1)).map(after).collect();
        let mut none = vec![0.0; N_NODES];
        none[0] = 1.0;
        let mut leapt = none.clone();
        let limit = limit / self.spacing;
        for k in 0..=n_steps {
            if k % LEAP == 0 && k > 0 {
                leapt = grown(&none, &after(k));
            }
            tell(k, &tails(&grown(&leapt, &short[k % LEAP]), limit));
        }
    }
}
