//! What would make a check good enough.

use super::sufficient_set::{Search, cheapest_sufficient};
use crate::{
    propagation::{
        improvement_gain::{CheckWorth, ErrorInterval, Gain, Gains, Pair, Workshop},
        simulation::WayKind,
    },
    shop::improvement::{NotTaken, Step},
};
use std::collections::HashMap;

/// A step that may be taken, and what it costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Offer {
    /// The step.
    pub step: Step,
    /// What it costs, in a unit of the user's; `None` where nobody said.
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
    /// The steps it was looked for among: those that were seen to gain something, alone or in a pair, and have an effort.
    pub among: Vec<usize>,
    /// How many such steps were left out because there were too many.
    pub n_passed_over: usize,
    /// How many sets were tried.
    pub n_tried: usize,
    /// Whether every step counts as one because no effort was given.
    pub counted: bool,
    /// The error after the best of the sets tried, and which: what can be hoped for.
    pub best: (Vec<usize>, ErrorInterval),
}

/// Most steps that are searched: of seven there are 128 sets.
const MOST_SEARCHED: usize = 7;

impl Advice {
    /// Tries all steps, all pairs and, where there is a target, sets of steps from the cheapest on.
    ///
    /// A set suffices if, twice the Monte Carlo uncertainty added, the farther end of the error's 95 % interval is within
    /// the target. `sketch` is a workshop of the same check with fewer trials: a set that it sees far from the target
    /// (four uncertainties) is not tried in full.
    pub fn new(
        workshop: &Workshop,
        sketch: &Workshop,
        question: &Question,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Self, NotTaken> {
        let steps: Vec<Step> = question.offers.iter().map(|offer| offer.step).collect();
        let gains = workshop.gains(&steps, question.way, progress)?;
        let enough = match question.target {
            Some(target) => Some(enough(workshop, sketch, question, &gains, target)?),
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
        self.gains.pairs.iter().find(|pair| adds(&self.gains, pair))
    }
}

/// Whether a pair is seen to gain more than either step alone.
fn adds(gains: &Gains, pair: &Pair) -> bool {
    pair.steps.iter().all(|&step| {
        let alone = gains.steps[step].gain.unwrap_or(Gain { share: 0.0, u: 0.0 });
        let beyond = pair.gain.share - alone.share.max(0.0);
        beyond > 2.0 * libm::hypot(pair.gain.u, alone.u)
    })
}

fn enough(
    workshop: &Workshop,
    sketch: &Workshop,
    question: &Question,
    gains: &Gains,
    target: f64,
) -> Result<Enough, NotTaken> {
    let counted = question.offers.iter().all(|offer| offer.effort.is_none());
    let effort = |step: usize| if counted { Some(1.0) } else { question.offers[step].effort };
    let promise = |step: usize| {
        let alone = gains.steps[step].gain.filter(|gain| gain.is_seen()).map(|gain| gain.share);
        let paired = gains
            .pairs
            .iter()
            .filter(|pair| pair.steps.contains(&step) && adds(gains, pair))
            .map(|pair| pair.gain.share);
        alone.into_iter().chain(paired).max_by(f64::total_cmp)
    };
    let mut promising: Vec<(usize, f64)> = (0..gains.steps.len())
        .filter(|&step| effort(step).is_some())
        .filter_map(|step| Some((step, promise(step)?)))
        .collect();
    promising.sort_by(|a, b| b.1.total_cmp(&a.1));
    let n_passed_over = promising.len().saturating_sub(MOST_SEARCHED);
    let mut among: Vec<usize> = promising.into_iter().take(MOST_SEARCHED).map(|(step, _)| step).collect();
    among.sort_unstable();
    let efforts: Vec<f64> = among.iter().map(|&step| effort(step).unwrap_or(1.0)).collect();
    let interval = |worth: &CheckWorth| worth.way(question.way).cloned();
    let start = interval(&gains.before).ok_or(NotTaken::CannotBeLevelled)?;
    let mut best = (Vec::new(), start.clone());
    let mut known: HashMap<Vec<usize>, Option<(f64, bool)>> = HashMap::new();
    let mut width = |set: &[usize]| -> Option<(f64, bool)> {
        let members: Vec<usize> = set.iter().map(|&place| among[place]).collect();
        if let Some(known) = known.get(&members) {
            return *known;
        }
        let steps: Vec<Step> = members.iter().map(|&step| gains.steps[step].step).collect();
        let judged = (|| {
            // One step or none is known in full.
            let tried = match members[..] {
                [] => Some(start.clone()),
                [step] => gains.steps[step].worth.as_ref().ok().and_then(interval),
                _ => {
                    let rough = interval(&sketch.with(&steps).ok()?)?;
                    if rough.farthest() - 4.0 * rough.farthest_u() > target.max(best.1.farthest()) {
                        return Some((rough.farthest(), false));
                    }
                    workshop.with(&steps).ok().as_ref().and_then(interval)
                }
            }?;
            if tried.farthest() < best.1.farthest() {
                best = (members.clone(), tried.clone());
            }
            Some((tried.farthest(), tried.farthest() + 2.0 * tried.farthest_u() <= target))
        })();
        known.insert(members, judged);
        judged
    };
    let (search, n_tried) = cheapest_sufficient(&efforts, usize::MAX, &mut width);
    let named = |mut set: super::sufficient_set::FoundSet| {
        set.steps = set.steps.iter().map(|&place| among[place]).collect();
        set
    };
    let search = match search {
        Search::Cheapest(set) => Search::Cheapest(named(set)),
        Search::Sufficient(set) => Search::Sufficient(named(set)),
        other => other,
    };
    Ok(Enough { target, search, among, n_passed_over, n_tried, counted, best })
}
