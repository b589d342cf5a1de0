//! How often the verdict from readings passes a plate, by how flat the plate is.

use super::{conformance::Rule, limits::Verdict, standing::Standing};
use crate::{
    propagation::{
        check_experiment::CheckExperiment,
        judged_checks::observations,
        posterior::{CannotJudge, Inference, Settings},
        trials::Experiment,
    },
    quantity::stream::Streams,
    shop::check::ShopCheck,
};
use rayon::prelude::*;
use statrs::distribution::{Beta, ContinuousCDF as _};

/// Verdicts on plates whose flatness lies in one range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct VerdictPoint {
    /// Flatness deviation over tolerance: from, and up to.
    pub ratio: [f64; 2],
    /// How many such plates were checked and judged.
    pub n: usize,
    /// How many of them were found within.
    pub n_within: usize,
    /// How many of them were found out.
    pub n_out: usize,
}

/// The ranges of flatness over tolerance.
pub const RATIOS: [f64; 6] = [0.0, 0.75, 1.0, 1.5, 2.0, 4.0];

/// The operating curve of the verdict: as many simulated checks in each range of flatness, so that bad plates are not rare.
///
/// `flatness` is what [`simulate`](crate::propagation::simulation::simulate) found of its trials (µm), by the same `seed`; of each
/// range the first are judged, `n_judged` in all; none where that is less than one of each. Ranges that hold no plate are left out.
///
/// # Errors
///
/// [`CannotJudge`], which checks that were simulated do not give.
pub fn verdict_curve(
    check: &ShopCheck,
    seed: u64,
    flatness: &[f64],
    tolerance: f64,
    rule: Rule,
    n_judged: usize,
) -> Result<Vec<VerdictPoint>, CannotJudge> {
    let experiment = CheckExperiment::new(check).map_err(CannotJudge::Check)?;
    let streams = Streams::new(seed);
    let each = n_judged / (RATIOS.len() - 1);
    let mut points = Vec::new();
    if each == 0 {
        return Ok(points);
    }
    for ratio in RATIOS.windows(2).map(|ends| [ends[0], ends[1]]) {
        let is_here = |truth: f64| ratio[0] * tolerance < truth && truth <= ratio[1] * tolerance;
        let trials: Vec<u64> = (0_u64..)
            .zip(flatness)
            .filter(|(_, truth)| is_here(**truth))
            .map(|(trial, _)| trial)
            .take(each)
            .collect();
        let verdicts = trials.par_iter().map(|&trial| {
            let (_, written) = experiment.written(&streams, trial, &mut experiment.scratch());
            let settings =
                Settings { n_particles: 200, effective_sample_size: 400.0, rounds: [3, 10], seed: trial };
            let mut inference =
                Inference::new(&experiment, &observations(check, &written), &settings, &|_| {})?;
            Ok(Standing::of(&mut inference, Some(tolerance), rule, 1.0)?.verdict)
        });
        let verdicts = verdicts.collect::<Result<Vec<_>, CannotJudge>>()?;
        let count = |verdict| verdicts.iter().filter(|found| **found == Some(verdict)).count();
        if !verdicts.is_empty() {
            points.push(VerdictPoint {
                ratio,
                n: verdicts.len(),
                n_within: count(Verdict::Within),
                n_out: count(Verdict::Out),
            });
        }
    }
    Ok(points)
}

impl VerdictPoint {
    /// A 95 % interval of the share that is found within: Jeffreys' (Brown, Cai and DasGupta, "Interval estimation for a binomial
    /// proportion", Statistical Science 16, 2001, 101-133).
    pub fn within_interval(&self) -> [f64; 2] {
        let [yes, no] = [self.n_within, self.n - self.n_within].map(|count| count as f64 + 0.5);
        let Ok(beta) = Beta::new(yes, no) else { return [0.0, 1.0] };
        [
            if self.n_within == 0 { 0.0 } else { beta.inverse_cdf(0.025) },
            if self.n_within == self.n { 1.0 } else { beta.inverse_cdf(0.975) },
        ]
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Brown, Cai and DasGupta (2001), table 5 (from memory for the place): Jeffreys' interval for 5 of 10 and for none of 10 at
    /// 95 %: 0.224 to 0.776, and 0 to 0.217.
    #[test]
    fn published_intervals() {
        let interval =
            |n_within| VerdictPoint { ratio: [0.0, 1.0], n: 10, n_within, n_out: 0 }.within_interval();
        let [low, high] = interval(5);
        assert!((low - 0.224).abs() < 6e-4 && (high - 0.776).abs() < 6e-4, "{low} {high}");
        let [low, high] = interval(0);
        assert!(low == 0.0 && (high - 0.217).abs() < 6e-4, "{high}");
    }
}
