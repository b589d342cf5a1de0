//! Tables and pictures of steps, placements and methods.

use super::*;

impl PlanReport<'_> {
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
    pub(super) fn seen<'a>(&self, step: &'a SingleStep) -> Option<(usize, Gain, &'a ErrorInterval)> {
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

    pub(super) fn placements_table(&self, placed: &PlacedSetup) -> Table {
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
    pub(super) fn placements_picture(&self, placed: &PlacedSetup) -> Svg {
        let setup = &placed.setup;
        let survey = &setup.check.survey;
        let labels = numbers(survey.spots.len());
        let targets = targets(survey.spots.iter().map(|spot| (spot.at, None)), &labels, setup.plan_unit);
        bare_plate(
            setup,
            "Where to put stand and block, in the order of the numbers",
            &stands(survey.readings.iter(), setup.plan_unit),
            &targets,
        )
    }
}
