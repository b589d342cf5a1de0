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
        posterior::{CannotJudge, Inference},
        simulation::WayKind,
    },
    quantity::sample::Summary,
    shop::{check::ShopCheck, survey::Plan},
};

/// Checks are tried with so many trials for each end: the farther end of a 95 % interval is then known to some per cent, and a
/// move of it better, for all checks see the same luck.
pub const N_TRIALS: u64 = 10_240;

/// What a simulated check says with an assumed figure at one end of what is plausible. In µm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ErrorEnd {
    /// 95 % interval of the error of the spread.
    pub interval: [f64; 2],
    /// Up to which spread a plate may be accepted; `None` where none proves it good, or nothing is asked of it.
    pub accept: Option<f64>,
}

/// How far an answer leans on one assumed figure. `E`: what it is with the figure at one end of what is plausible.
#[derive(Debug, Clone, PartialEq)]
pub struct Leaning<E> {
    /// At the low and at the high end of the figure.
    pub ends: [E; 2],
    /// By how much the answer moves from one to the other, in µm: a judgement's estimate; of a 95 % interval of the error the
    /// end that moves farther.
    pub moves: f64,
    /// Standard uncertainty of that, from the number of trials or draws.
    pub moves_u: f64,
}

impl<E> Leaning<E> {
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
) -> Result<Vec<Leaning<ErrorEnd>>, CannotSimulate> {
    let figures: Vec<_> = figures.into_iter().collect();
    if figures.is_empty() {
        return Ok(Vec::new());
    }
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
        Ok(Leaning { ends: [end(&ends[0], &of_low), end(&ends[1], &of_high)], moves, moves_u })
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

impl Leaning<JudgedEnd> {
    /// Of one figure, given by the check at its two ends; `times`: the odds of a plate within the tolerance beforehand, over
    /// those of the description.
    pub(super) fn of(
        inference: &Inference,
        check: &ShopCheck,
        ends: &[ShopCheck; 2],
        question: &Question,
        times: f64,
    ) -> Result<Self, CannotJudge> {
        let reweighted = |end: &ShopCheck| {
            // The readings may be of another survey than the setup's.
            inference.with_figures_of(&ShopCheck { survey: check.survey.clone(), ..end.clone() })
        };
        let samples = [reweighted(&ends[0])?, reweighted(&ends[1])?];
        let compared = |sample: &[f64]| {
            let conformance = Conformance::of_sample(sample, question.tolerance?, question.rule);
            Some(conformance.with_odds(times))
        };
        let ends = samples.each_ref().map(|sample| JudgedEnd {
            flatness: Summary::of(&sample.flatness, COVERAGE),
            conformance: compared(&sample.flatness),
        });
        let [low, high] = ends.each_ref().map(|end| end.flatness.mean);
        let of_mean =
            |k: usize| ends[k].flatness.standard_deviation / samples[k].effective_sample_size.sqrt();
        let (moves, moves_u) = ((high - low).abs(), libm::hypot(of_mean(0), of_mean(1)));
        Ok(Self { ends, moves, moves_u })
    }
}
