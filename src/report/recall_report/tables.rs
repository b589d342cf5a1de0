//! Tables and pictures of plates in time.

use super::*;

impl RecallReport<'_> {
    /// The date of each plate, and why.
    pub(super) fn urgency_table(&self, all: &[Of]) -> Table {
        let h = self.heights();
        let [with_tolerance, ..] = self.own_columns();
        let why = |of: &Of| {
            let Interval { mean, ends: [low, high] } = of.plan.wear.today;
            let [mean, low, high, rate] = [mean, low, high, of.plan.wear.rate.mean].map(|v| h.bare(v));
            let open = if of.plan.readings.is_empty() { "" } else { "; entries contradict one another" };
            format!("{mean} ({low} to {high}), {rate} a year{open}")
        };
        let by_cost =
            |of: &Of| of.plan.by_cost.as_ref().map_or(Cell::Empty, |by_cost| self.date_cell(by_cost));
        Table::of("The plates, the most urgent first (95 % intervals)", all.iter().copied())
            .text("plate", name_of)
            .text("send out by", |of| self.due_text(of.plan))
            .percent("out today", 1, |of| of.plan.out_today())
            .text(&format!("why: flatness today, and its growth, {}", h.label()), why)
            .when(with_tolerance, |table| table.height(h, "tolerance", |of| of.tolerance.value))
            .when(self.question.costs.is_some(), |table| {
                table.column(Column::text("by cost on"), by_cost).number(
                    "a shop check is worth",
                    CURRENCY,
                    Digits::Decimals(0),
                    |of| of.plan.by_cost.as_ref().and_then(worth_of_shop_check),
                )
            })
            .table()
    }

    pub(super) fn date_cell(&self, by_cost: &CostPlan) -> Cell {
        by_cost.least.map_or("never".into(), |(least, _)| self.cost_date(least).into())
    }

    /// What the dates rest on, plate by plate.
    pub(super) fn numbers_table(&self, all: &[Of]) -> Table {
        let h = self.heights();
        let [with_tolerance, with_setup, with_usage] = self.own_columns();
        let last = |of: &Of| {
            let last = of.record.entries.last().zip(of.rows.last());
            last.map_or(String::new(), |(entry, row)| format!("{} {}", entry.day, row.kind.name()))
        };
        let caption = format!(
            "When each plate reaches a probability of {} of exceeding {}, as on {} (95 % intervals)",
            percent(self.question.risk),
            self.common_limit_text(),
            self.question.today
        );
        Table::of(caption, all.iter().copied())
            .text("plate", name_of)
            .text("send out by", |of| self.due_text(of.plan))
            .percent("out today", 1, |of| of.plan.out_today())
            .heights(h, ["flatness today", "from", "to"], |of| three(&of.plan.wear.today))
            .height(h, "wear a year", |of| of.plan.wear.rate.mean)
            .text("last entry", last)
            .when(with_tolerance, |table| table.height(h, "tolerance", |of| of.tolerance.value))
            .when(with_setup, |table| {
                table.text("setup", |of| of.own.setup.as_ref().map_or(String::new(), |(file, _)| inert(file)))
            })
            .when(with_usage, |table| {
                table
                    .text("usage", |of| of.own.usage.as_ref().map_or("usual".into(), |(said, _)| inert(said)))
            })
            .table()
    }

    /// Whether plates have tolerances, setups and usages of their own.
    pub(super) fn own_columns(&self) -> [bool; 3] {
        [
            self.has_own(|own| own.tolerance.is_some()),
            self.has_own(|own| own.setup.is_some()),
            self.has_own(|own| own.usage.is_some()),
        ]
    }

    pub(super) fn history_table(&self, of: &Of) -> Table {
        let h = self.heights();
        let remark = |row: &HistoryRow, fit: &EntryFit| match fit {
            EntryFit::Counted(_) => row.remark.clone(),
            EntryFit::LeftOut(_) => "left out: contradicts others".into(),
            EntryFit::PassedOver => "passed over".into(),
        };
        let caption = "What was found, what it says of the flatness by itself, and what all entries together say (95 % \
                       intervals); p is the chance of a finding at least as far from what those before it make likely";
        Table::of(caption, of.entries())
            .text("date", |(entry, ..)| entry.day.to_string())
            .text("kind", |(_, row, _)| row.kind.name())
            .text("as written", |(_, row, _)| self.written(row))
            .heights(h, ["alone from", "to"], |(.., fit)| fit.alone().map(|alone| alone.ends))
            .heights(h, ["with all others", "from", "to"], |(.., fit)| {
                fit.counted().map(|fit| three(&fit.fitted))
            })
            .number("p", "", Digits::Decimals(2), |(.., fit)| p_value(fit))
            .text("remark", |(_, row, fit)| remark(row, fit))
            .table()
    }

    /// What a row says, in its own words.
    pub(super) fn written(&self, row: &HistoryRow) -> String {
        let h = self.heights();
        let mut said = match (row.kind, row.value) {
            (EntryKind::ShopCheck, Some(spread)) => format!("spread {}", h.text(spread)),
            (_, Some(value)) => h.text(value),
            (EntryKind::Resurfacing, None) => "no value".into(),
            (_, None) => row.file.clone(),
        };
        if let Some(expanded) = row.expanded {
            said += &match row.factor {
                Some(k) => format!(", U = {} (k = {})", h.text(expanded), short(k, 3)),
                None => format!(", within {} either way", h.text(expanded)),
            };
        }
        said
    }

    pub(super) fn forecast_table(&self, of: &Of) -> Table {
        // Every fourth, so that a page is not filled with it; all are in forecast.csv.
        Table::of("What is to be expected (95 % intervals)", of.plan.forecast.iter().step_by(4))
            .text("date", |(years, ..)| self.day(*years).to_string())
            .heights(self.heights(), ["flatness deviation", "from", "to"], |(_, flatness, _)| three(flatness))
            .percent("out of tolerance", 1, |(.., out)| *out)
            .table()
    }

    pub(super) fn cost_table(&self, plan: &PlatePlan) -> Option<Table> {
        let (costs, by_cost) = (self.question.costs.as_ref()?, plan.by_cost.as_ref()?);
        let mut rows: Vec<(String, String)> = Vec::new();
        if let (Some(cycle), Some((least, risk))) = (by_cost.cycle, by_cost.least) {
            rows.extend([
                ("date of least expected cost".into(), self.cost_date(least)),
                ("risk that these costs are worth".into(), probability(risk)),
                ("years from one recalibration to the next, from then on".into(), short(cycle.years, 2)),
                ("cost a year, from then on".into(), money(cycle.cost_per_year)),
            ]);
        }
        let more = by_cost.risk_costs_more.map(money);
        rows.extend(more.map(|more| ("the date of the stated risk costs more by".into(), more)));
        rows.extend(by_cost.checks.iter().map(|check| {
            (format!("worth today, before its own cost: {}", self.check_name(check)), money(check.worth))
        }));
        let caption = format!(
            "What it costs where a recalibration, with the days without the plate, costs {} and a year out of tolerance {}",
            money(costs.of_recalibration()),
            money(costs.of_year_out())
        );
        let value = Column::numbers(&format!("value; amounts {CURRENCY}"), "");
        let table = Table::of(caption, rows).text("what", |(what, _)| what.clone());
        Some(table.column(value, |(_, value)| value.clone().into()).table())
    }

    /// Every day of every plate's forecast, for machines.
    pub(super) fn forecast_csv(&self) -> Table {
        let (h, unit) = (self.heights(), self.setup.unit.symbol());
        let days = self.by_urgency().flat_map(|of| of.plan.forecast.iter().map(move |day| (of, day)));
        Table::of("", days)
            .text("plate", |(of, _)| name_of(of))
            .text("date", |(_, (years, ..))| self.day(*years).to_string())
            .number("flatness deviation", unit, Digits::Full, |(_, (_, flatness, _))| h.of(flatness.mean))
            .number("from", unit, Digits::Full, |(_, (_, flatness, _))| h.of(flatness.ends[0]))
            .number("to", unit, Digits::Full, |(_, (_, flatness, _))| h.of(flatness.ends[1]))
            .number("probability of being out", "", Digits::Full, |(_, (.., out))| *out)
            .table()
    }

    /// A plate's course in time, with what there is to be seen.
    pub(super) fn picture(&self, place: usize, of: &Of) -> Figure {
        Figure {
            file: picture_name(place),
            svg: self.course(of),
            caption: "Every entry with its 95 % interval, what all of them together say, and what is to be expected; below, the \
                      probability of being out of tolerance."
                .into(),
        }
    }

    /// What was found, and what all entries together say of the time from one resurfacing to the next.
    pub(super) fn found_and_fitted(&self, of: &Of) -> (Vec<Finding>, Vec<Vec<[f64; 4]>>) {
        let of_interval = |interval: &Interval| three(interval).map(|v| self.heights().of(v));
        let (mut found, mut fitted) = (Vec::new(), vec![Vec::new()]);
        for (entry, row, fit) in of.entries() {
            let Some(alone) = fit.alone() else { continue };
            let year = entry.day.years_since(self.question.today);
            let sign = match row.kind {
                EntryKind::Certificate => Sign::Certificate,
                EntryKind::ShopCheck => Sign::ShopCheck,
                EntryKind::Resurfacing => Sign::Resurfacing,
            };
            found.push(Finding { year, says: of_interval(&alone), sign });
            if sign == Sign::Resurfacing {
                fitted.push(Vec::new());
            }
            let Some(fit) = fit.counted() else { continue };
            let [mean, low, high] = of_interval(&fit.fitted);
            if let Some(part) = fitted.last_mut() {
                part.push([year, mean, low, high]);
            }
        }
        (found, fitted)
    }

    /// A plate's course in time, as a picture.
    pub(super) fn course(&self, of: &Of) -> Svg {
        let h = self.heights();
        let (found, mut fitted) = self.found_and_fitted(of);
        let ahead = of.plan.forecast.iter().map(|(years, flatness, _)| {
            let [mean, low, high] = three(flatness).map(|v| h.of(v));
            [*years, mean, low, high]
        });
        let forecast: Vec<[f64; 4]> = ahead.collect();
        if let (Some(part), Some(first)) = (fitted.last_mut(), forecast.first()) {
            part.push(*first);
        }
        let out: Vec<[f64; 2]> = of.plan.forecast.iter().map(|(years, _, out)| [*years, *out]).collect();
        let limit = format!("tolerance {}", h.text(of.tolerance.value));
        let risk = format!("risk {}", percent(self.question.risk));
        let mut labels = vec![(0.0, format!("as on {}", self.question.today))];
        match of.plan.due {
            Some(0.0) => labels[0].1 += ": due",
            Some(years) => labels.push((years, format!("send out by {}", self.day(years)))),
            None => {}
        }
        let by_cost = of.plan.by_cost.as_ref().and_then(|by_cost| by_cost.least);
        let by_cost = by_cost.filter(|(least, _)| least.is_reached);
        labels.extend(by_cost.map(|(least, _)| (least.years, format!("by cost {}", self.cost_date(least)))));
        let days: Vec<Mark> = labels.iter().map(|(at, label)| Mark { label, at: *at }).collect();
        let title = match of.record.name.as_str() {
            "" => "The plate's flatness deviation over time".to_string(),
            name => format!("{name}: flatness deviation over time"),
        };
        Course {
            title: &title,
            unit: h.label(),
            origin: self.question.today,
            found: &found,
            fitted: &fitted,
            forecast: &forecast,
            limit: Mark { label: &limit, at: h.of(of.tolerance.value) },
            out: &out,
            risk: Mark { label: &risk, at: self.question.risk },
            days: &days,
        }
        .svg()
    }
}

/// What the better of the shop checks is worth.
pub(super) fn worth_of_shop_check(by_cost: &CostPlan) -> Option<f64> {
    let is_shop_check = |check: &&CheckWorth| matches!(check.check, CheckKind::Spread | CheckKind::Readings);
    by_cost.checks.iter().filter(is_shop_check).map(|check| check.worth).max_by(f64::total_cmp)
}

/// What amounts of money are in: that of the costs, which no one names.
pub(super) const CURRENCY: &str = "in the costs' currency";
