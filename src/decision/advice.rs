//! What would make a check good enough.

use super::sufficient_set::{FoundSet, Search, cheapest_sufficient};
use crate::{
    propagation::{
        improvement_gain::{CheckWorth, ErrorInterval, Gain, Gains, Pair, Workshop},
        simulation::WayKind,
    },
    shop::improvement::{NotTaken, Step},
};

/// A step that may be taken, and what it costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offer {
    /// The step.
    pub step: Step,
    /// What it costs, in a unit of the user's; `None` where the setup does not say.
    pub effort: Option<f64>,
}

/// What is asked.
#[derive(Debug, Clone, PartialEq)]
pub struct Question<'a> {
    /// The steps that may be taken.
    pub offers: &'a [Offer],
    /// By which way of reading the check is used.
    pub way: WayKind,
    /// How far from the truth a result may be in 95 % of all checks (the target uncertainty of ISO 14253-2:2011), in µm.
    pub target: Option<f64>,
}

/// What was found.
#[derive(Debug, Clone)]
pub struct Advice {
    /// What every step and every pair of steps gains.
    pub gains: Gains,
    /// Whether the check is good enough, and what would make it so; `None` without a target.
    pub enough: Option<Enough>,
}

/// How to come to the target.
#[derive(Debug, Clone, PartialEq)]
pub struct Enough {
    /// The target, in µm.
    pub target: f64,
    /// Which set of steps is the cheapest that suffices; the empty set where the check is good enough as it is.
    pub search: Search,
    /// The steps it was looked for among: of those that have an effort the ones that gain most, alone, in a pair, or as the last
    /// of all.
    pub among: Vec<usize>,
    /// Such steps that were left out because there were too many, those that gain most first.
    pub passed_over: Vec<usize>,
    /// Whether the set found holds steps that were left out, as no set without them suffices: then a cheaper one may.
    pub beyond: bool,
    /// How many sets were tried: those that can be laid out.
    pub n_tried: usize,
    /// How many of them hold steps that were left out of the search.
    pub n_tried_beyond: usize,
    /// Whether every step counts as one because no effort was given.
    pub counted: bool,
    /// The error after the best of the sets tried, and which: what can be hoped for.
    pub best: (Vec<usize>, ErrorInterval),
}

/// Most steps that are searched: of nine there are 512 sets.
const MOST_SEARCHED: usize = 9;
/// A set is looked at with this part of the trials first, then with that, and only then with all.
const SKETCHES: [u64; 2] = [16, 4];

impl Advice {
    /// Tries all steps, all pairs and, where there is a target, sets of steps from the cheapest on.
    ///
    /// A set suffices if, twice the Monte Carlo uncertainty added, the farther end of the error's 95 % interval is within
    /// the target. A set that a part of the trials sees far from the target (four uncertainties) is not tried in full.
    pub fn new(
        workshop: &Workshop,
        question: &Question,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Self, NotTaken> {
        let steps: Vec<Step> = question.offers.iter().map(|offer| offer.step).collect();
        let gains = workshop.gains(&steps, question.way, progress)?;
        let enough = match question.target {
            Some(target) => Some(enough(workshop, question, &gains, target)?),
            None => None,
        };
        Ok(Self { gains, enough })
    }

    /// The steps that gain most alone, best first, of those that are seen to gain anything.
    pub fn best_steps(&self) -> Vec<usize> {
        let gain = |step: usize| self.gains.steps[step].gain.filter(|gain| gain.is_seen());
        let mut seen: Vec<usize> = (0..self.gains.steps.len()).filter(|&step| gain(step).is_some()).collect();
        let share = |step: usize| gain(step).map_or(0.0, |gain| gain.share);
        seen.sort_by(|&a, &b| share(b).total_cmp(&share(a)));
        seen
    }

    /// The pair that gains most, if it is seen to gain more than the better of its two alone.
    pub fn best_pair(&self) -> Option<&Pair> {
        self.gains.pairs.iter().find(|pair| adds(pair))
    }
}

/// Whether a pair is seen to gain more than either step alone, and anything at all.
fn adds(pair: &Pair) -> bool {
    pair.gain.is_seen() && pair.beyond.iter().all(|beyond| beyond.is_seen())
}

/// The steps with an effort, those that are seen to gain most first, and last those that are not seen to gain anything: where
/// the target is hardly reached, they may be what is missing.
///
/// A step that something else hides gains nothing alone; beside the step that takes the other away it does. So each is also
/// looked at in pairs, by what a pair gains beyond its other step, and as the last of all steps that can be taken together;
/// and by the interval's width as well as by its farther end, which is what the target is for.
fn promising(workshop: &Workshop, question: &Question, gains: &Gains) -> Option<Vec<usize>> {
    let interval = |steps: &[usize]| {
        let steps: Vec<Step> = steps.iter().map(|&step| gains.steps[step].step).collect();
        workshop.sketch(&steps, SKETCHES[1]).ok()?.way(question.way).cloned()
    };
    let start = interval(&[])?;
    let possible = |step: usize| gains.steps[step].worth.is_ok();
    let all: Vec<usize> = (0..gains.steps.len()).filter(|&step| possible(step)).collect();
    let together = interval(&all);
    let alone = gains.before.way(question.way)?;
    let gain = |step: usize| -> f64 {
        let single = gains.steps[step].worth.as_ref().ok().and_then(|worth| worth.way(question.way));
        let singly = single.map(|single| [Gain::of(alone, single), Gain::nearer(alone, alone, single)]);
        let paired = gains.pairs.iter().filter_map(|pair| {
            let other = pair.steps.iter().position(|&other| other != step)?;
            pair.steps.contains(&step).then(|| pair.beyond[other])
        });
        let lastly = together.as_ref().and_then(|together| {
            let others: Vec<usize> = all.iter().copied().filter(|&other| other != step).collect();
            let others = interval(&others)?;
            Some([Gain::beyond(&start, &others, together), Gain::nearer(&start, &others, together)])
        });
        let seen = singly.into_iter().flatten().chain(paired).chain(lastly.into_iter().flatten());
        seen.filter(|gain| gain.is_seen()).map(|gain| gain.share).fold(0.0, f64::max)
    };
    let has_effort = |step: &usize| counted(question) || question.offers[*step].effort.is_some();
    let mut promising: Vec<(usize, f64)> =
        all.iter().copied().filter(has_effort).map(|step| (step, gain(step))).collect();
    promising.sort_by(|a, b| b.1.total_cmp(&a.1));
    Some(promising.into_iter().map(|(step, _)| step).collect())
}

/// Whether every step counts as one, because nobody gave an effort.
fn counted(question: &Question) -> bool {
    question.offers.iter().all(|offer| offer.effort.is_none())
}

fn enough(workshop: &Workshop, question: &Question, gains: &Gains, target: f64) -> Result<Enough, NotTaken> {
    let mut among = promising(workshop, question, gains).ok_or(NotTaken::CannotBeLevelled)?;
    let passed_over = among.split_off(among.len().min(MOST_SEARCHED));
    among.sort_unstable();
    let efforts: Vec<f64> = among.iter().map(|&step| question.offers[step].effort.unwrap_or(1.0)).collect();
    let interval = |worth: &CheckWorth| worth.way(question.way).cloned();
    let start = interval(&gains.before).ok_or(NotTaken::CannotBeLevelled)?;
    let mut best = (Vec::new(), start.clone());
    let suffices = |set: &[usize]| -> Option<bool> {
        let members: Vec<usize> = set.iter().map(|&place| among[place]).collect();
        let steps: Vec<Step> = members.iter().map(|&step| gains.steps[step].step).collect();
        // One step or none is known in full.
        let tried = match members[..] {
            [] => start.clone(),
            [step] => interval(gains.steps[step].worth.as_ref().ok()?)?,
            _ => {
                for one_in in SKETCHES {
                    let rough = interval(&workshop.sketch(&steps, one_in).ok()?)?;
                    if rough.farthest() - 4.0 * rough.farthest_u() > target.max(best.1.farthest()) {
                        return Some(false);
                    }
                }
                interval(&workshop.with(&steps).ok()?)?
            }
        };
        let enough = tried.farthest() + 2.0 * tried.farthest_u() <= target;
        if tried.farthest() < best.1.farthest() {
            best = (members, tried);
        }
        Some(enough)
    };
    let (search, n_tried) = cheapest_sufficient(&efforts, suffices);
    let search = match search {
        Search::Cheapest(mut set) => {
            set.steps = set.steps.iter().map(|&place| among[place]).collect();
            Search::Cheapest(set)
        }
        Search::NoneSuffices => Search::NoneSuffices,
    };
    let mut found = Enough {
        target,
        search,
        among,
        passed_over,
        beyond: false,
        n_tried,
        n_tried_beyond: 0,
        counted: counted(question),
        best,
    };
    if found.search == Search::NoneSuffices {
        // The best of them, with those that were left out one after the other, each where it brings the target nearer.
        for &further in &found.passed_over {
            let mut members = found.best.0.clone();
            members.push(further);
            members.sort_unstable();
            let steps: Vec<Step> = members.iter().map(|&step| gains.steps[step].step).collect();
            let Some(tried) = workshop.with(&steps).ok().as_ref().and_then(interval) else { continue };
            found.n_tried_beyond += 1;
            if tried.farthest() < found.best.1.farthest() {
                found.best = (members, tried);
            }
            let (members, tried) = &found.best;
            if tried.farthest() + 2.0 * tried.farthest_u() <= target {
                let effort = members.iter().map(|&step| question.offers[step].effort.unwrap_or(1.0)).sum();
                found.search = Search::Cheapest(FoundSet { steps: members.clone(), effort });
                found.beyond = true;
                break;
            }
        }
        found.n_tried += found.n_tried_beyond;
    }
    Ok(found)
}
