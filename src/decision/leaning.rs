//! How far an answer leans on the figures that were assumed: what it would be at either end of what is plausible for each.

use super::{
    conformance::Conformance,
    judgement::{COVERAGE, Question},
    limits::Limits,
};
use crate::{
    propagation::{
        check_experiment::CannotSimulate,
        improvement_gain::{ErrorInterval, Results, Workshop},
        monte_carlo::IntervalKind,
        posterior::{CannotJudge, Inference},
        simulation::WayKind,
    },
    quantity::sample::Summary,
    shop::{check::ShopCheck, survey::Plan},
};

/// Checks are tried with so many trials for each end: the farther end of a 95 % interval is then known to some per cent, and a
/// move of it better, for all checks see the same luck.
const N_TRIALS: u64 = 10_240;

/// What a simulated check says with an assumed figure at one end of what is plausible. In µm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorEnd {
    /// 95 % interval of the error of the spread.
    pub interval: [f64; 2],
    /// Up to which spread a plate may be accepted; `None` where none proves it good, or nothing is asked of it.
    pub accept: Option<f64>,
}

/// How far the error of a check leans on one assumed figure.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorLeaning {
    /// At the low and at the high end of the figure.
    pub ends: [ErrorEnd; 2],
    /// By how much the end of the interval that moves farther moves from one to the other, in µm.
    pub moves: f64,
    /// Standard uncertainty of that, from the number of trials.
    pub moves_u: f64,
}

impl ErrorLeaning {
    /// Whether it is more than noise: larger than twice its standard uncertainty.
    pub fn is_seen(&self) -> bool {
        self.moves > 2.0 * self.moves_u
    }
}

/// How far the error of a check's spread leans on each of the figures that its setup assumes, in their order; each is given by
/// the check at its two ends. `decide`: the tolerance (µm) and the risk at which a plate is accepted.
///
/// All checks are tried on the same plates and with the same luck, so that what differs is the figure.
///
/// # Errors
///
/// If the check, or the check at any of the ends, cannot be simulated.
pub fn error_leanings<'a>(
    check: &ShopCheck,
    plan: &Plan,
    seed: u64,
    figures: impl IntoIterator<Item = &'a [ShopCheck; 2]>,
    decide: Option<[f64; 2]>,
) -> Result<Vec<ErrorLeaning>, CannotSimulate> {
    let workshop = Workshop::new(check, plan, N_TRIALS, seed)?;
    let leanings = figures.into_iter().map(|[low, high]| {
        let ends = [workshop.results_of(low)?, workshop.results_of(high)?];
        let [of_low, of_high] = ends.each_ref().map(|results| ErrorInterval::of(&errors(results)));
        let [moves, moves_u] = of_low.moved(&of_high);
        let end = |results: &Results, interval: &ErrorInterval| ErrorEnd {
            interval: interval.interval,
            accept: decide.and_then(|[tolerance, risk]| {
                Limits::new(&results.flatness, spread(results), tolerance, risk).accept_at_or_below
            }),
        };
        Ok(ErrorLeaning { ends: [end(&ends[0], &of_low), end(&ends[1], &of_high)], moves, moves_u })
    });
    leanings.collect()
}

fn spread<'a>(results: &'a Results) -> &'a [f64] {
    results.ways.iter().find(|(kind, _)| *kind == WayKind::Spread).map_or(&[], |(_, spread)| spread)
}

fn errors(results: &Results) -> Vec<f64> {
    spread(results).iter().zip(results.flatness.iter()).map(|(spread, flatness)| spread - flatness).collect()
}

/// What the readings say with an assumed figure at one end of what is plausible.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedEnd {
    /// The flatness deviation, in µm.
    pub flatness: Summary,
    /// Its comparison with the tolerance, if there is one: the rule's verdict, whatever it hangs on beside.
    pub conformance: Option<Conformance>,
}

/// How far a judgement leans on one assumed figure.
#[derive(Debug, Clone, PartialEq)]
pub struct JudgedLeaning {
    /// At the low and at the high end of the figure.
    pub ends: [JudgedEnd; 2],
    /// By how much the end of the flatness's interval that moves farther moves from one to the other, in µm.
    pub moves: f64,
    /// Standard uncertainty of that, from the number of draws.
    pub moves_u: f64,
}

impl JudgedLeaning {
    /// Of one figure, given by the check at its two ends; `times`: the odds of a plate within the tolerance beforehand, over
    /// those of the description.
    pub(super) fn of(
        inference: &Inference,
        check: &ShopCheck,
        ends: &[ShopCheck; 2],
        question: &Question,
        times: f64,
    ) -> Result<Self, CannotJudge> {
        let flatness = |end: &ShopCheck| {
            // The readings may be of another survey than the setup's.
            let other = ShopCheck { survey: check.survey.clone(), ..end.clone() };
            Ok(inference.with_figures_of(&other)?.flatness)
        };
        let samples = [flatness(&ends[0])?, flatness(&ends[1])?];
        let compared = |sample: &[f64]| {
            let conformance = Conformance::of_sample(sample, question.tolerance?, question.rule);
            Some(conformance.with_odds(times))
        };
        let ends = samples.each_ref().map(|sample| JudgedEnd {
            flatness: Summary::of(sample, COVERAGE),
            conformance: compared(sample),
        });
        let scatter =
            samples.each_ref().map(|sample| IntervalKind::Symmetric.scatter_of_ends(sample, COVERAGE));
        let intervals = ends.each_ref().map(|end| end.flatness.interval_symmetric);
        let moved = |end: usize| {
            [(intervals[1][end] - intervals[0][end]).abs(), libm::hypot(scatter[0][end], scatter[1][end])]
        };
        let [moves, moves_u] = if moved(0)[0] > moved(1)[0] { moved(0) } else { moved(1) };
        Ok(Self { ends, moves, moves_u })
    }
}
