//! The report on how to check better: steps, placements, and what other methods would have given.

use super::{
    Report,
    chart::{
        bars::{Bar, BarUnit, Bars, Share},
        plate_map::MapTarget,
    },
    check_report::{way_key, way_name},
    heights::Heights,
    number::{Digits, percent, share, short},
    page::{LIMITS_OF_USE, Page, Part, ending, short_digest},
    picture::Svg,
    reading_sheet::{ReadingSheet, direction},
    setup_words,
    survey_marks::{bare_plate, in_plan, stands},
    table::Table,
    text::inert,
};
use crate::{
    decision::{
        advice::{Advice, Enough, Offer},
        methods::{MethodRow, Surveyed},
        placements::Placements,
        sufficient_set::Search,
    },
    propagation::{
        improvement_gain::{CheckWorth, ErrorInterval, Gain, SingleStep},
        other_methods::{Instruments, Method},
        placement_choice::Expected,
        simulation::WayKind,
    },
    quantity::sample::Summary,
    setup::{Setup, pasted},
    shop::{
        grade::Tolerance,
        improvement::{Step, taken_with_plan},
        survey::{Effort, StandUse, Station},
    },
};
use schemars::JsonSchema;
use serde::Serialize;
use serde_json::Value;

/// Everything that a report on a better check is made from.
#[derive(Debug, Clone)]
pub struct PlanReport<'a> {
    /// The setup.
    pub setup: &'a Setup,
    /// What the plate is to keep, if anything.
    pub tolerance: Option<&'a Tolerance>,
    /// By which way of reading the check is used.
    pub way: WayKind,
    /// What steps gain.
    pub advice: &'a Advice,
    /// Where to put stand and block; `None` where no placement was possible.
    pub placed: Option<&'a PlacedSetup>,
    /// The check's own ways of reading and other methods, on the same plates.
    pub methods: &'a [MethodRow],
    /// Seed of all random numbers.
    pub seed: u64,
    /// The date of the report, as the user gave it.
    pub date: Option<&'a str>,
}

/// A survey that was planned anew, as it is written in a setup.
#[derive(Debug, Clone)]
pub struct PlacedSetup {
    /// The setup with the new survey in it.
    pub setup: Setup,
    /// The survey block that makes the difference.
    pub block: Value,
    /// What the new survey is worth, and the setup's own.
    pub placements: Placements,
}

impl Surveyed {
    fn name(self) -> &'static str {
        match self {
            Self::ThisCheck(WayKind::Spread) => "this check: spread",
            Self::ThisCheck(WayKind::Levelled) => "this check: spread off the best-fit plane",
            Self::ThisCheck(WayKind::Fitted) => "this check: fitted estimate",
            Self::Otherwise(Method::Straightedge) => "straightedge along eight lines",
            Self::Otherwise(Method::Level) => "level along eight lines",
            Self::Otherwise(Method::Autocollimator) => "autocollimator along eight lines",
            Self::Otherwise(Method::RepeatReading) => "repeat reading, stand carried",
        }
    }

    fn key(self) -> String {
        match self {
            Self::ThisCheck(way) => format!("this check, {}", way_key(way)),
            Self::Otherwise(Method::Straightedge) => "straightedge".into(),
            Self::Otherwise(Method::Level) => "level".into(),
            Self::Otherwise(Method::Autocollimator) => "autocollimator".into(),
            Self::Otherwise(Method::RepeatReading) => "repeat reading".into(),
        }
    }
}

/// Said where no placements were found.
const NO_PLACEMENTS: &str = "Where to put stand and block for more is not said: no placement was found that this stand, with its reach and \
     feet, can take on this plate.";

impl Report for PlanReport<'_> {
    type Document = PlanDocument;

    fn page(&self) -> Page {
        let mut parts: Vec<Part> = self.explanations().into_iter().map(Part::Words).collect();
        parts.extend([
            Part::heading("Steps that make this check better"),
            Part::picture(
                "steps",
                self.steps_picture(),
                "By how much each step alone narrows the interval of the error (a minus: widens it); whiskers are two standard \
                 uncertainties.",
            ),
            Part::Table(self.steps_table()),
            Part::Table(self.pairs_table()),
            Part::Words(HOW_STEPS_ARE_JUDGED.into()),
        ]);
        if let Some(placed) = self.placed {
            parts.extend([
                Part::heading("Where to put stand and block"),
                Part::picture(
                    "placements",
                    self.placements_picture(placed),
                    "The plate with each placement's feet, arm and targets, numbered in the order in which they are read; a spot that is \
                     read from several placements carries its first number.",
                ),
                Part::Table(self.placements_table(placed)),
                Part::Words(format!(
                    "Paste this into the setup in place of its survey; then howflat sheet gives the sheet for it{}.",
                    if placed.placements.n_readings > n_readings(&placed.setup) {
                        " (there was nothing more to choose from)"
                    } else {
                        ""
                    }
                )),
                Part::Lines(pasted(&placed.block)),
                Part::Words(HOW_PLACEMENTS_ARE_CHOSEN.into()),
            ]);
        }
        parts.extend([
            Part::heading("What other methods would have given"),
            Part::Table(self.methods_table()),
            Part::Words(self.instruments_words()),
            Part::heading("What was taken for granted"),
        ]);
        parts.extend(setup_words::granted(self.setup));
        parts.extend(ending(None, LIMITS_OF_USE, &REFERENCES));
        let mut facts = setup_words::facts(self.setup, self.tolerance, self.date);
        facts.push([
            "run".into(),
            format!("{} trials for each set of steps, seed {}", self.advice.gains.n_trials, self.seed),
        ]);
        Page {
            kind: "How to check a surface plate better".into(),
            title: self.setup.title.clone(),
            facts,
            answer: vec![self.answer()],
            parts,
            provenance: format!(
                "howflat {}, setup {}, seed {}, {} trials for each set of steps.",
                crate::VERSION,
                short_digest(&self.setup.digest),
                self.seed,
                self.advice.gains.n_trials
            ),
            ..Page::default()
        }
    }

    fn document(&self) -> PlanDocument {
        let gains = &self.advice.gains;
        PlanDocument {
            title: inert(&self.setup.title),
            answer: self.answer(),
            explanation: self.explanations(),
            unit: self.setup.unit.symbol().into(),
            length_unit: self.setup.plan_unit.symbol().into(),
            way: way_key(self.way).into(),
            tolerance: self.tolerance.map(|tolerance| self.heights().of(tolerance.value)),
            tolerance_name: self.tolerance.map(|tolerance| inert(&tolerance.name)),
            now: self.way_documents(&gains.before),
            steps: self.step_documents(),
            pairs: gains
                .pairs
                .iter()
                .map(|pair| PairDocument {
                    steps: pair.steps.map(|step| self.step_name(step)),
                    narrower_by: pair.gain.share,
                    narrower_by_u: pair.gain.u,
                    interaction: pair.interaction.share,
                    interaction_u: pair.interaction.u,
                })
                .collect(),
            enough: self.advice.enough.as_ref().map(|enough| self.enough_document(enough)),
            placements: self.placed.map(|placed| self.placements_document(placed)),
            methods: self.methods.iter().map(|row| self.method_document(row)).collect(),
            n_trials: gains.n_trials,
            seed: self.seed,
            setup_digest: self.setup.digest.clone(),
            version: crate::VERSION.into(),
        }
    }

    fn tables(&self) -> Vec<(String, Table)> {
        vec![("steps".into(), self.steps_table()), ("methods".into(), self.methods_table())]
    }

    fn in_pixels(&self, picture: &str) -> bool {
        picture == "steps"
    }

    fn more_files(&self) -> Vec<(String, Vec<u8>)> {
        let Some(placed) = self.placed else { return Vec::new() };
        let mut files = vec![("survey.txt".to_string(), (pasted(&placed.block) + "\n").into_bytes())];
        files.extend(ReadingSheet { setup: &placed.setup }.files());
        files
    }
}

impl PlanReport<'_> {
    /// Where the check stands, and whether it is good enough.
    pub fn answer(&self) -> String {
        let h = self.heights();
        let Some(now) = self.now() else { return String::new() };
        let mut said = format!(
            "In 95 % of such checks the {} is off the plate's true flatness by {}",
            way_name(self.way),
            self.limits_of(now)
        );
        match (&self.advice.enough, self.tolerance) {
            (Some(enough), Some(tolerance)) => {
                let verdict =
                    if self.is_enough() { "it is good enough as it is" } else { "it is not good enough" };
                said += &format!(
                    "; for {} ({}) it should be within {} either way, 1/{} of that: {verdict}.",
                    h.text(tolerance.value),
                    tolerance.name,
                    h.text(enough.target),
                    short(self.setup.improvements.accuracy_ratio, 3)
                );
            }
            _ => said += "; no tolerance was given to judge that by.",
        }
        said
    }

    fn is_enough(&self) -> bool {
        matches!(&self.advice.enough, Some(Enough { search: Search::Cheapest(set), .. }) if set.steps.is_empty())
    }

    /// What to do about it: the best step, the best pair, the cheapest set that suffices, the placements, the proper method.
    pub fn explanations(&self) -> Vec<String> {
        let mut said = vec![self.best_step()];
        said.extend(self.best_pair());
        said.extend(
            self.advice.enough.as_ref().filter(|_| !self.is_enough()).map(|enough| self.cheapest(enough)),
        );
        said.push(self.placed.map_or(NO_PLACEMENTS.into(), |placed| self.placed_words(placed)));
        said.extend(self.proper_method());
        said
    }

    fn best_step(&self) -> String {
        let seen = self.advice.best_steps();
        let Some(&best) = seen.first() else {
            return "No single step narrows that interval by more than the trials can tell.".into();
        };
        let step = &self.advice.gains.steps[best];
        let ties: Vec<&str> = seen[1..]
            .iter()
            .filter(|&&other| self.advice.gains.steps[other].place == step.place)
            .map(|&other| self.advice.gains.steps[other].step.name())
            .collect();
        let mut said = format!(
            "The single step that helps most is \"{}\" ({}): it narrows the interval by {}{}.",
            step.step.name(),
            self.words_and_places(step.step),
            step.gain.map_or(String::new(), gain_text),
            self.interval(step)
                .map_or(String::new(), |interval| format!(", to {}", self.limits_of(interval)))
        );
        if !ties.is_empty() {
            said += &format!(" The trials cannot tell it from \"{}\".", ties.join("\" and \""));
        }
        said
    }

    fn best_pair(&self) -> Option<String> {
        let pair = self.advice.best_pair()?;
        let [a, b] = pair.steps.map(|step| self.advice.gains.steps[step].step.name());
        let together = match pair.interaction {
            i if i.share > 2.0 * i.u => "; together they gain more than their gains added up",
            i if i.share < -2.0 * i.u => "; their gains overlap",
            _ => "",
        };
        Some(format!(
            "The best pair is \"{a}\" with \"{b}\": narrower by {}{together}.",
            gain_text(pair.gain)
        ))
    }

    fn cheapest(&self, enough: &Enough) -> String {
        let names = |steps: &[usize]| {
            let names =
                steps.iter().map(|&step| format!("\"{}\"", self.advice.gains.steps[step].step.name()));
            names.collect::<Vec<_>>().join(", ")
        };
        let effort = |effort: f64| match (&self.setup.improvements.effort_unit, enough.counted) {
            (_, true) => format!("{} steps", short(effort, 3)),
            (Some(unit), _) => format!("{} {unit}", short(effort, 4)),
            (None, _) => format!("an effort of {}", short(effort, 4)),
        };
        let among = match enough.passed_over.len() {
            0 => format!("{} sets of {} steps", enough.n_tried, enough.among.len()),
            n => {
                let n_searched = enough.among.len();
                match enough.n_tried_beyond {
                    0 => format!(
                        "{} sets of the {n_searched} steps that help most ({n} that help less were left out of the search)",
                        enough.n_tried
                    ),
                    more => format!(
                        "{} sets of the {n_searched} steps that help most, and {more} more with the {n} that help less,",
                        enough.n_tried - more
                    ),
                }
            }
        };
        match &enough.search {
            Search::Cheapest(set) if enough.beyond => format!(
                "A set that makes it good enough takes {}: {}. No set of the {} steps that help most does; whether a cheaper one \
                 with the others would was not tried.",
                effort(set.effort),
                names(&set.steps),
                enough.among.len()
            ),
            Search::Cheapest(set) => format!(
                "The cheapest set that makes it good enough takes {}: {} ({among} were tried, from the cheapest on).",
                effort(set.effort),
                names(&set.steps)
            ),
            Search::NoneSuffices => {
                let (steps, interval) = &enough.best;
                if interval.farthest() <= enough.target {
                    return format!(
                        "{} comes within the target, {}, but by less than so many trials can tell; give more with \
                         --trials. All {among} were tried.",
                        names(steps),
                        self.limits_of(interval)
                    );
                }
                let best = if steps.is_empty() {
                    "none came closer than the check as it is".to_string()
                } else {
                    format!("the best of them, {}, still leaves {}", names(steps), self.limits_of(interval))
                };
                format!("No set of these steps makes it good enough. All {among} were tried; {best}.")
            }
        }
    }

    fn placed_words(&self, placed: &PlacedSetup) -> String {
        let placements = &placed.placements;
        let h = self.heights();
        let n = n_readings(&placed.setup);
        let mut said = format!(
            "With {}, placed as below and judged by howflat judge, the standard uncertainty of the \
             flatness should come down from {} before any reading to {} at most",
            setup_words::effort(&placed.setup.check.survey),
            h.text(placements.before.standard_uncertainty),
            h.text(placements.chosen.standard_uncertainty)
        );
        said += &match placements.own {
            Some(own) => format!(
                "; the survey of the setup, with {}, leaves {}.",
                setup_words::effort(&self.setup.check.survey),
                h.text(own.standard_uncertainty)
            ),
            None => ".".into(),
        };
        if placements.chosen.standard_uncertainty > 0.9 * placements.before.standard_uncertainty {
            said += " That is little: what disturbs this stand hides the plate from any placement.";
        }
        if placements.own.is_some_and(|own| {
            n_readings(self.setup) <= n
                && own.standard_uncertainty < 1.05 * placements.chosen.standard_uncertainty
        }) {
            said += " The setup's own survey is as good for its number of readings.";
        }
        said
    }

    fn proper_method(&self) -> Option<String> {
        let row = self
            .methods
            .iter()
            .filter(|row| matches!(row.what, Surveyed::Otherwise(method) if method != Method::RepeatReading));
        let width = |row: &&MethodRow| row.error.interval_symmetric[1] - row.error.interval_symmetric[0];
        let best = row.min_by(|a, b| width(a).total_cmp(&width(b)))?;
        let [low, high] = best.error.interval_symmetric;
        Some(format!(
            "Of the other methods the {} comes closest, with the same hands and the same room: off by {} in 95 % of \
             surveys.",
            best.what.name(),
            self.ends([low, high])
        ))
    }

    /// Every step by its place.
    pub fn steps_table(&self) -> Table {
        let h = self.heights();
        let mut order: Vec<&SingleStep> = self.advice.gains.steps.iter().collect();
        order.sort_by(|a, b| {
            let key = |step: &SingleStep| step.gain.map_or(f64::NEG_INFINITY, |gain| gain.share);
            key(b).total_cmp(&key(a))
        });
        let of_fitted =
            |step: &&SingleStep| step.worth.as_ref().ok()?.way(WayKind::Fitted).map(|i| i.width());
        let has_fitted_column = self.way != WayKind::Fitted;
        let now = self.now().map_or(String::new(), |now| self.limits_of(now));
        let fitted_now = self.advice.gains.before.way(WayKind::Fitted).filter(|_| has_fitted_column);
        let fitted_now = fitted_now.map_or(String::new(), |interval| {
            format!("; the fitted estimate's is {} wide", h.text(interval.width()))
        });
        let caption = format!(
            "Steps, each alone, by how much they narrow the 95 % interval of the {}'s error, which is now {now}{fitted_now}; \
             steps that {} trials cannot tell from the first of their place share it",
            way_name(self.way),
            self.advice.gains.n_trials
        );
        Table::of(caption, order)
            .number("place", "", Digits::Decimals(0), |step| Some(self.seen(step)?.0 as f64))
            .text("step", |step| step.step.name())
            .text("what it is", |step| match (self.seen(step), &step.worth) {
                (Some(_), _) => self.words_and_places(step.step),
                (None, Err(why)) => format!("not tried: {why}"),
                (None, Ok(_)) => "not tried: not possible".into(),
            })
            .percent("narrower by", 1, |step| Some(self.seen(step)?.1.share))
            .percent("u", 1, |step| Some(self.seen(step)?.1.u))
            .heights(h, ["error from", "to"], |step| Some(self.seen(step)?.2.interval))
            .when(has_fitted_column, |table| table.height(h, "fitted estimate's width", of_fitted))
            .table()
    }

    /// Place, gain and interval of a step that was tried.
    fn seen<'a>(&self, step: &'a SingleStep) -> Option<(usize, Gain, &'a ErrorInterval)> {
        Some((step.place?, step.gain?, self.interval(step)?))
    }

    /// The pairs that gain most.
    pub fn pairs_table(&self) -> Table {
        const SHOWN: usize = 8;
        let gains = &self.advice.gains;
        let caption = format!(
            "The best of {} pairs of steps; the interaction is what a pair gains beyond both gains added up",
            gains.pairs.len()
        );
        let name = |step: usize| gains.steps[step].step.name();
        Table::of(caption, gains.pairs.iter().take(SHOWN))
            .text("step", |pair| name(pair.steps[0]))
            .text("with", |pair| name(pair.steps[1]))
            .percent("narrower by", 1, |pair| pair.gain.share)
            .percent("u", 1, |pair| pair.gain.u)
            .percent("interaction", 1, |pair| pair.interaction.share)
            .percent("u", 1, |pair| pair.interaction.u)
            .text("together", |pair| match pair.interaction {
                i if i.share > 2.0 * i.u => "more than both alone",
                i if i.share < -2.0 * i.u => "overlap",
                _ => "",
            })
            .table()
    }

    fn placements_table(&self, placed: &PlacedSetup) -> Table {
        let placements = &placed.placements;
        let effort = |setup: &Setup| setup.check.survey.effort();
        let own = placements.own.map(|own| ("as in the setup", effort(self.setup), own));
        let rows = [
            Some(("nothing read", Effort { set_downs: 0, indications: 0 }, placements.before)),
            own,
            Some(("as placed here", effort(&placed.setup), placements.chosen)),
        ];
        let caption = format!(
            "What is left open of the flatness, on average over what may be read (chosen from {} readings that the stand can \
             take)",
            placements.n_candidates
        );
        Table::of(caption, rows.into_iter().flatten())
            .text("survey", |(what, ..)| *what)
            .count("set-downs", |(_, effort, _)| effort.set_downs)
            .count("indications", |(_, effort, _)| effort.indications)
            .height(self.heights(), "standard uncertainty", |(.., left)| left.standard_uncertainty)
            .height(self.heights(), "width of the 95 % interval", |(.., left)| left.interval_width)
            .table()
    }

    /// The check and other methods side by side.
    pub fn methods_table(&self) -> Table {
        let h = self.heights();
        let judged = self.methods.iter().any(|row| row.calls.is_some());
        let mut caption = format!("Error of each method on the same {} plates", self.advice.gains.n_trials);
        if judged {
            caption += ", and what comparing its result with the tolerance does; the repeat reading is compared with the grade's \
                        limit of local variation, which is another thing";
        }
        Table::of(caption, self.methods)
            .text("method", |row| row.what.name())
            .count("set-downs", |row| row.effort.set_downs)
            .count("indications", |row| row.effort.indications)
            .number("closures", "", Digits::Decimals(0), |row| Some(row.closures as f64).filter(|n| *n > 0.0))
            .height(h, "mean error", |row| row.error.mean)
            .height(h, "standard deviation", |row| row.error.standard_deviation)
            .heights(h, ["95 % from", "to"], |row| row.error.interval_symmetric)
            .when(judged, |table| {
                table
                    .height(h, "passes up to", |row| row.limit)
                    .percent("bad plates passed", 1, |row| row.calls?.bad_passed)
                    .percent("good ones refused", 1, |row| row.calls?.good_refused)
            })
            .table()
    }

    fn instruments_words(&self) -> String {
        let i = Instruments::default();
        let length = |millimetres: f64| self.setup.length_text(millimetres);
        format!(
            "Same plates, same bow by heat, same film under pads and feet, trial by trial. Taken for the instruments (common \
             practice, no source): level {} µm/m and autocollimator {} µm/m (standard uncertainty of one tilt), on a base of about {}; \
             a straightedge as long as the longest line, on supports at its points of least sag, with a bow of {} µm and an S of {} µm \
             per metre left (standard deviations), read with this check's indicator. Eight lines are reduced together by \
             least squares; grains are left out there, since closures show them and the line is read again. A repeat reading \
             sees local changes only: a bow or a twist of any size reads zero.",
            short(i.level, 3),
            short(i.autocollimator, 3),
            length(i.base),
            short(i.straightedge_bow, 3),
            short(i.straightedge_s, 3)
        )
    }

    /// A step with its size, where it puts the stand, and which targets it gives up.
    fn words_and_places(&self, step: Step) -> String {
        let mut said = self.words(step);
        let Ok((after_it, after)) = taken_with_plan(&self.setup.check, &self.setup.plan, &[step]) else {
            return said;
        };
        let before = &self.setup.plan;
        let carried = after.stand_use == StandUse::Carried;
        let stands = |station: &Station, reach| {
            let place = self.setup.stand_text(station.at, station.heading, reach);
            let points = (after.stand_use != StandUse::Turned).then(|| direction(station.heading));
            place + &points.map_or(String::new(), |points| format!(" (pointing {points})"))
        };
        let known: Vec<String> = before.stations.iter().map(|s| stands(s, before.carried_reach)).collect();
        let mut places: Vec<String> = Vec::new();
        for place in after.stations.iter().map(|station| stands(station, after.carried_reach)) {
            if !known.contains(&place) && !places.contains(&place) {
                places.push(place);
            }
        }
        if !places.is_empty() {
            said += if carried { ": carried at " } else { ": the stand at " };
            said += &places.join(", then at ");
        }
        let read: Vec<&str> =
            after.stations.iter().flat_map(|s| &s.targets).map(|t| t.name.as_str()).collect();
        let given_up: Vec<&str> = before
            .stations
            .iter()
            .flat_map(|station| &station.targets)
            .map(|target| target.name.as_str())
            .filter(|name| !read.contains(name))
            .collect();
        if !given_up.is_empty() {
            said += &format!("; no room is left to read {}", given_up.join(", "));
        }
        if self.widens(step) {
            said += "; the minus means wider";
            let effort = after_it.survey.effort().indications;
            if effort > self.setup.check.survey.effort().indications {
                said += ": more readings give a plain spread more chances to be large";
            }
        }
        said
    }

    /// Whether a step is seen to make the interval wider.
    fn widens(&self, step: Step) -> bool {
        let gain =
            self.advice.gains.steps.iter().find(|known| known.step == step).and_then(|known| known.gain);
        gain.is_some_and(|gain| gain.share < -2.0 * gain.u)
    }

    /// A step with its size, in words.
    fn words(&self, step: Step) -> String {
        let h = self.heights();
        let share = |to: f64| percent(to);
        match step {
            Step::ShorterReach { to } => {
                format!("longest reach down to {}, as far as the place allows", share(to))
            }
            Step::WiderFeet { times } => format!("feet {} times as far from the column", short(times, 3)),
            Step::FinerGraduation { to } => {
                format!("graduation and limits of the indicator down to {}", share(to))
            }
            Step::FurtherPass { passes: 1 } => "one pass more".into(),
            Step::FurtherPass { passes } => format!("{passes} passes more"),
            Step::TurnedStand { by } => format!("by {}°, as further placements", short(by, 3)),
            Step::ClosingReading => "zero read again at the end".into(),
            Step::OvernightSoak { leaves } => {
                format!("{} of temperature differences and rates left", share(leaves))
            }
            Step::CleanerPlate { film, grain_chance } => format!(
                "film down to {}, a grain in {} of 1000",
                h.text(film),
                short(1000.0 * grain_chance, 3)
            ),
            Step::MoreTargets => "one more between each two".into(),
            Step::BetterBlock { to } => format!("variation in length down to {}", share(to)),
            Step::OneSidedApproach => "no hysteresis".into(),
            Step::LevelArm { to } => format!("its angle down to {}", share(to)),
            Step::CoolHands { leaves } => format!("{} of the hand's warmth left", share(leaves)),
        }
    }

    /// The gain of each step as a bar.
    pub fn steps_picture(&self) -> Svg {
        let bars: Vec<Bar> = self
            .advice
            .gains
            .steps
            .iter()
            .filter_map(|step| {
                let Gain { share, u } = step.gain?;
                let interval = Some([share - 2.0 * u, share + 2.0 * u]);
                Some(Bar {
                    label: step.step.name(),
                    first_order: Share { value: share, interval },
                    total: None,
                })
            })
            .collect();
        Bars {
            title: "What each step alone does to the interval of the error",
            axis: "95 % interval narrower by",
            unit: BarUnit::Percent,
            bars: &bars,
        }
        .svg()
    }

    /// The new survey on the plate.
    fn placements_picture(&self, placed: &PlacedSetup) -> Svg {
        let setup = &placed.setup;
        let check = &setup.check;
        let survey = &check.survey;
        let labels: Vec<String> = (1..=survey.spots.len()).map(|n| n.to_string()).collect();
        let mut targets: Vec<MapTarget> = Vec::new();
        for (spot, label) in survey.spots.iter().zip(&labels) {
            let at = in_plan(spot.at, setup.plan_unit);
            if !targets.iter().any(|target| target.at == at) {
                targets.push(MapTarget { at, label, reading: None });
            }
        }
        bare_plate(
            setup,
            "Where to put stand and block, in the order of the numbers",
            &stands(survey.readings.iter(), setup.plan_unit),
            &targets,
        )
    }

    fn step_name(&self, step: usize) -> String {
        self.advice.gains.steps[step].step.name().to_string()
    }

    fn way_documents(&self, worth: &CheckWorth) -> Vec<WayDocument> {
        let h = self.heights();
        let document = |(way, error): &(WayKind, ErrorInterval)| WayDocument {
            way: way_key(*way).into(),
            interval: error.interval.map(|end| h.of(end)),
            width_u: h.of(error.width_u()),
        };
        worth.ways.iter().map(document).collect()
    }

    fn step_documents(&self) -> Vec<StepDocument> {
        let steps = self.advice.gains.steps.iter().zip(&self.setup.improvements.offers);
        let document = |(step, offer): (&SingleStep, &Offer)| StepDocument {
            step: step.step.name().into(),
            what: self.words_and_places(step.step),
            effort: offer.effort,
            place: step.place,
            narrower_by: step.gain.map(|gain| gain.share),
            narrower_by_u: step.gain.map(|gain| gain.u),
            seen: step.gain.is_some_and(Gain::is_seen),
            errors: step.worth.as_ref().map(|worth| self.way_documents(worth)).unwrap_or_default(),
            set_downs: step.worth.as_ref().ok().map(|worth| worth.effort.set_downs),
            indications: step.worth.as_ref().ok().map(|worth| worth.effort.indications),
            not_tried: step.worth.as_ref().err().map(ToString::to_string),
        };
        steps.map(document).collect()
    }

    fn enough_document(&self, enough: &Enough) -> EnoughDocument {
        let h = self.heights();
        let names = |steps: &[usize]| steps.iter().map(|&step| self.step_name(step)).collect::<Vec<_>>();
        let found = match &enough.search {
            Search::Cheapest(set) => Some(set),
            Search::NoneSuffices => None,
        };
        EnoughDocument {
            target: h.of(enough.target),
            accuracy_ratio: self.setup.improvements.accuracy_ratio,
            good_enough_now: self.is_enough(),
            steps: found.map(|set| names(&set.steps)),
            effort: found.map(|set| set.effort),
            effort_unit: self.setup.improvements.effort_unit.as_deref().map(inert),
            efforts_count_steps: enough.counted,
            searched: names(&enough.among),
            passed_over: names(&enough.passed_over),
            n_tried: enough.n_tried,
            best_steps: names(&enough.best.0),
            best_interval: enough.best.1.interval.map(|end| h.of(end)),
        }
    }

    fn placements_document(&self, placed: &PlacedSetup) -> PlacementsDocument {
        let h = self.heights();
        let expected = |e: Expected| Expected {
            standard_uncertainty: h.of(e.standard_uncertainty),
            interval_width: h.of(e.interval_width),
        };
        let Effort { set_downs, indications } = placed.setup.check.survey.effort();
        PlacementsDocument {
            survey: placed.block.clone(),
            n_readings: n_readings(&placed.setup),
            set_downs,
            indications,
            n_candidates: placed.placements.n_candidates,
            before: expected(placed.placements.before),
            own_survey: placed.placements.own.map(expected),
            placed: expected(placed.placements.chosen),
        }
    }

    fn method_document(&self, row: &MethodRow) -> MethodDocument {
        let h = self.heights();
        MethodDocument {
            method: row.what.key(),
            set_downs: row.effort.set_downs,
            indications: row.effort.indications,
            closures: row.closures,
            error: row.error.map(|v| h.of(v)),
            passes_up_to: row.limit.map(|limit| h.of(limit)),
            bad_passed: row.calls.and_then(|calls| calls.bad_passed),
            good_refused: row.calls.and_then(|calls| calls.good_refused),
        }
    }

    fn now(&self) -> Option<&ErrorInterval> {
        self.advice.gains.before.way(self.way)
    }

    fn interval<'a>(&self, step: &'a SingleStep) -> Option<&'a ErrorInterval> {
        step.worth.as_ref().ok()?.way(self.way)
    }

    fn limits_of(&self, interval: &ErrorInterval) -> String {
        self.ends(interval.interval)
    }

    fn ends(&self, [low, high]: [f64; 2]) -> String {
        let h = self.heights();
        format!("{} to {}", h.bare(low), h.text(high))
    }

    fn heights(&self) -> Heights {
        Heights { unit: self.setup.unit }
    }
}

fn gain_text(gain: Gain) -> String {
    format!("{} (standard uncertainty {})", share(gain.share, 0), share(gain.u, 1))
}

/// How many readings a survey has besides zeros and closing readings.
fn n_readings(setup: &Setup) -> usize {
    setup.check.survey.compared().count()
}

/// How steps are compared.
const HOW_STEPS_ARE_JUDGED: &str = "Every set of steps is tried on the same plates with the same luck, so that what differs is \
    the steps. A step that makes the interval wider has a negative gain: more readings, or the stand put down more often, give a plain \
    spread more chances to be large. u is the standard uncertainty that the number of trials leaves. This is the iterative method of ISO 14253-2: \
    compare the uncertainty with its target, change what contributes most, and reckon again. What a larger survey gains \
    shows in the fitted estimate or in howflat judge. An indication is the tip brought to the block and the dial read or set: readings, \
    zeros and closing readings alike; a set-down is the stand put down anew.";

/// How placements are chosen.
const HOW_PLACEMENTS_ARE_CHOSEN: &str = "Chosen one by one, then exchanged one by one while that helps, by what each reading leaves \
    open of the flatness of plates as the setup describes them; judged on other plates than those they were chosen by. The \
    figures are upper bounds: a full judgement makes more of the same readings. Grains are left out: a reading that \
    catches one is taken again.";

/// What the methods rest on, by clause.
const REFERENCES: [&str; 5] = [
    "Target uncertainty, and what to improve first: ISO 14253-2:2011 (procedure for uncertainty management, iterative method).",
    "How good a check has to be for a tolerance: the 4:1 rule, ASME B89.7.3.1-2001, unless the setup says otherwise.",
    "Intervals of simulated errors: JCGM 101:2008, 7.7.",
    "Limits of local variation: GGG-P-463c, table II; ISO 8512, both parts.",
    "Tolerances and defaults: the source beside each, in the tables above.",
];

/// How to check better. Heights are in `unit`.
#[derive(Debug, Serialize, JsonSchema)]
#[schemars(title = "howflat plan")]
pub struct PlanDocument {
    /// What the check is called.
    title: String,
    /// Where the check stands, in one sentence.
    answer: String,
    /// What to do about it, a sentence or two each.
    explanation: Vec<String>,
    /// Unit of all heights.
    unit: String,
    /// Unit of plan lengths.
    length_unit: String,
    /// The way of reading by which steps are ranked: "spread", "levelled" or "fitted".
    way: String,
    /// The largest flatness deviation that is good; null where none was given.
    tolerance: Option<f64>,
    /// Where it comes from.
    tolerance_name: Option<String>,
    /// The error of the check as it is, by each way of reading.
    now: Vec<WayDocument>,
    /// Every step alone.
    steps: Vec<StepDocument>,
    /// Every pair that can be taken together, largest gain first.
    pairs: Vec<PairDocument>,
    /// Whether the check is good enough, and what would make it so; null without a tolerance.
    enough: Option<EnoughDocument>,
    /// Where to put stand and block; null where nothing can be placed.
    placements: Option<PlacementsDocument>,
    /// The check and other methods on the same plates.
    methods: Vec<MethodDocument>,
    /// How many trials each set of steps was tried with.
    n_trials: u64,
    /// Seed of all random numbers.
    seed: u64,
    /// SHA-256 of what the setup says.
    setup_digest: String,
    /// Version of the program.
    version: String,
}

/// The error by one way of reading.
#[derive(Debug, Serialize, JsonSchema)]
struct WayDocument {
    /// "spread", "levelled" or "fitted".
    way: String,
    /// The probabilistically symmetric 95 % interval, from and to.
    interval: [f64; 2],
    /// Standard uncertainty of its width from the number of trials.
    width_u: f64,
}

/// One step.
#[derive(Debug, Serialize, JsonSchema)]
struct StepDocument {
    /// Its name.
    step: String,
    /// What it is, with its size.
    what: String,
    /// What it costs; null where the setup does not say.
    effort: Option<f64>,
    /// Its place by gain; steps that noise cannot tell from the first of their place share it.
    place: Option<usize>,
    /// By which share the interval is narrower; negative: wider.
    narrower_by: Option<f64>,
    /// Standard uncertainty of that from the number of trials.
    narrower_by_u: Option<f64>,
    /// Whether it gains more than twice that uncertainty.
    seen: bool,
    /// The error after it, by each way of reading.
    errors: Vec<WayDocument>,
    /// How often the stand is then put down.
    set_downs: Option<usize>,
    /// How many indications are then read or set: readings, zeros and closing readings alike.
    indications: Option<usize>,
    /// Why it was not tried; null where it was.
    not_tried: Option<String>,
}

/// A pair of steps.
#[derive(Debug, Serialize, JsonSchema)]
struct PairDocument {
    /// Their names.
    steps: [String; 2],
    /// By which share the interval is narrower.
    narrower_by: f64,
    /// Standard uncertainty of that.
    narrower_by_u: f64,
    /// What the pair gains beyond both gains added up.
    interaction: f64,
    /// Standard uncertainty of that.
    interaction_u: f64,
}

/// Whether the check is good enough.
#[derive(Debug, Serialize, JsonSchema)]
struct EnoughDocument {
    /// How far the farther end of the error's interval may be from 0.
    target: f64,
    /// Tolerance over target.
    accuracy_ratio: f64,
    /// Whether nothing has to be done.
    good_enough_now: bool,
    /// The set of steps that suffices; null where none was found.
    steps: Option<Vec<String>>,
    /// What it costs.
    effort: Option<f64>,
    /// What costs are counted in.
    effort_unit: Option<String>,
    /// Whether every step counts as one because no effort was given.
    efforts_count_steps: bool,
    /// The steps among which was searched, every set of them from the cheapest on.
    searched: Vec<String>,
    /// Steps that help less and were left out of the search because there were too many.
    passed_over: Vec<String>,
    /// How many sets were tried.
    n_tried: usize,
    /// The best of the sets tried.
    best_steps: Vec<String>,
    /// Its error.
    best_interval: [f64; 2],
}

/// A survey planned anew.
#[derive(Debug, Serialize, JsonSchema)]
struct PlacementsDocument {
    /// The survey block for the setup file.
    survey: Value,
    /// How many readings it has besides zeros and closing readings.
    n_readings: usize,
    /// How often the stand is put down for them.
    set_downs: usize,
    /// How many indications are read or set: readings, zeros and closing readings alike.
    indications: usize,
    /// From how many readings they were chosen.
    n_candidates: usize,
    /// What is open before any reading.
    before: Expected,
    /// What the setup's own survey leaves open.
    own_survey: Option<Expected>,
    /// What the new one leaves open.
    placed: Expected,
}

/// One method.
#[derive(Debug, Serialize, JsonSchema)]
struct MethodDocument {
    /// Its name; a way of reading the check itself begins with "this check".
    method: String,
    /// How often something is put down.
    set_downs: usize,
    /// How many indications are read or set.
    indications: usize,
    /// How many closures it has.
    closures: usize,
    /// Its result minus the true flatness.
    error: Summary,
    /// What passes; null where nothing is compared.
    passes_up_to: Option<f64>,
    /// Chance that a bad plate passes; null where too few plates are bad to tell.
    bad_passed: Option<f64>,
    /// Chance that a good plate is refused.
    good_refused: Option<f64>,
}
