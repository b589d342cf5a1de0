//! By how much steps that make a check better shrink the interval of its error.

use super::{
    check_experiment::{CannotSimulate, CheckExperiment, Output, Plates},
    reading_rule::ReadingRule,
    simulation::WayKind,
    trials::run_trials,
};
use crate::{
    quantity::{sample::Summary, stream::Streams},
    shop::{
        check::ShopCheck,
        grid::Grid,
        improvement::{NotTaken, Step, taken},
        landscape::Place,
        survey::{Effort, Plan},
    },
};
use rayon::prelude::*;
use std::{
    borrow::Cow,
    sync::{Arc, Mutex, PoisonError},
};

/// How many trials each way of checking is tried with, when it is not stated: a whole number of blocks.
pub const USUAL_TRIALS: u64 = 20_480;

/// Into how many groups trials are divided to tell how far a result depends on them.
const N_GROUPS: usize = 20;

/// A 95 % interval of the error of one way of reading, in µm, with its Monte Carlo uncertainty.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorInterval {
    /// The probabilistically symmetric interval, in µm.
    pub interval: [f64; 2],
    /// The same from each group of trials alone.
    of_groups: Vec<[f64; 2]>,
}

impl ErrorInterval {
    /// Width of the interval, in µm.
    pub fn width(&self) -> f64 {
        width(self.interval)
    }

    /// Standard uncertainty of the width that comes from the number of trials.
    pub fn width_u(&self) -> f64 {
        sectioned(width(self.interval), self.of_groups.iter().copied().map(width))
    }

    /// How far from the truth whoever takes the result at its word is in 95 % of all checks, at most: the end that is
    /// farther from 0.
    pub fn farthest(&self) -> f64 {
        farthest(self.interval)
    }

    /// Standard uncertainty of that, from the number of trials.
    pub fn farthest_u(&self) -> f64 {
        sectioned(farthest(self.interval), self.of_groups.iter().copied().map(farthest))
    }

    /// How far the ends of `other` lie from these: that of the end that moves farther, and its standard uncertainty from the
    /// number of trials, in µm.
    pub fn moved(&self, other: &Self) -> [f64; 2] {
        let [low, high] = [0, 1].map(|end| {
            let moved = other.interval[end] - self.interval[end];
            let groups = self.of_groups.iter().zip(&other.of_groups);
            [moved.abs(), sectioned(moved, groups.map(|(here, there)| there[end] - here[end]))]
        });
        if low[0] > high[0] { low } else { high }
    }

    /// From the error of every trial, in µm; groups are runs of trials, all of one size.
    pub(crate) fn of(errors: &[f64]) -> Self {
        let interval = |errors: &[f64]| Summary::of(errors, COVERAGE).interval_symmetric;
        let size = errors.len() / N_GROUPS;
        Self { interval: interval(errors), of_groups: errors.chunks_exact(size).map(interval).collect() }
    }
}

fn width([low, high]: [f64; 2]) -> f64 {
    high - low
}

fn farthest([low, high]: [f64; 2]) -> f64 {
    low.abs().max(high.abs())
}

/// Coverage probability of all intervals here.
pub const COVERAGE: f64 = 0.95;

/// What a check is worth, with some steps taken or none.
#[derive(Debug, Clone, PartialEq)]
pub struct CheckWorth {
    /// Error of the plain spread, of the spread off the best-fit plane (where the readings can be levelled), and of the
    /// fitted estimate, its rule fitted to this very check.
    pub ways: Vec<(WayKind, ErrorInterval)>,
    /// What it takes.
    pub effort: Effort,
}

impl CheckWorth {
    /// The error of one way of reading; `None` for a levelled spread of readings that cannot be levelled.
    pub fn way(&self, kind: WayKind) -> Option<&ErrorInterval> {
        self.ways.iter().find(|(known, _)| *known == kind).map(|(_, interval)| interval)
    }
}

/// By how much one interval is smaller than another, as a share of a third.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Gain {
    /// 0.2: smaller by a fifth of the third. Negative: larger.
    pub share: f64,
    /// Standard uncertainty of the difference from the number of trials: all checks were tried on the same plates with the
    /// same luck, so that it is smaller than those of the intervals would make it.
    pub u: f64,
}

impl Gain {
    /// By how much `after` is narrower than `before`, as a share of the latter.
    pub fn of(before: &ErrorInterval, after: &ErrorInterval) -> Self {
        Self::beyond(before, before, after)
    }

    /// By how much `after` is narrower than `than`, as a share of `before`: what it gains beyond `than`.
    pub fn beyond(before: &ErrorInterval, than: &ErrorInterval, after: &ErrorInterval) -> Self {
        Self::compared(width, before, than, after)
    }

    /// By how much nearer to 0 the farther end of `after` is than that of `than`, as a share of that of `before`.
    pub fn nearer(before: &ErrorInterval, than: &ErrorInterval, after: &ErrorInterval) -> Self {
        Self::compared(farthest, before, than, after)
    }

    fn compared(
        size: impl Fn([f64; 2]) -> f64,
        before: &ErrorInterval,
        than: &ErrorInterval,
        after: &ErrorInterval,
    ) -> Self {
        let of = |before, than, after| (size(than) - size(after)) / size(before);
        let of_groups = before.of_groups.iter().zip(&than.of_groups).zip(&after.of_groups);
        let share = of(before.interval, than.interval, after.interval);
        Self {
            share,
            u: sectioned(share, of_groups.map(|((before, than), after)| of(*before, *than, *after))),
        }
    }

    /// Whether it is more than noise: larger than twice its standard uncertainty.
    pub fn is_seen(self) -> bool {
        self.share > 2.0 * self.u
    }
}

/// What a pair of steps gains beyond both alone.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Pair {
    /// Indices into [`Gains::steps`], the lower first.
    pub steps: [usize; 2],
    /// What the pair gains.
    pub gain: Gain,
    /// What the pair gains beyond each of the two alone, with the uncertainty of that difference.
    pub beyond: [Gain; 2],
    /// What it gains less what both gain alone; positive where one makes the other worth more.
    pub interaction: Gain,
}

/// One step and what it gains alone.
#[derive(Debug, Clone, PartialEq)]
pub struct SingleStep {
    /// The step.
    pub step: Step,
    /// The check after it, or why it cannot be taken.
    pub worth: Result<CheckWorth, NotTaken>,
    /// What it gains; nothing where it cannot be taken.
    pub gain: Option<Gain>,
    /// Its place by gain: steps that noise cannot tell from the first of their place share it.
    pub place: Option<usize>,
}

/// What all steps and pairs of steps gain.
#[derive(Debug, Clone)]
pub struct Gains {
    /// The check as it is.
    pub before: CheckWorth,
    /// All steps, in the order asked.
    pub steps: Vec<SingleStep>,
    /// All pairs that can be taken together, largest gain first.
    pub pairs: Vec<Pair>,
    /// How many trials each check was tried with.
    pub n_trials: u64,
}

/// What a check gives, trial by trial.
#[derive(Debug)]
pub struct Results<'a> {
    /// The true flatness, in µm.
    pub flatness: Cow<'a, [f64]>,
    /// What each way of reading gives, in µm.
    pub ways: Vec<(WayKind, Vec<f64>)>,
    /// What it takes.
    pub effort: Effort,
}

/// Checks with steps taken, all tried on the same plates and with the same luck (common random numbers), so that what
/// differs is the steps.
#[derive(Debug)]
pub struct Workshop<'a> {
    check: &'a ShopCheck,
    plan: &'a Plan,
    n_trials: u64,
    streams: Streams,
    flatness: Vec<f64>,
    /// Plates that were drawn already, by the places where their heights are known.
    drawn: Mutex<Vec<(Vec<Place>, Arc<Plates>)>>,
}

/// Most heights that are kept of drawn plates (a quarter of a GB): steps of a large survey beyond that draw theirs anew.
const MOST_KEPT: usize = 1 << 25;

impl<'a> Workshop<'a> {
    /// Draws the plates. `n_trials` is rounded up to whole groups of trials, 5120 at a time.
    pub fn new(
        check: &'a ShopCheck,
        plan: &'a Plan,
        n_trials: u64,
        seed: u64,
    ) -> Result<Self, CannotSimulate> {
        let step = (super::trials::BLOCK * N_GROUPS) as u64;
        let n_trials = n_trials.div_ceil(step).max(1) * step;
        let streams = Streams::new(seed);
        let mut outputs = run_trials(&CheckExperiment::new(check)?, &streams, 0..n_trials, &|_| {});
        let flatness = outputs.swap_remove(Output::Flatness as usize);
        Ok(Self { check, plan, n_trials, streams, flatness, drawn: Mutex::default() })
    }

    /// How many trials each check is tried with.
    pub fn n_trials(&self) -> u64 {
        self.n_trials
    }

    /// What the check is worth with these steps taken, in this order.
    pub fn with(&self, steps: &[Step]) -> Result<CheckWorth, NotTaken> {
        self.sketch(steps, 1)
    }

    /// [`Self::with`] on the first of the plates only, one in `one_in` of them (but 1280 or more).
    pub fn sketch(&self, steps: &[Step], one_in: u64) -> Result<CheckWorth, NotTaken> {
        let block = super::trials::BLOCK as u64;
        let n_trials = (self.n_trials / one_in / block * block).max(5 * block).min(self.n_trials);
        Ok(self.worth(&self.prepared(steps, n_trials)?, n_trials))
    }

    /// What each way of reading gives with these steps taken, trial by trial.
    pub fn results(&self, steps: &[Step]) -> Result<Results<'_>, NotTaken> {
        Ok(self.tried(&self.prepared(steps, self.n_trials)?, self.n_trials))
    }

    /// What each way of reading gives in another check of the same plate, or of one that is worn otherwise, trial by trial.
    pub fn results_of(&self, check: &ShopCheck) -> Result<Results<'_>, CannotSimulate> {
        Ok(self.tried(&self.ready(check, self.n_trials)?, self.n_trials))
    }

    /// The check with these steps taken, ready for so many trials.
    fn prepared(&self, steps: &[Step], n_trials: u64) -> Result<CheckExperiment, NotTaken> {
        let check = taken(self.check, self.plan, steps)?;
        self.ready(&check, n_trials).map_err(|_| NotTaken::NoRoom)
    }

    fn ready(&self, check: &ShopCheck, n_trials: u64) -> Result<CheckExperiment, CannotSimulate> {
        if self.has_own_flatness(check) {
            return CheckExperiment::new(check);
        }
        let experiment = CheckExperiment::on_grid(check, Grid::over(check.plate.working_surface(), 9))?;
        Ok(self.on_drawn_plates(experiment, n_trials))
    }

    /// Flatness is that of the plate alone, and drawn already, unless the plate is worn otherwise, or the bow counts as part
    /// of it: then a soak changes it.
    fn has_own_flatness(&self, check: &ShopCheck) -> bool {
        check.plate.flatness_holds_bow || check.surface != self.check.surface
    }

    fn worth(&self, experiment: &CheckExperiment, n_trials: u64) -> CheckWorth {
        let tried = self.tried(experiment, n_trials);
        let errors = |results: &[f64]| {
            ErrorInterval::of(
                &results.iter().zip(tried.flatness.iter()).map(|(r, truth)| r - truth).collect::<Vec<_>>(),
            )
        };
        CheckWorth {
            ways: tried.ways.iter().map(|(kind, results)| (*kind, errors(results))).collect(),
            effort: tried.effort,
        }
    }

    fn tried(&self, experiment: &CheckExperiment, n_trials: u64) -> Results<'_> {
        let outputs = run_trials(experiment, &self.streams, 0..n_trials, &|_| {});
        let [flatness, spread, levelled, _] = <[Vec<f64>; 4]>::try_from(outputs).unwrap_or_default();
        let flatness = if self.has_own_flatness(experiment.check()) {
            Cow::Owned(flatness)
        } else {
            Cow::Borrowed(&self.flatness[..spread.len()])
        };
        // The rule is fitted to the trials that it is then judged by: five numbers from thousands of trials flatter it by
        // less than the trials' own scatter.
        let rule = ReadingRule::fit(&flatness, &spread, &levelled);
        let fitted = spread.iter().zip(&levelled).map(|(&s, &l)| rule.estimate(s, l)).collect();
        let mut ways = vec![(WayKind::Spread, spread)];
        if experiment.can_level() {
            ways.push((WayKind::Levelled, levelled));
        }
        ways.push((WayKind::Fitted, fitted));
        Results { flatness, ways, effort: experiment.check().survey.effort() }
    }

    /// The experiment on plates that are drawn once for all that read at the same places: no step changes a plate.
    fn on_drawn_plates(&self, experiment: CheckExperiment, n_trials: u64) -> CheckExperiment {
        match self.drawn_plates(&experiment, n_trials as usize) {
            Some(plates) => experiment.with_plates(plates),
            None => experiment,
        }
    }

    fn drawn_plates(&self, experiment: &CheckExperiment, n_trials: usize) -> Option<Arc<Plates>> {
        let places = experiment.landscape().places();
        let lock = || self.drawn.lock().unwrap_or_else(PoisonError::into_inner);
        {
            let drawn = lock();
            let enough =
                |(known, plates): &&(Vec<Place>, Arc<Plates>)| known == places && plates.n() >= n_trials;
            if let Some((_, plates)) = drawn.iter().find(enough) {
                return Some(plates.clone());
            }
            let kept: usize = drawn.iter().map(|(_, plates)| plates.n_heights()).sum();
            if kept + places.len() * n_trials > MOST_KEPT {
                return None;
            }
        }
        // Not under the lock: a thread that waits for it could not help with the drawing.
        let plates = experiment.draw_plates(&self.streams, &self.flatness[..n_trials])?;
        let mut drawn = lock();
        drawn.retain(|(known, fewer)| known != places || fewer.n() > plates.n());
        drawn.push((places.to_vec(), plates.clone()));
        Some(plates)
    }

    /// Every step alone and every pair of steps.
    ///
    /// `progress` is told the share that is done, from any thread.
    pub fn gains(
        &self,
        steps: &[Step],
        way: WayKind,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Gains, NotTaken> {
        let before = self.with(&[])?;
        let n = steps.len();
        let pairs: Vec<[usize; 2]> = (0..n).flat_map(|a| (a + 1..n).map(move |b| [a, b])).collect();
        let sets: Vec<Vec<Step>> = (0..n)
            .map(|a| vec![steps[a]])
            .chain(pairs.iter().map(|[a, b]| vec![steps[*a], steps[*b]]))
            .collect();
        let done = std::sync::atomic::AtomicUsize::new(0);
        // One after the other, so that no two draw the same plates.
        let prepared: Vec<Result<CheckExperiment, NotTaken>> =
            sets.iter().map(|set| self.prepared(set, self.n_trials)).collect();
        let worths: Vec<Result<CheckWorth, NotTaken>> = prepared
            .into_par_iter()
            .map(|experiment| {
                let worth = experiment.map(|experiment| self.worth(&experiment, self.n_trials));
                let so_far = done.fetch_add(1, std::sync::atomic::Ordering::Relaxed) + 1;
                progress(so_far as f64 / sets.len() as f64);
                worth
            })
            .collect();
        let (singles, doubles) = worths.split_at(n);
        let of_way = |worth: &Result<CheckWorth, NotTaken>| -> Option<ErrorInterval> {
            worth.as_ref().ok()?.way(way).cloned()
        };
        let start = before.way(way).ok_or(NotTaken::CannotBeLevelled)?;
        let alone: Vec<Option<ErrorInterval>> = singles.iter().map(of_way).collect();
        let places = places(start, &alone);
        let steps: Vec<SingleStep> = steps
            .iter()
            .zip(singles)
            .zip(places)
            .zip(&alone)
            .map(|(((&step, worth), place), interval)| {
                let gain = interval.as_ref().map(|interval| Gain::of(start, interval));
                SingleStep { step, gain, worth: worth.clone(), place }
            })
            .collect();
        let mut pairs: Vec<Pair> = pairs
            .into_iter()
            .zip(doubles)
            .filter_map(|(steps, worth)| {
                let both = of_way(worth)?;
                let [a, b] = steps.map(|step| alone[step].as_ref());
                let each = [a?, b?];
                Some(Pair {
                    steps,
                    gain: Gain::of(start, &both),
                    beyond: each.map(|one| Gain::beyond(start, one, &both)),
                    interaction: interaction(start, each, &both),
                })
            })
            .collect();
        pairs.sort_by(|a, b| b.gain.share.total_cmp(&a.gain.share));
        Ok(Gains { before, steps, pairs, n_trials: self.n_trials })
    }
}

/// The place of each step among all, by gain: a new place begins with a step that surely gains less than the first one
/// of the place before it.
fn places(before: &ErrorInterval, alone: &[Option<ErrorInterval>]) -> Vec<Option<usize>> {
    let surely_better = |a: &ErrorInterval, b: &ErrorInterval| Gain::beyond(before, b, a).is_seen();
    let mut order: Vec<(usize, &ErrorInterval)> =
        alone.iter().enumerate().filter_map(|(step, interval)| Some((step, interval.as_ref()?))).collect();
    order.sort_by(|a, b| a.1.width().total_cmp(&b.1.width()));
    let mut places = vec![None; alone.len()];
    let mut leader: Option<(usize, &ErrorInterval)> = None;
    for (index, (step, interval)) in order.into_iter().enumerate() {
        let (place, _) = match leader {
            Some((place, first)) if !surely_better(first, interval) => (place, first),
            _ => *leader.insert((index + 1, interval)),
        };
        places[step] = Some(place);
    }
    places
}

fn interaction(before: &ErrorInterval, [a, b]: [&ErrorInterval; 2], both: &ErrorInterval) -> Gain {
    let of = |[before, a, b, both]: [[f64; 2]; 4]| (width(a) + width(b) - width(both)) / width(before) - 1.0;
    let all = [before, a, b, both];
    let of_groups = (0..N_GROUPS).map(|group| of(all.map(|interval| interval.of_groups[group])));
    let share = of(all.map(|interval| interval.interval));
    Gain { share, u: sectioned(share, of_groups) }
}

/// Standard uncertainty of a statistic of all trials from its values in each of G groups: `√(Σ(θ_g − θ)²/(G(G − 1)))` (sectioning:
/// Asmussen and Glynn, "Stochastic Simulation", 2007, III.5, from memory). A quantile's bias in small groups makes it a little
/// too large, never too small.
fn sectioned(whole: f64, of_groups: impl Iterator<Item = f64>) -> f64 {
    let (mut n, mut squares) = (0.0, 0.0);
    for value in of_groups {
        n += 1.0;
        squares += (value - whole) * (value - whole);
    }
    (squares / (n * (n - 1.0))).sqrt()
}
