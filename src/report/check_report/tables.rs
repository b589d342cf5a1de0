//! Tables of a simulated check.

use super::*;

impl<'a> CheckReport<'a> {
    /// What each way of reading gives and how wrong it is.
    pub(super) fn ways(&self) -> Table {
        let s = self.simulation;
        let mut rows = vec![("true flatness of the plates".to_string(), s.true_flatness)];
        for way in &s.ways {
            rows.extend([(way_name(way.kind).into(), way.result), ("  its error".into(), way.error)]);
        }
        if let Some(ModelBased { n_trials, result, error, .. }) = s.model_based {
            let name = format!("model-based estimate (judge), {n_trials} checks");
            rows.extend([(name, result), ("  its error".into(), error)]);
        }
        let p = about_percent(s.settings.coverage_probability);
        let nothing = || "; no check was judged from its readings".into();
        let covered = s.model_based.as_ref().map_or_else(nothing, |judged| {
            let ModelBased { n_trials, n_covered, mean_width, .. } = judged;
            let width = self.heights().text(*mean_width);
            format!("; judge's intervals, {width} wide on average, hold the truth in {n_covered} of {n_trials} checks")
        });
        Table::of(format!("Ways of reading the same numbers ({p} intervals{covered})"), rows)
            .text("quantity", |(name, _)| name.clone())
            .summary(self.heights(), ["mean", "standard deviation"], |(_, summary)| *summary)
            .table()
    }

    /// The two parts of the spread's error: form and disturbances.
    pub(super) fn parts(&self) -> Table {
        let rows = [
            ("form, read without any disturbance, minus true flatness", &self.simulation.form_error),
            ("disturbances: stand and block, indicator, heat, rounding", &self.simulation.disturbance_error),
        ];
        let caption =
            "Where the spread's error comes from: what the survey makes of the form, and what disturbs it";
        Table::of(caption, rows)
            .text("part", |(name, _)| *name)
            .height(self.heights(), "mean", |(_, s)| s.mean)
            .height(self.heights(), "standard deviation", |(_, s)| s.standard_deviation)
            .heights(self.heights(), ["symmetric from", "to"], |(_, s)| s.interval_symmetric)
            .table()
    }

    /// The accept / undecided / out card.
    pub(super) fn card(&self) -> Option<Table> {
        let h = self.heights();
        let limits = self.limits.first()?;
        let unit = h.label();
        let caption = format!(
            "Accept / undecided / out for {} at {} risk ({} of the simulated plates are bad)",
            h.text(limits.tolerance),
            about_percent(limits.risk),
            about_percent(limits.bad_before_reading)
        );
        let limit = |value: Option<f64>| value.map_or(Cell::from("none"), |value| h.cell(value));
        let table = Table::of(caption, self.simulation.ways.iter().zip(&self.limits))
            .text("what was read", |(way, _)| way_name(way.kind))
            .column(Column::numbers("accept at or below", unit), |(_, l)| limit(l.accept_at_or_below))
            .column(Column::numbers("good plates that pass", ""), |(_, l)| {
                l.good_passed.map_or(Cell::Empty, |share| about_percent(share).into())
            })
            .text("undecided", |(_, l)| self.undecided(l))
            .column(Column::numbers("out at or above", unit), |(_, l)| {
                match (l.out_at_or_above, l.out_at_or_below) {
                    (Some(from), Some(to)) => format!("{} to {}", h.bare(from), h.bare(to)).into(),
                    (out, _) => limit(out),
                }
            });
        Some(table.table())
    }

    /// Between which readings a way of reading leaves it open.
    pub(super) fn undecided(&self, limits: &Limits) -> String {
        let text = |value: f64| self.heights().bare(value);
        let mut undecided = match (limits.accept_at_or_below, limits.out_at_or_above) {
            (Some(accept), Some(out)) => format!("above {}, below {}", text(accept), text(out)),
            (Some(accept), None) => format!("above {}", text(accept)),
            (None, Some(out)) => format!("below {}", text(out)),
            (None, None) => "whatever was read".to_string(),
        };
        if let (Some(_), Some(to)) = (limits.out_at_or_above, limits.out_at_or_below) {
            undecided += &format!("; above {}", text(to));
        }
        undecided
    }

    /// What a limit of acceptance on the spread does, as it moves; `None` without a tolerance.
    pub fn operating(&self) -> Option<Table> {
        let limits = self.limits.first()?;
        let share = Digits::Decimals(3);
        let caption =
            format!("Accepting plates up to a spread, for {}", self.heights().text(limits.tolerance));
        let table = Table::of(caption, &limits.operating)
            .height(self.heights(), "limit", |point| point.limit)
            .number("a bad plate passes", "", share, |point| point.bad_accepted)
            .number("a good plate fails", "", share, |point| point.good_refused)
            .number("bad among passed", "", share, |point| point.bad_among_accepted);
        Some(table.table())
    }

    /// How often a plate is accepted, by its true flatness: where the spread is held against the tolerance itself, as
    /// shops do, and by each limit of the card. Empty without a tolerance.
    pub(super) fn acceptances(&self) -> Vec<Acceptance> {
        let Some(tolerance) = self.limits.first().map(|limits| limits.tolerance) else { return Vec::new() };
        let by = |way: &Way, limit: f64| Acceptance {
            way: way.kind,
            limit,
            curve: acceptance(&self.simulation.flatness, &way.results, limit),
        };
        let spread = &self.simulation.ways[0];
        let card =
            self.simulation.ways.iter().zip(&self.limits).filter(|(way, _)| way.kind != WayKind::Levelled);
        let card = card.filter_map(|(way, limits)| Some(by(way, limits.accept_at_or_below?)));
        std::iter::once(by(spread, tolerance)).chain(card).collect()
    }

    /// How often the verdict of `judge` passes a plate, by its flatness; `None` where nothing was judged.
    pub fn verdict_table(&self) -> Option<Table> {
        let tolerance = self.setup.tolerance.as_ref().filter(|_| !self.verdicts.is_empty())?.value;
        let caption = format!(
            "Operating curve of the verdict that `judge` gives of such readings against {}: simulated plates of each \
             flatness alike, the good and the bad; what is neither within nor out is undecided",
            self.heights().text(tolerance)
        );
        let table = Table::of(caption, &self.verdicts)
            .heights(self.heights(), ["flatness from", "to"], |point| point.ratio.map(|r| r * tolerance))
            .count("plates judged", |point| point.n)
            .percent("found within", 0, |point| point.n_within as f64 / point.n as f64)
            .percent("95 % interval from", 0, |point| point.within_interval()[0])
            .percent("to", 0, |point| point.within_interval()[1])
            .percent("found out", 0, |point| point.n_out as f64 / point.n as f64);
        Some(table.table())
    }

    /// The operating curves' numbers; `None` without a tolerance.
    pub fn acceptance(&self) -> Option<Table> {
        let rules = self.acceptances();
        let caption = "Share of plates that are accepted, by true flatness";
        let table = Table::of(caption, rules.first()?.curve.iter().enumerate()).height(
            self.heights(),
            "true flatness",
            |(_, point)| point.flatness,
        );
        let by_rules = rules.iter().fold(table, |table, rule| {
            table.number(&self.rule_name(rule), "", Digits::Decimals(3), |(i, _)| rule.curve[*i].accepted)
        });
        Some(by_rules.table())
    }

    pub(super) fn rule_name(&self, rule: &Acceptance) -> String {
        format!("{} up to {}", way_name(rule.way), self.heights().text(rule.limit))
    }

    /// Shares of the sources in the variance of the spread's error.
    pub(super) fn shares(&self) -> Table {
        // What is nothing to three decimals is named in the caption.
        let (shown, small): (Vec<&Share>, Vec<&Share>) =
            self.simulation.shares.iter().partition(|s| s.total.max(s.first_order) >= 0.0005);
        let names: Vec<&str> = small.iter().map(|s| s.source.as_str()).collect();
        let rest =
            if small.is_empty() { String::new() } else { format!("; below 0.0005: {}", names.join(", ")) };
        let caption = format!(
            "Shares of the sources in the variance of the spread's error ({} trials each){rest}",
            self.simulation.n_share_trials
        );
        let digits = Digits::Decimals(3);
        Table::of(caption, shown)
            .text("source", |s| s.source.as_str())
            .number("alone (first order)", "", digits, |s| s.first_order)
            .number("u", "", digits, |s| s.first_order_u)
            .number("in all (total)", "", digits, |s| s.total)
            .number("u", "", digits, |s| s.total_u)
            .text("acts", |s| if s.interacts { "with others" } else { "" })
            .table()
    }

    /// The budget of one reading, in the unit of the report.
    pub fn budget(&self) -> Table {
        let budget = &self.simulation.budget;
        let reading = &self.setup.check.survey.readings[budget.reading];
        let spot = &self.setup.check.survey.spots[reading.spot];
        let caption = format!(
            "Budget of one reading: at \"{}\" from \"{}\", the least certain; a height over its zero",
            spot.target, spot.station
        );
        budget_table(&self.in_unit(&budget.of_reading), &caption)
    }

    /// The linear result for the spread: the difference of two readings.
    pub(super) fn linear(&self) -> Table {
        let linear = &self.simulation.budget.of_difference;
        let comparison = &self.simulation.validation;
        let verdict = if comparison.linear_result_may_be_used { "may be used" } else { "may not be used" };
        let rows = [
            ("linear: difference of two readings, expanded uncertainty", linear.coverage_interval()),
            ("Monte Carlo, symmetric interval", self.simulation.ways[0].error.interval_symmetric),
        ];
        let caption = format!(
            "The spread's error as a linear budget would have it, beside Monte Carlo: the linear result {verdict} \
             (JCGM 101 clause 8: ends within {})",
            self.heights().text(comparison.delta)
        );
        Table::of(caption, rows)
            .text("way", |(name, _)| *name)
            .heights(self.heights(), ["from", "to"], |(_, ends)| *ends)
            .table()
    }

    /// How the usual shapes look to the survey.
    pub(super) fn visibility(&self) -> Table {
        let caption = "What the survey makes of a form: reading over true flatness, nothing disturbed";
        Table::of(caption, &self.simulation.visibilities)
            .text("form", |v| self.form_name(v))
            .number("spread", "", Digits::Decimals(2), |v| v.spread)
            .number("spread off the best-fit plane", "", Digits::Decimals(2), |v| v.levelled)
            .table()
    }

    /// Every trial as CSV, a line each: the plate's true flatness, and what each way of reading gives, in the report's
    /// unit and in full.
    pub fn trials_csv(&self) -> String {
        let unit = self.heights().label();
        let ways = &self.simulation.ways;
        let names = ways.iter().map(|way| format!("{} ({unit})", way_name(way.kind)));
        let header: Vec<String> = std::iter::once(format!("true flatness ({unit})")).chain(names).collect();
        let mut csv = header.join(",");
        csv.push('\n');
        for (trial, &flatness) in self.simulation.flatness.iter().enumerate() {
            let results = ways.iter().map(|way| way.results[trial]);
            let row: Vec<String> = std::iter::once(flatness)
                .chain(results)
                .map(|height| full(self.heights().of(height)))
                .collect();
            csv += &row.join(",");
            csv.push('\n');
        }
        csv
    }
}
