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
            Event, EventFit, Evidence, ForeseenCheck, History, Interval, Known, PlateWear, Reading, Shop,
            WearPrior,
        },
    },
    quantity::{day::Day, sample::quantiles},
    shop::check::ShopCheck,
};
use rayon::prelude::*;
use std::{cmp::Ordering, fmt};

/// One plate and what is on record of it.
#[derive(Debug, Clone, PartialEq)]
pub struct PlateRecord {
    /// What it is called; empty where there is only one.
    pub name: String,
    /// What was found and done, in order of time.
    pub entries: Vec<Entry>,
    /// How this plate is checked, where not as the others are.
    pub check: Option<Box<ShopCheck>>,
    /// The largest flatness deviation (µm) that is good on this plate, where not that of the question.
    pub tolerance: Option<f64>,
    /// How much it is used, over the usual; wear goes with use.
    pub usage: f64,
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
    /// What being early and being late cost, if it is given.
    pub costs: Option<Costs>,
    /// What is assumed of wear.
    pub prior: WearPrior,
    /// How hard readings are judged; its seed is that of all random numbers.
    pub settings: Settings,
}

/// When each plate goes out.
#[derive(Debug, Clone)]
pub struct RecallPlan {
    /// Each plate's, in the order of the record, but for those whose records contradict themselves.
    pub plates: Vec<PlatePlan>,
    /// Their indices, the most urgent first.
    pub urgency: Vec<usize>,
    /// Records of which nothing can be said.
    pub contradictions: Vec<Contradiction>,
    /// Mean and standard deviation of the spread (µm) that the setup's check shows on a plate just at the tolerance. `None` where
    /// plates have tolerances or setups of their own, so that there is no one such plate, and where nobody asked what spreads
    /// say: none is on record, and no costs are given.
    pub spread_at_tolerance: Option<(f64, f64)>,
}

/// When one plate goes out.
#[derive(Debug, Clone)]
pub struct PlatePlan {
    /// Which record it is of.
    pub record: usize,
    /// How it wears, and how flat it is today.
    pub wear: PlateWear,
    /// Each entry beside the fit.
    pub entries: Vec<EntryFit>,
    /// Where entries contradict one another mildly, the ways to read them, the one that counts first: that with the
    /// earliest date, by which all else here is said. Empty where they go together.
    pub readings: Vec<RecordReading>,
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

/// One entry beside the fit.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum EntryFit {
    /// It counts.
    Counted(EventFit),
    /// It is left out, since it contradicts others; what it says alone, and what all entries together would have made
    /// of it.
    LeftOut(EventFit),
    /// Readings that do not fit the setup were passed over.
    PassedOver,
}

impl EntryFit {
    /// The fit of an entry that counts.
    pub fn counted(&self) -> Option<&EventFit> {
        match self {
            Self::Counted(fit) => Some(fit),
            _ => None,
        }
    }

    /// The flatness deviation by this entry alone.
    pub fn alone(&self) -> Option<Interval> {
        match self {
            Self::Counted(fit) | Self::LeftOut(fit) => Some(fit.alone),
            Self::PassedOver => None,
        }
    }
}

/// One way to read a record whose entries contradict one another.
#[derive(Debug, Clone, PartialEq)]
pub struct RecordReading {
    /// The entries that do not count.
    pub left_out: Vec<usize>,
    /// Years from today until the risk is reached; `None` where it is not within the steps.
    pub due: Option<f64>,
}

/// An entry that cannot be true together with others before it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Contradiction {
    /// Which record.
    pub record: usize,
    /// Which of its entries.
    pub entry: usize,
    /// The earlier entries that it contradicts: one, or all since the last resurfacing where no single one is to blame.
    pub against: Vec<usize>,
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
/// Years beyond which nothing is predicted.
const FARTHEST: f64 = 64.0;
/// What a resurfacing leaves where its value is not stated, as shares of the tolerance: anything that passes (limits
/// and nothing more: JCGM 101:2008, 6.4.2).
pub const AS_NEW: [f64; 2] = [0.0, 1.0];

/// Why nothing can be said of a history.
#[derive(Debug, Clone, PartialEq)]
pub enum CannotRecall {
    /// The check cannot be simulated, or readings on record cannot be judged.
    Judge(CannotJudge),
    /// Every record contradicts itself.
    Contradictions(Vec<Contradiction>),
}

impl fmt::Display for CannotRecall {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Judge(why) => why.fmt(f),
            Self::Contradictions(all) => write!(
                f,
                "each of the {} records contradicts itself; look up in which of its entries the slip is, and correct that one",
                all.len()
            ),
        }
    }
}

impl std::error::Error for CannotRecall {}

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
        let mut groups: Vec<Group> = Vec::new();
        for (index, record) in records.iter().enumerate() {
            let own = record.check.as_deref().unwrap_or(check);
            match groups.iter_mut().find(|group| group.check == own) {
                Some(group) => group.records.push(index),
                None => groups.push(Group::new(own, index)),
            }
        }
        let n_groups = groups.len() as f64;
        for (k, group) in groups.iter_mut().enumerate() {
            group.simulate(records, question)?;
            progress(0.3 * (k + 1) as f64 / n_groups);
        }
        let n_slow =
            records.iter().flat_map(|record| &record.entries).filter(|entry| entry.is_slow()).count();
        let mut n_done = 0.0;
        let mut evidence: Vec<Vec<Option<Evidence>>> = vec![Vec::new(); records.len()];
        for group in &mut groups {
            for &index in &group.records {
                let question = records[index].question(question);
                for entry in &records[index].entries {
                    if entry.is_slow() {
                        n_done += 1.0;
                        progress(0.3 + 0.4 * n_done / n_slow as f64);
                    }
                    let found = evidence_of(group.check, entry, &question, &mut group.expected)?;
                    evidence[index].push(found);
                }
            }
        }
        let (plates, contradictions) = read_together(&groups, records, &evidence, question, progress);
        if plates.is_empty() && !contradictions.is_empty() {
            return Err(CannotRecall::Contradictions(contradictions));
        }
        progress(1.0);
        let mut urgency: Vec<usize> = (0..plates.len()).collect();
        let key = |index: usize| plates[index].urgency();
        urgency.sort_by(|&a, &b| key(a).partial_cmp(&key(b)).unwrap_or(Ordering::Equal).then(a.cmp(&b)));
        let spread_at_tolerance = match &groups[..] {
            [group] if records.iter().all(|record| record.tolerance.is_none()) => {
                group.law.as_ref().map(|law| law.moments(question.tolerance))
            }
            _ => None,
        };
        Ok(Self { plates, urgency, contradictions, spread_at_tolerance })
    }
}

/// Plates that are checked in one way, and what simulations of it give.
struct Group<'a> {
    check: &'a ShopCheck,
    /// Indices of their records.
    records: Vec<usize>,
    /// Flatness deviations (µm) of such plates, ascending.
    population: Vec<f64>,
    /// The largest flatness deviation of interest, in µm.
    highest: f64,
    /// What spreads mean, where that is needed.
    law: Option<SpreadLaw>,
    /// Flatness deviations as readings are judged against them, once they are needed.
    expected: Option<Vec<f64>>,
}

impl<'a> Group<'a> {
    fn new(check: &'a ShopCheck, record: usize) -> Self {
        Self { check, records: vec![record], population: Vec::new(), highest: 0.0, law: None, expected: None }
    }

    fn simulate(&mut self, records: &[PlateRecord], question: &RecallQuestion) -> Result<(), CannotJudge> {
        let seed = question.settings.seed;
        let mut population = population(self.check, seed).map_err(CannotJudge::Check)?;
        let high = quantiles(&mut population.clone(), &[0.995])[0];
        let tolerances = self.records.iter().map(|&index| records[index].question(question).tolerance);
        self.highest = (2.5 * tolerances.fold(0.0, f64::max)).max(1.25 * high);
        // Where costs are given it is also asked what a shop check would be worth.
        let entries = self.records.iter().flat_map(|&index| &records[index].entries);
        let has_spreads = entries.into_iter().any(|entry| matches!(entry.found, Found::Spread(_)));
        if has_spreads || question.costs.is_some() {
            let law = SpreadLaw::new(self.check, &population, self.highest, seed);
            self.law = Some(law.map_err(CannotJudge::Check)?);
        }
        // From here on only what it holds counts, not whose trial it was.
        population.sort_by(f64::total_cmp);
        self.population = population;
        Ok(())
    }
}

/// The fits of all of a record's events at once, and the ways to read it.
type Read = (Vec<EventFit>, Vec<Reading>);

/// Fits all records together; those that contradict themselves are left out, for what they say of the shop's pace too.
fn read_together(
    groups: &[Group],
    records: &[PlateRecord],
    evidence: &[Vec<Option<Evidence>>],
    question: &RecallQuestion,
    progress: &(dyn Fn(f64) + Sync),
) -> (Vec<PlatePlan>, Vec<Contradiction>) {
    let events = |record: usize| -> Vec<Event> {
        let event = |(entry, evidence): (&Entry, &Option<Evidence>)| {
            Some(Event { years: entry.day.years_since(question.today), evidence: (*evidence)? })
        };
        records[record].entries.iter().zip(&evidence[record]).filter_map(event).collect()
    };
    let mut contradictions: Vec<Contradiction> = Vec::new();
    loop {
        let counts = |record: &usize| contradictions.iter().all(|refused| refused.record != *record);
        let of_group =
            |group: &Group| -> Vec<usize> { group.records.iter().copied().filter(counts).collect() };
        let history = |group| History {
            plates: of_group(group).into_iter().map(events).collect(),
            usage: of_group(group).into_iter().map(|record| records[record].usage).collect(),
            today: 0.0,
            law: group.law.as_ref(),
            population: &group.population,
            highest: group.highest,
            prior: question.prior.clone(),
        };
        let histories: Vec<History> = groups.iter().map(history).collect();
        // Which record is behind each of the shop's plates, and its group.
        let counted: Vec<(usize, &Group)> = groups
            .iter()
            .flat_map(|group| of_group(group).into_iter().map(move |record| (record, group)))
            .collect();
        let shop = Shop::new(&histories);
        let read = |plate: usize| {
            let wear = shop.fit(plate);
            let events = shop.events(plate);
            if let Some(event) = wear.contradiction(events) {
                return Err((event, shop.contradicted_by(plate, event, &[])));
            }
            // Where they contradict one another in too many ways, the last is named with all before it.
            let last = events.len().saturating_sub(1);
            let readings = shop.readings(plate, wear.clone()).ok_or_else(|| (last, (0..last).collect()))?;
            Ok((wear.events, readings))
        };
        let read: Vec<Result<Read, (usize, Vec<usize>)>> =
            (0..counted.len()).into_par_iter().map(read).collect();
        progress(0.8);
        let refused = counted.iter().zip(&read).filter_map(|(&(record, _), read)| {
            // Events are the entries that count.
            let counts: Vec<usize> =
                (0..evidence[record].len()).filter(|&k| evidence[record][k].is_some()).collect();
            let (event, against) = read.as_ref().err()?;
            let against = against.iter().map(|&event| counts[event]).collect();
            Some(Contradiction { record, entry: counts[*event], against })
        });
        let refused: Vec<Contradiction> = refused.collect();
        if refused.is_empty() {
            let read: Vec<Read> = read.into_iter().flatten().collect();
            let of_plate = |(plate, (together, readings)): (usize, Read)| {
                let (record, group) = counted[plate];
                let question = records[record].question(question);
                let found = EventsFound {
                    events: shop.events(plate),
                    together: &together,
                    evidence: &evidence[record],
                };
                PlatePlan::of_readings(record, &found, readings, &question, group.law.as_ref())
            };
            let mut plates: Vec<PlatePlan> = read.into_par_iter().enumerate().filter_map(of_plate).collect();
            plates.sort_by_key(|plate| plate.record);
            return (plates, contradictions);
        }
        contradictions.extend(refused);
    }
}

impl PlateRecord {
    /// A record of a plate like all others.
    pub fn new(name: String, entries: Vec<Entry>) -> Self {
        Self { name, entries, check: None, tolerance: None, usage: 1.0 }
    }

    /// What is asked of this plate.
    fn question(&self, question: &RecallQuestion) -> RecallQuestion {
        RecallQuestion { tolerance: self.tolerance.unwrap_or(question.tolerance), ..question.clone() }
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

/// A record's evidence, its events, and the fits of all of these at once.
struct EventsFound<'a> {
    evidence: &'a [Option<Evidence>],
    events: &'a [Event],
    together: &'a [EventFit],
}

impl PlatePlan {
    /// The plan by the reading of a record whose date is the earliest.
    fn of_readings(
        record: usize,
        found: &EventsFound,
        readings: Vec<Reading>,
        question: &RecallQuestion,
        law: Option<&SpreadLaw>,
    ) -> Option<Self> {
        let mut plans: Vec<(Self, RecordReading)> = readings
            .into_iter()
            .map(|reading| {
                let mut fits = reading.fits(found.events).into_iter().zip(found.together);
                let entries: Vec<EntryFit> = found
                    .evidence
                    .iter()
                    .map(|evidence| match evidence.and_then(|_| fits.next()) {
                        Some((Some(fit), _)) => EntryFit::Counted(fit),
                        Some((None, together)) => EntryFit::LeftOut(*together),
                        None => EntryFit::PassedOver,
                    })
                    .collect();
                let is_left_out = |k: &usize| matches!(entries[*k], EntryFit::LeftOut(_));
                let left_out = (0..entries.len()).filter(is_left_out).collect();
                let plan = Self::new(record, reading.wear, entries, found.evidence, question, law);
                let due = plan.due;
                (plan, RecordReading { left_out, due })
            })
            .collect();
        // The earliest date, and of those that are due already the likelier out.
        plans.sort_by(|(a, _), (b, _)| a.urgency().partial_cmp(&b.urgency()).unwrap_or(Ordering::Equal));
        let several = plans.len() > 1;
        let (plans, readings): (Vec<Self>, Vec<RecordReading>) = plans.into_iter().unzip();
        let first = plans.into_iter().next()?;
        Some(Self { readings: if several { readings } else { Vec::new() }, ..first })
    }

    fn new(
        record: usize,
        wear: PlateWear,
        entries: Vec<EntryFit>,
        evidence: &[Option<Evidence>],
        question: &RecallQuestion,
        law: Option<&SpreadLaw>,
    ) -> Self {
        let RecallQuestion { tolerance, risk, .. } = *question;
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
        let least = by_cost.as_ref().and_then(|plan| plan.least);
        let least = least.filter(|(least, _)| least.is_reached).map_or(0.0, |(least, _)| least.years);
        // Somewhat beyond every date that is named.
        let last = due.unwrap_or(8.0).max(least);
        let shown = (1.6 * last).clamp(2.0, 20.0).max(1.1 * last);
        let forecast = (0..=N_FORECAST).map(|k| {
            let years = shown * k as f64 / N_FORECAST as f64;
            (years, wear.after(years), wear.exceeding(tolerance, years).min(1.0))
        });
        let forecast = forecast.collect();
        Self { record, wear, entries, readings: Vec::new(), out, due, forecast, as_new, by_cost }
    }

    /// What comes first: the earlier date, and of those that are due already the likelier out.
    fn urgency(&self) -> (f64, f64) {
        (self.due.unwrap_or(f64::INFINITY), -self.out_today())
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
            .filter(|due| least.is_reached && *due <= out.horizon())
            .map(|due| costs.cost_until(&out, &cycle, due) - least.cost);
        Self { cycle: Some(cycle), least: Some((least, acceptable)), risk_costs_more, checks }
    }
}
