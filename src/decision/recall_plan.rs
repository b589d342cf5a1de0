//! Everything that is to be said of when plates go out, from their histories.

use super::{
    recall::{CheapestCycle, Costs, LeastCost, OutOfTolerance},
    standing::MISFIT,
};
use crate::{
    propagation::{
        flatness_evidence::{of_map, of_readings},
        likelihood::Observation,
        posterior::{CannotJudge, Settings, posterior},
        spread_law::{SpreadLaw, population},
        wear_history::{
            self, Event, EventFit, Evidence, ForeseenCheck, History, Interval, Known, PlateWear, WearPrior,
        },
    },
    quantity::{day::Day, sample::quantiles},
    shop::check::ShopCheck,
};
use rayon::prelude::*;

/// One plate and what is on record of it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateRecord {
    /// What it is called; empty where there is only one.
    pub name: String,
    /// What was found and done, in order of time.
    pub entries: Vec<Entry>,
}

/// One line of a record.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// When.
    pub day: Day,
    /// What.
    pub found: Found,
}

/// What was found or done. Heights in µm.
#[derive(Debug, Clone, PartialEq)]
#[allow(clippy::large_enum_variant, reason = "a record has few entries, and readings are the rarest")]
pub enum Found {
    /// A certificate that states the flatness deviation.
    Certificate(Known),
    /// A certificate with a map: `[x mm, y mm, height µm]`, and the standard uncertainty of a height.
    Map(Vec<[f64; 3]>, f64),
    /// A shop check of which the spread was written down.
    Spread(f64),
    /// A shop check of which the readings were kept: the check as it was made, and what was read.
    Readings(ShopCheck, Vec<Observation>),
    /// A resurfacing, with the flatness deviation it left where that is known.
    Resurfaced(Option<Known>),
}

/// What is asked.
#[derive(Debug, Clone)]
pub struct RecallQuestion {
    /// The largest flatness deviation that is good, in µm.
    pub tolerance: f64,
    /// The probability of being out of tolerance at which a plate goes out.
    pub risk: f64,
    /// The day for which all is said; not before any entry.
    pub today: Day,
    /// What being early and being late cost, if anybody says.
    pub costs: Option<Costs>,
    /// What is assumed of wear.
    pub prior: WearPrior,
    /// How hard readings are judged; its seed is that of all random numbers.
    pub settings: Settings,
}

/// When each plate goes out.
#[derive(Debug, Clone)]
pub struct RecallPlan {
    /// Each plate's, in the order of the record.
    pub plates: Vec<PlatePlan>,
    /// Their indices, the most urgent first.
    pub urgency: Vec<usize>,
    /// Mean and standard deviation of the spread (µm) on a plate just at the tolerance; `None` where no spread is on
    /// record.
    pub spread_at_tolerance: Option<(f64, f64)>,
}

/// When one plate goes out.
#[derive(Debug, Clone)]
pub struct PlatePlan {
    /// How it wears, and how flat it is today.
    pub wear: PlateWear,
    /// Each entry beside the fit; `None` for readings that do not fit the setup and were passed over.
    pub entries: Vec<Option<EventFit>>,
    /// Probability of being out of tolerance, from today on.
    pub out: OutOfTolerance,
    /// Years from today until that reaches the risk; `None` where it does not within the steps.
    pub due: Option<f64>,
    /// Years from today, the flatness deviation then, and the probability of its being out of tolerance.
    pub forecast: Vec<(f64, Interval, f64)>,
    /// The flatness deviation that a resurfacing is taken to leave.
    pub as_new: Known,
    /// What costs say; `None` where there are none.
    pub by_cost: Option<CostPlan>,
}

/// What costs say of one plate.
#[derive(Debug, Clone)]
pub struct CostPlan {
    /// The cheapest way to go on; `None` where a bad part costs less than preventing it.
    pub cycle: Option<CheapestCycle>,
    /// The date of least expected cost, and the risk that the costs are worth.
    pub least: Option<(LeastCost, f64)>,
    /// By how much the date at which the stated risk is reached costs more.
    pub risk_costs_more: Option<f64>,
    /// What one more check today is worth, before its own cost.
    pub checks: Vec<CheckWorth>,
}

/// A check and what it is worth.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CheckWorth {
    /// Which.
    pub check: CheckKind,
    /// Its standard uncertainty, in µm, where it is one.
    pub standard_uncertainty: Option<f64>,
    /// By how much it lowers the expected cost.
    pub worth: f64,
}

/// Checks that might be made today.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CheckKind {
    /// The setup's shop check, its spread taken.
    Spread,
    /// The setup's shop check, its readings judged, as good as those on record.
    Readings,
    /// A survey as good as the last certificate on record, or with a tenth of the tolerance as standard uncertainty.
    Certificate,
    /// Knowing the flatness exactly: the most that any check can be worth.
    Perfect,
}

/// Steps of the probability of being out of tolerance.
const N_STEPS: usize = 128;
/// Steps of the forecast.
const N_FORECAST: usize = 24;
/// Years beyond which nothing is foretold.
const FARTHEST: f64 = 64.0;
/// What a resurfacing leaves where nobody says, as shares of the tolerance: common practice, no source.
const AS_NEW: [f64; 2] = [0.25, 1.0];

/// Why nothing can be said of a history.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum CannotRecall {
    /// The check cannot be simulated, or readings on record cannot be judged.
    Judge(CannotJudge),
    /// An entry of a plate's record cannot be true together with those before it.
    Contradiction {
        /// Which record.
        record: usize,
        /// Which of its entries.
        entry: usize,
    },
}

impl From<CannotJudge> for CannotRecall {
    fn from(why: CannotJudge) -> Self {
        Self::Judge(why)
    }
}

impl RecallPlan {
    /// Fits all records and says when each plate goes out. `progress` is told the share that is done.
    ///
    /// # Errors
    ///
    /// [`CannotRecall`].
    pub fn new(
        check: &ShopCheck,
        records: &[PlateRecord],
        question: &RecallQuestion,
        progress: &(dyn Fn(f64) + Sync),
    ) -> Result<Self, CannotRecall> {
        let settings = &question.settings;
        let tolerance = question.tolerance;
        let mut population = population(check, settings.seed).map_err(CannotJudge::Check)?;
        let high = quantiles(&mut population.clone(), &[0.995])[0];
        let highest = (2.5 * tolerance).max(1.25 * high);
        progress(0.1);
        let all = || records.iter().flat_map(|record| &record.entries);
        let law = match all().any(|entry| matches!(entry.found, Found::Spread(_))) {
            true => {
                Some(SpreadLaw::new(check, &population, highest, settings.seed).map_err(CannotJudge::Check)?)
            }
            false => None,
        };
        progress(0.3);
        // From here on only what it holds counts, not whose trial it was.
        population.sort_by(f64::total_cmp);
        let n_slow = all().filter(|entry| entry.is_slow()).count().max(1) as f64;
        let mut n_done = 0.0;
        let mut expected = None;
        let mut evidence: Vec<Vec<Option<Evidence>>> = Vec::new();
        for record in records {
            let mut of_plate = Vec::new();
            for entry in &record.entries {
                if entry.is_slow() {
                    n_done += 1.0;
                    progress(0.3 + 0.4 * n_done / n_slow);
                }
                of_plate.push(evidence_of(check, entry, question, &mut expected)?);
            }
            evidence.push(of_plate);
        }
        let history = History {
            plates: records
                .iter()
                .zip(&evidence)
                .map(|(record, evidence)| {
                    let events = record.entries.iter().zip(evidence);
                    let event = |(entry, evidence): (&Entry, &Option<Evidence>)| {
                        Some(Event { years: entry.day.years_since(question.today), evidence: (*evidence)? })
                    };
                    events.filter_map(event).collect()
                })
                .collect(),
            today: 0.0,
            law: law.as_ref(),
            population: &population,
            highest,
            prior: question.prior.clone(),
        };
        let fitted = wear_history::fit(&history);
        for (record, (wear, events)) in fitted.iter().zip(&history.plates).enumerate() {
            if let Some(event) = wear.contradiction(events) {
                // Events are the entries that count.
                let mut counted =
                    (0..evidence[record].len()).filter(|&entry| evidence[record][entry].is_some());
                let entry = counted.nth(event).unwrap_or_default();
                return Err(CannotRecall::Contradiction { record, entry });
            }
        }
        progress(0.8);
        let plates: Vec<PlatePlan> = fitted
            .into_par_iter()
            .zip(&evidence)
            .map(|(wear, evidence)| PlatePlan::new(wear, evidence, question, law.as_ref()))
            .collect();
        progress(1.0);
        let mut urgency: Vec<usize> = (0..plates.len()).collect();
        // The earliest date first; of those that are due already, the likeliest out.
        let key = |plate: &PlatePlan| (plate.due.unwrap_or(f64::INFINITY), -plate.out.probability[0]);
        urgency.sort_by(|&a, &b| {
            let [a_key, b_key] = [a, b].map(|index| key(&plates[index]));
            a_key.0.total_cmp(&b_key.0).then(a_key.1.total_cmp(&b_key.1)).then(a.cmp(&b))
        });
        Ok(Self { plates, urgency, spread_at_tolerance: law.map(|law| law.moments(tolerance)) })
    }
}

impl Entry {
    /// Whether it takes a while to turn it into evidence.
    fn is_slow(&self) -> bool {
        matches!(self.found, Found::Readings(..) | Found::Map(..))
    }
}

/// What an entry says; `None` for readings that do not fit the setup. `expected` keeps the flatness of plates
/// as the setup describes them, once it is needed.
fn evidence_of(
    check: &ShopCheck,
    entry: &Entry,
    question: &RecallQuestion,
    expected: &mut Option<Vec<f64>>,
) -> Result<Option<Evidence>, CannotJudge> {
    let settings = &question.settings;
    Ok(Some(match &entry.found {
        Found::Certificate(known) => Evidence::Certificate(*known),
        Found::Map(points, u) => Evidence::Certificate(
            of_map(check, points.clone(), *u, settings.seed).map_err(CannotJudge::Check)?,
        ),
        Found::Spread(spread) => Evidence::Spread(*spread),
        Found::Resurfaced(known) => Evidence::Resurfaced(known.unwrap_or_else(|| as_new(question.tolerance))),
        Found::Readings(read, observations) => {
            if expected.is_none() {
                *expected = Some(posterior(check, &[], settings, &|_| {})?.flatness);
            }
            let judged = of_readings(read, observations, expected.as_deref().unwrap_or(&[]), settings)?;
            if judged.p_value < MISFIT {
                return Ok(None);
            }
            Evidence::Judged(judged.known)
        }
    }))
}

fn as_new(tolerance: f64) -> Known {
    Known::Rectangular { low: AS_NEW[0] * tolerance, high: AS_NEW[1] * tolerance }
}

impl PlatePlan {
    fn new(
        wear: PlateWear,
        evidence: &[Option<Evidence>],
        question: &RecallQuestion,
        law: Option<&SpreadLaw>,
    ) -> Self {
        let RecallQuestion { tolerance, risk, .. } = *question;
        let mut fits = wear.events.iter().copied();
        let entries = evidence.iter().map(|evidence| evidence.and_then(|_| fits.next())).collect();
        let step =
            horizon(0.5_f64.max(1.2 * risk), |years| wear.exceeding(tolerance, years)) / N_STEPS as f64;
        let states = wear.exceeding_by_state(tolerance, step, N_STEPS);
        let out = out_of_states(step, &states);
        let due = out.first_at(risk);
        let resurfaced = evidence.iter().rev().flatten().find_map(|evidence| match evidence {
            Evidence::Resurfaced(known) => Some(*known),
            _ => None,
        });
        let as_new = resurfaced.unwrap_or_else(|| as_new(tolerance));
        let by_cost =
            question.costs.map(|costs| CostPlan::new(&wear, as_new, &costs, tolerance, due, evidence, law));
        let least = by_cost.as_ref().and_then(|plan| plan.least).map_or(0.0, |(least, _)| least.years);
        let shown = (1.6 * due.unwrap_or(8.0).max(least)).clamp(2.0, 20.0);
        let forecast = (0..=N_FORECAST).map(|k| {
            let years = shown * k as f64 / N_FORECAST as f64;
            (years, wear.after(years), wear.exceeding(tolerance, years).min(1.0))
        });
        let forecast = forecast.collect();
        Self { wear, entries, out, due, forecast, as_new, by_cost }
    }

    /// Probability of being out of tolerance today.
    pub fn out_today(&self) -> f64 {
        self.out.probability[0]
    }
}

/// The whole probability out of that by states.
fn out_of_states(step: f64, states: &[Vec<f64>]) -> OutOfTolerance {
    let steps = &states[..states.len() - 1];
    // The sums fall by rounding at most, and by what the grid of flatness blurs.
    let mut highest: f64 = 0.0;
    let probability = steps.iter().map(|states| {
        highest = highest.max(states.iter().sum::<f64>().min(1.0));
        highest
    });
    OutOfTolerance { step, probability: probability.collect() }
}

/// Years until a rising probability is as large as `aim`, at least roughly; [`FARTHEST`] at most.
fn horizon(aim: f64, probability: impl Fn(f64) -> f64) -> f64 {
    let mut years = 1.0;
    while years < FARTHEST && probability(years) < aim {
        years *= 2.0;
    }
    years
}

impl CostPlan {
    fn new(
        wear: &PlateWear,
        new: Known,
        costs: &Costs,
        tolerance: f64,
        due: Option<f64>,
        evidence: &[Option<Evidence>],
        law: Option<&SpreadLaw>,
    ) -> Self {
        let nearly_all = 0.98;
        let of_new = |years: f64| *wear.exceeding_when_new(new, tolerance, years, 1).last().unwrap_or(&1.0);
        let step = horizon(nearly_all, of_new) / N_STEPS as f64;
        let out_when_new =
            OutOfTolerance { step, probability: wear.exceeding_when_new(new, tolerance, step, N_STEPS) };
        let Some(cycle) = costs.cheapest_cycle(&out_when_new) else {
            return Self { cycle: None, least: None, risk_costs_more: None, checks: Vec::new() };
        };
        let acceptable = costs.acceptable_risk(&cycle);
        let aim = (1.1 * acceptable).max(0.8).min(nearly_all);
        let step = horizon(aim, |years| wear.exceeding(tolerance, years)) / N_STEPS as f64;
        let states = wear.exceeding_by_state(tolerance, step, N_STEPS);
        let out = out_of_states(step, &states);
        let worth =
            |check: CheckKind, standard_uncertainty: Option<f64>, foreseen: ForeseenCheck| CheckWorth {
                check,
                standard_uncertainty,
                worth: costs.value_of_check(step, &states, &wear.outcomes(&foreseen), &cycle),
            };
        let last = |of: fn(&Evidence) -> Option<f64>| evidence.iter().rev().flatten().find_map(of);
        let certificate = last(|evidence| match evidence {
            Evidence::Certificate(known) => Some(known.standard_uncertainty()),
            _ => None,
        });
        let judged = last(|evidence| match evidence {
            Evidence::Judged(known) => Some(known.standard_uncertainty()),
            _ => None,
        });
        let u = certificate.unwrap_or(0.1 * tolerance);
        let mut checks = Vec::new();
        checks.extend(law.map(|law| worth(CheckKind::Spread, None, ForeseenCheck::Spread(law))));
        let measured = |u: f64| ForeseenCheck::Measured { standard_uncertainty: u };
        checks.extend(judged.map(|u| worth(CheckKind::Readings, Some(u), measured(u))));
        checks.push(worth(CheckKind::Certificate, Some(u), measured(u)));
        checks.push(worth(CheckKind::Perfect, None, ForeseenCheck::Perfect));
        let least = costs.least_cost(&out, &cycle);
        let risk_costs_more = due
            .filter(|due| *due <= out.horizon())
            .map(|due| costs.cost_until(&out, &cycle, due) - least.cost);
        Self { cycle: Some(cycle), least: Some((least, acceptable)), risk_costs_more, checks }
    }
}
