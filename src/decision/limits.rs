//! Which readings of a check let a plate be accepted, and which put it out.

use schemars::JsonSchema;
use serde::Serialize;

/// What a check can decide against a tolerance, worked out over many simulated plates.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// The largest flatness deviation that is good, in µm.
    pub tolerance: f64,
    /// The risk at which a plate is still accepted, and at which it is put out.
    pub risk: f64,
    /// Share of the simulated plates that are bad, before any reading.
    pub bad_before_reading: f64,
    /// The largest reading result (µm) at which the chance that the plate is bad stays within the risk,
    /// and up to which no more than that share of all bad plates would pass; `None` where no result
    /// proves the plate good.
    pub accept_at_or_below: Option<f64>,
    /// The share of all good plates that this limit of acceptance passes; `None` without one.
    pub good_passed: Option<f64>,
    /// The smallest reading result (µm) from which the chance that the plate is good is within the risk; `None` where
    /// no result proves it bad.
    pub out_at_or_above: Option<f64>,
    /// The largest result (µm) up to which that holds: above it a result says less again, as it may come from
    /// something else than the plate. `None` where it holds however large the result.
    pub out_at_or_below: Option<f64>,
    /// Whether there were enough bad and good plates to tell limits at all.
    pub decides: bool,
    /// Chance that a plate is bad, given its result, in order of results: see [`BadGivenResult`]. It need not rise: a
    /// grain under a foot gives a good plate a large result.
    pub bad_given_result: Vec<BadGivenResult>,
    /// What happens to good and bad plates as the limit of acceptance moves.
    pub operating: Vec<OperatingPoint>,
}

/// The chance that a plate which gave a result between two limits is bad: the specific consumer's
/// risk of accepting it (JCGM 106:2012, 9.3.2), one minus its conformance probability.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BadGivenResult {
    /// Smallest and largest result (µm) of this group of trials.
    pub result: [f64; 2],
    /// Chance that the flatness exceeds the tolerance.
    pub probability: f64,
    /// How many trials stand behind it.
    pub n_trials: usize,
}

/// What a limit of acceptance (µm) does.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, JsonSchema)]
#[schemars(rename = "OperatingDocument", description = "What a limit of acceptance does.")]
pub struct OperatingPoint {
    /// Plates that read this or less are accepted.
    pub limit: f64,
    /// Chance that a bad plate is accepted.
    pub bad_accepted: f64,
    /// Chance that a good plate is turned down.
    pub good_refused: f64,
    /// Chance that an accepted plate is bad; null where none is accepted.
    pub bad_among_accepted: Option<f64>,
}

/// How often plates of one flatness are accepted: a point of the check's operating characteristic.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AcceptancePoint {
    /// Mean flatness (µm) of a group of simulated plates.
    pub flatness: f64,
    /// Share of these that is accepted.
    pub accepted: f64,
}

/// The fewest trials from which a chance is told. At 5 % its standard uncertainty is then 1 %.
const SMALLEST_GROUP: usize = 500;

/// The fewest bad, and the fewest good, plates among the trials from which limits are told.
pub const FEWEST_BAD: usize = 200;

impl Limits {
    /// From the true flatness and the reading result of many trials (both µm, same order).
    ///
    /// The chance that a plate is bad given its result is counted in groups of neighbouring results. Where it falls as
    /// the result rises by no more than the number of trials leaves to chance, neighbours are pooled (the step of an
    /// isotonic regression: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order Restrictions,
    /// 1972); where it falls by more, the fall stands. Equal results are never split. Accepting is thus judged for the very result that was read, not for all results
    /// below it together (the specific consumer's risk). That alone would accept nearly any result of a
    /// plate that was hardly ever bad to begin with, on the strength of the description and not of the
    /// reading; so the chance that a bad plate passes must keep to the risk as well. With fewer than
    /// [`FEWEST_BAD`] bad or good plates among the trials nothing is decided.
    pub fn new(flatness: &[f64], result: &[f64], tolerance: f64, risk: f64) -> Self {
        let mut trials: Vec<(f64, bool)> =
            result.iter().zip(flatness).map(|(&result, &flatness)| (result, flatness > tolerance)).collect();
        trials.sort_by(|a, b| a.0.total_cmp(&b.0));
        let n_bad = trials.iter().filter(|trial| trial.1).count();
        let groups = pooled(groups(&trials));
        let decides = n_bad.min(trials.len() - n_bad) >= FEWEST_BAD;
        let specific = groups.iter().take_while(|group| decides && group.probability <= risk).last();
        let passing = highest_passing(&trials, risk * n_bad as f64);
        let accepted = specific.zip(passing).map(|(group, passing)| group.result[1].min(passing));
        let proves_bad = |group: &&BadGivenResult| decides && 1.0 - group.probability <= risk;
        let rest = groups.get(groups.iter().take_while(|group| !proves_bad(group)).count()..);
        let out: Vec<&BadGivenResult> = rest.unwrap_or_default().iter().take_while(proves_bad).collect();
        let n_good = trials.len() - n_bad;
        let passed = |limit: f64| trials.iter().filter(|trial| trial.0 <= limit && !trial.1).count();
        let good_passed = accepted.filter(|_| n_good > 0).map(|limit| passed(limit) as f64 / n_good as f64);
        let out_at_or_above = out.first().map(|group| group.result[0]);
        Self {
            tolerance,
            risk,
            decides,
            bad_before_reading: n_bad as f64 / trials.len() as f64,
            accept_at_or_below: accepted,
            good_passed,
            out_at_or_above,
            out_at_or_below: out
                .last()
                .filter(|_| out.len() < rest.map_or(0, <[_]>::len))
                .map(|group| group.result[1]),
            operating: operating(&trials, n_bad, [accepted, out_at_or_above]),
            bad_given_result: groups,
        }
    }
}

/// How often a plate is accepted whose result is at most `limit` (µm), by its true flatness, rising.
///
/// `flatness` and `result` are those of many trials (µm, same order). The trials are put in order of flatness and
/// counted in groups of equal size.
pub fn acceptance(flatness: &[f64], result: &[f64], limit: f64) -> Vec<AcceptancePoint> {
    const GROUPS: usize = 40;
    let mut trials: Vec<(f64, bool)> =
        flatness.iter().zip(result).map(|(&flatness, &result)| (flatness, result <= limit)).collect();
    trials.sort_by(|a, b| a.0.total_cmp(&b.0));
    let n_groups = (trials.len() / SMALLEST_GROUP).clamp(1, GROUPS);
    // Ends of groups whose sizes differ by one at most.
    let end = |group: usize| group * trials.len() / n_groups;
    let groups = (0..n_groups).map(|group| &trials[end(group)..end(group + 1)]);
    let point = |group: &[(f64, bool)]| {
        let n = group.len() as f64;
        AcceptancePoint {
            flatness: group.iter().map(|trial| trial.0).sum::<f64>() / n,
            accepted: group.iter().filter(|trial| trial.1).count() as f64 / n,
        }
    };
    groups.filter(|group| !group.is_empty()).map(point).collect()
}

/// What may be said of a plate.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verdict {
    /// Proven within tolerance, at the stated risk.
    Within,
    /// Neither proven: a frequent and respectable verdict.
    Undecided,
    /// Proven out of tolerance, at the stated risk.
    Out,
}

impl Verdict {
    /// In a word: "within".
    pub fn name(self) -> &'static str {
        match self {
            Self::Within => "within",
            Self::Undecided => "undecided",
            Self::Out => "out",
        }
    }
}

/// Groups of trials with neighbouring results, of at least [`SMALLEST_GROUP`] trials where the
/// whole has as many.
fn groups(trials: &[(f64, bool)]) -> Vec<BadGivenResult> {
    let smallest = SMALLEST_GROUP.max(trials.len() / 200);
    let mut groups: Vec<BadGivenResult> = Vec::new();
    let mut start = 0;
    while start < trials.len() {
        let mut end = (start + smallest).min(trials.len());
        while end < trials.len() && trials[end].0 == trials[end - 1].0 {
            end += 1;
        }
        // A rest too small to speak for itself joins the last group.
        if trials.len() - end < smallest {
            end = trials.len();
        }
        let bad = trials[start..end].iter().filter(|trial| trial.1).count();
        groups.push(BadGivenResult {
            result: [trials[start].0, trials[end - 1].0],
            probability: bad as f64 / (end - start) as f64,
            n_trials: end - start,
        });
        start = end;
    }
    groups
}

/// Pools neighbours of which the later is not above the earlier, unless it is below it by more than chance.
fn pooled(groups: Vec<BadGivenResult>) -> Vec<BadGivenResult> {
    let mut pooled: Vec<BadGivenResult> = Vec::new();
    for mut group in groups {
        let by_chance = |last: &mut BadGivenResult, group: &BadGivenResult| {
            last.probability >= group.probability && !falls(last, group)
        };
        while let Some(last) = pooled.pop_if(|last| by_chance(last, &group)) {
            let n_trials = last.n_trials + group.n_trials;
            let bad = last.probability * last.n_trials as f64 + group.probability * group.n_trials as f64;
            group = BadGivenResult {
                result: [last.result[0], group.result[1]],
                probability: bad / n_trials as f64,
                n_trials,
            };
        }
        pooled.push(group);
    }
    pooled
}

/// Whether the second chance is below the first by more than 4 standard uncertainties of their difference. For two
/// hundred comparisons of chances that are equal, that has a false-alarm rate of 0.6 %.
fn falls(first: &BadGivenResult, second: &BadGivenResult) -> bool {
    let [n, m] = [first, second].map(|group| group.n_trials as f64);
    let mean = (n * first.probability + m * second.probability) / (n + m);
    let variance = mean * (1.0 - mean) * (1.0 / n + 1.0 / m);
    first.probability - second.probability > 4.0 * variance.sqrt()
}

/// The largest result up to which at most `n_bad` bad plates pass; `None` where even the smallest
/// result lets more through.
fn highest_passing(trials: &[(f64, bool)], n_bad: f64) -> Option<f64> {
    let mut passed = 0;
    let mut highest = None;
    for equal in trials.chunk_by(|a, b| a.0 == b.0) {
        passed += equal.iter().filter(|trial| trial.1).count();
        if passed as f64 > n_bad {
            break;
        }
        highest = Some(equal[0].0);
    }
    highest
}

/// About forty limits from the smallest result to the largest, and the ones that matter.
fn operating(trials: &[(f64, bool)], n_bad: usize, matter: [Option<f64>; 2]) -> Vec<OperatingPoint> {
    const POINTS: usize = 40;
    let n_good = trials.len() - n_bad;
    let share = |part: usize, whole: usize| if whole == 0 { 0.0 } else { part as f64 / whole as f64 };
    let mut bad_below = vec![0; trials.len() + 1];
    for (i, trial) in trials.iter().enumerate() {
        bad_below[i + 1] = bad_below[i] + usize::from(trial.1);
    }
    let last = trials.len().saturating_sub(1);
    let spread_out = (0..=POINTS).filter_map(|k| trials.get((k * trials.len() / POINTS).min(last)));
    let mut limits: Vec<f64> = spread_out.map(|trial| trial.0).chain(matter.into_iter().flatten()).collect();
    limits.sort_by(f64::total_cmp);
    limits.dedup();
    let point = |limit: f64| {
        let accepted = trials.partition_point(|trial| trial.0 <= limit);
        let bad = bad_below[accepted];
        OperatingPoint {
            limit,
            bad_accepted: share(bad, n_bad),
            good_refused: 1.0 - share(accepted - bad, n_good),
            bad_among_accepted: (accepted > 0).then(|| share(bad, accepted)),
        }
    };
    limits.into_iter().map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::quantity::{distribution::Distribution, student::t_quantile};
    use rand::SeedableRng;

    fn normal(n: usize, sd: f64, seed: u64) -> Vec<f64> {
        let mut rng = rand_philox::Philox::seed_from_u64(seed);
        let d = Distribution::Normal { mean: 0.0, standard_deviation: sd };
        (0..n).map(|_| d.draw(&mut rng)).collect()
    }

    /// With normal errors the operating characteristic is a normal probability.
    #[test]
    fn acceptance_agrees_with_the_normal_closed_form() {
        let (n, error_sd, limit) = (200_000, 0.5, 6.0);
        let flatness: Vec<f64> = normal(n, 1.5, 3).iter().map(|v| v + 5.0).collect();
        let result: Vec<f64> = flatness.iter().zip(normal(n, error_sd, 4)).map(|(f, e)| f + e).collect();
        let curve = acceptance(&flatness, &result, limit);
        assert!(curve.len() == 40 && curve.windows(2).all(|pair| pair[0].flatness < pair[1].flatness));
        let error = Distribution::Normal { mean: 0.0, standard_deviation: error_sd };
        for point in &curve[1..curve.len() - 1] {
            let exact = error.cumulative(limit - point.flatness);
            // Groups of 5000 trials: standard uncertainty 0.007 at most; 4.5 of these over 38 points have a
            // false-alarm rate of 3e-4. The two outermost groups are wide and left out; curvature within the others
            // adds below 0.004.
            assert!((point.accepted - exact).abs() < 0.036, "{point:?}: {exact}");
        }
    }

    /// Flatness normal, result = flatness + normal error: the chance of being bad is a normal
    /// probability, and the limits follow in closed form (JCGM 106:2012, 7.2, normal prior and
    /// normal measurement).
    #[test]
    fn limits_agree_with_the_normal_closed_form() {
        let (n, prior_mean, prior_sd, error_sd, tolerance, risk) = (400_000, 5.0, 1.5, 0.5, 6.0, 0.05);
        let flatness: Vec<f64> = normal(n, prior_sd, 1).iter().map(|v| v + prior_mean).collect();
        let result: Vec<f64> = flatness.iter().zip(normal(n, error_sd, 2)).map(|(f, e)| f + e).collect();
        let limits = Limits::new(&flatness, &result, tolerance, risk);
        let gain = prior_sd.powi(2) / (prior_sd.powi(2) + error_sd.powi(2));
        let posterior_sd = error_sd * gain.sqrt();
        let z = t_quantile(0.95, f64::INFINITY);
        let expected = |sign: f64| prior_mean + (tolerance + sign * z * posterior_sd - prior_mean) / gain;
        // With a quarter of the plates bad, the specific risk is the stricter of the two conditions.
        let accept = limits.accept_at_or_below.expect("a limit");
        let out = limits.out_at_or_above.expect("a limit");
        // Groups of 2000 trials: 0.5 % on the chance, whose slope at the limit is about 0.2 per µm.
        assert!((accept - expected(-1.0)).abs() < 0.05, "{accept} {}", expected(-1.0));
        assert!((out - expected(1.0)).abs() < 0.05, "{out} {}", expected(1.0));
    }

    #[test]
    fn a_check_that_sees_nothing_decides_nothing() {
        let flatness: Vec<f64> = normal(50_000, 1.0, 3).iter().map(|v| v + 5.0).collect();
        let result = normal(50_000, 1.0, 4);
        let limits = Limits::new(&flatness, &result, 5.0, 0.05);
        assert_eq!((limits.accept_at_or_below, limits.out_at_or_above), (None, None));
    }

    /// A plate that is hardly ever bad: nearly any result leaves its specific risk small, so it is the
    /// chance that a bad plate passes that limits acceptance: 5 % of the bad ones.
    #[test]
    fn a_good_reputation_does_not_accept_any_reading() {
        let n = 400_000;
        let flatness: Vec<f64> = normal(n, 1.0, 5).iter().map(|v| v + 3.0).collect();
        let result: Vec<f64> = flatness.iter().zip(normal(n, 1.0, 6)).map(|(f, e)| f + e).collect();
        let limits = Limits::new(&flatness, &result, 5.0, 0.05);
        assert!(
            (limits.bad_before_reading - 0.02275).abs() < 1e-3,
            "two standard deviations: {}",
            limits.bad_before_reading
        );
        let accept = limits.accept_at_or_below.expect("a limit");
        let bad: Vec<f64> =
            flatness.iter().zip(&result).filter(|(f, _)| **f > 5.0).map(|(_, r)| *r).collect();
        let passing = bad.iter().filter(|r| **r <= accept).count() as f64 / bad.len() as f64;
        assert!((passing - 0.05).abs() < 2e-3, "{passing}");
    }

    #[test]
    fn without_bad_plates_nothing_is_decided() {
        let flatness: Vec<f64> = normal(10_000, 0.1, 7).iter().map(|v| v + 1.0).collect();
        let limits = Limits::new(&flatness, &flatness, 5.0, 0.05);
        assert_eq!((limits.decides, limits.accept_at_or_below, limits.out_at_or_above), (false, None, None));
    }

    #[test]
    fn equal_results_are_never_split() {
        let result: Vec<f64> = (0..10_000).map(|i| f64::from(i % 4)).collect();
        let flatness: Vec<f64> = result.iter().map(|r| r + 0.1).collect();
        let limits = Limits::new(&flatness, &result, 2.0, 0.05);
        assert_eq!(limits.accept_at_or_below, Some(1.0));
        assert_eq!(limits.out_at_or_above, Some(2.0));
        for point in &limits.operating {
            assert!(point.bad_accepted == 0.0 || point.limit >= 2.0);
        }
    }

    /// Grains under a foot: one check in twenty of good plates reads anything up to 30. The chance that a plate is bad
    /// rises to 1 and falls again, to the share that the counts give above 15, and is not forced to rise.
    #[test]
    fn a_chance_that_falls_again_is_told() {
        let n = 100_000;
        let (mut flatness, mut result) = (Vec::new(), Vec::new());
        for i in 0..n {
            let at = f64::from(i) / f64::from(n);
            let is_bad = i % 2 == 0;
            flatness.push(if is_bad { 8.0 } else { 3.0 });
            result.push(match (is_bad, i % 40 == 1) {
                (true, _) => 10.0 + 5.0 * at,
                (false, true) => 30.0 * at,
                (false, false) => 2.0 + 4.0 * at,
            });
        }
        let limits = Limits::new(&flatness, &result, 5.0, 0.05);
        let out = limits.out_at_or_above.expect("a limit");
        let end = limits.out_at_or_below.expect("an end");
        assert!((9.0..10.2).contains(&out) && (14.5..=15.2).contains(&end), "{out} {end}");
        let above = limits.bad_given_result.last().expect("a group");
        assert!(above.probability < 0.05 && above.result[1] > 29.0, "{above:?}");
        // The limits have rows of their own, and the share of good plates that pass is counted.
        let accept = limits.accept_at_or_below.expect("a limit");
        for limit in [accept, out] {
            assert!(limits.operating.iter().any(|point| point.limit == limit));
        }
        let good = || flatness.iter().zip(&result).filter(|(f, _)| **f <= 5.0);
        let passed = good().filter(|(_, r)| **r <= accept).count() as f64 / good().count() as f64;
        assert!((limits.good_passed.expect("a share") - passed).abs() < 1e-12);
    }

    /// Chances that rise, and groups that scatter about them: no fall is told.
    #[test]
    fn chance_is_not_told_as_a_fall() {
        let flatness: Vec<f64> = normal(100_000, 1.5, 8).iter().map(|v| v + 5.0).collect();
        let result: Vec<f64> = flatness.iter().zip(normal(100_000, 0.5, 9)).map(|(f, e)| f + e).collect();
        let limits = Limits::new(&flatness, &result, 6.0, 0.05);
        assert!(limits.bad_given_result.windows(2).all(|pair| pair[0].probability < pair[1].probability));
        assert_eq!(limits.out_at_or_below, None);
    }
}
