//! How to check better, sentence by sentence.

use super::*;

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

    pub(super) fn best_step(&self) -> String {
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

    pub(super) fn best_pair(&self) -> Option<String> {
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

    pub(super) fn cheapest(&self, enough: &Enough) -> String {
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

    pub(super) fn placed_words(&self, placed: &PlacedSetup) -> String {
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

    pub(super) fn proper_method(&self) -> Option<String> {
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

    pub(super) fn instruments_words(&self) -> String {
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
    pub(super) fn words_and_places(&self, step: Step) -> String {
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
    pub(super) fn widens(&self, step: Step) -> bool {
        let gain =
            self.advice.gains.steps.iter().find(|known| known.step == step).and_then(|known| known.gain);
        gain.is_some_and(|gain| gain.share < -2.0 * gain.u)
    }

    /// A step with its size, in words.
    pub(super) fn words(&self, step: Step) -> String {
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
}

/// Said where no placements were found.
pub(super) const NO_PLACEMENTS: &str = "Where to put stand and block for more is not said: no placement was found that this stand, with its reach and \
     feet, can take on this plate.";

pub(super) fn gain_text(gain: Gain) -> String {
    format!("{} (standard uncertainty {})", share(gain.share, 0), share(gain.u, 1))
}
